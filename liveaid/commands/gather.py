"""`liveaid gather`: study folders of sounds, find them again, mark them, see what is lacking."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, get_args

import click

from liveaid.commands.gather_report import (
    GatherTally,
    brief_json,
    show_alike,
    show_brief,
    show_facts,
    show_found,
)
from liveaid.commands.parts_report import show_own_parts, show_parts, show_tone
from liveaid.errors import LiveaidError
from liveaid.files.names import shown
from liveaid.files.workers import processors
from liveaid.fit.brief import brief
from liveaid.routine.keys import parse_key
from liveaid.routine.load import load_sketch
from liveaid.routine.model import Kind
from liveaid.routine.scene import map_file
from liveaid.shelf.choose import lying_there
from liveaid.shelf.collect import gather
from liveaid.shelf.database import shelf_for
from liveaid.shelf.find import parse_query
from liveaid.shelf.map_words import with_map_words
from liveaid.shelf.one_file import LIMIT_S, study_apart
from liveaid.shelf.query_words import WORDS
from liveaid.shelf.shelf import Shelf
from liveaid.shelf.shelf_sound import ShelfSound
from liveaid.terminal import json_option, print_json, progress_bar

SHOWN = 100
"""Sounds listed in the terminal unless more are asked for: some screens."""
LIKE_SHOWN = 12
_KINDS = [*get_args(Kind), "guessed"]
_GUESSES = ("kind", "tempo", "key", "energy", "bar", "metre")
_MARKS = (
    "kind",
    "tempo",
    "key",
    "energy",
    "bar",
    "metre",
    "tag",
    "untag",
    "note",
    "source",
    "licence",
)

_TERMS = (
    "TERMS are parted by commas and all have to hold: "
    + ", ".join(word.example for word in WORDS.values())
    + ". `not` before a term turns it round, `none` as a value asks for what is not known, and"
    " `by energy` or `by tempo down` sorts."
)


class _Mark(click.ParamType):  # type: ignore[type-arg]
    """A mark as it is typed: read by a function, or a word that stands for itself."""

    def __init__(self, read: Callable[[str], Any], would_do: str, *words: str) -> None:
        """`read` raises ValueError for what it does not take; `would_do`: what it does."""
        self.name = would_do
        self._read, self._words = read, ("guessed", *words)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if value in self._words:
            return value
        try:
            return self._read(value)
        except ValueError:
            self.fail(f"{value}: {self.name} would do, or {' or '.join(self._words)}", param, ctx)


def _second(text: str) -> float:
    minutes, colon, seconds = text.rpartition(":")
    return _within(0.0, float(seconds) + (60 * int(minutes) if colon else 0), 86399.9)


def _within(least: float, value: float, most: float) -> float:
    if not least <= value <= most:
        raise ValueError(value)
    return value


_KEY = _Mark(lambda text: str(parse_key(text)), "a key such as A minor or F# major")
_TEMPO = _Mark(lambda text: _within(20.0, float(text), 300.0), "a BPM from 20 to 300", "other")
_ENERGY = _Mark(lambda text: int(_within(1, int(text), 5)), "1 (calm) to 5 (driving)")
_BAR = _Mark(_second, "a second such as 12.48 or 1:02.5")
_METRE = _Mark(lambda text: int(_within(2, int(text), 12)), "2 to 12 beats")


@click.command("gather", epilog=_TERMS)
@click.argument("folders", nargs=-1, metavar="[FOLDER]...")
@click.option("--find", "terms", metavar="TERMS", help="List the sounds for which all terms hold.")
@click.option(
    "--top",
    type=click.IntRange(1),
    help=f"With --find or --like: how many.  [default: {SHOWN}, {LIKE_SHOWN} with --like]",
)
@click.option(
    "--like", metavar="SOUND", help="List what sounds like it, copies first; --find narrows it."
)
@click.option("--show", metavar="SOUND", help="Tell all that is known of one sound.")
@click.option("--mark", "marked", multiple=True, metavar="SOUND", help="Write marks on a sound.")
@click.option("--forget", multiple=True, metavar="SOUND", help="Take a sound off the shelf.")
@click.option("--for", "scene", metavar="SCENE", help="What the shelf lacks for a scene's idea.")
@click.option("--parts", metavar="SOUND", help="Words and hits of a sound, ready for the map.")
@click.option("--write", type=Path, metavar="FOLDER", help="With --parts: each as a WAV file.")
@click.option("--text", metavar="WORDS", help="With --parts: what is said in it, word by word.")
@click.option("--in", "in_scene", metavar="SCENE",
              help="With --parts: as that section map has them, corrected by hand.")  # fmt: skip
@click.option("--notes", metavar="SOUND", help="The steady tone of a sound, ready for the map.")
@click.option("--kind", type=click.Choice(_KINDS), help="Mark: its kind, or go by the guess.")
@click.option("--tempo", type=_TEMPO, metavar="BPM",
              help="Mark: its tempo; `other` takes the other reading that the study "
              "kept.")  # fmt: skip
@click.option("--key", type=_KEY, metavar="KEY", help="Mark: its key, or guessed.")
@click.option("--energy", type=_ENERGY, metavar="1..5", help="Mark: its energy, or guessed.")
@click.option("--bar", type=_BAR, metavar="SECONDS", help="Mark: where a bar begins, or guessed.")
@click.option("--metre", type=_METRE, metavar="BEATS", help="Mark: beats in a bar, or guessed.")
@click.option("--tag", multiple=True, help="Mark: add a tag.")
@click.option("--untag", multiple=True, metavar="TAG", help="Mark: take a tag off.")
@click.option("--note", help="Mark: a note of your own.")
@click.option("--source", help="Mark: where the sound comes from.")
@click.option("--licence", help="Mark: on what terms it may be used.")
@click.option("--again", is_flag=True, help="Try those anew that could not be studied.")
@click.option("--processes", type=click.IntRange(1), help="How many at once.  [default: all cores]")
@click.option("--time-limit", type=click.FloatRange(1), default=LIMIT_S, show_default=True,
              metavar="SECONDS", help="For one sound, and more if it is long.")  # fmt: skip
@click.option("--shelf", "shelf_file", type=Path, metavar="FILE", help="Another shelf file.")
@json_option
def command(**said: Any) -> None:
    """Study folders of sounds and keep them on the shelf; find them again.

    Only what is new or changed is read. A sound is known by its bytes: moved or renamed, it keeps
    its study and marks. Ctrl-C keeps what is done.

    \b
    Examples:
      liveaid gather ~/sounds
      liveaid gather --find "tempo 88..96 half, kind a cappella, not tag used"
      liveaid gather --like wok-sizzle --find "duration ..1"
      liveaid gather --mark hawker-call --kind "a cappella" --tag market
      liveaid gather --for night-market
      liveaid gather --parts hawker-call.wav --text "hey ah ee" --write parts/
      liveaid gather --parts hawker-call --in my-scene --write parts/
    """
    marks = {name: said[name] for name in _MARKS if said[name] not in (None, ())}
    _one_job(said, marks)
    if said["parts"] or said["notes"]:
        _handled(said)
        return
    file = said["shelf_file"] or shelf_for(said["scene"])
    with Shelf(file, make=bool(said["folders"] or said["scene"])) as shelf:
        if said["folders"]:
            _gather(shelf, said)
        elif said["marked"]:
            _mark(shelf, said["marked"], marks)
        elif said["forget"]:
            _forget(shelf, said["forget"])
        elif said["show"]:
            show_facts(_chosen(shelf, said["show"]), as_json=said["as_json"])
        elif said["like"]:
            _alike(shelf, said)
        elif said["scene"]:
            _lacking(shelf, said["scene"], as_json=said["as_json"])
        else:
            query = parse_query(said["terms"])
            most = said["top"] or (None if said["as_json"] else SHOWN)
            found = shelf.find(query, most=most, onsets=said["as_json"])
            show_found(found, shelf.count(query), as_json=said["as_json"])


def _handled(said: dict[str, Any]) -> None:
    """--parts and --notes: of a file, of a sound on the shelf by its name, or of a map's sound."""
    if said["in_scene"]:
        write, as_json = said["write"], said["as_json"]
        show_own_parts(said["parts"], said["in_scene"], write=write, as_json=as_json)
        return
    path = Path(said["parts"] or said["notes"])
    if not path.is_file():
        with Shelf(said["shelf_file"] or shelf_for(None)) as shelf:
            path = Path(lying_there(_chosen(shelf, str(path))).path)
    if said["parts"]:
        show_parts(path, said=said["text"] or "", write=said["write"], as_json=said["as_json"])
    else:
        show_tone(path, as_json=said["as_json"])


