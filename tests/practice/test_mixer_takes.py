"""The fader over a whole take: heard, kept in the file, scored, and told."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from liveaid.commands.review import command as review_command
from liveaid.follow import Follower
from liveaid.practice.aim import Aim
from liveaid.practice.fader_cuts import CutScore, FaderMove
from liveaid.practice.hand_cuts import FaderScore, deck_moves, fader_sentences
from liveaid.practice.journal import from_bytes, to_bytes
from liveaid.practice.mixer_trace import (
    FaderHeard,
    MixerHeard,
    mixer_of,
    pack_mixer,
    unpack_mixer,
)
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept
from liveaid.practice.report import review
from liveaid.practice.schema import STEPS
from liveaid.practice.score import score_of
from liveaid.practice.session import Session
from liveaid.practice.store import TakeStore
from liveaid.practice.take_keeping import score_unscored
from liveaid.practice.take_line import hand_lines
from liveaid.practice.take_score import TakeScore
from liveaid.practice.trace import TraceError, pack, trace_of
from liveaid.routine import Routine
from liveaid.routine.save import routine_text
from liveaid.simulate import Hands, Performance, perform

PLACES = {"yes": {"from": 10.0, "to": 10.3}, "hey": {"from": 11.1, "to": 11.4}}
ACTS = {
    "bar 1": "chirp yes",
    "bar 2 beat 1": "transform hey for 2",
    "bar 3 beat 1": "flare yes",
    "bar 4 beat 1": "transform hey for 2",
}


def scratch() -> Routine:
    right = {"hand": "works", "from": 10.0, "to": 11.4, "acts": ACTS, "places": PLACES}
    left = {"hand": "runs", "at": 2.0}
    piece = {"name": "P", "bars": 4, "tempo": 92, "count": "left", "right": right, "left": left}
    return Routine.model_validate({"title": "T", "pieces": [piece]})


@pytest.fixture(scope="module")
def played() -> Performance:
    hands = Hands(stroke_error_s=0.004, timing_error_s=0.004, cue_error_s=0.003, fader_error_s=0.0)
    return perform(scratch(), seed=1, lead_s=3.0, hands=hands)


def take_of(routine: Routine, played: Performance) -> tuple[list[Kept], list]:
    """The takes a session finds in what decks and mixer sent, and the prompts with their times."""
    aim = Aim(routine=routine)
    session, follower = Session(aim, count_in_bars=0), Follower(aim.routine)
    heard = sorted([*played.messages, *played.mixer], key=lambda message: message.now_s)
    found, told, told_s = [], [], float("-inf")
    for one in heard:
        if hasattr(one, "control"):
            session.hear_mixer(FaderHeard(one.now_s, one.control, one.value))
            continue
        session.hear(one.side, position_s=one.position_s, now=one.now_s)
        follower.hear(one.side, position=one.position_s, now=one.now_s)
        if one.now_s - told_s >= 0.05:
            told_s = one.now_s
            told.append((told_s, follower.prompt(now=told_s)))
            found += session.tell(told[-1][1], now=told_s)
    return [one for one in [*found, *session.finish()] if isinstance(one, Kept)], told


@pytest.fixture(scope="module")
def kept(played: Performance) -> dict[float | None, Kept]:
    """The take a session finds in what decks and mixer sent; by shifts put into the mixer's."""
    (ended,), _ = take_of(scratch(), played)
    first = ended
    return {None: replace(first, mixer=()), 0.0: first} | {
        late_s: replace(first, mixer=moved(first, late_s)) for late_s in (0.018, -0.012)
    }


def moved(take: Kept, late_s: float) -> tuple[FaderHeard, ...]:
    return tuple(m._replace(now_s=m.now_s + late_s) for m in take.mixer)


def numbers(found: object) -> Iterator[object]:
    """Every value within plain data, in order."""
    if isinstance(found, dict | list):
        for one in found.values() if isinstance(found, dict) else found:
            yield from numbers(one)
    else:
        yield found


def scored(kept: Kept) -> TakeScore:
    aim = Aim(routine=scratch())
    return score_of(aim, kept)


