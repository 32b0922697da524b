"""A first map from an idea and the sounds there are."""

import dataclasses
import shutil

import numpy as np
import pytest
import soundfile
from hypothesis import example, given
from hypothesis import strategies as st

from liveaid.cli import main
from liveaid.files.harmless import harmless
from liveaid.fit.draft import draft, renamed
from liveaid.routine import Idea, Routine, Sound, load_routine
from liveaid.routine.draft_text import pieces_text, quoted, sounds_text
from liveaid.routine.load import read_routine
from liveaid.routine.model import Turntable, Want
from liveaid.study.facts import Study


def beat(tempo=92.0, bars=24, energy=3, **more):
    seconds = bars * 4 * 60 / tempo
    return Study(duration_s=seconds, sample_rate_hz=44100, channels=2, format="WAV",
                 frames_declared=1, frames_read=1, tempo=tempo, tempo_confidence=0.9,
                 first_beat=0.0, kind="instrumental", energy=energy, **more)  # fmt: skip


def voice(energy=3):
    return dataclasses.replace(
        beat(bars=2, energy=energy), kind="a cappella", tempo=None, tempo_confidence=0.0
    )


MARKET = {"bells": beat(energy=2), "break": beat(94, energy=3), "tram": beat(96, energy=5),
          "gong": beat(90, energy=2), "call": voice()}  # fmt: skip


def test_without_an_idea_the_quietest_opens_and_the_loudest_is_the_climax():
    found = draft(None, MARKET)
    by_part = {one.piece.part: one.why.split(",")[0] for one in found.pieces}
    assert [one.piece.part for one in found.pieces] == [
        "intro", "story", "story", "story", "climax", "outro",
    ]  # fmt: skip
    assert by_part["climax"] == "tram"
    assert {by_part["intro"], by_part["outro"]} == {"bells", "gong"}


def test_wants_of_its_own_are_such_as_the_sounds_there_can_carry():
    # "stub" is the quietest but three bars long, "waltz" the loudest but in three.
    short = {"stub": beat(bars=3, energy=1), "waltz": beat(energy=5, metre=3)}
    found = draft(None, {**MARKET, **short})
    assert not {"stub", "waltz"} & set(found.sounds)
    assert draft(None, short).sounds == ("stub", "waltz")  # all there is


def test_of_sounds_that_would_do_the_one_nearest_in_tempo_is_taken():
    # 92 to 126 is 37 % and 92 to 97 is 5.4 %: names say nothing.
    sounds = {"open": beat(92, energy=2), "a": beat(126, energy=3), "b": beat(97, energy=3)}
    idea = Idea(wants=(Want(part="intro", energy=2), Want(part="story", energy=3)))
    assert draft(idea, sounds).sounds == ("open", "b")
    # Energy 4 is nearer to the 5 wanted than 2; neither tempo is in the fader's way.
    near = {"open": beat(92, energy=3), "a": beat(92, energy=2), "b": beat(95, energy=4)}
    idea = Idea(wants=(Want(part="intro", energy=3), Want(part="climax", energy=5)))
    assert draft(idea, near).sounds == ("open", "b")


@pytest.mark.parametrize("tempo", [46.0, 184.0])
def test_half_and_double_the_tempo_are_as_near_as_the_same(tempo):
    """93 is 1.1 % from 92; 46 counted double and 184 counted half are none."""
    sounds = {"open": beat(92, energy=2), "a": beat(93, energy=3), "b": beat(tempo, energy=3)}
    idea = Idea(wants=(Want(part="intro", energy=2), Want(part="story", energy=3)))
    assert draft(idea, sounds).sounds == ("open", "b")


def test_no_want_is_given_the_only_sound_of_a_later_one():
    # "b" is the nearer for the story, but all there is at 100 BPM for the climax.
    sounds = {"open": beat(99, energy=2), "a": beat(92, energy=3), "b": beat(100, energy=3)}
    idea = Idea(wants=(
        Want(part="intro", energy=2), Want(part="story", energy=3),
        Want(part="climax", energy=3, tempo="100..101"),
    ))  # fmt: skip
    assert draft(idea, sounds, turntable=Turntable(pitch_range=2)).sounds == ("open", "a", "b")


def test_a_voice_is_worked_over_the_beat_which_runs_on_and_then_alone():
    story = [one.piece for one in draft(None, MARKET).pieces if one.piece.part == "story"]
    beat_on, worked, alone = story
    side = beat_on.count
    other = "left" if side == "right" else "right"
    # 8 bars, the voice over the next 8, then 4 more while the voice's deck is brought on.
    assert [p.plan(side).bars_in for p in story] == [0, 8, 16]
    assert [p.bars for p in story] == [8, 8, 4]
    assert (worked.plan(other).hand, worked.plan(other).sound) == ("works", "call")
    assert alone.plan(other).hand == "rests"


def test_the_decks_take_turns():
    counts = [one.piece.count for one in draft(None, MARKET).pieces]
    assert counts == ["left", "right", "right", "right", "left", "right"]


