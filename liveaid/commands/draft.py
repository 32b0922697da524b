"""`liveaid draft`: a first map from the sounds on the shelf and the idea."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import click

from liveaid.commands.shared_options import FILE, FOLDER
from liveaid.errors import LiveaidError
from liveaid.files.aside import made_aside, write_keeping_old
from liveaid.files.file_bytes import content_hash, reason
from liveaid.files.harmless import harmless
from liveaid.files.inside import Stray
from liveaid.files.names import shown
from liveaid.fit.draft import Draft, draft, renamed
from liveaid.routine import Sound
from liveaid.routine.draft_text import pieces_text, quoted, sounds_text
from liveaid.routine.load import load_sketch, read_routine
from liveaid.routine.model import Sketch
from liveaid.routine.scene import MAP, own, reach
from liveaid.routine.source import read_bytes, read_source
from liveaid.shelf.choose import lying_there
from liveaid.shelf.database import default_shelf
from liveaid.shelf.shelf import Shelf
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.terminal import console, json_option, print_json, progress_bar


@click.command("draft")
@click.argument("folder", type=FOLDER)
@click.option("--shelf", "shelf_file", type=FILE,
              metavar="FILE", help="The shelf to take sounds from; else the scene's own or "
              "yours.")  # fmt: skip
@json_option
def command(folder: Path, shelf_file: Path | None, as_json: bool) -> None:
    """Write a first map into FOLDER, from the sounds on the shelf and the idea.

    Where FOLDER has a routine.yaml with an `idea:` and no set pieces yet, they are added below what
    is written there; where it has none, a map is made that goes up and comes down with what the
    shelf holds. The sounds it uses are copied into FOLDER, so that it can be taken along.

    \b
    Example:
      liveaid gather ~/sounds
      liveaid draft my-scene
      liveaid check my-scene
    """
    file = own(folder, MAP)
    sketch = _sketch(file)
    with Shelf(shelf_file or _shelf_of(folder), make=False) as shelf:
        here = _there(shelf.sounds(onsets=False))
        studies = {digest: sound.study for digest, sound in here.items() if sound.study}
        idea, metre = (sketch.idea, sketch.metre) if sketch else (None, 4)
        drafted = draft(idea, studies, turntable=sketch.turntable if sketch else None, metre=metre)
        if not drafted.pieces:
            raise LiveaidError(
                f"{shown(shelf.path)}: no sound with a steady beat to build on; "
                "`liveaid gather FOLDER` puts some there"
            )
        names = _names(here, drafted)
        sounds = _brought(folder, shelf, here, names)
    written = _written(file, folder, sketch, renamed(drafted, names), sounds, here, names)
    kept = write_keeping_old(file, written.encode())
    _say(file, kept, drafted, here, names, as_json=as_json)


def _shelf_of(folder: Path) -> Path:
    scene = own(folder, "shelf.sqlite")
    return scene if scene.is_file() else default_shelf()


def _sketch(file: Path) -> Sketch | None:
    """What is written there so far. LiveaidError when there are set pieces already."""
    if not file.exists():
        return None
    tree = read_source(read_bytes(file)).tree
    found = load_sketch(file)
    if isinstance(tree, dict) and (tree.get("pieces") or tree.get("sounds")):
        raise LiveaidError(
            f"{shown(file)}: found sounds or set pieces there already; a new folder, or a map with "
            "an `idea:` alone, would do"
        )
    return found


def _there(sounds: list[ShelfSound]) -> dict[str, ShelfSound]:
    """The studied sounds whose files are there, by their digests."""
    return {
        sound.hash: sound
        for sound in map(lying_there, sounds)
        if sound.study is not None and not sound.gone and os.path.isfile(sound.path)
    }


def _names(here: dict[str, ShelfSound], drafted: Draft) -> dict[str, str]:
    """A name for each sound used: its file's, on one line, told apart by a number."""
    names: dict[str, str] = {}
    for digest in drafted.sounds:
        plain = harmless(here[digest].name, lines=False)
        base = " ".join(re.sub(r"[\\/:*?\"<>|{}\[\],#&!%@`]", " ", plain).split())[:60] or "sound"
        name, number = base, 2
        while name in names.values():
            name, number = f"{base} {number}", number + 1
        names[digest] = name
    return names