def test_known_shifts_come_back_within_5_ms(kept):
    """Against the count of the take itself, found from what the decks sent."""
    for late_s in (0.0, 0.018, -0.012):
        (fader,) = scored(kept[late_s]).pieces[0].faders
        assert (fader.side, fader.heard) == ("right", True)
        assert (fader.missed, fader.added) == (0, 0)
        exact = [one.off_ms for one in fader.cuts if one.room_beats == 0.0]
        assert len(exact) >= 8
        assert np.abs(np.array(exact) - 1000 * late_s).max() < 5.0, late_s
        assert fader.bias_ms == pytest.approx(1000 * late_s, abs=5.0)


def test_a_sentence_tells_the_hand_how_late_it_is(kept):
    assert scored(kept[0.0]).faders == {"right": "fader, right record: on time"}
    late, early = (scored(kept[s]).faders["right"] for s in (0.018, -0.012))
    assert late.endswith(" ms late: move it sooner")
    assert early.endswith(" ms early: move it later")
    found = scored(kept[None])
    assert found.faders == {"right": "fader, right record: not heard"}
    assert "fader, right record: not heard." in hand_lines(found)
    (fader,) = found.pieces[0].faders
    assert (fader.heard, fader.cuts, fader.bias_ms) == (False, (), None)


def test_cuts_are_told_and_leave_the_verdict_alone(kept):
    verdicts = {scored(one).pieces[0].verdict for one in kept.values()}
    assert len(verdicts) == 1


def test_a_sentence_worked_out_by_hand():
    """Exact ones 20, 30 and 10 ms late: median 20. One with room reads 90 and is not asked."""

    def made(beat: float, off_s: float, room: float = 0.0) -> CutScore:
        off_ms = 1000 * off_s
        return CutScore(opens=True, beat=beat, at_s=beat + off_s, off_ms=off_ms, room_beats=room)

    scores = [made(0, 0.020), made(1, 0.030), made(2, 0.010), made(3, 0.090, 0.5)]
    scores += [made(4, 0.090, 0.5), CutScore(opens=False, beat=5.0, at_s=None, off_ms=None)]
    scores += [CutScore(opens=False, beat=None, at_s=6.2, off_ms=None)]
    assert fader_sentences([FaderScore(side="right", heard=True, cuts=tuple(scores))]) == {
        "right": "fader, right record: 20 ms late: move it sooner, 1 left out, 1 too many"
    }


# --- which fader moves open a deck ---------------------------------------------------------------


def line(control: str, *places: tuple[float, float]) -> list[FaderHeard]:
    return [FaderHeard(at, control, value) for at, value in places]


def test_a_level_that_rises_opens_its_own_deck_only():
    """From 0 to 1 in 20 ms from 1.00 s on: half-way at 1.010 s."""
    up = line("left", (0.0, 0.0), (1.0, 0.0), (1.01, 0.5), (1.02, 1.0))
    (move,) = deck_moves(up, "left", hamster=False)
    assert move == FaderMove(pytest.approx(1.01), 1.0, 0.0)
    assert move.opens("left")
    assert deck_moves(up, "right", hamster=False) == []


def test_with_the_crossfader_turned_about_its_other_end_opens():
    to_right = line("crossfader", (0.0, 0.0), (1.0, 0.0), (1.01, 0.5), (1.02, 1.0))
    ((plain,), (turned,)) = (deck_moves(to_right, "right", hamster=h) for h in (False, True))
    assert (plain.opens("right"), turned.opens("right")) == (True, False)


def test_a_crossfader_moved_while_the_level_is_down_makes_no_cut():
    cross = line("crossfader", (0.0, 0.0), (1.0, 0.0), (1.01, 0.5), (1.02, 1.0))
    down, up = line("right", (0.0, 0.02)), line("right", (0.0, 0.5))
    assert deck_moves([*down, *cross], "right", hamster=False) == []
    assert len(deck_moves([*up, *cross], "right", hamster=False)) == 1


def test_what_is_forgotten_leaves_where_each_fader_stood():
    heard = MixerHeard()
    for message in (
        *line("crossfader", (1.0, 0.1), (2.0, 0.2), (9.0, 0.9)),
        *line("left", (9.5, 1.0)),
    ):
        heard.hear(message)
    heard.forget(5.0)
    assert heard.between(8.0, 9.2) == ((2.0, "crossfader", 0.2), (9.0, "crossfader", 0.9))
    assert heard.between(9.6, 9.9) == ((9.0, "crossfader", 0.9), (9.5, "left", 1.0))


