"""Words and phrases: where they begin and end, and where the needle goes."""

import shutil
import subprocess

import numpy as np
import pytest
import soundfile

from liveaid.study.spoken_words import phrases_of, text_in_name, words_of

RATE = 22050
SAID = ("hot", "chestnuts", "lantern", "go", "river", "drum")


@pytest.fixture(scope="module")
def said(tmp_path_factory):
    """Words said one by one by espeak-ng, their true edges being where each rises and sinks."""
    if shutil.which("espeak-ng") is None:
        pytest.skip("no espeak-ng, the speech synthesiser")
    folder = tmp_path_factory.mktemp("words")
    words = []
    for word in SAID:
        subprocess.run(["espeak-ng", "-w", folder / "w.wav", word], check=True)
        samples = soundfile.read(folder / "w.wav")[0]
        heard = np.flatnonzero(np.abs(samples) > 0.02 * np.abs(samples).max())
        words.append(samples[heard[0] : heard[-1]])
    return words


def laid(words, gap_s):
    """The words one after another with a gap between, and the edges of each in seconds."""
    pieces, edges, at = [np.zeros(RATE // 4)], [], 0.25
    for word in words:
        edges.append((at, at + len(word) / RATE))
        pieces += [word, np.zeros(round(gap_s * RATE))]
        at += len(word) / RATE + round(gap_s * RATE) / RATE
    return np.concatenate(pieces), edges


@pytest.mark.parametrize("gap_s", [0.06, 0.12, 0.4])
def test_words_with_a_breath_between_are_cut_there(said, file, gap_s):
    samples, edges = laid(said, gap_s)
    found = words_of(file(samples, rate=RATE), " ".join(SAID))
    assert [word.text for word in found] == list(SAID)
    assert [word.begin_s for word in found] == pytest.approx([a for a, _ in edges], abs=0.06)
    for word, (begin, end) in zip(found, edges, strict=True):
        assert begin - 0.02 <= word.attack_s < end
        assert word.begin_s < word.end_s <= end + 0.1


def test_phrases_keep_words_together_that_have_no_pause(said, file):
    together, _ = laid(said[:3], 0.05)
    apart, _ = laid(said[3:], 0.05)
    samples = np.concatenate([together, np.zeros(RATE // 2), apart])
    found = phrases_of(file(samples, rate=RATE))
    assert len(found) == 2
    assert found[1].begin_s == pytest.approx((len(together) + RATE // 2) / RATE + 0.25, abs=0.06)


def test_a_files_name_tells_its_words():
    assert text_in_name("crate/hot-chestnuts_02.wav") == "hot chestnuts"


def test_silence_has_no_words(file):
    assert words_of(file(np.zeros(RATE), rate=RATE)) == ()
