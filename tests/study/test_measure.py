"""One pass over a file: what is added up, what is told as a fault, and where each fact goes.

The rooms that find tempo, key and the rest are judged by their own tests; here they are replaced
by what a test lets them find.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from liveaid.files.unreadable import Unreadable
from liveaid.study import Study, measure
from liveaid.study.character import KindGuess
from liveaid.study.downbeat import Bars
from liveaid.study.onsets import Onsets
from liveaid.study.sections import Section
from liveaid.study.spectrum import GROUPS, RATE_HZ
from liveaid.study.tempo import Tempo
from liveaid.study.voice import Voice


class Sound(SimpleNamespace):
    """An open file whose blocks are at hand."""

    def __init__(self, *blocks, rate_hz=RATE_HZ, declared=None, **told):
        blocks = [np.asarray(block, np.float32) for block in blocks]
        frames = sum(map(len, blocks))
        facts = {
            "frames": frames, "rate_hz": rate_hz, "channels": blocks[0].shape[1] if blocks else 1,
            "declared": frames if declared is None else declared, "format": "WAV PCM_16",
            "padding": (0, 0), "faults": [], "blocks": blocks,
        }  # fmt: skip
        super().__init__(**(facts | told))

    def __iter__(self):
        return iter(self.blocks)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass


def alike(found, wanted, *, within=1e-6):
    """Whether all samples of one are those of the other."""
    return found.shape == wanted.shape and bool(np.abs(found - wanted).max() < within)


NOISE = np.random.default_rng(1).normal(0.0, 0.1, (RATE_HZ, 2)).astype(np.float32)


def test_a_sound_is_heard_as_the_mean_of_its_channels_without_its_offset():
    lifted = NOISE + np.float32([0.06, 0.02])
    heard = measure.hear(Sound(lifted[:9000], lifted[9000:]))
    mean = lifted.mean(axis=1)
    assert heard.offset == pytest.approx(mean.mean(), abs=1e-6)
    assert alike(heard.mono, mean - mean.mean())
    assert heard.mono.dtype == np.float32
    assert heard.cancelled is False
    right = measure.hear(Sound(lifted), channel=1)
    assert alike(right.mono, lifted[:, 1] - lifted[:, 1].mean())
    none = measure.hear(Sound())
    assert (len(none.mono), none.offset, none.true_peak_dbtp) == (0, 0.0, None)


@pytest.mark.parametrize(("share", "cancelled"), [(-0.74, False), (-0.76, True), (1.0, False)])
def test_channels_cancel_where_less_than_a_fiftieth_of_their_power_is_left(share, cancelled):
    """x and share times x: of (1 + share^2) / 2 the mean leaves ((1 + share) / 2)^2, at -.74 a
    fiftieth and a little, .0169 of .7738, at -.76 .0144 of .7888."""
    both = NOISE[:, :1] * np.float32([1.0, share])
    assert measure.hear(Sound(both)).cancelled is cancelled
    assert measure.hear(Sound(both), channel=0).cancelled is False
    assert measure.hear(Sound(0 * both)).cancelled is False  # of silence nothing cancels


def test_where_channels_cancel_the_first_is_studied_else_their_mean(monkeypatch):
    for both, wanted in (
        (NOISE[:, :1] * np.float32([1.0, -1.0]), NOISE[:, 0]),
        (NOISE, NOISE.mean(axis=1)),
    ):
        monkeypatch.setattr(measure, "open_sound", lambda path, both=both: Sound(both))
        assert alike(measure.studied_mono("a.wav"), wanted - wanted.mean())


@pytest.mark.parametrize(
    ("faults", "reason"),
    [([], "it holds no samples"), (["cut off", "spoiled"], "cut off; spoiled")],
)
def test_a_file_without_a_sample_is_refused_with_its_faults(monkeypatch, faults, reason):
    monkeypatch.setattr(measure, "open_sound", lambda path: Sound(faults=faults))
    with pytest.raises(Unreadable) as refused:
        measure.measure("a.wav")
    assert str(refused.value) == f"a.wav: no sound that can be read ({reason})"


def test_another_rate_is_brought_to_the_studys_to_the_last_sample():
    """A tone of 441 Hz at 44.1 kHz is the same tone at half as many samples."""
    tone = np.sin(2 * np.pi * 441 * np.arange(44_100) / 44_100)[:, None]
    heard = measure.hear(Sound(tone[:20_000], tone[20_000:], rate_hz=44_100)).mono
    assert len(heard) == pytest.approx(RATE_HZ, abs=1)
    wanted = np.sin(2 * np.pi * 441 * np.arange(RATE_HZ) / RATE_HZ)
    assert alike(heard[500:-500], wanted[500 : len(heard) - 500], within=1e-3)


@pytest.mark.parametrize("declared", [0, 1000, RATE_HZ, 10**12])
def test_what_a_header_promises_changes_nothing_of_what_is_heard(declared, monkeypatch):
    """Four seconds and a quarter in blocks of a second, where one second of room is to spare; of a
    day that is promised no more room is taken than is ever studied."""
    monkeypatch.setattr(measure, "MEASURE_LONGEST_S", 60.0)
    blocks = [NOISE, NOISE[::-1], NOISE, NOISE[::-1], NOISE[: RATE_HZ // 4]]
    heard = measure.hear(Sound(*blocks, declared=declared))
    mean = np.concatenate(blocks).mean(axis=1)
    assert alike(heard.mono, mean - mean.mean())


@pytest.mark.parametrize(
    ("declared_s", "kind"), [(1199.0, np.float32), (1199.1, np.float16), (10**6, np.float16)]
)
def test_more_than_twenty_minutes_are_kept_at_half_precision(declared_s, kind):
    """A second more than is promised is kept ready. Of eleven days not more than four hours
    and that second are: 14,401 s x 22,050 samples."""
    mix = measure._Mix(Sound(NOISE, declared=round(declared_s * RATE_HZ)), None)
    assert mix._whole.dtype == kind
    assert len(mix._whole) == round((min(declared_s, 14_400.0) + 1.0) * RATE_HZ)


def test_no_more_is_studied_than_the_longest_sound(monkeypatch):
    monkeypatch.setattr(measure, "MEASURE_LONGEST_S", 1.5)
    heard = measure.hear(Sound(NOISE, NOISE, NOISE))
    assert len(heard.mono) == round(1.5 * RATE_HZ)


def listened(**facts):
    silent = measure.Listened(np.zeros(10, np.float32), -14.0, 6.5, -0.5, 0.0, False)
    return replace(silent, **facts)


@pytest.mark.parametrize(
    ("facts", "frames", "faults"),
    [
        ({"offset": 0.0199}, 1, []),
        ({"offset": 0.02}, 1, ["a steady offset of 2 % of full scale was taken out"]),
        ({"offset": -0.25}, 1, ["a steady offset of -25 % of full scale was taken out"]),
        ({"cancelled": True}, 1, ["the channels cancel each other: the first one was studied"]),
        ({}, 4 * 3600 * 100, []),
        ({}, 4 * 3600 * 100 + 1, ["longer than 4 hours: beat, key and onsets are of that much"]),
    ],
)
def test_faults_are_told_in_a_sentence(facts, frames, faults):
    reader = Sound(np.zeros((1, 1)), rate_hz=100, frames=frames)
    assert measure._faults(listened(**facts), reader) == faults


BARS = Bars(metre=3, first=2, confidence=0.75)
TEMPO = Tempo(
    tempo_bpm=60.0,
    confidence=0.9,
    alternative_bpm=120.0,
    first_beat_s=0.5,
    drift_percent=1.5,
    residual_s=0.004,
    loop_beats=12,
    beats_s=0.51234 + np.arange(10),
)
ONSETS = Onsets(np.array([0.5, 1.5, 9.99, 10.0]), np.ones(4, "f4"), np.ones((4, GROUPS), "f4"))
FOUND = Study(
    duration_s=10.0,
    sample_rate_hz=100,
    channels=2,
    format="WAV PCM_16",
    frames_declared=1200,
    frames_read=1000,
    faults=("a fault",),
    silence_start_s=0.5,
    silence_end_s=0.25,
    loudness_lufs=-14.0,
    loudness_range_lu=6.5,
    true_peak_dbtp=-0.5,
    brightness_hz=1234.5,
    energy=4,
    onsets_s=(0.5, 1.5, 9.99),
    phrases_s=((0.5, 2.0),),
)
TOLD = replace(
    FOUND,
    tempo=60.0,
    tempo_confidence=0.9,
    tempo_alternative=120.0,
    first_beat=0.5,
    first_downbeat=2.51234,
    downbeat_confidence=0.75,
    metre=3,
    tempo_drift_percent=1.5,
    beat_residual_ms=4.0,
    beats_s=tuple(round(0.5123 + n, 4) for n in range(10)),
    tempo_curve=((4.512, 60.0),),
    loop_beats=12,
    key="A minor",
    key_confidence=0.6,
    tuning_cents=12.0,
    voice=0.667,
    sections=((0.5123, 4.5123, "drums alone", 1.33), (4.5123, 9.5123, "full", 1.67)),
    kind="instrumental",
    kind_confidence=0.95,
)


@pytest.fixture
def rooms(monkeypatch):
    """rooms(name=...): what the rooms find, as TEMPO, BARS and so on say unless told otherwise;
    back come the calls of those that are asked about more than the sound."""
    asked = {}

    def finding(silent_s=(0.5, 0.25), tempo=TEMPO, bars=BARS, key="A minor"):
        def noted(name, answer):
            def ask(*facts, **more):
                asked[name] = (facts, more)
                return answer

            monkeypatch.setattr(measure, name, ask)

        spectrum = SimpleNamespace(level_db=np.zeros(3), centroid_hz=1234.5)
        voice = Voice(
            np.array([2.0, 5.0, 8.0]), np.zeros(3), np.array([1.0, 1.0, 0.001]), np.zeros(3)
        )
        noted("analyse", spectrum)
        noted("find_onsets", ONSETS)
        noted("silence_s", silent_s)
        noted("find_phrases", ((0.5, 2.0),))
        noted("take_imprint", None)
        noted("find_energy", 4)
        noted("find_tempo", tempo)
        noted("find_bars", bars)
        noted("find_key", SimpleNamespace(key=key, confidence=0.6, tuning_cents=12.0))
        noted("weave", None)
        noted("find_voice", voice)
        noted("beat_facts", None)
        noted("guess_kind", KindGuess("instrumental", 0.95))
        edges = [0.51234, 4.51234, 9.51234]
        noted(
            "find_sections",
            (Section(*edges[:2], "drums alone", 4), Section(*edges[1:], "full", 5)),
        )
        return asked

    return finding


def study_of(heard=None):
    reader = Sound(np.zeros((1000, 2)), rate_hz=100, declared=1200, padding=(1, 2))
    return measure._study(heard or listened(), reader, ("a fault",))


def test_every_fact_goes_where_it_belongs(rooms):
    asked = rooms()
    assert study_of() == TOLD
    # It sounds for 10 - .5 - .25 s, with 14 - .5 dB between its loudness and its peak.
    assert asked["find_energy"][1] == {"sounding_s": 9.25, "crest_db": 13.5}
    assert asked["find_tempo"][1] == {"frames": 1000, "rate_hz": 100, "padding": (1, 2)}
    assert asked["find_bars"][1] == {"loop_beats": 12}
    assert asked["guess_kind"][1]["keyed"] is True
    assert asked["guess_kind"][1]["voice"] == pytest.approx((2.001 / 3, 0.0))
    # A voice in the middle of each of ten beats, until 3 s behind the middle of its windows.
    _, sung, alone, edges, bar = asked["find_sections"][0]
    assert edges == pytest.approx([*(0.51234 + np.arange(10)), 10.0])
    assert sung == pytest.approx(np.interp((edges[1:] + edges[:-1]) / 2, [2, 5, 8], [1, 1, 0.001]))
    assert (alone.tolist(), bar) == (sung.tolist(), (3, 2))  # nothing else sounds


def test_what_is_not_found_is_not_told(rooms):
    asked = rooms(tempo=Tempo(why_not="nothing strikes"), bars=None, key=None)
    names = (
        "tempo tempo_confidence tempo_alternative first_beat first_downbeat downbeat_confidence"
        " metre tempo_drift_percent beat_residual_ms beats_s tempo_curve loop_beats key"
    )
    no_beat = {name: getattr(FOUND, name) for name in names.split()}
    sections = ((0.5123, 4.5123, "drums alone", 1.0), (4.5123, 9.5123, "full", 1.25))
    assert study_of() == replace(TOLD, **no_beat, rhythmic="nothing strikes", sections=sections)
    assert asked["guess_kind"][1]["keyed"] is False
    assert asked["find_sections"][0][4] is None


def test_a_steady_tempo_tells_its_beats_by_itself(rooms):
    rooms(tempo=replace(TEMPO, steady=True))
    assert study_of() == replace(TOLD, steady=True, beats_s=(), tempo_curve=())


def test_silence_has_nothing_but_its_length(rooms):
    rooms(silent_s=(10.0, 0.0))
    silent = replace(FOUND, silence_start_s=10.0, silence_end_s=0.0, rhythmic="it is silent")
    assert study_of() == silent
    for unheard in ({"loudness_lufs": None}, {"true_peak_dbtp": None}):
        heard = listened(**unheard)
        assert study_of(heard) == replace(silent, energy=1, **unheard)


def test_a_sound_of_less_than_two_seconds_without_a_beat_has_no_sections(rooms, monkeypatch):
    rooms()
    voice = Voice(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0))
    for duration_s, count in ((0.4, 0), (0.6, 2)):
        told = measure._sections(None, ONSETS, voice, Tempo(), None, duration_s)
        assert len(told) == count
