"""What hands and platters can do: one table, each figure with its unit and where it is from.

A figure people differ in is a setting of the performer in the section map (`setting`), and the
map's own value goes before the table's. `from memory` marks a source that was not at hand to look
up; `COMMON` a fact of the trade that no publication is named for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

COMMON: Final = "common practice, no source"


@dataclass(frozen=True, slots=True, kw_only=True)
class HandFigure:
    """One figure of the table."""

    value: float
    unit: str
    says: str
    """What it is, in a line."""
    source: str
    setting: str | None = None
    """The field under `performer:` that a performer's own value is written in."""


FIGURES: Final[dict[str, HandFigure]] = {
    "wind_turns_per_s": HandFigure(
        value=3.0,
        unit="turns/s",
        says="winding a record by hand over many turns",
        source=COMMON,
        setting="wind_speed",
    ),
    "settle_s": HandFigure(
        value=0.5,
        unit="s",
        says="setting a record that was wound a turn or more exactly on its cue; within reach the"
        " whole back-cue, half of it for a quarter turn",
        source=COMMON,
        setting="settle_time",
    ),
    "settle_width_turns": HandFigure(
        value=1.0 / 12.0,
        unit="turns",
        says="how exactly a record is set on its cue: 30 degrees of the sticker in all",
        source=COMMON,
    ),
    "needle_s": HandFigure(
        value=3.0,
        unit="s",
        says="lifting the needle and setting it down near a cue",
        source=COMMON,
        setting="needle_time",
    ),
    "needle_turns": HandFigure(
        value=2.0,
        unit="turns",
        says="how far off a needle lands: a groove is a turn, and some 80 mm of a side hold ten"
        " minutes at 33 1/3, so 4 grooves a millimetre, set down to half a millimetre",
        source="80 mm of groove: IEC 60098 (from memory); half a millimetre: " + COMMON,
        setting="needle_turns",
    ),
    "strokes_per_s": HandFigure(
        value=7.0,
        unit="strokes/s",
        says="fastest movement there and back that is kept up for some seconds",
        source="Repp, Sensorimotor synchronization: a review of the tapping literature,"
        " Psychon Bull Rev 12 (2005): a hand taps 5 to 7 times a second at most (from memory)",
        setting="stroke_rate",
    ),
    "reach_turns": HandFigure(
        value=0.75,
        unit="turns",
        says="furthest push or pull without taking the hand off the record",
        source=COMMON,
        setting="reach",
    ),
    "hand_turns_per_s": HandFigure(
        value=4.5,
        unit="turns/s",
        says="fastest a hand moves a record within a stroke: 2.8 m/s at 10 cm from the spindle",
        source="peak hand speed of fast reaching 2 to 3 m/s (from memory); 10 cm: " + COMMON,
        setting="hand_speed",
    ),
    "hand_turns_per_s2": HandFigure(
        value=80.0,
        unit="turns/s2",
        says="hardest a hand speeds a record up or turns it round: 50 m/s2 at 10 cm",
        source="peak hand acceleration of fast reaching 40 to 60 m/s2 (from memory)",
    ),
    "tiring_s": HandFigure(
        value=8.0,
        unit="s",
        says="how long a hand keeps its fastest strokes up before it slows",
        source="fastest finger tapping falls off within 5 to 10 s (from memory)",
    ),
    "tired_share": HandFigure(
        value=0.8,
        unit="of the fastest rate",
        says="what a hand keeps up after that",
        source="some 15 to 25 % slower after 10 to 20 s of fastest tapping (from memory)",
    ),
    "fader_move_s": HandFigure(
        value=0.15,
        unit="s",
        says="a hand from its own record to the crossfader, or back",
        source="Fitts, J Exp Psychol 47 (1954): 15 cm to a target 5 cm wide are 2 bits, at 12 to"
        " 16 bits/s 0.12 to 0.17 s (from memory); 15 cm, and that a juggler's hands stay at their"
        " own records and move the fader between: " + COMMON,
        setting="fader_move",
    ),
    "hand_move_s": HandFigure(
        value=0.2,
        unit="s",
        says="a hand across: from one record to the other, to the pitch, to the far fader",
        source="Fitts, J Exp Psychol 47 (1954): 25 cm to a target 5 cm wide are some 2.6 bits,"
        " at 12 to 16 bits/s 0.16 to 0.22 s (from memory)",
        setting="hand_move",
    ),
    "taps_per_s": HandFigure(
        value=8.0,
        unit="openings/s",
        says="fader tapped open by one finger, the thumb springing it shut",
        source="a finger taps 5 to 7 times a second (as strokes_per_s); a spring helps: " + COMMON,
    ),
    "rolled_taps_per_s": HandFigure(
        value=20.0,
        unit="openings/s",
        says="fader tapped open by several fingers in quick turn",
        source=COMMON,
    ),
    "set_pitch_s": HandFigure(
        value=0.3,
        unit="s",
        says="a hand sets the pitch fader to a mark",
        source=COMMON,
    ),
    "release_s": HandFigure(
        value=0.03,
        unit="s",
        says="a record let go reaches the platter's speed, the slipmat slipping",
        source=COMMON,
    ),
    "hold_s": HandFigure(
        value=0.035, unit="s", says="a hand stops a running record", source=COMMON
    ),
    "motor_start_s": HandFigure(
        value=0.6, unit="s", says="a direct-drive platter from stand to speed", source=COMMON
    ),
    "motor_stop_s": HandFigure(
        value=0.35, unit="s", says="a direct-drive platter braked to a stand", source=COMMON
    ),
}  # fmt: skip


def figure(name: str) -> float:
    """The value of one figure; KeyError for a name that is not in the table."""
    return FIGURES[name].value
