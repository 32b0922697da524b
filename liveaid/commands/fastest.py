"""The table of `liveaid check --fastest`."""

from __future__ import annotations

from rich import box
from rich.table import Table
from rich.text import Text

from liveaid.routine import Routine
from liveaid.routine.check import Fastest, fastest
from liveaid.routine.written_numbers import place_said


def fastest_table(routine: Routine) -> Table:
    """Every set piece with the tempo at which its acts would just still be possible."""
    table = Table(
        title="Fastest: the records as they lie, played faster",
        title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False,
    )  # fmt: skip
    for column in ("set piece", "tempo", "fastest", "set by"):
        table.add_column(column, justify="right" if column in ("tempo", "fastest") else "left")
    for told in fastest(routine):
        table.add_row(
            Text(f"{told.piece + 1} {told.name}"),
            f"{told.tempo_bpm:g}",
            "" if told.fastest_bpm is None else f"{told.fastest_bpm:.1f}",
            Text(_set_by(routine, told)),
        )
    return table


def _set_by(routine: Routine, told: Fastest) -> str:
    """The act that sets it, and whether the pitch fader gets there."""
    if told.demand is None:
        return "no act that time is short for"
    assert told.fastest_bpm is not None
    where = f"{place_said(told.demand.beat, routine.metre)}: {told.demand.says}"
    if told.fastest_bpm < told.tempo_bpm:
        return f"{where}; slower than written"
    return where if told.within_pitch else f"{where}; the pitch fader does not reach it"
