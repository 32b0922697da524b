"""A take heard again from its positions: what a tape would hold, worked out from the deck files.

The left deck file is a steady 500 Hz, the right one 800 Hz. A record at speed v sounds v times as
high (Doppler on a record: frequency is in proportion to its speed, any physics handbook).
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from liveaid.commands.hearing import _read, hear_take
from liveaid.errors import UsageError
from liveaid.practice.mixer_trace import FaderHeard
from liveaid.practice.reading import TakeReader
from liveaid.practice.records import Kept
from liveaid.practice.slower import slower_folder
from liveaid.practice.store import TakeStore
from liveaid.practice.take_places import let_through, places_at
from liveaid.practice.trace import DeckTrace
from liveaid.routine import Routine
from liveaid.routine.acts import acts_of
from liveaid.routine.movement import places_s

RATE = 8000
ROUTINE = Routine.model_validate({"title": "Stalls", "pieces": [{
    "name": "Lids", "bars": 2, "tempo": 100, "left": {"hand": "runs", "at": 1},
    "right": {"hand": "works", "from": 1, "to": 2, "places": {"hey": {"from": 1, "to": 1.5}},
              "acts": {0: "push hey for 1", 2: "pull over 0.5 s for 2"}},
}]})  # fmt: skip


def moves(rng=None):
    """Left: 2 s at full speed, 2 s at half. Right: 2 s still, then backward at full speed."""
    t = np.arange(0.0, 4.0, 0.008)
    left = np.where(t < 2.0, 1.0 + t, 3.0 + 0.5 * (t - 2.0))
    right = np.where(t < 2.0, 4.0, 4.0 - (t - 2.0))
    late = t if rng is None else t + rng.exponential(0.001, len(t))
    return {"left": DeckTrace(late, left), "right": DeckTrace(late, right)}


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stalls")
    (folder / "decks").mkdir()
    t = np.arange(5 * RATE) / RATE
    for side, hz in (("left", 500.0), ("right", 800.0)):
        sound = np.repeat(0.25 * np.sin(2 * np.pi * hz * t)[:, np.newaxis], 2, axis=1)
        soundfile.write(folder / "decks" / f"{side}.wav", sound, RATE, subtype="PCM_24")
    mixer = (FaderHeard(0.0, "crossfader", 0.5), FaderHeard(3.0, "crossfader", 0.0))
    store = TakeStore(folder / "takes.sqlite")
    for faders in ((), mixer):
        store.keep(Kept(title="Stalls", at=1.0, aim="", ended="complete", duration_s=4.0,
                        tempo_part=1.0, start_s=0.0, counted_in_s=None, visits=(),
                        trace=moves(np.random.default_rng(1)), mixer=faders)).result()  # fmt: skip
    store.close()
    return folder


def tones(sound, begin_s, end_s):
    """Level of each whole hertz from 1 to 1000 in a stretch, in parts of a full 0.25 sine."""
    part = sound[round(begin_s * RATE) : round(end_s * RATE), 0]
    window = np.hanning(len(part))
    spectrum = np.abs(np.fft.rfft(part * window, 4 * RATE)) / (0.25 * window.sum() / 2)
    return spectrum[4:4001:4]


def loudest(sound, begin_s, end_s):
    levels = tones(sound, begin_s, end_s)
    return {
        int(hz) + 1 for hz in np.flatnonzero(levels > 0.3)
        if levels[hz] == levels[max(0, hz - 20) : hz + 21].max()
    }  # fmt: skip


@pytest.fixture(scope="module")
def heard(scene):
    """What the take without a mixer sounded like, its rate, and what was said of it."""
    with TakeReader(scene / "takes.sqlite") as reader:
        said = hear_take(ROUTINE, scene, reader, 1, scene / "take.wav")
    return (*soundfile.read(scene / "take.wav", always_2d=True), said)


def test_each_record_sounds_as_high_as_it_was_fast_both_ways(heard):
    sound, rate, said = heard
    assert "no mixer was heard" in said
    assert (rate, len(sound)) == (RATE, pytest.approx(4 * RATE, abs=0.01 * RATE))
    assert all(abs(hz - 500) <= 2 for hz in loudest(sound, 0.2, 1.8))  # the right one stands
    assert {round(hz / 10) for hz in loudest(sound, 2.2, 3.8)} == {25, 80}


def test_messages_that_tremble_do_not_make_a_tone_tremble(heard):
    """1 ms of jitter heard as it comes would put a tenth of the tone beside it."""
    levels = tones(heard[0], 0.2, 1.8)
    beside = np.delete(levels, np.arange(490, 511))
    assert np.sqrt((beside**2).sum()) < 0.03 * np.sqrt((levels**2).sum())


def test_a_shut_crossfader_lets_nothing_through(scene, tmp_path):
    """In the middle both are heard; from 3 s on, at the left end, the right deck is not."""
    out = tmp_path / "take.wav"
    with TakeReader(scene / "takes.sqlite") as reader:
        said = hear_take(ROUTINE, scene, reader, 2, out)
    assert "no mixer" not in said
    sound, _ = soundfile.read(out, always_2d=True)
    assert {round(hz / 10) for hz in loudest(sound, 2.2, 2.9)} == {25, 80}
    assert {round(hz / 10) for hz in loudest(sound, 3.1, 3.9)} == {25}


def test_how_far_a_fader_lets_a_deck_through_by_hand():
    """Shut up to 3 % of the way, open from 13 % on: 8 % is half. Hamster is the other way round."""
    told = (FaderHeard(0.0, "crossfader", 0.08), FaderHeard(1.0, "left", 0.5))
    at = np.array([0.5, 2.0])
    assert let_through(told, "right", at, hamster=False) == pytest.approx([0.5, 0.5])
    assert let_through(told, "left", at, hamster=False) == pytest.approx([0.5, 0.5])
    assert let_through(told, "right", at, hamster=True) == pytest.approx([1.0, 1.0])


def test_a_record_moved_as_written_is_where_the_guide_has_it():
    """The map's own movement sent as messages with 0.5 ms of jitter: places within 2 ms of record
    of those that the guide mix reads, a fifth of what a frame of 8 ms moves."""
    rng = np.random.default_rng(3)
    acts, beat_s = acts_of(ROUTINE, 0, "right"), 0.6
    t = np.arange(0.0, 4.0, 0.005)
    x = places_s(acts, t / beat_s)
    deck = DeckTrace(t + rng.exponential(0.0005, len(t)), x)
    at = np.arange(0.1, 3.9, 0.001)
    found = places_at(deck, at, pitch_range_percent=8.0)
    off = np.abs(found - places_s(acts, (at - 0.0005) / beat_s))
    assert np.quantile(off, 0.95) < 0.002


def test_without_deck_files_it_says_what_makes_them(scene, tmp_path):
    (tmp_path / "decks").mkdir()
    with (
        TakeReader(scene / "takes.sqlite") as reader,
        pytest.raises(UsageError, match="`liveaid render` makes it"),
    ):
        hear_take(ROUTINE, tmp_path, reader, 1, tmp_path / "x.wav")


def ramp_take(decks_part, right, mixer):
    """The left deck at full speed from second 1 on for two seconds."""
    t = 10.0 + np.arange(257) / 128
    return Kept(title="Stalls", at=1.0, aim="Lids", ended="complete", duration_s=2.0,
                tempo_part=1.0, decks_part=decks_part, start_s=10.0, counted_in_s=None, visits=(),
                mixer=mixer, trace={"left": DeckTrace(t, t - 9.0), "right": right})  # fmt: skip


def ramps(folder):
    """Deck files that hold a tenth of their own second: what is heard is where the record was."""
    folder.mkdir(parents=True)
    at_s = np.arange(5 * 1000) / 1000
    for side in ("left", "right"):
        ramp = np.stack([0.1 * at_s, 0.05 * at_s], axis=1)
        soundfile.write(folder / f"{side}.wav", ramp, 1000, subtype="PCM_24")


NOBODY = DeckTrace(np.empty(0), np.empty(0))
LONGER = DeckTrace(9.5 + np.arange(385) / 128, np.full(385, 4.0))
OPEN = "; no mixer was heard, so both decks stand open throughout"


@pytest.mark.parametrize(
    ("decks_part", "right", "mixer", "begins_s", "lasts_s", "through"),
    [(1.0, NOBODY, (), 10.0, 2.0, OPEN),
     (0.8, LONGER, (FaderHeard(0.0, "crossfader", 0.0),), 9.5, 3.0, "")],
)  # fmt: skip
def test_what_is_heard_is_the_deck_file_it_was_played_on_where_the_record_was(
    tmp_path, decks_part, right, mixer, begins_s, lasts_s, through
):
    """At 10 + t the left record is at 1 + t for 2 s: heard are .1 and .05 of it, from the first
    message of either deck to the last. The second time the right one is heard longer, shut out."""
    ramps(tmp_path / ("decks" if decks_part == 1.0 else slower_folder("Lids", 0.8)))
    kept = ramp_take(decks_part, right, mixer)
    reader = SimpleNamespace(kept={7: kept}.get)
    said = hear_take(ROUTINE, tmp_path, reader, 7, tmp_path / "take.wav")
    assert said == f"{tmp_path / 'take.wav'}: take 7, {lasts_s} s{through}"
    sound, rate = soundfile.read(tmp_path / "take.wav")
    assert (rate, len(sound)) == (1000, 1000 * lasts_s)
    first = round(1000 * (10.0 - begins_s))
    heard = sound[first : first + 2000][20:-20]  # a cut's own two milliseconds at either end
    place = 1.0 + np.arange(2000)[20:-20] / 1000
    assert heard[:, 0] == pytest.approx(0.1 * place, abs=1e-4)
    assert heard[:, 1] == pytest.approx(0.05 * place, abs=1e-4)


@pytest.mark.parametrize(
    ("frame", "count", "heard"),
    [
        (0, 3, [1, 2, 3]), (-2, 4, [0, 0, 1, 2]), (3, 4, [4, 5, 0, 0]),
        (-1, 7, [0, 1, 2, 3, 4, 5, 0]), (5, 2, [0, 0]), (-5, 3, [0, 0, 0]), (4, 1, [5]),
    ],
)  # fmt: skip
def test_outside_a_deck_file_there_is_silence(tmp_path, frame, count, heard):
    """Five frames of 1 to 5 hundredths, twice that on the right: before, partly, past it. A file of
    one channel is heard on both sides."""
    wanted = np.array(heard)[:, np.newaxis]
    for channels in ([0.01, 0.02], [0.01]):
        five = np.arange(1, 6)[:, np.newaxis] * np.array(channels)
        soundfile.write(tmp_path / "five.wav", five, 1000, subtype="FLOAT")
        with soundfile.SoundFile(tmp_path / "five.wav") as file:
            assert _read(file, frame, count) == pytest.approx(wanted * np.broadcast_to(channels, 2))