def test_the_tempo_stays_where_the_fader_reaches_and_moves_where_it_does_not():
    # 92 to 94 is 2.2 % and 92 to 96 is 4.3 %: within 8. To 120 is 23 %: the sound's own tempo.
    near = draft(None, {"a": beat(92, energy=1), "b": beat(94, energy=3), "c": beat(96, energy=5)})
    assert [one.piece.tempo_bpm for one in near.pieces] == [92, 92, 92]
    far = draft(None, {"a": beat(92, energy=1), "b": beat(120, energy=3)})
    assert [one.piece.tempo_bpm for one in far.pieces] == [92, 120]


# By hand: 100 to 108 is the end of an 8 % fader, 99.9 a little beyond; 92 is half of 184 and 8 %
# from 93.
@pytest.mark.parametrize(
    ("tempos", "asked", "run_at"),
    [
        ((108, 100), {}, [108, 108]),
        ((108, 99.9), {}, [108, 99.9]),
        ((92, 186), {}, [92, 92]),
        ((92, 46.5), {}, [92, 92]),
        ((92, 94), {"tempo": "95..100"}, [92, 95]),
        ((92, 94), {"tempo": "90..93"}, [92, 92]),
        ((92, 94), {"tempo_to": 91}, [92, 91]),
    ],
)
def test_the_tempo_before_is_kept_inside_the_fader_and_what_is_asked(tempos, asked, run_at):
    idea = Idea(wants=(Want(part="intro", energy=1), Want(part="story", energy=3, **asked)))
    sounds = {"a": beat(tempos[0], energy=1), "b": beat(tempos[1], energy=3)}
    assert [one.piece.tempo_bpm for one in draft(idea, sounds).pieces] == run_at


@pytest.mark.parametrize(("tempo", "taken"), [(108, "a"), (109, "b")])
def test_a_sound_beyond_the_fader_comes_after_one_of_another_energy(tempo, taken):
    sounds = {"open": beat(100, energy=1), "a": beat(tempo, energy=4), "b": beat(101, energy=2)}
    idea = Idea(wants=(Want(part="intro", energy=1), Want(part="climax", energy=5)))
    found = draft(idea, sounds)
    assert found.sounds == ("open", taken)
    energy = sounds[taken].energy
    assert found.pieces[1].why == f"{taken}, for the climax at energy 5, but energy {energy}"
    assert found.pieces[0].why == "open, for the intro at energy 1"


def test_a_sound_carries_from_three_tenths_sure_and_a_bar_on():
    sure = {"a": dataclasses.replace(beat(bars=1), tempo_confidence=0.3)}
    assert draft(None, sure).sounds == ("a",)
    assert draft(None, sure).lacks == ()  # nor is a voice asked for where there is none
    assert not draft(None, {"a": dataclasses.replace(beat(), tempo_confidence=0.29)}).sounds
    assert not draft(None, {"a": beat(bars=0.99)}).sounds


def test_bars_are_counted_from_the_first_beat_to_the_end_and_then_anew():
    """A hundredth of a bar may be wanting. Of nine bars eight are gone with the first set piece."""
    wants = (Want(part="intro", energy=3), Want(part="story", energy=3, kind="a cappella"))
    for bars, first_beat, played in (
        (7.995, 0.0, [(0, 8), (0, 8), (0, 4)]),
        (7.95, 0.0, [(0, 7), (0, 7), (0, 4)]),
        (9, 0.0, [(0, 8), (8, 1), (0, 4)]),
        (9, 2 * 240 / 92, [(0, 7), (0, 7), (0, 4)]),
        (10, 0.0, [(0, 8), (8, 2), (0, 4)]),
    ):
        sounds = {"a": dataclasses.replace(beat(bars=bars), first_beat=first_beat), "v": voice()}
        pieces = [one.piece for one in draft(Idea(wants=wants), sounds).pieces]
        assert [(p.plan(p.count).bars_in, p.bars) for p in pieces] == played


def test_the_idea_is_followed_and_what_is_lacking_is_said():
    idea = Idea(wants=(
        Want(part="intro", energy=2, kind="instrumental", bars=4),
        Want(part="climax", energy=5, kind="sample"),
    ))  # fmt: skip
    found = draft(idea, MARKET)
    assert [(one.piece.part, one.piece.bars) for one in found.pieces] == [("intro", 4)]
    assert found.lacks == ("Nothing there for the climax: sample, energy 5.",)


def test_a_sound_is_played_no_longer_than_it_is():
    # 6 bars of it: 6, not 8.
    short = draft(Idea(wants=(Want(part="intro", energy=3),)), {"a": beat(bars=6)})
    assert [one.piece.bars for one in short.pieces] == [6]


