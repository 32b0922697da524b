"""The commands gather and fit, from the command line to what they print."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

from liveaid.cli import liveaid, main
from liveaid.errors import LiveaidError
from liveaid.files.file_bytes import Signature
from liveaid.shelf.shelf import Shelf
from liveaid.study.facts import Study
from liveaid.study.imprint import Imprint

SOUNDS: dict[str, dict[str, object]] = {
    "stall-break": {"energy": 2},
    "hawker-call": {"kind": "a cappella", "tempo": 96.0, "phrases_s": ((0.0, 5.0), (6.0, 11.0))},
    "slow-horn": {"kind": "effect", "tempo": None, "key": None, "energy": 5},
    "tram": {"tempo": 140.0},
}


@pytest.fixture
def shelf(sound: Callable[..., Study], tmp_path: Path) -> str:
    file = tmp_path / "shelf.sqlite"
    with Shelf(file) as opened:
        for number, (name, facts) in enumerate(SOUNDS.items()):
            digest = f"{number:02x}" * 20
            opened.keep(digest, sound(**facts))
            opened.place(f"/s/{name}.wav", digest, Signature(1, 1, number, 1))
        opened.keep("ee" * 20, None, fault="holds text, no sound")
        opened.place(os.fsdecode(b"/s/caf\xe9.wav"), "ee" * 20, Signature(1, 1, 9, 1))
    return str(file)


def run(*arguments: str, columns: int = 80) -> Result:
    return CliRunner(env={"COLUMNS": str(columns)}).invoke(
        liveaid, list(arguments), catch_exceptions=False
    )


def data(*arguments: str) -> object:
    return json.loads(run(*arguments, "--json").stdout)


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[object, str]:
    """Exit status and message of a command that does not work."""
    with pytest.raises(SystemExit) as left:
        main(arguments)
    return left.value.code, capsys.readouterr().err


def test_a_folder_without_sounds_is_told_so(tmp_path: Path):
    (tmp_path / "empty").mkdir()
    said = run("gather", str(tmp_path / "empty"), "--shelf", str(tmp_path / "shelf.sqlite")).output
    assert said.startswith("No sound file there: WAV, AIFF, FLAC, Ogg, MP3 and the like are read.")
    assert "0 sounds on" in said


@pytest.mark.parametrize("columns", [80, 120])
def test_no_line_of_a_table_is_wider_than_the_terminal(shelf: str, columns: int):
    for arguments in (
        ("gather", "--shelf", shelf, "--find", ""),
        ("fit", "--shelf", shelf, "stall-break"),
        ("fit", "--shelf", shelf, "stall-break", "--why"),
        ("gather", "--shelf", shelf, "--for", "night-market"),
    ):
        lines = run(*arguments, columns=columns).stdout.splitlines()
        assert max(map(len, lines)) <= columns
        assert len(lines) > 4


def test_found_sounds_stand_in_the_table_and_in_the_json(shelf: str):
    table = run("gather", "--shelf", shelf, "--find", "tempo 90..100, by tempo down").stdout
    assert table.index("hawker-call") < table.index("stall-break")
    assert "tram" not in table
    found = data("gather", "--shelf", shelf, "--find", "tempo 90..100, by tempo down")
    assert [sound["name"] for sound in found] == ["hawker-call", "stall-break"]  # type: ignore[attr-defined]


def test_a_name_that_is_no_text_is_printed_and_can_be_rebuilt_from_json(shelf: str):
    assert (
        "caf\\xe9.wav: holds text, no sound"
        in run("gather", "--shelf", shelf, "--find", "failed").stdout
    )
    (sound,) = data("gather", "--shelf", shelf, "--find", "failed")  # type: ignore[misc]
    assert bytes.fromhex(sound["file_bytes"]) == b"/s/caf\xe9.wav"


def test_marks_are_written_and_found(shelf: str):
    marks = ("--kind", "effect", "--tempo", "46", "--key", "c minor", "--tag", "rain")
    run("gather", "--shelf", shelf, "--mark", "tram", "--mark", "horn", *marks)
    found = data("gather", "--shelf", shelf, "--find", "tag rain, kind effect, key C minor")
    assert [sound["name"] for sound in found] == ["slow-horn", "tram"]  # type: ignore[attr-defined]
    run("gather", "--shelf", shelf, "--mark", "tram", "--kind", "guessed", "--untag", "rain")
    (sound,) = data("gather", "--shelf", shelf, "--find", "text tram")  # type: ignore[misc]
    assert (sound["study"]["kind"], sound["tags"]) == ("instrumental", [])
    assert sound["corrected"] == ["tempo", "key"]


def test_the_other_reading_of_a_tempo_is_taken_by_one_word(sound, tmp_path: Path):
    file = str(tmp_path / "one.sqlite")
    with Shelf(file) as opened:
        opened.keep("aa" * 20, sound(140.0, tempo_alternative=70.0))
        opened.place("/s/a.wav", "aa" * 20, Signature(1, 1, 1, 1))
        opened.keep("bb" * 20, sound(90.0))
        opened.place("/s/b.wav", "bb" * 20, Signature(1, 1, 2, 1))
    run("gather", "--shelf", file, "--mark", "/s/a.wav", "--tempo", "other")
    (found,) = data("gather", "--shelf", file, "--find", "tempo 70")  # type: ignore[misc]
    assert (found["name"], found["study"]["tempo"]) == ("a", 70.0)
    said = run("fit", "--shelf", file, "/s/a.wav").stdout
    assert "It may be counted as 140.00 BPM: `liveaid gather --mark /s/a.wav --tempo other`" in said
    assert data("fit", "--shelf", file, "/s/a.wav")["tempo_alternative"] == 140.0  # type: ignore[call-overload, index]
    run("gather", "--shelf", file, "--mark", "/s/a.wav", "--tempo", "other")
    assert len(data("gather", "--shelf", file, "--find", "tempo 140")) == 1  # type: ignore[arg-type]
    with pytest.raises(LiveaidError, match="no other reading of its tempo"):
        run("gather", "--shelf", file, "--mark", "/s/b.wav", "--tempo", "other")


def looking(seed: int) -> Imprint:
    """Six seconds that look and sound like no others: all bands change 25 times a second."""
    draw = np.random.default_rng(seed)
    picture = draw.integers(-40, 40, (150, 15)).astype(np.int8)
    return Imprint(draw.normal(0.0, 1.0, 33).astype(np.float16), picture)


def test_other_copies_of_the_recording_stand_below_what_goes_with_it(sound, tmp_path: Path):
    file, mine = str(tmp_path / "s.sqlite"), looking(1)
    once_more = Imprint(mine.timbre, mine.picture[5:])
    opened_up = {"sections": ((0.0, 40.0, "full", 16.0), (40.0, 50.4, "drums alone", 4.0))}
    kept = (
        ("asked", sound(imprint=mine)),
        ("copy", sound(imprint=once_more)),
        ("record", sound(imprint=once_more, **opened_up)),
        ("other", sound(energy=2, imprint=looking(2))),
        ("unknown", sound(energy=1, **opened_up)),
        ("bell", sound(None, imprint=looking(3), duration_s=1.0, loop_beats=None)),
    )
    with Shelf(file) as opened:
        for number, (name, study) in enumerate(kept):
            opened.keep(f"{number:02x}" * 20, study)
            opened.place(f"/s/{name}.wav", f"{number:02x}" * 20, Signature(1, 1, number, 1))
    found: dict = data("fit", "--shelf", file, "asked")  # type: ignore[assignment]
    names = {kind: [fit["name"] for fit in found[kind]] for kind in ("fits", "hits", "copies")}
    assert names["fits"] == ["other", "unknown"]
    assert names["hits"] == ["bell"]
    assert names["copies"] == ["copy", "record"]
    # Every term at its best but for what is not known: it would have been first.
    assert found["copies"][0]["score"] > found["fits"][0]["score"]
    said = run("fit", "--shelf", file, "asked").stdout
    copies_from = said.index("Likely copies of this very recording")
    assert said.index("other") < copies_from < said.index("copy ")
    assert "more fit less well" not in said
    told = run("fit", "--shelf", file, "asked", "--top", "1").stdout
    assert "1 more fit less well: --top 2" in told
    # A part of a copy, and the record that a part is of, are the same recording.
    part: dict = data("fit", "--shelf", file, "asked", "--among", "break")  # type: ignore[assignment]
    assert [fit["name"] for fit in part["copies"]] == ["record break"]
    own: dict = data("fit", "--shelf", file, "unknown.wav", "--among", "break")  # type: ignore[assignment]
    assert [fit["name"] for fit in own["copies"]] == ["unknown break"]
    of_part: dict = data("fit", "--shelf", file, "record break")  # type: ignore[assignment]
    assert {fit["name"] for fit in of_part["copies"]} == {"asked", "copy", "record"}


def test_the_best_two_are_written_to_be_heard(sound, tmp_path: Path):
    with Shelf(tmp_path / "s.sqlite") as opened:
        for number, name in enumerate(("beat", "call")):
            soundfile.write(tmp_path / f"{name}.wav", np.full(44100, 0.1), 44100)
            opened.keep(
                f"{number:02x}" * 20, sound(92.0, kind=("instrumental", "a cappella")[number])
            )
            place = str(tmp_path / f"{name}.wav")
            opened.place(place, f"{number:02x}" * 20, Signature(1, 1, number, 1))
    heard = tmp_path / "heard.wav"
    told = run("fit", "--shelf", str(tmp_path / "s.sqlite"), "beat", "--hear", str(heard))
    assert "beat with call. Start quiet." in told.stderr
    assert soundfile.info(heard).duration == pytest.approx(32 * 60 / 92, abs=0.001)


def test_forgetting_takes_a_sound_off(shelf: str):
    run("gather", "--shelf", shelf, "--forget", "tram")
    assert data("gather", "--shelf", shelf, "--find", "text tram") == []


def test_show_tells_every_fact_with_a_value(shelf: str):
    told = run("gather", "--shelf", shelf, "--show", "hawker").stdout
    assert "tempo                96" in told
    assert "0.00 to 5.00, 6.00 to 11.00" in told


# By hand: 92 / 96 - 1 = -4.167 %; that moves A minor by 12 * log2(92 / 96) = -0.737 semitones,
# nearest Ab minor and 26 cents; 10 s of phrase at 92 BPM: 5 s of the record at 96 are
# 5 / (92 / 96) s of the stage, 2.0 bars of 2.609 s.
def test_fit_gives_the_pitch_the_key_and_the_phrases(shelf: str):
    report = data("fit", "--shelf", shelf, "stall-break", "--among", "kind a cappella")
    (fit,) = report["fits"]  # type: ignore[call-overload, index]
    assert fit["meeting"]["other_percent"] == pytest.approx(-4.1667, abs=1e-4)
    assert fit["heard_in"] == "Ab minor +26 ct"
    assert fit["phrases_bars"] == pytest.approx([2.0, 2.0])
    assert fit["relation_key_locked"] == "same key"
    assert sum(cost["points"] for cost in fit["costs"]) == pytest.approx(
        100 - fit["score"], abs=0.01
    )


def test_fit_says_what_is_out_of_reach_and_what_has_no_tempo(shelf: str):
    told = run("fit", "--shelf", shelf, "stall-break", "--range", "0.5").stdout
    assert "by hand" in told
    # By hand: 140 against 92 is nearest at three to two: 140 / 138 = 1.01449;
    # (r - 1) / (r + 1) = 0.719 %.
    assert "lie out of reach of ±0.5 % on both decks; nearest: tram, with --range 0.7." in told
    assert (
        "out of reach" not in run("fit", "--shelf", shelf, "stall-break", "--range", "13.6").stdout
    )


def test_the_turntable_of_a_scene_is_taken(shelf: str, tmp_path: Path):
    (tmp_path / "routine.yaml").write_text(
        "title: a\nturntable: {rpm: 45, pitch_range: 16}\nidea: {theme: b}\n"
    )
    report = data("fit", "--shelf", shelf, "stall-break", "--scene", str(tmp_path))
    assert (report["rpm"], report["pitch_range_percent"]) == (45.0, 16.0)  # type: ignore[call-overload, index]


IDEA = """\
title: Night Market
idea:
  theme: one evening at a night market
  wants:
    - {part: intro, energy: 2, kind: instrumental, tempo_from: 85, tempo_to: 100}
    - {part: intro, energy: 3, kind: a cappella}
    - {part: story, energy: 3, kind: instrumental, tempo_from: 85, tempo_to: 100}
    - {part: climax, energy: 5, kind: instrumental, tempo_from: 90, tempo_to: 105}
    - {part: outro, energy: 2, kind: instrumental}
