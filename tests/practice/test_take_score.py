"""A score as it is kept: the words it is written with, and its line for the performer."""

import json
from dataclasses import replace

import pytest

from liveaid.practice.act_score import ActScore, Played
from liveaid.practice.delays import Delays
from liveaid.practice.fader_cuts import CutScore
from liveaid.practice.hand_cuts import FaderScore
from liveaid.practice.losses import bar_losses
from liveaid.practice.score import score_take
from liveaid.practice.shift import Shift
from liveaid.practice.take_line import hand_lines, take_line, timing_line
from liveaid.practice.take_score import PieceScore, ScoredTake, TakeScore
from liveaid.practice.timing import KindScore
from liveaid.practice.visits import Visit
from liveaid.routine import Routine

ACT = ActScore(
    kind="release", side="right", beat=6.5, outcome="heard", heard_s=14.0, due_s=14.0125,
    by="left", beat_s=0.6, turns_off=1,
)  # fmt: skip
PIECE = PieceScore(
    index=2, name="Mortar twins", verdict="not clean", why=("1 missed", "early"), whole=True,
    heard=5, missed=1, added=0, skipped=2, bias_ms=-12.5, spread_ms=8.0, bias_beats=-0.02,
    spread_beats=0.013, worst_beats=0.05, tempo_bpm=99.5, tempo_percent=-0.5, drift_percent=0.1,
    kinds=(KindScore(kind="release", acts=5, bias_beats=-0.02, spread_beats=0.013,
                      worst_beats=0.05),),
    acts=(ACT,),
    faders=(FaderScore(side="right", heard=True, cuts=(
        CutScore(opens=True, beat=4.0, at_s=13.0, off_ms=3.0, room_beats=0.5),
        CutScore(opens=True, beat=None, at_s=14.0, off_ms=None),)),),
    bars_before=4,
)  # fmt: skip
TAKE = TakeScore(
    verdict="not clean", run_through=False, skipped_pieces=(1,), repeated_pieces=(2,), heard=5,
    missed=1, added=0, skipped=2, bias_ms=-12.5, spread_ms=8.0, bias_beats=-0.02,
    spread_beats=0.013, worst_beats=0.05,
    shifts=(Shift(deck="left", against="click", late_ms=20.0, acts=9, named=True),),
    shift="All through.", delays=Delays(left_s=0.02, right_s=0.03, click_s=0.01, measured=True),
    faders={"right": "fader, right record: on time"}, advice={"left": "left hand: let go sooner"},
    pieces=(PIECE, replace(PIECE, index=3, name="Lids", why=("early",))),
)  # fmt: skip


def test_what_is_written_is_read_back_the_same():
    assert TakeScore.from_json(json.loads(json.dumps(TAKE.to_json()))) == TAKE


def test_figures_are_written_rounded_by_their_unit_and_none_where_they_are_not_finite():
    act = replace(ACT, beat=6.50004, heard_s=14.00004, beat_s=0.60000049, longer_percent=9.96)
    piece = replace(PIECE, acts=(act,), tempo_bpm=99.5049, drift_percent=float("inf"))
    take = replace(TAKE, bias_ms=-12.5049, spread_beats=0.01304, pieces=(piece,)).to_json()
    assert (take["bias_ms"], take["spread_beats"]) == (-12.5, 0.013)
    (written,) = take["pieces"]
    assert (written["tempo"], written["drift_percent"]) == (99.5, None)
    event = written["events"][0]
    assert [event[name] for name in ("beat", "heard_s", "beat_s", "error_ms", "error_beats")] == [
        6.5, 14.0, 0.6, -12.46, -0.0208,
    ]  # fmt: skip
    assert event["longer_percent"] == 10.0


def test_the_words_that_pages_and_scripts_read_stay():
    """README's and the pages' own: a change here breaks whoever reads --json."""
    take = TAKE.to_json()
    (piece, _) = take["pieces"]
    assert (take["clean"], take["bias_ms"], take["missed"]) == (False, -12.5, 1)
    assert take["delays"]["says"] == "delays taken out: left 20 ms, right 30 ms, click 10 ms"
    assert (take["delays"]["left_ms"], take["shifts"][0]["late_ms"]) == (20.0, 20.0)
    assert (piece["clean"], piece["tempo"], piece["index"]) == (False, 99.5, 2)
    assert (piece["events"][0]["error_ms"], piece["events"][0]["side"]) == (-12.5, "right")
    assert (piece["judged"][0]["kind"], piece["judged"][0]["acts"]) == ("release", 5)
    assert piece["faders"][0]["cuts"][0]["off_ms"] == 3.0
    assert not {"acts", "kinds", "tempo_bpm"} & piece.keys()


def test_an_act_of_an_older_file_keeps_the_error_it_was_written_with():
    """Its times are rounded to a tenth of a millisecond, and a beat's length is not in it: 30.04 ms
    of .05 beats are .6008 s."""
    older = TAKE.to_json()
    act = older["pieces"][0]["events"][0]
    del act["beat_s"]
    act.update(heard_s=14.03, due_s=14.0, error_ms=30.04, error_beats=0.05)
    back = TakeScore.from_json(older)
    assert back.acts[0].beat_s == pytest.approx(0.6008)
    again = back.to_json()["pieces"][0]["events"][0]
    assert (again["error_ms"], again["error_beats"], again["heard_s"]) == (30.04, 0.05, 14.03)


