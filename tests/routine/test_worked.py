"""Small cases of a routine worked out by hand: how a needle moves, a record left, taps in a row."""

from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.routine import Routine
from liveaid.routine.acts import Act, acts_of
from liveaid.routine.arc import arc_energy
from liveaid.routine.check.act_rules import _told
from liveaid.routine.check.demands import Demand
from liveaid.routine.check.together import judge_fader
from liveaid.routine.check.variety import _strained
from liveaid.routine.layout import passage
from liveaid.routine.layout.evened import Evened
from liveaid.routine.layout.part_use import parts_laid
from liveaid.routine.model import clock_time
from liveaid.routine.movement import places_s
from liveaid.routine.scene import Leads, own, scene_folder


def act(kind, beat, beats, from_s, to_s, **more):
    return Act(
        kind=kind, side="left", piece=0, beat=beat, beats=beats, from_s=from_s, to_s=to_s, **more
    )


def test_a_lifted_needle_is_heard_nowhere_between_and_a_pushed_record_all_the_way():
    """From 2 s the needle is put at 9 s within a beat: until it is down, the record stands at 2.
    A push of 1 s is half done at half its time, being as slow at its end as at its begin."""
    lifted = [act("needle", 0.0, 1.0, 2.0, 9.0), act("hold", 1.0, 1.0, 9.0, 9.0)]
    beats = np.array([0.0, 0.5, 0.9, 1.0, 1.5])
    assert places_s(lifted, beats) == pytest.approx([2.0, 2.0, 2.0, 9.0, 9.0])
    pushed = places_s([act("push", 0.0, 1.0, 2.0, 3.0)], np.array([0.5, 1.0]))
    assert pushed == pytest.approx([2.5, 3.0])


@pytest.mark.parametrize(
    ("left_running", "left_s", "stands_s"),
    [(False, 5.0, 5.0), (True, 2.0, 2.0), (True, 5.0, None)],
    ids=["a hand left it there", "it ran to its own cue", "a hand stops it somewhere"],
)
def test_a_record_stands_where_a_hand_left_it_or_at_its_own_cue(
    monkeypatch, left_running, left_s, stands_s
):
    """The passage's cue is at 2 s. A rest of 3 s would take a running record where nothing fits."""
    monkeypatch.setattr(passage, "_fits", lambda *given: given[-1] == left_s)
    segment = SimpleNamespace(sound="tram", even=False)
    use = SimpleNamespace(segment=segment, parts=(), left=SimpleNamespace(runs=left_running))
    last = SimpleNamespace(uses=[SimpleNamespace(use=use, left_at_s=left_s)], cue_s=2.0)
    assert passage._standing(last, use, None, rest_s=3.0) == stands_s


@pytest.mark.parametrize(("openings", "judged"), [(2, 0), (3, 1)])
def test_three_openings_in_a_row_are_tapped_and_two_are_single_moves(openings, judged):
    """A quarter beat apart at 100 BPM: 0.15 s each."""
    opens = tuple((0.25 * number, 0.25 * number + 0.1) for number in range(openings))
    at = SimpleNamespace(
        acts={"left": [act("push", 0.0, 1.0, 2.0, 3.0, open=opens)]},
        piece=0,
        seconds=lambda beats: 0.6 * beats,
    )
    found = list(judge_fader(at, "left"))
    assert [one.has for one in found] == pytest.approx([0.15] * judged)


def test_the_demands_that_are_missed_by_most_are_told_and_the_rest_counted(routine, piece, works):
    """Has over needs: 1/2, .83, .6 and .9 of it, on beats 1 to 4."""
    asked = ((8.0, 4.0), (1.2, 1.0), (2.0, 1.2), (0.5, 0.45))
    demands = [
        Demand(
            kind="stroke", piece=0, beat=float(beat), side="left", says="push", needs=needs, has=has
        )
        for beat, (needs, has) in enumerate(asked)
    ]
    told = [finding.says for finding in _told(routine(piece(works(1, 2), works(1, 2))), demands)]
    assert [says.partition(":")[0] for says in told] == ["beat 1", "beat 3", "beat 2"]
    assert told[-1].endswith("has 1.00 s; 1 more like it")