"""


def test_the_idea_is_told_what_is_lacking(shelf: str, tmp_path: Path):
    (tmp_path / "routine.yaml").write_text(IDEA)
    report = data("gather", "--shelf", shelf, "--for", str(tmp_path))
    wants = report["wants"]  # type: ignore[call-overload, index]
    assert [(want["part"], want["chosen"]) for want in wants] == [
        ("intro", "stall-break"),
        ("intro", "hawker-call"),
        ("story", None),
        ("climax", None),
        ("outro", None),
    ]
    assert {"name": "stall-break", "misses": "energy 2"} in wants[2]["near"]


def test_what_the_map_says_of_its_sounds_goes_before_the_study(tmp_path: Path, sound):
    (tmp_path / "routine.yaml").write_text(
        "title: a\nidea: {wants: [{part: intro, kind: a cappella}]}\n"
        "sounds:\n"
        "  call: {file: sounds/call.wav, kind: a cappella, key: C minor, licence: CC0-1.0}\n"
    )
    with Shelf(tmp_path / "shelf.sqlite") as shelf:
        shelf.keep("ab" * 20, sound(kind="sample"))
        shelf.place(str(tmp_path / "sounds" / "call.wav"), "ab" * 20, Signature(1, 1, 1, 1))
    (want,) = data("gather", "--for", str(tmp_path))["wants"]  # type: ignore[call-overload, index]
    assert want["chosen"] == "call"
    assert "No licence" not in run("gather", "--for", str(tmp_path)).stdout
    assert data("fit", "call", "--scene", str(tmp_path))["key"] == "C minor"  # type: ignore[call-overload, index]


def test_a_scene_without_an_idea_is_shown_how_to_write_one(
    shelf: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    (tmp_path / "routine.yaml").write_text("title: a\n")
    code, said = refused(capsys, "gather", "--shelf", shelf, "--for", str(tmp_path))
    assert code == 1
    assert "wants:" in said


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("gather",), 2, "nothing to do"),
        (("gather", "x", "--find", "loop"), 2, "FOLDER and --find do not go together"),
        (("gather", "/no/such/folder"), 2, "/no/such/folder: no such folder or file"),
        (("gather", "--find", "loop", "--tag", "x"), 2, "--tag goes with --mark"),
        (("gather", "--mark", "tram"), 2, "--mark needs something to write"),
        (("gather", "--mark", "trm", "--tag", "x"), 2, "did you mean tram?"),
        (("gather", "--mark", "tram", "--key", "Am"), 2, "a key such as A minor"),
        (("gather", "--mark", "tram", "--energy", "9"), 2, "1 (calm) to 5 (driving)"),
        (("gather", "--mark", "tram", "--tempo", "nan"), 2, "a BPM from 20 to 300"),
        (("gather", "--find", "tempi 9"), 2, "did you mean tempo?"),
        (("gather", "--show", "zzz"), 2, "no such sound on the shelf"),
        (("fit", "café"), 2, "no such sound on the shelf"),
        (("fit", "caf"), 1, "holds text, no sound"),
        (("fit", "tram", "--range", "0"), 2, "--range"),
    ],
)
def test_wrong_use_says_what_would_do(
    shelf: str, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], code: int, said: str
):
    found = refused(capsys, arguments[0], "--shelf", shelf, *arguments[1:])
    assert found[0] == code
    assert said in found[1]


def test_no_shelf_yet_says_how_to_make_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    code, said = refused(capsys, "fit", "--shelf", str(tmp_path / "none"), "x")
    assert (code, "liveaid gather FOLDER" in said) == (1, True)


def test_a_scenes_own_shelf_comes_first(shelf: str, tmp_path: Path):
    scene = tmp_path / "scene"
    scene.mkdir()
    (scene / "routine.yaml").write_text("title: a\nidea: {wants: [{part: intro, energy: 2}]}\n")
    Path(shelf).rename(scene / "shelf.sqlite")
    report = data("gather", "--for", str(scene))
    assert report["wants"][0]["chosen"] == "stall-break"  # type: ignore[call-overload, index]
    assert data("fit", "tram", "--scene", str(scene))["sound"] == "tram"  # type: ignore[call-overload, index]


def clicks(file: Path, tempo: float, beats: int) -> None:
    """A loop of so many beats: a decaying burst of noise on each, cut to the sample."""
    rate = 44100
    frames = round(beats * 60.0 / tempo * rate)
    samples = np.zeros(frames)
    burst = np.random.default_rng(1).standard_normal(4000) * np.exp(-np.arange(4000) / 600.0)
    for beat in range(beats):
        start = round(beat * 60.0 / tempo * rate)
        loud = 0.3 if beat % 4 else 0.6
        samples[start : start + 4000] += loud * burst[: frames - start]
    soundfile.write(file, 0.3 * samples, rate, subtype="PCM_16")


def test_a_folder_of_good_and_broken_files_is_gathered_found_and_fitted(tmp_path: Path):
    folder, shelf = tmp_path / "sounds", str(tmp_path / "shelf.sqlite")
    folder.mkdir()
    clicks(folder / "market.wav", 120.0, 32)
    clicks(folder / "lane.wav", 125.0, 32)
    whole = (folder / "lane.wav").read_bytes()
    (folder / "cut.wav").write_bytes(whole[: len(whole) // 2])
    (folder / "text.wav").write_text("no sound in here")
    (folder / "empty.wav").write_bytes(b"")
    (folder / "cover.jpg").write_bytes(b"a picture")
    report = data("gather", "--shelf", shelf, str(folder))
    assert report["files"]["studied"] == 3  # type: ignore[call-overload, index]
    why = {Path(t["file"]).name: t["why"] for t in report["troubles"]}  # type: ignore[call-overload, index]
    assert why["empty.wav"] == "an empty file, 0 bytes"
    assert "no sound that can be read" in why["text.wav"]
    assert [Path(f).name for f in report["faulty"]] == ["cut.wav"]  # type: ignore[call-overload, index]
    assert [Path(f).name for f in report["passed"]] == ["cover.jpg"]  # type: ignore[call-overload, index]
    assert "cover.jpg: passed over" in run("gather", "--shelf", shelf, str(folder)).stdout
    tempos = {
        sound["name"]: sound["study"]["tempo"]
        for sound in data("gather", "--shelf", shelf, "--find", "tempo 110.., not faulty")  # type: ignore[attr-defined]
    }
    # By construction: beats set to the sample at 120 and 125 BPM.
    assert tempos == {
        "lane": pytest.approx(125.0, rel=2e-4),
        "market": pytest.approx(120, rel=2e-4),
    }
    # A file that is not on the shelf is studied for the once: 120 / 125 - 1 = -4 %.
    clicks(tmp_path / "guest.wav", 120.0, 16)
    # The same clicks at another speed are taken for a copy.
    fits = data("fit", "--shelf", shelf, str(tmp_path / "guest.wav"))["copies"]  # type: ignore[call-overload, index]
    lane = next(fit for fit in fits if fit["name"] == "lane")
    assert lane["meeting"]["other_percent"] == pytest.approx(-4.0, abs=0.03)