# --- over the file of takes ----------------------------------------------------------------------


def test_the_mixer_comes_back_from_the_file_and_is_scored_from_it(kept, tmp_path):
    """Kept by a process that was stopped, scored by the next, told by the report."""
    file, store = tmp_path / "takes.sqlite", TakeStore(tmp_path / "takes.sqlite")
    store.keep(kept[0.018]).result()
    store.close()
    assert score_unscored(file, scratch()) == 1
    with TakeReader(file) as reader:
        back = reader.kept(1).mixer
        ((_, told),) = review(scratch(), reader, now=2000.0, ready_at=0.8).takes
    assert [m.control for m in back] == [m.control for m in kept[0.018].mixer]
    off = [b.now_s - m.now_s for b, m in zip(back, kept[0.018].mixer, strict=True)]
    assert np.abs(off).max() <= 1e-5
    assert told.faders == scored(kept[0.018]).faders


def test_a_take_from_before_the_mixer_was_kept_is_read_on_as_not_heard(kept, tmp_path):
    """The tables of the version before, with one take that waits for its score."""
    file, old = tmp_path / "takes.sqlite", kept[0.0]
    visits = [[0, v.from_beat, v.to_beat, v.start_s, v.end_s] for v in old.visits]
    with contextlib.closing(sqlite3.connect(file)) as db:
        db.executescript("".join(STEPS[:3]) + "PRAGMA user_version = 3;")
        db.execute(
            "INSERT INTO take (title, at, aim, ended, duration_s, tempo_part, start_s, visits,"
            " trace) VALUES ('T', 5, '', 'complete', 2, 1, ?, ?, ?)",
            (old.start_s, str(visits), pack(old.trace)),
        )
        db.commit()
    assert score_unscored(file, scratch()) == 1
    with TakeReader(file) as reader:
        assert reader.kept(1).mixer == ()
        assert reader.score(1).faders == {"right": "fader, right record: not heard"}


def test_a_waiting_take_keeps_its_mixer_and_an_older_one_has_none(kept):
    back = from_bytes(to_bytes(kept[0.0])).mixer
    assert [(m.control, m.value) for m in back] == [
        (m.control, pytest.approx(m.value, abs=1e-4)) for m in kept[0.0].mixer
    ]


@pytest.mark.parametrize(
    "wrong",
    [[[1.0, "gain", 0.5]], [[1.0, "left"]], [[float("nan"), "left", 0.5]], 5, [["a", "left", 1]]],
)
def test_what_no_mixer_told_is_refused(wrong):
    with pytest.raises(TraceError):
        mixer_of(wrong)


@pytest.mark.parametrize("data", [b"", b"other", pack(trace_of([]))[:20], pack_mixer(())[:-3]])
def test_damaged_bytes_are_refused(data):
    with pytest.raises(TraceError):
        unpack_mixer(data)
    assert unpack_mixer(None) == ()