def test_a_word_of_a_later_version_is_left_out():
    later = {**TAKE.to_json(), "colour": "green"}
    later["pieces"][0]["events"][0]["weight"] = 3
    assert TakeScore.from_json(later) == TAKE


def test_a_stretch_is_told_in_the_places_beats_and_bars_of_the_whole():
    """It begins with bar 3 of the fourth set piece, whose four strokes are left out; then come the
    fifth and the sixth."""
    routine = Routine.model_validate({"title": "T", "pieces": [
        {"name": name, "bars": 2, "tempo": 100} for name in "ABC"]})  # fmt: skip
    strokes = tuple(
        ActScore(kind="stroke", side="left", beat=float(beat), by="right", beat_s=0.6,
                 outcome="missed" if beat < 4 else "heard", due_s=10 + 0.6 * beat,
                 heard_s=None if beat < 4 else 10 + 0.6 * beat)
        for beat in range(8)
    )  # fmt: skip
    cuts = (CutScore(opens=True, beat=1.0, at_s=10.6, off_ms=0.0),
            CutScore(opens=False, beat=None, at_s=11.0, off_ms=None))  # fmt: skip
    fader = FaderScore(side="left", heard=True, cuts=cuts)

    def played(piece, acts=()):
        faders = (fader,) if acts else ()
        visit = Visit(piece, 0.0, 8.0, 10.0 + 4.8 * piece, 14.8 + 4.8 * piece)
        return Played(visit, acts, None, faders=faders)

    def scored(*visits):
        return score_take(routine, visits, first=3, gone_beats=(8, 0, 0))

    found = scored(played(0, strokes), played(1), played(2))
    first = found.pieces[0]
    assert [piece.index for piece in found.pieces] == [3, 4, 5]
    assert (first.bars_before, first.why) == (2, ("bar 3 left out",))
    assert [act.beat for act in first.acts] == [float(beat) for beat in range(8, 16)]
    assert [cut.beat for cut in first.faders[0].cuts] == [9.0, None]
    assert (found.run_through, found.skipped_pieces, found.repeated_pieces) == (True, (), ())
    left_out = scored(played(0), played(2), played(2))
    assert (left_out.run_through, left_out.verdict) == (False, "not clean")
    assert (left_out.skipped_pieces, left_out.repeated_pieces) == ((4,), (5,))


def test_a_scored_take_tells_its_own_words_beside_the_scores():
    take = ScoredTake(number=7, ended="complete", start_s=2.00004, tempo_part=0.94321,
                      counted_in=True, said="keep", score=TAKE)  # fmt: skip
    found = take.to_json()
    assert [found[name] for name in ("number", "ended", "start_s", "tempo_part", "said")] == [
        7, "complete", 2.0, 0.9432, "keep",
    ]  # fmt: skip
    assert (found["counted_in"], found["verdict"]) == (True, "not clean")


def test_one_take_in_one_line():
    assert take_line(TAKE, number=12) == (
        "#12 not clean: 12 ms early, spread 8 ms, 1 missed"
        " (Mortar twins: 1 missed, early; Lids: early) All through."
    )
    assert hand_lines(TAKE) == ["left hand: let go sooner.", "fader, right record: on time."]
    untimed = replace(PIECE, index=4, verdict="not judged", why=("nothing to time",))
    mixed = replace(TAKE, pieces=(untimed, *TAKE.pieces))
    assert mixed.why == ("Mortar twins: 1 missed, early", "Lids: early")
    assert replace(mixed, verdict="not judged").why == ("nothing to time",)
    assert replace(TAKE, pieces=(PIECE,)).why == ("1 missed, early",)
    plain = replace(TAKE, shift="", pieces=(), spread_ms=None, missed=0, skipped=0, bias_ms=4.0)
    assert take_line(plain, ended="abandoned") == "given up: 4 ms late"
    assert take_line(replace(plain, verdict="clean"), ended="abandoned") == "clean: 4 ms late"


@pytest.mark.parametrize(
    ("bias_ms", "words"),
    [(None, "no act to time"), (0.4, "on time"), (-0.4, "on time"), (0.6, "1 ms late"),
     (-7.2, "7 ms early")],
)  # fmt: skip
def test_early_late_or_on_time(bias_ms, words):
    assert timing_line(bias_ms) == words


def test_losses_bar_by_bar():
    """Mortar twins' bars of four from beat 0: acts 10 ms early on beat 1 and 30 ms late on beat 2
    are 20 ms off in bar 1; one missed of two in bar 2 is half; what is added counts nowhere."""
    routine = Routine.model_validate({"title": "T", "pieces": [
        {"name": "A", "bars": 1, "tempo": 90}, {"name": "B", "bars": 2, "tempo": 90}]})  # fmt: skip

    def act(beat, outcome, error_ms=0.0):
        return replace(ACT, beat=beat, outcome=outcome, heard_s=14.0125 + error_ms / 1000)

    acts = (act(1.0, "heard", -10.0), act(2.0, "heard", 30.0), act(4.0, "heard", 5.0),
            act(5.0, "missed"), act(6.0, "added"))  # fmt: skip
    piece = replace(PIECE, index=1, name="B", acts=acts)
    renamed = replace(PIECE, index=0, name="another", acts=acts)
    off, missed, counted = bar_losses(routine, [replace(TAKE, pieces=(piece, renamed))])
    assert off.tolist() == pytest.approx([0.0, 20.0, 5.0])
    assert missed.tolist() == [0.0, 0.0, 0.5]
    assert counted.tolist() == [0.0, 2.0, 2.0]
