"""A session driven by words alone, in virtual time: again, next, slower, keep, drop, note."""

from __future__ import annotations

import asyncio

import pytest

from liveaid.follow import Follower
from liveaid.practice.aim import aim_of
from liveaid.practice.ladder import Ladder
from liveaid.practice.reading import TakeReader
from liveaid.practice.rehearsal import Rehearsal
from liveaid.practice.session import Session
from liveaid.practice.store import TakeStore
from liveaid.practice.weeks_plan import PracticePlan, Turn
from liveaid.simulate import Hands, perform
from liveaid.stage.osc import Heard

TEN_MINUTES = PracticePlan(
    turns=(
        Turn(what="Mortar twins", lasts_s=240.0, why="never practised"),
        Turn(what="", lasts_s=60.0, why="hands off"),
        Turn(what="from Pestle into Mortar twins", lasts_s=240.0, why="the way into it"),
    )
)


class Booth:
    """A rehearsal, a follower, and a clock that is turned by hand; the stage's part played here."""

    def __init__(self, routine, file, plan=None):
        self.now, self.told, self.notices, self.routine = 0.0, [], [], routine
        aim = aim_of(routine, plan.turn.what if plan else "Mortar twins")
        self.store = TakeStore(file)
        self.rehearsal = Rehearsal(
            Session(aim, ladder=self.ladder(aim)), routine, store=self.store, file=file, plan=plan,
            ladder_for=self.ladder, told=self.told.append, notice=self.notices.append,
            clock=lambda: self.now, wall=lambda: 1_800_000_000.0 + self.now,
        )  # fmt: skip
        self.use(aim.routine)
        self.rehearsal.started(self)

    @staticmethod
    def ladder(aim):
        return Ladder(full_tempo_bpm=100.0, pitch_range_percent=8.0, start_part=0.96)

    def use(self, routine):
        self.followed, self.follower = routine, Follower(routine)

    def push(self):
        pass

    def status(self):
        return self.rehearsal.status()["rehearsal"]

    def say(self, word, piece=None):
        return self.rehearsal.told_word(word, piece)

    async def wait(self, seconds):
        """Nothing moves; the prompt is worked out anew now and then."""
        for _ in range(int(seconds / 0.5)):
            self.now += 0.5
            self.rehearsal.prompted(self.follower.prompt(now=self.now), self.now)
        await asyncio.sleep(0)

    async def play(self, seed, until=None):
        """What is practised played once, held before and after."""
        played = perform(self.followed, seed=seed, lead_s=1.5, hands=Hands(timing_error_s=0.008))
        begin, told_s = self.now, self.now
        for m in played.messages:
            if until is not None and m.now_s > until:
                break
            self.now = begin + m.now_s
            self.rehearsal.heard(Heard("position", m.side, m.position_s, self.now))
            self.follower.hear(m.side, position=m.position_s, now=self.now)
            if self.now - told_s >= 0.05:
                told_s = self.now
                self.rehearsal.prompted(self.follower.prompt(now=self.now), self.now)
        if until is None:
            await self.wait(4.0)
        await self.scored()

    async def scored(self):
        await self.rehearsal.keeping.settled()


@pytest.fixture
def booth(spice_row, tmp_path):
    made = []

    def make(plan=None):
        made.append(Booth(spice_row, tmp_path / "takes.sqlite", plan))
        return made[-1]

    yield make
    for one in made:
        one.store.close()


def test_ten_minutes_of_practice_go_by_plan_and_by_word(booth, tmp_path):
    async def run():
        here = booth(TEN_MINUTES)
        await here.play(1)
        assert here.status()["plan"]["what"] == "Mortar twins"
        assert here.say("keep")
        await here.play(2)
        assert here.say("drop")
        assert here.say("note")
        while here.now < 250.0:
            await here.wait(5.0)
        assert here.status()["plan"]["break"]  # the turn's time was up, and it moved on by itself
        assert here.say("next")
        assert here.status()["piece"] == "from Pestle into Mortar twins"
        assert [piece.name for piece in here.followed.pieces] == ["Pestle", "Mortar twins"]
        await here.play(3)
        while here.now < 600.0:
            await here.wait(5.0)
        assert here.status()["plan"]["what"] is None
        assert here.notices == [
            "Now a break, 1 minute: hands off.",
            "Now from Pestle into Mortar twins, 4 minutes: the way into it.",
            "All of the plan is done.",
        ]
        await here.rehearsal.stopped()
        return here

    here = asyncio.run(run())
    assert [take.number for take in here.told] == [1, 2, 3]
    with TakeReader(tmp_path / "takes.sqlite") as reader:
        rows = {row.id: row for row in reader.takes()}
        assert {number: row.said for number, row in rows.items()} == {1: "keep", 2: "drop", 3: ""}
        assert rows[3].aim == "from Pestle into Mortar twins"
        assert [note.text for note in reader.notes()] == ["note: Mortar twins"]
        assert {row.take for row in reader.pieces()} == {1, 3}


def test_again_gives_a_take_up_and_counts_in(booth):
    async def run():
        here = booth()
        await here.play(1, until=7.0)
        assert here.status()["phase"] == "take"
        assert here.say("again")
        await here.scored()
        assert here.told[0].ended == "abandoned"
        assert here.status()["phase"] == "count-in"
        await here.rehearsal.stopped()

    asyncio.run(run())


def test_slower_and_faster_are_rungs_and_next_without_a_plan_is_the_next_set_piece(booth):
    async def run():
        here = booth()
        assert here.status()["tempo"] == pytest.approx(96.0)
        assert here.say("faster")
        assert here.status()["tempo"] == pytest.approx(98.0)
        assert here.say("slower")
        assert here.say("slower")
        assert here.status()["tempo"] == pytest.approx(96.0)
        assert here.notices == [
            "Pitch -2.0 %: 98.0 BPM, 98% of full tempo.",
            "Pitch -4.0 %: 96.0 BPM, 96% of full tempo.",
        ]  # the lowest rung, and slower still: nothing to set
        assert here.say("next")
        assert here.status()["piece"] == "Lids down"
        assert not here.say("next")  # it was the last
        assert here.say("take start", 1)
        assert here.status()["piece"] == "Pestle"
        assert not here.say("keep")  # there is no take yet
        assert not here.say("step on")  # the follower's
        await here.rehearsal.stopped()

    asyncio.run(run())