def _brought(
    folder: Path, shelf: Shelf, here: dict[str, ShelfSound], names: dict[str, str]
) -> dict[str, Sound]:
    """The sounds as the map names them, their files copied where the scene may not reach them."""
    sounds: dict[str, Sound] = {}
    with progress_bar() as bar:
        for digest, name in bar.track(names.items(), description="copying sounds"):
            known = here[digest]
            study = known.study
            assert study is not None
            sounds[name] = Sound(
                file=_file_of(folder, shelf, known, name), kind=study.kind,
                source=known.marks.source or _labelled(known) or None,
                licence=known.marks.licence or None, loop=bool(study.loop_beats),
            )  # fmt: skip
    return sounds


def _file_of(folder: Path, shelf: Shelf, known: ShelfSound, name: str) -> str:
    """How the map names the file: where it lies if the scene may read there, else a copy."""
    whole = Path(known.path).absolute()
    try:
        reach(str(whole), folder / MAP)
    except Stray:
        return _copied(folder, shelf, known, name)
    scene = Path(os.path.abspath(folder))
    return whole.relative_to(scene).as_posix() if whole.is_relative_to(scene) else str(whole)


def _copied(folder: Path, shelf: Shelf, known: ShelfSound, name: str) -> str:
    sounds = own(folder, "sounds", folder=True)
    target = sounds / f"{name}{Path(known.path).suffix.lower()}"
    try:
        sounds.mkdir(parents=True, exist_ok=True)
        if not os.path.lexists(target):
            with made_aside(target) as aside:
                shutil.copyfile(known.path, aside)
        digest, signature = content_hash(str(target))
    except OSError as error:
        raise LiveaidError(
            f"{shown(target)}: found {reason(error)}; room for the copy would do"
        ) from error
    if digest != known.hash:
        raise LiveaidError(f"{shown(target)}: found another sound there; a new folder would do")
    shelf.place(str(target.absolute()), digest, signature)
    return f"sounds/{target.name}"


def _labelled(sound: ShelfSound) -> str:
    """Artist and title as the file says them itself."""
    said = (sound.labels.artist, sound.labels.title)
    return harmless(" - ".join(word for word in said if word), lines=False)


def _remark(sound: ShelfSound) -> str:
    study = sound.study
    assert study is not None
    facts = [
        f"{study.tempo:.1f} BPM" if study.tempo else "no steady beat",
        study.key or "no key",
        f"energy {study.energy}",
        f"{study.duration_s:.1f} s",
    ]
    missing = "" if sound.marks.licence else "; licence not known: say it here before the stage"
    return ", ".join(facts) + missing


def _written(
    file: Path, folder: Path, sketch: Sketch | None, drafted: Draft, sounds: dict[str, Sound],
    here: dict[str, ShelfSound], names: dict[str, str],
) -> str:  # fmt: skip
    """The whole map's text; what is there already stays above, as it is. It is read back once."""
    remarks = {names[digest]: _remark(here[digest]) for digest in names}
    lines = [*sounds_text(sounds, remarks), "",
             *pieces_text([(one.piece, one.why) for one in drafted.pieces])]  # fmt: skip
    if sketch is None:
        title = " ".join(Path(os.path.abspath(folder)).name.replace("-", " ").split()) or "A set"
        head = "".join(f"{line}\n" for line in _head(harmless(title, lines=False).capitalize()))
    else:
        head = read_bytes(file).decode("utf-8-sig")
        head = head if head.endswith("\n") else f"{head}\n"
    lacks = "".join(f"# {line}\n" for line in drafted.lacks)
    text = f"{head}\n{lacks}" + "".join(f"{line}\n" for line in lines)
    read_routine(text.encode(), str(file))
    return text


def _head(title: str) -> Iterator[str]:
    yield "# A first draft, yours to change. `liveaid check` says whether two hands can play it."
    yield f"title: {quoted(title)}"
    yield "# limit: 3:00             # the set's time limit, minutes and seconds"
    yield "# idea:"
    yield "#   theme: one evening at a night market"
    yield "#   wants:"
    yield "#     - {part: intro, energy: 2, kind: instrumental, tempo: 85..100}"


def _say(
    file: Path, kept: Path | None, drafted: Draft, here: dict[str, ShelfSound],
    names: dict[str, str], *, as_json: bool,
) -> None:  # fmt: skip
    if as_json:
        print_json({
            "file": str(file), "kept": str(kept) if kept else None,
            "pieces": [one.piece.name for one in drafted.pieces],
            "sounds": {name: shown(here[digest].path) for digest, name in names.items()},
            "lacks": list(drafted.lacks),
        })  # fmt: skip
        return
    screen = console()
    count = len(drafted.pieces)
    screen.say(f"{file}: {count} set pieces from {len(names)} sounds.")
    screen.say(*drafted.lacks)
    if kept is not None:
        screen.say(f"What was there is kept as {kept}.")
    screen.say(f"Next: liveaid check {file.parent}")