def test_a_pick_up_and_half_bars_are_followed_and_scored():
    """2 1/2, 1 1/2 and 4 1/4 bars at 92 BPM; a pick-up before the first beat of all, and one into
    the third set piece while the left record runs on: 10 + 6 + 17 beats, none left out."""
    beat_s = 60.0 / 92.0
    ones = {"-1 1/2": "push yes for 1/2", "0": "chirp yes", "4": "transform hey for 2"}
    twos = {"-2": "push yes for 1/2", "-1 1/2": "pull for 1/2", "0": "chirp yes", "16": "baby hey"}
    pieces = [
        {
            "name": name, "bars": bars, "tempo": 92, "count": "left",
            "left": {"hand": "runs", "at": 2.0 + begins * beat_s},
            "right": {"hand": "works", "from": 10.0, "to": 11.4, "acts": acts, "places": PLACES}
            if acts else {"hand": "rests"},
        }
        for name, bars, begins, acts in (
            ("A", "2 1/2", 0, ones), ("B", 1.5, 10, None), ("C", "4 1/4", 16, twos),
        )
    ]  # fmt: skip
    routine = Routine.model_validate({"title": "T", "pieces": pieces})
    hands = Hands(stroke_error_s=0.004, timing_error_s=0.004, cue_error_s=0.003, fader_error_s=0.0)
    played = perform(routine, seed=2, lead_s=3.0, hands=hands)
    (ended,), told = take_of(routine, played)
    # The left record is heard on while the right one picks up: the fader never closes it.
    places = [m.value for m in played.mixer if m.control == "crossfader" and m.now_s > 3.1]
    assert max(places) == 0.5
    known = [(one, place) for one in told if (place := played.truth.at(one[0])) is not None]
    right = [
        prompt.piece.index == place[0] and abs(prompt.beat_position - place[1]) < 0.25
        for (_, prompt), place in known
    ]
    assert np.mean(right) > 0.99
    aim = Aim(routine=routine)
    first, _, third = score_of(aim, ended).pieces
    for piece, beats in ((first, [-1.5]), (third, [-2.0, -1.5])):
        assert (piece.missed, piece.added) == (0, 0)
        early = [act for act in piece.acts if act.beat < 0]
        assert [act.beat for act in early] == beats
        assert all(abs(act.error_ms) < 15.0 for act in early)
        (fader,) = piece.faders
        assert (fader.missed, fader.added) == (0, 0)
        assert max(abs(cut.off_ms) for cut in fader.cuts) < 5.0
    assert -1.0 in [cut.beat for cut in first.faders[0].cuts]  # the pick-up's end


def test_each_stroke_tells_its_turn_its_way_and_its_openings(kept):
    """Against what the simulator did: ways within its own reach error, openings moved as a whole
    keep their length, and both ends tell the shift."""
    report = scored(kept[0.018])
    strokes = [act for act in report.acts if act.way_turns is not None]
    assert len(strokes) >= 8
    # `yes` and `hey` are 0.3 s of record each, 1 / 6 of a turn; hands err by 15 ms of record.
    whole = [act for act in strokes if act.kind == "stroke"]
    assert all(act.way_turns == pytest.approx(0.3 / 1.8, abs=1e-3) for act in whole)
    assert max(abs(act.longer_percent) for act in whole) < 100 * 3.5 * 0.015 / 0.3
    assert max(abs(act.turn_ms) for act in whole) < 30.0
    both = [o for act in strokes for o in act.openings if o.longer_ms is not None]
    assert len(both) >= 6
    assert max(abs(opening.longer_ms) for opening in both) < 5.0
    assert max(abs(opening.opens_ms - 18.0) for opening in both) < 5.0
    (told,) = report.strokes.values()
    assert told.startswith("right hand's strokes: begun ")
    assert told.endswith(", open as long as written")
    written = json.loads(json.dumps(report.to_json()))
    back = TakeScore.from_json(written).to_json()
    # What is worked out anew from rounded figures may differ in its last digit.
    assert list(numbers(back)) == pytest.approx(list(numbers(written)), abs=0.0101)


def test_review_shows_every_stroke_of_a_take(kept, tmp_path):
    (tmp_path / "routine.yaml").write_text(routine_text(scratch()))
    store = TakeStore(tmp_path / "takes.sqlite")
    number = store.keep(kept[0.018]).result()
    store.score(number, scored(kept[0.018])).result()
    store.close()
    asked = [str(tmp_path), "--strokes", str(number)]
    plain = json.loads(CliRunner().invoke(review_command, [*asked, "--json"]).output)
    strokes = plain["pieces"][0]["strokes"]
    assert len(strokes) == plain["pieces"][0]["hands"][0]["strokes"]
    assert {"beat", "error_ms", "turn_ms", "longer_percent", "openings"} <= strokes[0].keys()
    shown = CliRunner().invoke(review_command, asked, env={"COLUMNS": "200"}).output
    told = [line.split()[2:4] for line in shown.splitlines()]
    assert told.count(["right", "stroke"]) == sum(one["kind"] == "stroke" for one in strokes)
    gone = CliRunner().invoke(review_command, [str(tmp_path), "--strokes", "99"])
    assert "take 99" in str(gone.exception)
    said = CliRunner().invoke(review_command, [str(tmp_path)], env={"COLUMNS": "300"}).output
    assert f"#{number} right hand's strokes: begun " in said
