"""The scene where the hands speak, in every room: judged, rendered, played, followed, scored."""

from __future__ import annotations

from collections import Counter

import pytest

from liveaid.demo.market import write_sounds
from liveaid.follow import Follower
from liveaid.practice.assess import assess
from liveaid.practice.trace import trace_of
from liveaid.practice.visits import Visit
from liveaid.render.render import render_scene
from liveaid.routine import SIDES, load_routine
from liveaid.routine.acts import acts_of
from liveaid.routine.check import check
from liveaid.routine.coming import Coming, calls
from liveaid.routine.scene import map_file
from liveaid.simulate import perform


@pytest.fixture(scope="module")
def alley(tmp_path_factory):
    folder = tmp_path_factory.mktemp("alley")
    (folder / "routine.yaml").write_bytes(map_file("spice-alley").read_bytes())
    write_sounds(folder / "sounds")
    render_scene(folder / "routine.yaml")
    return load_routine(folder / "decks" / "routine.yaml"), folder


def test_the_sentence_has_eight_words_of_three_sounds_and_the_juggle_two_patterns(alley):
    routine, _ = alley
    words = [call for call in calls(routine, 1) if call.part]
    assert len(words) >= 8
    assert len({act.sound for act in acts_of(routine, 1, "right")}) == 3
    figures = {act.figure for side in SIDES for act in acts_of(routine, 6, side) if act.figure}
    assert figures == {"trade", "come-back"}
    notes = [act.figure for act in acts_of(routine, 3, "right") if act.kind == "let go"]
    assert notes == ["A4", "C5", "D5", "C5", "D5", "E5", "A4"]


def test_nothing_of_it_is_beyond_two_hands(alley):
    routine, _ = alley
    assert [f.says for f in check(routine) if f.severity == "error"] == []


def test_it_is_followed_and_scored(alley):
    routine, _ = alley
    played = perform(routine, seed=3, truth_hz=20.0)
    follower, next_s, right, moments = Follower(routine), 0.0, 0, 0
    for message in played.messages:
        while next_s < message.now_s:
            true = played.truth.at(next_s)
            prompt = follower.prompt(now=next_s)
            moments += true is not None
            right += bool(true and prompt.piece and prompt.piece.index == true[0])
            next_s += 0.25
        follower.hear(message.side, position=message.position_s, now=message.now_s)
    assert right / moments > 0.97
    trace = trace_of([(m.now_s, m.side, m.position_s) for m in played.messages])
    visits = [
        Visit(leg.index, 0.0, float(routine.beats(leg.index)), leg.start_s, leg.end_s)
        for leg in played.truth.legs
        if leg.piece
    ]
    found = Counter(act.outcome for one in assess(routine, trace, visits) for act in one.acts)
    planned = sum(e.planned_s is not None for e in played.events)
    assert found["heard"] >= 0.95 * planned
    assert found["added"] == 0


def test_its_acts_come_in_words_and_on_the_sheet(alley):
    routine, folder = alley
    assert Coming(routine).after(0, 14.0)[0]["says"] == "right: baby hey"
    sheet = (folder / "decks" / "sheet.html").read_text()
    assert sheet.count('<svg class="acts"') == 2 + 1 + 2 * 2  # rows of four bars
