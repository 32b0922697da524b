"""Deck files for tempos the pitch fader does not reach: which are made, what is in them, when to
load which. A platter at pitch p per cent plays 1 + p / 100 as fast (IEC 60098: speed is in
proportion), which is all the arithmetic here."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from liveaid.commands import slower_decks
from liveaid.commands.slower_decks import with_slower_decks
from liveaid.errors import UsageError
from liveaid.practice.aim import aim_of, played_in
from liveaid.practice.ladder import Ladder
from liveaid.practice.rehearsal import Rehearsal
from liveaid.practice.score import score_of
from liveaid.practice.session import Session
from liveaid.practice.slower import aim_of_kept, deck_parts, slower, slower_folder, to_load
from liveaid.practice.stretch import stretch
from liveaid.render.render import render_scene
from liveaid.routine import load_routine, save_routine
from liveaid.routine.load import read_routine
from liveaid.routine.model import Stamp
from liveaid.routine.opened import open_scene
from liveaid.simulate import STEADY, perform

RATE = 22050
MAP = """
title: Stalls
sounds:
  ticks: {file: sounds/ticks.wav, kind: instrumental, tempo: 100, first_beat: 0, licence: CC0-1.0}
  call: {file: sounds/call.wav, kind: a cappella, licence: CC0-1.0,
         parts: {hey: {from: 0.1, to: 0.4}}}
pieces:
  - name: Lids
    bars: 2
    tempo: 100
    count: left
    left: {hand: runs, sound: ticks}
    right: {hand: works, sound: call, acts: {0: push hey for 1/2, 2: push hey for 1/2}}
"""


_AT = "from: 5.4, to: 5.7, places: {hey: {from: 5.4, to: 5.7}}, acts: {0"
STAGE = read_routine(
    MAP.replace("sound: ticks}", "sound: ticks, at: 1.8}").replace("acts: {0", _AT).encode()
)
"""The same as placed on the stage's deck files, by hand: 0.3 s of the call are 0.3 s of record."""


def test_which_deck_files_reach_a_start_by_hand():
    """8 %: the stage's reach down to 0.92. 0.92 / 1.08 = 0.8519, so 0.86, which reaches 0.9288 and
    0.7912; 0.7912 / 1.08 = 0.7326, so 0.74, which reaches 0.6808."""
    assert deck_parts(0.95, 8.0) == (1.0,)
    assert deck_parts(0.92, 8.0) == (1.0,)
    assert deck_parts(0.90, 8.0) == (1.0, 0.90)
    assert deck_parts(0.70, 8.0) == (1.0, 0.86, 0.74)
    assert deck_parts(0.70, 50.0) == (1.0,)


