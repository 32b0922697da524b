"""Recorded loops and notes whose length or name tells what is in them.

From Debian's sonic-pi-samples (CC0); where it is not installed these tests are skipped.
"""

from pathlib import Path

import pytest

from liveaid.study import study

SAMPLES = Path("/usr/share/sonic-pi/samples")
pytestmark = pytest.mark.skipif(
    not SAMPLES.is_dir(), reason="Debian's sonic-pi-samples is not installed"
)


# Frames and whole bars of four; only these counts give a whole number of beats a minute:
# beats * 60 * 44100 / frames.
@pytest.mark.parametrize(
    ("name", "frames", "beats", "bpm"),
    [
        ("loop_amen_full", 302400, 16, 140.0),
        ("loop_breakbeat", 84000, 4, 126.0),
        ("loop_compus", 286054, 16, 148.0),
        ("loop_garzul", 352800, 16, 120.0),
        ("loop_mika", 352800, 16, 120.0),
        ("loop_electric", 109114, 4, 97.0),
        ("loop_mehackit1", 109114, 4, 97.0),
    ],
)
def test_recorded_loops_tell_their_tempo(name, frames, beats, bpm):
    facts = study(SAMPLES / f"{name}.flac")
    assert facts.frames_read == frames
    assert facts.loop_beats == beats
    assert facts.tempo == pytest.approx(bpm, rel=2e-5)
    assert facts.first_beat == pytest.approx(0.0, abs=0.010)
    assert facts.key is None  # drums


@pytest.mark.parametrize(
    "name", ["bass_hard_c", "bass_thick_c", "bass_trance_c", "bass_voxy_c", "bass_woodsy_c"]
)
def test_recorded_notes_have_the_tonic_of_their_name(name):
    facts = study(SAMPLES / f"{name}.flac")
    assert facts.key is not None
    assert facts.key.split()[0] == "C"


@pytest.mark.parametrize(
    "name", ["ambi_glass_hum", "ambi_haunted_hum", "ambi_lunar_land", "vinyl_hiss", "perc_bell"]
)
def test_recorded_drones_and_noises_keep_no_beat(name):
    assert study(SAMPLES / f"{name}.flac").tempo is None
