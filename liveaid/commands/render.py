"""`liveaid render`: the two deck files, the guide mix, the placed map and the sheet of a scene."""

from __future__ import annotations

import click

from liveaid.render.level import LOUDNESS_LUFS
from liveaid.render.outcome import Rendered
from liveaid.render.render import render_scene
from liveaid.render.wish import DECK_RATES_HZ, Wish
from liveaid.routine.model import clock_time
from liveaid.routine.scene import map_file
from liveaid.shelf.database import shelf_for
from liveaid.shelf.for_map import known_sounds, studies_on, with_marks
from liveaid.terminal import console, json_option, print_json, progress, report_table


@click.command()
@click.argument("scene")
@click.option("--rate", type=click.Choice([str(rate) for rate in DECK_RATES_HZ]), default="44100",
              show_default=True, help="Samples a second of the deck files.")  # fmt: skip
@click.option(
    "--sticker/--no-sticker",
    default=True,
    show_default=True,
    help="Put every cue a whole number of turns in, so that the sticker stands alike at each.",
)
@click.option("--gap", type=float, default=1.0, show_default=True, metavar="TURNS",
              help="Silence between two sounds, at least, in turns of the platter.")  # fmt: skip
@click.option("--loudness", type=float, default=LOUDNESS_LUFS, show_default=True, metavar="LUFS",
              help="What every sound is levelled to.")  # fmt: skip
@json_option
def command(
    scene: str, rate: str, sticker: bool, gap: float, loudness: float, as_json: bool
) -> None:
    """Make the deck files, the guide mix and the printed sheet of SCENE.

    They go into the folder `decks` beside the section map: left.wav, right.wav, guide.wav,
    routine.yaml (the map with every cue's second) and sheet.html.

    Example: liveaid render scenes/night-market --rate 48000
    """
    wish = Wish(rate_hz=int(rate), sticker=sticker, gap_turns=gap, loudness_lufs=loudness)
    with progress("reading") as done:
        file = map_file(scene)
        rendered = render_scene(
            file,
            wish,
            done,
            with_words=lambda routine: with_marks(
                routine, known_sounds(routine, file, shelf_for(file))
            ),
            known=studies_on(shelf_for(file)),
        )
    if as_json:
        print_json(rendered.to_json())
    else:
        _print(rendered)


def _print(rendered: Rendered) -> None:
    out = console()
    table = report_table(
        "On the records", "deck", "cue", "sticker", "lasts", "sound", "LUFS", "dBTP", "set pieces",
        right=("cue", "sticker", "lasts", "LUFS", "dBTP", "set pieces"), ruled=False,
    )  # fmt: skip
    for cut in rendered.cuts:
        table.add_row(
            cut.side,
            f"{cut.cue_s:.3f} s",
            f"{round(cut.sticker_degrees) % 360}°",
            f"{cut.length_s:.2f} s",
            " + ".join(cut.sounds),
            "silent" if cut.level.loudness_lufs is None else f"{cut.level.loudness_lufs:.1f}",
            "" if cut.level.true_peak_dbtp is None else f"{cut.level.true_peak_dbtp:.1f}",
            ", ".join(str(piece + 1) for piece in cut.pieces),
        )
    out.print(table)
    for deck in rendered.decks:
        least = "the least there is"
        if deck.wound_turns > deck.least_turns:
            least = f"no order needs less than {deck.least_turns:.1f}"
        shared = f"; {deck.shared} refrains share a copy" if deck.shared else ""
        out.say(
            f"{deck.file}: {clock_time(round(deck.length_s))}, {deck.cues} cues, "
            f"{deck.winds} winds of {deck.wound_turns:.1f} turns in all ({least}){shared}"
        )
    out.say(f"{rendered.guide}: {clock_time(round(rendered.guide_s))}")
    out.say(str(rendered.routine), str(rendered.sheet))
    kept = sum(cut.kept for cut in rendered.cuts)
    if kept:
        out.say(f"{kept} of {len(rendered.cuts)} are from the last render: nothing in them changed")
    out.say(*(f"A file of yours stood there; it is now {path}" for path in rendered.set_aside))
    out.say(*(f"Note: {remark}" for remark in rendered.remarks))
    for finding in rendered.unplayable:
        place = f"{finding.piece + 1} {finding.name}: " if finding.piece is not None else ""
        out.say(f"Not playable: {place}{finding.says} → {finding.way_out}")