def _one_job(said: dict[str, Any], marks: dict[str, Any]) -> None:
    """UsageError unless one thing is asked for; marks go with --mark alone."""
    find = said["terms"] is not None and not said["like"]
    jobs = {"FOLDER": said["folders"], "--find": find, "--show": said["show"]}
    jobs |= {"--like": said["like"]}
    jobs |= {"--mark": said["marked"], "--forget": said["forget"], "--for": said["scene"]}
    jobs |= {"--parts": said["parts"], "--notes": said["notes"]}
    asked = [name for name, value in jobs.items() if value]
    if len(asked) != 1:
        found = f"{' and '.join(asked)} do not go together" if asked else "nothing to do"
        raise click.UsageError(f"{found}; one of {', '.join(jobs)} would do")
    for word, name in (("write", "--write FOLDER"), ("text", "--text"), ("in_scene", "--in SCENE")):
        if said[word] and asked != ["--parts"]:
            raise click.UsageError(f"{name} goes with --parts SOUND")
    if said["text"] and said["in_scene"]:
        raise click.UsageError("--text and --in SCENE do not go together; one of them would do")
    if marks and asked != ["--mark"]:
        raise click.UsageError(f"--{next(iter(marks))} goes with --mark SOUND")
    if asked == ["--mark"] and not marks:
        wanted = ", ".join(f"--{name}" for name in _MARKS)
        raise click.UsageError(f"--mark needs something to write: any of {wanted}")
    for folder in said["folders"]:
        if not Path(folder).exists():
            raise click.UsageError(f"{shown(folder)}: no such folder or file")