def test_each_rung_is_within_the_fader_on_its_deck_files():
    ladder = Ladder(full_tempo_bpm=100.0, pitch_range_percent=8.0, start_part=0.70,
                    decks_parts=deck_parts(0.70, 8.0))  # fmt: skip
    assert (ladder.part, ladder.decks_part) == (0.70, 0.74)
    assert ladder.pitch_percent == pytest.approx(100 * (0.70 / 0.74 - 1))  # -5.4
    assert not ladder.held_up
    used = []
    for _ in ladder.parts:
        assert abs(ladder.pitch_percent) <= 8.0 + 1e-9
        assert ladder.decks_part * (1 + ladder.pitch_percent / 100) == pytest.approx(ladder.part)
        used.append(ladder.decks_part)
        ladder = ladder.stepped(1)
    assert sorted(set(used)) == [0.74, 0.86, 1.0]
    assert used == sorted(used)


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    """A click a beat at 100 BPM, and a tone to scratch; deck files made for 75 %."""
    folder = tmp_path_factory.mktemp("stalls")
    (folder / "sounds").mkdir()
    (folder / "routine.yaml").write_text(MAP)
    t = np.arange(int(0.05 * RATE)) / RATE
    ticks = np.zeros(int(9.6 * RATE))
    for beat in range(16):
        at = round(beat * 0.6 * RATE)
        ticks[at : at + len(t)] += 0.5 * np.sin(2 * np.pi * 880 * t) * np.exp(-80 * t)
    soundfile.write(folder / "sounds/ticks.wav", ticks, RATE)
    tone = 0.3 * np.sin(2 * np.pi * 440 * np.arange(RATE // 2) / RATE)
    soundfile.write(folder / "sounds/call.wav", tone, RATE)
    written = load_routine(folder / "routine.yaml")
    what = stretch(written, "Lids")
    render_scene(folder / "routine.yaml", with_words=lambda r: slower(r, what, 0.75),
                 into=slower_folder("Lids", 0.75))  # fmt: skip
    return folder


@pytest.fixture
def on_slow(scene):
    """The aim on the deck files made for 75 %, as a rehearsal has it."""
    aim = aim_of(STAGE, "Lids")
    placed = load_routine(scene / "slower/lids-75/routine.yaml")
    return replace(aim, decks={1.0: aim.routine, 0.75: placed}).on_decks(0.75)


def test_the_slower_files_turn_at_the_slower_tempo_and_keep_their_key(scene):
    """A beat of 0.6 s lasts 0.8 s at 75 %; 880 Hz stay 880 Hz."""
    placed = load_routine(scene / "slower/lids-75/routine.yaml")
    (piece,) = placed.pieces
    assert piece.tempo_bpm == pytest.approx(75)
    sound, rate = soundfile.read(scene / "slower/lids-75/left.wav", always_2d=True)
    first = piece.left.at_s
    loud = np.abs(sound[:, 0])
    for beat in range(1, 8):
        at = first + 0.8 * beat
        around = loud[round((at - 0.1) * rate) : round((at + 0.1) * rate)]
        onset = at - 0.1 + int(np.flatnonzero(around > 0.3 * around.max())[0]) / rate
        assert onset == pytest.approx(at, abs=0.006)
    tick = sound[round((first + 0.8) * rate) : round((first + 0.84) * rate), 0]
    spectrum = np.abs(np.fft.rfft(tick * np.hanning(len(tick)), 1 << 16))
    assert np.argmax(spectrum) * rate / (1 << 16) == pytest.approx(880, rel=0.03)


def test_what_is_scratched_keeps_its_way_on_the_record(scene):
    """0.3 s of the call lie on 0.3 s of the slower record, as on the stage's."""
    place = load_routine(scene / "slower/lids-75/routine.yaml").pieces[0].right.places["hey"]
    assert place.to_s - place.from_s == pytest.approx(0.3, abs=0.002)


def test_a_take_on_slower_files_is_judged_by_its_own_tempo(scene, on_slow, rehearsed):
    """At pitch 0 on files made for 75 % it is not too slow; it counts as a take at 75 %."""
    performance = perform(on_slow.routine, seed=2, lead_s=2.0, hands=STEADY)
    messages = [(m.now_s, m.side, m.position_s) for m in performance.messages]
    (ended,) = rehearsed(on_slow, messages, count_in_bars=0)
    kept = replace(ended, tempo_part=0.75, counted_in_s=2.0)
    (piece,) = score_of(on_slow, kept).pieces
    assert piece.tempo_bpm == pytest.approx(75, abs=1)
    assert abs(piece.tempo_percent) < 1.5
    assert (kept.tempo_part, kept.decks_part) == (0.75, 0.75)
    assert kept.played == played_in(aim_of(STAGE, "Lids"))  # the same set piece, however slow
    again = aim_of_kept(STAGE, kept, scene)
    assert again.routine == on_slow.routine
    assert aim_of_kept(STAGE, kept, scene / "none") is None


def test_faster_asks_for_the_next_deck_files_and_follows_them(on_slow, tmp_path):
    ladder = Ladder(full_tempo_bpm=100.0, pitch_range_percent=8.0, start_part=0.80,
                    step_part=0.10, decks_parts=(1.0, 0.75))  # fmt: skip
    followed = []
    session = Session(on_slow, ladder=ladder)
    rehearsal = Rehearsal(session, on_slow.asked, store=None, file=tmp_path / "none")

    class Stage:
        def use(self, routine):
            followed.append(routine)

        def push(self):
            pass

    rehearsal.started(Stage())
    assert session.tempo_bpm == pytest.approx(80)
    assert rehearsal.status()["rehearsal"]["decks"] == (
        "load slower/lids-75/left.wav and right.wav, made for 75% of full tempo"
    )
    rehearsal.told_word("faster", None)
    rehearsal.told_word("faster", None)
    assert session.ladder.part == pytest.approx(1.0)
    assert rehearsal.status()["rehearsal"]["decks"] == to_load("Lids", 1.0)
    assert followed == [on_slow.asked]
    assert session.tempo_bpm == pytest.approx(100)


def test_what_can_not_be_made_slower_is_told(scene):
    aim, found = aim_of(STAGE, "Lids"), open_scene(scene / "routine.yaml")
    with pytest.raises(UsageError, match="10 BPM; 20 or more would do"):
        with_slower_decks(aim, found, 0.10)
    bare = replace(found, written=found.written.model_copy(update={"sounds": {}}))
    with pytest.raises(UsageError, match="names no sounds to make"):
        with_slower_decks(aim, bare, 0.70)
    assert with_slower_decks(aim, found, 0.95) == aim  # the fader reaches it


def test_just_the_slowest_tempo_of_a_map_can_be_made(monkeypatch):
    """Of the slowest of its set pieces: 20 % of 100 BPM are 20, of 96 they are 19.2."""
    aim = aim_of(STAGE, "Lids")
    found = SimpleNamespace(judged=STAGE)
    slower_decks._refuse(aim, found, 0.20)
    (piece,) = aim.routine.pieces
    pieces = (piece, piece.model_copy(update={"tempo_bpm": 96.0}))
    mixed = replace(aim, routine=aim.routine.model_copy(update={"pieces": pieces}))
    with pytest.raises(UsageError, match=r"--start-at 20%: 19 BPM; 20 or more would do"):
        slower_decks._refuse(mixed, found, 0.20)


def test_deck_files_are_made_for_every_part_and_the_slowest_are_begun_with(monkeypatch):
    """70 % within 8 %: the stage's own, those for 86 %, and those for 74 %."""
    made = []

    def make(found, name, part):
        made.append((name, part))
        return STAGE.model_copy(update={"title": f"{part}"})

    monkeypatch.setattr(slower_decks, "_made", make)
    aim = aim_of(STAGE, "Lids")
    whole = with_slower_decks(aim, SimpleNamespace(judged=STAGE), 0.70)
    assert made == [("Lids", 0.86), ("Lids", 0.74)]
    assert {part: decks.title for part, decks in whole.decks.items()} == {
        1.0: "Stalls", 0.86: "0.86", 0.74: "0.74",
    }  # fmt: skip
    assert whole.routine.title == "0.74"
    assert with_slower_decks(replace(aim, piece=""), None, 0.70).decks == aim.decks


STAMP = {"map": "a" * 64, "sounds": {"ticks": "1" * 40, "call": "2" * 40}}


@pytest.mark.parametrize(
    ("made_from", "stage", "state", "kept"),
    [
        (STAMP, STAMP, "as rendered", True),
        (STAMP | {"sounds": {"ticks": "1" * 40}}, STAMP, "as rendered", True),  # it plays one alone
        (STAMP | {"sounds": {"ticks": "3" * 40}}, STAMP, "as rendered", False),
        (STAMP | {"map": "b" * 64}, STAMP, "as rendered", False),
        (STAMP, STAMP, "edited since", False),
        (None, STAMP, "as rendered", False),
        (STAMP, None, "as rendered", False),
    ],
)
def test_slower_deck_files_are_kept_while_they_are_the_maps_own(
    tmp_path, made_from, stage, state, kept
):
    def stamped(stamp):
        return STAGE.model_copy(update={"rendered": stamp and Stamp.model_validate(stamp)})

    file = tmp_path / "routine.yaml"
    found = SimpleNamespace(placed=stamped(stage), state=state)
    assert slower_decks._there(file, found) is None  # there is none yet
    save_routine(stamped(made_from), file)
    assert (slower_decks._there(file, found) is not None) is kept
    found.placed = None
    assert slower_decks._there(file, found) is None


def test_what_is_there_is_taken_and_what_is_not_is_rendered(monkeypatch, tmp_path):
    """Into the scene's own folder for so much; read back from there."""
    rendered, there = [], [None]
    found = SimpleNamespace(file=tmp_path / "routine.yaml", judged=STAGE)
    file = tmp_path / slower_decks.slower_folder("Lids", 0.74) / "routine.yaml"

    def render(scene, *, progress, with_words, known, into):
        rendered.append((scene, with_words("the map"), known, into))
        file.parent.mkdir(parents=True)
        save_routine(STAGE, file)

    def looked(at, scene):
        assert (at, scene) == (file, found)
        return there[0]

    monkeypatch.setattr("liveaid.render.render.render_scene", render)
    monkeypatch.setattr("liveaid.shelf.database.shelf_for", lambda file: f"shelf of {file.name}")
    monkeypatch.setattr("liveaid.shelf.for_map.studies_on", lambda shelf: f"studies on {shelf}")
    monkeypatch.setattr(slower_decks, "_there", looked)
    monkeypatch.setattr(slower_decks, "slower", lambda routine, what, part: (routine, part))
    assert slower_decks._made(found, "Lids", 0.74).title == STAGE.title
    assert rendered == [(
        found.file, ("the map", 0.74), "studies on shelf of routine.yaml",
        slower_decks.slower_folder("Lids", 0.74),
    )]  # fmt: skip
    there[0] = "as it is"
    assert slower_decks._made(found, "Lids", 0.74) == "as it is"
    assert len(rendered) == 1
