"""Words and phrases: where they begin and end, and where the needle goes."""

import shutil
import subprocess

import numpy as np
import pytest
import soundfile

from liveaid.study import study
from liveaid.study.part_finding import parts_of, text_in_name, word_parts
from liveaid.study.spoken_words import SpokenWord

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
    found = parts_of(file(samples, rate=RATE), " ".join(SAID))
    assert [word.name for word in found] == list(SAID)
    assert [word.from_s for word in found] == pytest.approx([a for a, _ in edges], abs=0.06)
    for word, (begin, end) in zip(found, edges, strict=True):
        assert begin - 0.02 <= word.attack_s < end
        assert word.from_s < word.attack_s < word.to_s <= end + 0.1


def test_the_text_is_taken_from_the_option_the_file_beside_or_the_name(said, file, tmp_path):
    samples, edges = laid(said[:3], 0.4)
    begins = pytest.approx([begin for begin, _ in edges], abs=0.06)
    named = tmp_path / "hot-chestnuts-lantern_02.wav"
    soundfile.write(named, samples, RATE)
    found = parts_of(named)
    assert [part.name for part in found] == ["hot", "chestnuts", "lantern"]
    assert [part.from_s for part in found] == begins
    named.with_suffix(".txt").write_text("Hot nuts, hot!")
    assert [part.name for part in parts_of(named)] == ["hot", "nuts", "hot2"]
    assert [part.name for part in parts_of(named, "a b c")] == ["a", "b", "c"]


def test_a_name_that_cannot_be_what_is_said_names_nothing(said, file, tmp_path):
    """Three words with pauses between are never the two of a name, nor its nine."""
    samples, _ = laid(said[:3], 0.4)
    for name in ("hawker-call.wav", "come-and-hear-the-hawker-call-at-the-corner.wav"):
        path = tmp_path / name
        soundfile.write(path, samples, RATE)
        found = parts_of(path)
        assert [part.name for part in found][:3] == ["word1", "word2", "word3"]
        assert len(found) < 7  # not so many as the longer name has


def spoken(path, text):
    """A sound of its own in which espeak-ng says a text without a stop."""
    if shutil.which("espeak-ng") is None:
        pytest.skip("no espeak-ng, the speech synthesiser")
    subprocess.run(["espeak-ng", "-w", path, text], check=True)
    return path


def test_words_run_together_are_called_by_the_files_name(tmp_path):
    """Six words in a second and a half, parted by less than six dips of the level."""
    lamp = spoken(tmp_path / "come-along-and-buy-a-lamp.wav", "come along and buy a lamp")
    names = [part.name for part in parts_of(lamp)]
    assert names == ["come", "along", "and", "buy", "a", "lamp"]


def test_a_short_shout_is_cut_into_words_as_long_speech_is(tmp_path):
    """1.2 s long: a sample by its kind, a voice by its sound."""
    shout = spoken(tmp_path / "hot-chestnuts.wav", "hot chestnuts")
    facts = study(shout)
    assert (facts.kind, facts.voice > 0.9) == ("sample", True)
    assert [part.name for part in parts_of(shout)] == ["hot", "chestnuts"]
    # A name far too long for it, and one that takes as long but sounds otherwise.
    for name in ("best-of-all-the-vocal-takes-made-last-night.wav", "lantern-stall.wav"):
        shout = shout.rename(tmp_path / name)
        assert parts_of(shout)[0].name == "word1"


def test_phrases_keep_words_together_that_have_no_pause(said, file):
    together, _ = laid(said[:3], 0.05)
    apart, _ = laid(said[3:], 0.05)
    samples = np.concatenate([together, np.zeros(RATE // 2), apart])
    found = study(file(samples, rate=RATE)).phrases_s
    assert len(found) == 2
    assert found[1][0] == pytest.approx((len(together) + RATE // 2) / RATE + 0.25, abs=0.06)


def test_words_become_names_that_a_line_can_have():
    """Acts use `for` themselves; a name begins with a letter and is one word of its own."""
    texts = ("Hey!", "hey", "don't", "", "for", "42", "_x", "é")
    words = [SpokenWord(n + 0.2, n + 0.25, n + 0.9, text) for n, text in enumerate(texts)]
    parts = word_parts(words)
    assert [part.name for part in parts] == [
        "hey", "hey2", "dont", "word1", "for1", "word2", "x", "é",
    ]  # fmt: skip
    assert (parts[1].from_s, parts[1].attack_s, parts[1].to_s) == (1.19, 1.25, 1.9)


def test_an_attack_never_comes_before_its_part():
    """An onset 10 ms before the end of the word before is that word's own."""
    first, second = SpokenWord(0.0, 0.0, 0.5), SpokenWord(0.5, 0.49, 0.9)
    part = word_parts([first, second])[1]
    assert (part.from_s, part.attack_s) == (0.5, 0.5)


def test_a_files_name_tells_its_words(tmp_path):
    assert text_in_name(tmp_path / "hot-chestnuts_02.wav") == "hot chestnuts"


def test_silence_has_no_words(file):
    assert parts_of(file(np.zeros(RATE), rate=RATE), "hey") == ()


def test_sentences_begin_after_their_pauses(tmp_path):
    """espeak-ng rests where a full stop stands; the words on either side keep to their own."""
    if shutil.which("espeak-ng") is None:
        pytest.skip("no espeak-ng, the speech synthesiser")
    path = tmp_path / "calls.wav"
    text = "All aboard. Last ferry. Mind the rope."
    subprocess.run(["espeak-ng", "-v", "en-us", "-s", "150", "-w", path, text], check=True)
    found = {part.name: part for part in parts_of(path, text)}
    assert list(found) == ["all", "aboard", "last", "ferry", "mind", "the", "rope"]
    samples, rate = soundfile.read(path)
    loud = np.flatnonzero(np.abs(samples) > 0.01)
    after = loud[1:][np.diff(loud) > 0.2 * rate] / rate
    begins = [found[name].from_s + 0.01 for name in ("last", "mind")]
    assert begins == pytest.approx(after.tolist(), abs=0.03)