def _gather(shelf: Shelf, said: dict[str, Any]) -> None:
    tally = GatherTally(shelf.path)
    events = gather(
        said["folders"],
        shelf,
        processes=said["processes"] or processors(),
        limit_s=said["time_limit"],
        again=said["again"],
    )
    with progress_bar() as bar:
        task = bar.add_task("looking", total=None)
        try:
            for event in events:
                tally.take(event, bar, task)
        except KeyboardInterrupt:
            events.close()
            bar.stop()
            click.echo(tally.stopped(), err=True)
            raise
    tally.show(len(shelf), as_json=said["as_json"])


def _mark(shelf: Shelf, names: Sequence[str], marks: dict[str, Any]) -> None:
    chosen = [_whole(shelf, name) for name in names]
    set_to = {
        name: None if value == "guessed" and name in _GUESSES else value
        for name, value in marks.items()
        if name not in ("tag", "untag")
    }
    for sound in chosen:
        if marks.get("tempo") == "other":
            set_to["tempo"] = _other_tempo(sound)
        shelf.mark(
            sound.hash, set_to=set_to, tags=marks.get("tag", ()), untag=marks.get("untag", ())
        )
    now = shelf.these(sound.hash for sound in chosen)
    show_found(now, len(now), as_json=False)


def _other_tempo(sound: ShelfSound) -> float:
    """The reading of the beat that the study thought next likeliest."""
    if sound.study is None or not sound.study.tempo_alternative:
        raise LiveaidError(
            f"{shown(sound.path)}: no other reading of its tempo is known; a BPM would do"
        )
    return sound.study.tempo_alternative


def _chosen(shelf: Shelf, name: str) -> ShelfSound:
    """All that the shelf knows of the sound that is meant."""
    return shelf.these([shelf.chosen(name).hash], onsets=True)[0]


def _alike(shelf: Shelf, said: dict[str, Any]) -> None:
    """--like: of a sound on the shelf, or of a file, which is studied for this once."""
    from liveaid.shelf.alike import find_alike, imprint_of

    path = os.path.abspath(said["like"])
    known = shelf.at([path])
    if os.path.isfile(path) and not known:
        click.echo(f"{shown(path)} is not on the shelf; studied for this once.", err=True)
        digest, imprint = "", study_apart(path).imprint
    else:
        digest = (known[0] if known else shelf.chosen(said["like"])).hash
        imprint = imprint_of(shelf, digest)
    if imprint is None:
        raise LiveaidError(
            f"{shown(said['like'])}: how it sounds is not known; it is silent, or studied by an"
            " older liveaid: gather its folder once more"
        )
    query = parse_query(said["terms"]) if said["terms"] else None
    most = said["top"] or LIKE_SHOWN
    found = find_alike(shelf, imprint, query, most=most + 1)
    found = [each for each in found if each.hash.hex() != digest][:most]
    sounds = {each.hash: each for each in shelf.these(each.hash.hex() for each in found)}
    pairs = [(each, sounds[each.hash.hex()]) for each in found if each.hash.hex() in sounds]
    show_alike(pairs, as_json=said["as_json"])


def _whole(shelf: Shelf, name: str) -> ShelfSound:
    """A sound that can be marked or forgotten: all of a file."""
    sound = shelf.chosen(name)
    if sound.part is not None:
        raise LiveaidError(f"{sound.name}: a part of {shown(sound.path)}, which would do")
    return sound


def _forget(shelf: Shelf, names: Sequence[str]) -> None:
    for sound in [_whole(shelf, name) for name in names]:
        shelf.forget(sound.hash)
        click.echo(f"{shown(sound.path)}: off the shelf; the file is not touched.")


def _lacking(shelf: Shelf, scene: str, *, as_json: bool) -> None:
    file = map_file(scene)
    sketch = load_sketch(file)
    if sketch.idea is None or not sketch.idea.wants:
        raise LiveaidError(
            f"{shown(file)}: no idea to look for; lines such as these would do:\n"
            "idea:\n  theme: one evening at a night market\n"
            "  wants:\n    - {part: intro, energy: 2, kind: a cappella, tempo: 85..100}"
        )
    sounds = with_map_words(shelf.sounds(onsets=False), sketch.sounds, str(file.parent))
    here = {sound.hash: sound for sound in sounds if sound.study is not None and not sound.gone}
    found = brief(
        sketch.idea,
        {digest: sound.study for digest, sound in here.items() if sound.study},
        {
            digest: f"{sound.name} {sound.marks.note} {' '.join(sound.marks.tags)}"
            for digest, sound in here.items()
        },
        turntable=sketch.turntable,
        metre=sketch.metre,
    )
    if as_json:
        print_json(brief_json(found, here, sketch.turntable))
    else:
        show_brief(sketch, found, here)