def test_between_corners_a_files_seconds_and_even_ones_go_straight_and_beyond_the_ends_on():
    """One second of the file from 1 on lasts two even ones, the next two of it one."""
    ways = Evened(file_s=(1.0, 2.0, 4.0), even_s=(0.0, 2.0, 3.0))
    assert [ways.to_file(even) for even in (1.0, 2.5, 4.0, -1.0)] == [1.5, 3.0, 6.0, 0.5]
    assert [ways.to_even(file) for file in (1.5, 3.0, 6.0, 0.5)] == [1.0, 2.5, 4.0, -1.0]


def test_a_placed_map_belongs_to_the_scene_whose_decks_it_lies_with(tmp_path):
    placed, slower = tmp_path / "decks", tmp_path / "slower" / "all-80"
    for folder in (tmp_path, placed, slower):
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "routine.yaml").touch()
    assert {scene_folder(each / "routine.yaml") for each in (tmp_path, placed, slower)} == {
        tmp_path
    }
    (tmp_path / "routine.yaml").unlink()
    assert scene_folder(placed / "routine.yaml") == placed


def test_a_scenes_own_folder_is_no_file_and_its_file_no_folder(tmp_path):
    (tmp_path / "decks").mkdir()
    (tmp_path / "guide.wav").touch()
    assert own(tmp_path, "decks", folder=True) == tmp_path / "decks"
    assert own(tmp_path, "guide.wav") == tmp_path / "guide.wav"
    with pytest.raises(Leads, match="a folder would do"):
        own(tmp_path, "guide.wav", folder=True)
    with pytest.raises(Leads, match="a file of the scene's own would do"):
        own(tmp_path, "decks")


def test_a_hand_that_works_without_a_rest_is_told_by_the_bar_where_it_began(routine, piece, works):
    """From beat 9, the tenth, of bars of four: the third bar."""
    map_ = routine(piece(works(1, 2), works(1, 2)))
    found = _strained(map_, "left", SimpleNamespace(piece=0, from_beat=9), 40.0)
    assert (found.bar, found.says) == (3, "the left hand works for 40 s without a bar's rest")


def test_a_record_taken_back_on_its_part_is_back_cued_and_to_another_part_wound(routine, piece):
    """Pushed on from 1.0 to 1.3 s, then on the same again, and on what lies at .2 s."""
    places = {"a": {"from": 1.0, "to": 1.3}, "b": {"from": 0.2, "to": 0.5}}
    acts = {0: "push a for 1/2", 2: "push a for 1/2", 4: "push b for 1/2"}
    right = {"hand": "works", "from": 0.2, "to": 1.3, "acts": acts, "places": places}
    done = acts_of(routine(piece({"hand": "rests"}, right, count="clock")), 0, "right")
    assert [act.kind for act in done] == ["push", "back-cue", "push", "wind", "push"]


def test_a_record_that_runs_has_no_parts_laid_for_it(routine, piece, runs, rests):
    assert parts_laid(routine(piece(runs(1), rests)), 0, "left", {}) is None


def test_times_are_written_in_minutes_and_seconds():
    assert [clock_time(at_s) for at_s in (83.5, 600.0, 59.9996)] == ["1:23.500", "10:00", "1:00"]


def test_three_wants_make_an_arc_of_their_own_and_two_do_not():
    """Wants stand in the middle of their thirds; the usual arc has 3 in the middle, 5 at .8."""

    def middle(energies):
        wants = [{"part": "story", "energy": energy} for energy in energies]
        runs = {"hand": "runs", "at": 1.0}
        piece = {"name": "P", "bars": 4, "tempo": 100, "left": runs}
        map_ = {"title": "T", "idea": {"theme": "rain", "wants": wants}, "pieces": [piece]}
        return arc_energy(0.5, Routine.model_validate(map_))

    assert middle([5, 1, 5]) == 1.0
    assert middle([5, 1]) == 3.0
