"""Render a scene: two deck files, the guide mix, the placed map and the sheet, or all its faults.

The placed map is `decks/routine.yaml`. Its paths are relative to itself, as in every section map:
the decks are `left.wav` and `right.wav`, a sound of the scene is `../sounds/<name>.wav`.
Positions already in the map are laid out anew; a span's length and the cue in it are kept.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

from liveaid.errors import LiveaidError, UsageError
from liveaid.files.workers import Workers, processors
from liveaid.record.platter import sticker_degrees
from liveaid.render.cache import CACHE, Cache
from liveaid.render.cuts import Cuts, Progress
from liveaid.render.deck_file import FRAME_BYTES
from liveaid.render.guide import guide_frames
from liveaid.render.level import MOST_LIMITED_DB
from liveaid.render.outcome import CutMade, DeckMade, Rendered
from liveaid.render.sources import Sources
from liveaid.render.wish import Wish
from liveaid.render.writing import SOUND_FILES, ToWrite, write_all
from liveaid.routine import SIDES, Routine, RoutineError, Side, load_routine
from liveaid.routine.check import Finding, check
from liveaid.routine.digest import map_digest
from liveaid.routine.layout.deck import DeckLayout, Laid
from liveaid.routine.layout.lay import lay_out_decks, too_long
from liveaid.routine.layout.uses import uses_of
from liveaid.routine.model import Decks, Stamp
from liveaid.routine.part_faults import part_faults
from liveaid.routine.problems import Hindrance
from liveaid.routine.scene import DECKS, MAP, own, scene_folder
from liveaid.routine.source import read_bytes, read_source
from liveaid.routine.way import changes
from liveaid.study.facts import Study

NOTABLE_LIMITED_DB = 3.0
"""Peaks turned down by more than this are worth a remark."""
NOTABLE_SHORT_LU = 0.3


def render_scene(
    map_path: Path,
    wish: Wish | None = None,
    progress: Progress = lambda done, of, what: None,
    *,
    with_words: Callable[[Routine], Routine] = lambda routine: routine,
    known: Callable[[str], Study | None] = lambda digest: None,
    into: str = DECKS,
) -> Rendered:
    """Make everything in the `decks` folder beside the map, or in another folder of the scene.

    `with_words` puts in what is said of the sounds elsewhere, where the map is silent. `known` is
    what was studied elsewhere of a file's bytes, by their digest: it is not studied again.

    RoutineError with all that keeps the routine from being rendered; LiveaidError when the disk
    does. Either way the files that were there stay as they were. Studies and time-stretches run
    in processes that are spawned, so a script needs its ``if __name__ == "__main__":``.
    """
    wish = wish or Wish()
    written = read_bytes(map_path)
    as_written = load_routine(map_path)
    routine = with_words(as_written)
    folder = map_path.parent
    if not routine.sounds:
        raise LiveaidError(
            f"{map_path}: found no `sounds`, so nothing to render; some sounds would do, or no"
            " render where the deck files are made elsewhere and every cue has its seconds"
        )
    if scene_folder(map_path) != Path(os.path.abspath(folder)):
        raise UsageError(f"{map_path}: found a placed map; the scene {folder.parent} would do")
    decks = own(folder, into, folder=True)
    cache = Cache(own(folder, f"{into}/{CACHE}", folder=True))
    with Workers(processors()) as workers:
        sources = Sources(map_path, routine)
        materials, faults = sources.materials(
            routine, workers, cache, known, lambda name: progress(0, 1, f"studied {name}")
        )
        uses, more = uses_of(sources.filled_in(routine), materials)
        lengths = {name: material.duration_s for name, material in materials.items()}
        digests = {name: material.digest for name, material in materials.items()}
        more += part_faults(routine, sound_s=lengths, digests=digests)
        _refuse(map_path, [*faults, *more, *_overwritten(routine, folder, into)])
        layouts = lay_out_decks(routine, uses, materials, wish.grain(routine))
        _refuse(map_path, list(too_long(routine, layouts, wish.rate_hz)))
        passages = [laid.passage for layout in layouts.values() for laid in layout.laid]
        cache.leave_free(_bytes_to_write(routine, layouts, wish))
        cuts = Cuts(passages, materials, wish)
        _refuse(map_path, cuts.make(sources, cache, workers, progress))
    stamp = Stamp(map=map_digest(as_written), sounds=sources.digests())
    to_write = ToWrite(
        routine=sources.filled_in(routine).model_copy(update={"rendered": stamp}),
        written=written,
        folder=folder,
        layouts=layouts,
        cuts=cuts,
        rate_hz=wish.rate_hz,
    )
    set_aside = write_all(to_write, decks, progress)
    cache.sweep()
    return _outcome(to_write, decks, wish, set_aside)


def _refuse(map_path: Path, faults: Sequence[Hindrance]) -> None:
    """Raise all faults as one RoutineError, each with its line in the map."""
    if not faults:
        return
    source = read_source(read_bytes(map_path))
    raise RoutineError(str(map_path), {source.told(fault) for fault in faults})


def _overwritten(routine: Routine, folder: Path, into: str) -> Iterator[Hindrance]:
    """Sounds whose own file is one that the render writes."""
    ours = {(folder / into / name).resolve() for name in SOUND_FILES}
    for name, sound in routine.sounds.items():
        if (folder / sound.file).resolve() in ours:
            found = f"{sound.file}, which the render writes"
            yield Hindrance(("sounds", name, "file"), found, "a copy of it elsewhere would do")


def _bytes_to_write(routine: Routine, layouts: Mapping[Side, DeckLayout], wish: Wish) -> int:
    frames = sum(layout.frames for layout in layouts.values())
    return FRAME_BYTES * (frames + guide_frames(routine, rate_hz=wish.rate_hz))


def _outcome(written: ToWrite, decks: Path, wish: Wish, set_aside: list[Path]) -> Rendered:
    cuts = tuple(
        _cut_made(written, side, laid) for side in SIDES for laid in written.layouts[side].laid
    )
    placed = load_routine(decks / MAP)
    return Rendered(
        routine=decks / "routine.yaml",
        guide=decks / "guide.wav",
        sheet=decks / "sheet.html",
        decks=tuple(_deck_made(written, decks, side, placed) for side in SIDES),
        cuts=cuts,
        guide_s=guide_frames(written.routine, rate_hz=wish.rate_hz) / wish.rate_hz,
        rate_hz=wish.rate_hz,
        remarks=tuple(_remarks(written.routine, cuts, wish)),
        unplayable=_unplayable(placed, written),
        set_aside=tuple(set_aside),
    )


def _unplayable(placed: Routine, written: ToWrite) -> tuple[Finding, ...]:
    """What check finds that two hands cannot play in what was just made."""
    deck_s = {side: lay.frames / written.rate_hz for side, lay in written.layouts.items()}
    return tuple(f for f in check(placed, deck_s=deck_s) if f.severity == "error")


def _cut_made(written: ToWrite, side: Side, laid: Laid) -> CutMade:
    made = written.cuts.of(laid.passage)
    cue_s = laid.cue(written.rate_hz) / written.rate_hz
    return CutMade(
        side=side,
        sounds=laid.passage.sounds,
        pieces=tuple(used.use.piece for used in laid.passage.uses),
        cue_s=cue_s,
        sticker_degrees=sticker_degrees(cue_s, written.routine.turntable.rpm),
        length_s=laid.length / written.rate_hz,
        level=made.level,
        kept=made.kept,
    )


def _deck_made(written: ToWrite, decks: Path, side: Side, placed: Routine) -> DeckMade:
    file = decks / f"{side}.wav"
    layout = written.layouts[side]
    turn = written.routine.turntable.turn_s * written.rate_hz
    return DeckMade(
        side=side,
        file=file,
        length_s=layout.frames / written.rate_hz,
        cues=sum(len(laid.passage.uses) for laid in layout.laid),
        winds=sum(move.side == side and move.by_a_hand for move in changes(placed)),
        wound_turns=layout.order.wound / turn,
        least_turns=layout.order.bound / turn,
        shared=layout.shared,
    )


def _remarks(routine: Routine, cuts: Sequence[CutMade], wish: Wish) -> Iterator[str]:
    for side in SIDES:
        file = routine.decks.of(side).file
        if file != Decks().of(side).file:
            yield f"{file} stays as it is; the {side} deck was written to {DECKS}/{side}.wav"
    for cut in cuts:
        where = f"{' + '.join(cut.sounds)} on the {cut.side} deck"
        level, short = cut.level, cut.level.short_of(wish.loudness_lufs) > NOTABLE_SHORT_LU
        if level.loudness_lufs is None:
            yield f"{where} is silent there"
        elif short and level.limited_db > MOST_LIMITED_DB - 0.1:
            yield f"{where} stays at {level.loudness_lufs:.1f} LUFS: its peaks allow no more"
        elif level.limited_db > NOTABLE_LIMITED_DB:
            yield f"{where} had peaks turned down by {level.limited_db:.1f} dB"