def test_set_pieces_of_one_part_are_numbered():
    sounds = {name: beat(90 + number) for number, name in enumerate("abc")}
    found = draft(Idea(wants=(Want(part="story", energy=3),) * 3), sounds)
    assert [one.piece.name for one in found.pieces] == ["Story", "Story 2", "Story 3"]


def test_nothing_that_carries_the_count_is_no_draft():
    assert draft(None, {"call": voice()}).pieces == ()
    assert draft(None, {"loose": dataclasses.replace(beat(), tempo_confidence=0.1)}).pieces == ()


def text_of(found):
    names = {name: f"the {name}" for name in found.sounds}
    sounds = {new: Sound(file=f"sounds/{new}.wav", kind="sample") for new in names.values()}
    told = renamed(found, names)
    lines = [
        "title: x", *sounds_text(sounds, dict.fromkeys(sounds, "remark")),
        *pieces_text([(one.piece, one.why) for one in told.pieces]),
    ]  # fmt: skip
    return told, "\n".join(lines)


studies = st.builds(
    lambda tempo, bars, energy, kind: dataclasses.replace(
        beat(tempo, bars, energy), kind=kind,
        **({} if kind == "instrumental" else {"tempo": None, "tempo_confidence": 0.0}),
    ),
    st.floats(60, 180), st.integers(1, 60), st.integers(1, 5),
    st.sampled_from(["instrumental", "a cappella", "sample", "effect"]),
)  # fmt: skip
wants = st.lists(st.builds(
    Want, part=st.sampled_from(["intro", "story", "climax", "outro"]), energy=st.integers(1, 5),
    kind=st.sampled_from([None, "instrumental", "a cappella", "sample"]),
    bars=st.sampled_from([None, 2, 16]),
), max_size=6).map(tuple)  # fmt: skip


@given(st.dictionaries(st.sampled_from("abcdefgh"), studies, max_size=8), wants)
def test_whatever_is_there_and_wanted_the_draft_is_a_map_that_reads_back_the_same(sounds, asked):
    told, text = text_of(draft(Idea(wants=asked), sounds))
    if not told.pieces:
        return
    back = read_routine(text.encode())
    assert isinstance(back, Routine)
    assert back.pieces == tuple(one.piece for one in told.pieces)
    for piece in back.pieces:
        assert piece.plan(piece.count).hand == "runs"


titles = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=30)


@given(titles.filter(lambda text: text.strip() and harmless(text, lines=False) == text))
@example("Null")
def test_any_text_is_quoted_so_that_yaml_reads_it_back(text):
    line = f"title: {quoted(text)}\nidea: {{theme: {quoted(text)}, feel: b}}\n"
    found = read_routine(f"{line}pieces: [{{name: A, bars: 1, tempo: 90}}]".encode())
    assert found.title == text
    assert found.idea.theme == text


@pytest.fixture
def sounds(tmp_path):
    """Three loops of noise bursts on an exact grid, 100 BPM, and a spoken-length tone."""
    folder = tmp_path / "sounds"
    folder.mkdir()
    rate = 22050
    for number, name in enumerate(("gate", "drum: one", "rain #2")):
        time_s = np.arange(round(40 * 0.6 * rate)) / rate
        into = time_s % 0.6
        noise = np.random.default_rng(number).standard_normal(len(time_s))
        soundfile.write(folder / f"{name}.wav", 0.3 * noise * np.exp(-into / 0.03), rate)
    return folder


def test_from_a_folder_of_sounds_to_a_first_checked_map_in_three_commands(
    sounds, tmp_path, monkeypatch, capfd
):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    scene = tmp_path / "my-scene"
    scene.mkdir()
    idea = "# mine\ntitle: Gate\nidea:\n  wants:\n    - {part: intro, energy: 3}   # soft\n"
    (scene / "routine.yaml").write_text(idea)
    status = []
    for command in (["gather", str(sounds)], ["draft", str(scene)], ["check", str(scene)]):
        with pytest.raises(SystemExit) as left:
            main(command)
        status.append(left.value.code)
    said = capfd.readouterr()
    assert status == [0, 0, 0], said.out + said.err
    written = (scene / "routine.yaml").read_text()
    assert written.startswith(idea)
    assert not written.startswith(f"{idea}\n\n")  # one empty line, not two
    assert (scene / "routine-old-1.yaml").read_text() == idea
    (sound,) = load_routine(scene / "routine.yaml").sounds.values()
    assert (scene / sound.file).read_bytes() in [f.read_bytes() for f in sounds.iterdir()]
    assert "playable" in said.out
    with pytest.raises(SystemExit) as left:
        main(["draft", str(scene)])
    assert left.value.code == 1
    assert "set pieces there already" in capfd.readouterr().err
    # The scene and its copies are deleted: the sounds still lie where they were gathered.
    first = sorted((scene / "sounds").iterdir())[0].name
    shutil.rmtree(scene)
    with pytest.raises(SystemExit) as left:
        main(["draft", str(scene)])
    assert left.value.code == 0
    assert first in [file.name for file in (scene / "sounds").iterdir()]
