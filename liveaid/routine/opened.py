"""A scene opened: the written map, the placed one, and whether they still say the same.

The written map is the truth. The placed map is what the deck files hold; it carries the digest of
the map it was rendered from and of each sound. Nothing old is used without saying so.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias

from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import content_hash
from liveaid.files.inside import Stray
from liveaid.files.names import shown
from liveaid.files.unreadable import Unreadable
from liveaid.routine.carry import carried
from liveaid.routine.digest import map_digest
from liveaid.routine.edits import Edit, called, edits, new_names
from liveaid.routine.load import load_routine, read_routine
from liveaid.routine.model import Routine
from liveaid.routine.problems import RoutineError
from liveaid.routine.scene import DECKS, MAP, own, reach, scene_folder
from liveaid.routine.source import read_bytes

State: TypeAlias = Literal["as rendered", "edited since", "broken", "not rendered"]

WRITTEN = "written.yaml"
"""The map a render was made from, kept in `decks` beside the placed one."""
_MOST_TOLD = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A scene's written map and its placed one, as they were when it was opened."""

    file: Path
    """The written map's."""
    written: Routine | None
    """None when it is broken."""
    broken: RoutineError | None = None
    placed_file: Path | None = None
    placed: Routine | None = None
    """The last good placed map; the written one itself where it has every second."""
    fits: Routine | None = None
    """The written map on the deck files there are; None when it needs new ones."""
    edits: tuple[Edit, ...] = ()
    """What changed since the render, where it is known."""
    other_sounds: tuple[str, ...] = ()
    """Sounds whose files are not the bytes that were rendered."""
    unknown: bool = False
    """The placed map does not say what it was rendered from, or that is gone."""

    @property
    def state(self) -> State:
        """How the written map stands to the placed one."""
        if self.broken is not None:
            return "broken"
        if self.placed is None:
            return "not rendered"
        edited = self.edits or self.other_sounds or self.unknown
        return "edited since" if edited else "as rendered"

    @property
    def judged(self) -> Routine:
        """The written map, on the deck files where they hold it. RoutineError if it is broken."""
        if self.broken is not None:
            raise self.broken
        assert self.written is not None
        return self.fits or self.written

    @property
    def judged_file(self) -> Path:
        """The map from which the files named in `judged` are to be found."""
        return self.placed_file if self.fits is not None and self.placed_file else self.file

    def playable(self) -> Routine:
        """What can be performed: the written map, else the last good placed one.

        LiveaidError, or the written map's own RoutineError, when there is neither.
        """
        if (found := self.fits or self.placed) is not None:
            return found
        if self.broken is not None:
            raise self.broken
        raise LiveaidError(
            f"{shown(self.file)}: not every cue has its place on a deck; "
            f"`liveaid render {shown(scene_folder(self.file))}` first"
        )

    @property
    def playable_file(self) -> Path:
        """The map from which the files named in `playable()` are to be found."""
        return self.placed_file or self.file

    def says(self) -> tuple[str, ...]:
        """What the performer must know, in sentences; empty when the maps say the same."""
        match self.state:
            case "broken":
                told = str(self.broken).splitlines()
                old = "" if self.placed is None else "; the last good one is used"
                return (f"The section map cannot be read{old}.", *told)
            case "not rendered":
                return (f"Not rendered yet: `liveaid render {self._scene}` makes the deck files.",)
            case "edited since":
                return self._edited()
            case _:
                return ()

    def to_json(self) -> dict[str, object]:
        """The key `map` of /status and of every report."""
        return {"state": self.state, "says": list(self.says())}

    @property
    def _scene(self) -> str:
        return shown(scene_folder(self.file))

    def _edited(self) -> tuple[str, ...]:
        render = f"`liveaid render {self._scene}` makes new ones."
        if self.fits is not None and not self.other_sounds:
            first = "The section map was edited since the render; the deck files hold it all."
        else:
            first = (
                "The section map was edited since the render; the deck files are the old ones,"
                f" and so is what is followed on stage. {render}"
            )
        told = [f"{edit}." for edit in self.edits]
        told += [f"The file of {name} has changed." for name in self.other_sounds]
        if self.unknown:
            told.append("What changed is not known: an older render does not say.")
        more = len(told) - _MOST_TOLD
        if more > 0:
            told = [*told[:_MOST_TOLD], f"And {more} more."]
        return (first, *(f"{line[0].upper()}{line[1:]}" for line in told))


def open_scene(file: Path) -> Opened:
    """The scene of a section map. A placed map that is asked for itself stands alone.

    RoutineError only when neither map can be read; Leads when one leads out of the scene.
    """
    try:
        written, broken = load_routine(file), None
    except RoutineError as error:
        written, broken = None, error
    placed_file = (
        None if scene_folder(file) != file.absolute().parent else file.parent / DECKS / MAP
    )
    placed = _placed(file, placed_file) if placed_file is not None else None
    if placed is None:
        own_seconds = written if written is not None and written.placed else None
        return Opened(file=file, written=written, broken=broken, placed=own_seconds,
                      fits=own_seconds)  # fmt: skip
    assert placed_file is not None
    if written is None:
        return Opened(
            file=file, written=None, broken=broken, placed_file=placed_file, placed=placed
        )
    return _compared(file, written, placed_file, placed)


def _placed(file: Path, placed_file: Path) -> Routine | None:
    """The placed map of a scene, where there is one that can be read and has every second."""
    if not own(file.parent, f"{DECKS}/{MAP}").is_file():
        return None
    try:
        placed = load_routine(placed_file)
    except RoutineError:
        return None
    return placed if placed.placed else None


def _compared(file: Path, written: Routine, placed_file: Path, placed: Routine) -> Opened:
    stamp = placed.rendered
    then = written
    unknown = stamp is None
    if stamp is not None and map_digest(written) != stamp.map:
        found = _rendered_from(file, stamp.map)
        unknown, then = found is None, found or written
    names = new_names(then, written)
    fits = None if unknown else carried(written, called(then, names), called(placed, names))
    return Opened(
        file=file, written=written, placed_file=placed_file, placed=placed, fits=fits,
        edits=edits(then, written), unknown=unknown,
        other_sounds=_other_sounds(file, written, placed),
    )  # fmt: skip


def _rendered_from(file: Path, digest: str) -> Routine | None:
    """The map the render was made from, if it is there and it is that one."""
    kept = own(file.parent, f"{DECKS}/{WRITTEN}")
    try:
        found = read_routine(read_bytes(kept), str(kept))  # its files are named from the scene
    except RoutineError:
        return None
    return found if map_digest(found) == digest else None


def _other_sounds(file: Path, written: Routine, placed: Routine) -> tuple[str, ...]:
    """Sounds that are not the bytes that were rendered; one that is not there plays no part."""
    rendered = placed.rendered.sounds if placed.rendered else {}
    return tuple(
        name
        for name, sound in written.sounds.items()
        if name in rendered and _digest(sound.file, file) not in (rendered[name], None)
    )


def _digest(name: str, file: Path) -> str | None:
    try:
        return content_hash(str(reach(name, file)))[0]
    except (Stray, Unreadable):
        return None
