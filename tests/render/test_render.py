"""A scene rendered: what is written, what is refused, and what a failure leaves behind."""

import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from liveaid.errors import LiveaidError, UsageError
from liveaid.record.platter import sticker_degrees
from liveaid.render.render import _deck_made, render_scene
from liveaid.render.wish import Wish
from liveaid.routine import Routine, RoutineError, load_routine
from liveaid.routine.check import check

MADE = ("guide.wav", "left.wav", "right.wav", "routine.yaml", "sheet.html", "written.yaml")


def names(folder):
    return sorted(path.name for path in folder.iterdir() if not path.name.startswith(".rendered"))


def contents(folder):
    return {name: (folder / name).read_bytes() for name in names(folder) if name[0] != "."}


def first_onset_s(sound, rate_hz, near_s):
    """Where the envelope first passes a fifth of its peak, from 30 ms before to 50 ms after."""
    begin = round((near_s - 0.03) * rate_hz)
    window = np.abs(sound[begin : begin + round(0.08 * rate_hz)]).max(axis=1)
    return (begin + int(np.argmax(window > 0.2 * window.max()))) / rate_hz


def test_the_decks_folder_holds_the_whole_set_and_the_placed_map_finds_it(done):
    scene, _ = done
    assert names(scene / "decks") == list(MADE)
    placed_file = scene / "decks/routine.yaml"
    placed = load_routine(placed_file)
    assert placed.placed
    for side in ("left", "right"):
        assert (placed_file.parent / placed.decks.of(side).file).samefile(
            scene / f"decks/{side}.wav"
        )
    for name, sound in placed.sounds.items():
        assert (placed_file.parent / sound.file).samefile(scene / f"sounds/{name}.wav")


@pytest.mark.parametrize(("rpm", "rate_hz"), [("33.333", 48_000), ("45", 44_100)])
def test_every_cue_that_is_wound_to_has_the_sticker_at_the_same_angle(scene, rate_hz, rpm):
    text = (scene / "routine.yaml").read_text()
    (scene / "routine.yaml").write_text(f"turntable: {{rpm: {rpm}}}\n{text}")
    rendered = render_scene(scene / "routine.yaml", Wish(rate_hz=rate_hz))
    turn_s = 1.8 if rpm == "33.333" else 60 / 45
    placed = load_routine(rendered.routine)
    juggles = {i for i, p in enumerate(placed.pieces) if p.left.hand == p.right.hand == "works"}

    def apart(a_s, b_s):
        off = ((a_s - b_s) / turn_s) % 1.0 * 360.0
        return min(off, 360.0 - off)

    for cut in rendered.cuts:
        assert apart(cut.cue_s, 0.0) < 0.01 or juggles & set(cut.pieces)
    assert juggles
    for index in juggles:
        assert apart(placed.pieces[index].left.cue_s, placed.pieces[index].right.cue_s) < 0.01
        assert min(cut.sticker_degrees, 360 - cut.sticker_degrees) < 0.01
    for deck in rendered.decks:
        info = soundfile.info(deck.file)
        assert (info.samplerate, info.channels, info.subtype) == (rate_hz, 2, "PCM_24")


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_every_beat_of_the_placed_map_has_its_hit_on_it(scene, rate_hz):
    render_scene(scene / "routine.yaml", Wish(rate_hz=rate_hz))
    placed = load_routine(scene / "decks/routine.yaml")
    checked = 0
    for index, piece in enumerate(placed.pieces):
        for side in ("left", "right"):
            plan = piece.plan(side)
            if plan.hand == "rests":
                continue
            sound, rate = soundfile.read(scene / f"decks/{side}.wav")
            beats = 1 if plan.sound == "seller" else placed.beats(index)
            for beat in range(beats):
                at_s = plan.cue_s + beat * 60 / piece.tempo_bpm
                if plan.hand == "works" and at_s > plan.to_s - 0.1:
                    break
                # The test's own hits need up to a millisecond to rise to a fifth.
                assert first_onset_s(sound, rate, at_s) == pytest.approx(at_s, abs=0.001)
                checked += 1
    assert checked > 30


def test_a_juggle_has_the_same_sound_on_both_decks(done):
    scene, _ = done
    juggle = load_routine(scene / "decks/routine.yaml").pieces[3]
    parts = []
    for side in ("left", "right"):
        plan = juggle.plan(side)
        sound, rate = soundfile.read(scene / f"decks/{side}.wav")
        begin = round(plan.from_s * rate)
        parts.append(sound[begin : begin + round((plan.to_s - plan.from_s) * rate)])
    apart = np.abs(parts[0] - parts[1]) / np.abs(parts[0]).max()
    assert apart.max() < 1e-3
    # Beyond the edge, where one copy has sound before it and the other silence, to 24 bits nearly.
    assert apart[1000:-1000].max() < 1e-5


def test_a_crash_in_the_middle_leaves_the_old_set_and_the_next_render_works(scene):
    render_scene(scene / "routine.yaml")
    before = contents(scene / "decks")
    text = (scene / "routine.yaml").read_text().replace("Drizzle", "Downpour")
    (scene / "routine.yaml").write_text(text)
    with subprocess.Popen([sys.executable, "-c", CRASH, scene], stdout=subprocess.PIPE) as process:
        assert process.wait(timeout=120) == -9
    assert {name: contents(scene / "decks")[name] for name in MADE} == before
    render_scene(scene / "routine.yaml")
    assert contents(scene / "decks")["routine.yaml"] != before["routine.yaml"]
    assert names(scene / "decks") == list(MADE)


def test_there_is_silence_before_each_cue_and_after_each_sound(done):
    scene, rendered = done
    for cut in rendered.cuts:
        sound, rate = soundfile.read(scene / f"decks/{cut.side}.wav")
        begin, end = round(cut.cue_s * rate), round((cut.cue_s + cut.length_s) * rate)
        turn = round(1.8 * rate)
        assert not sound[begin - turn + 1 : begin - round(0.002 * rate)].any()
        assert not sound[end + round(0.021 * rate) : end + turn].any()
        assert sound[begin:end].any()


def test_cue_points_with_labels_stand_at_every_cue(done, read_wave):
    scene, _ = done
    placed = load_routine(scene / "decks/routine.yaml")
    for side in ("left", "right"):
        wanted = {}
        for index, piece in enumerate(placed.pieces):
            if piece.plan(side).cue_s is not None:
                frame = round(piece.plan(side).cue_s * 44_100)
                wanted.setdefault(frame, []).append(f"{index + 1} {piece.name}")
        points = read_wave(scene / f"decks/{side}.wav").points()
        assert points == [(frame, " / ".join(labels)) for frame, labels in sorted(wanted.items())]


def test_what_has_not_changed_is_not_made_again_and_what_has_is(bare):
    first = render_scene(bare / "routine.yaml")
    assert not any(cut.kept for cut in first.cuts)
    before = contents(bare / "decks")
    again = render_scene(bare / "routine.yaml")
    assert all(cut.kept for cut in again.cuts)
    assert contents(bare / "decks") == before
    sound, rate = soundfile.read(bare / "sounds/seller.wav")
    soundfile.write(bare / "sounds/seller.wav", sound[::-1], rate, "PCM_24")
    third = render_scene(bare / "routine.yaml")
    assert {cut.sounds for cut in third.cuts if not cut.kept} == {("seller",)}
    assert contents(bare / "decks")["right.wav"] != before["right.wav"]


def test_a_damaged_cache_is_made_again(scene):
    render_scene(scene / "routine.yaml")
    before = contents(scene / "decks")
    for path in (scene / "decks/.rendered").iterdir():
        path.write_bytes(path.read_bytes()[:50])
    again = render_scene(scene / "routine.yaml")
    assert not any(cut.kept for cut in again.cuts)
    assert contents(scene / "decks") == before


def test_the_guide_lasts_as_long_as_the_routine_and_starts_with_its_first_sound(done):
    scene, _ = done
    guide, rate = soundfile.read(scene / "decks/guide.wav")
    placed = load_routine(scene / "decks/routine.yaml")
    assert placed.duration_s < len(guide) / rate < placed.duration_s + 1.0
    # Every beat of the first set piece is heard when it should be.
    for beat in range(1, 8):
        assert first_onset_s(guide, rate, beat * 0.6) == pytest.approx(beat * 0.6, abs=0.001)


def test_in_a_blend_the_incoming_deck_rises_and_the_leaving_one_falls(scene):
    text = (scene / "routine.yaml").read_text()
    start = text.index("pieces:")
    (scene / "routine.yaml").write_text(
        text[:start] + "pieces:\n"
        "- {name: a, bars: 2, tempo: 100, left: {hand: runs, sound: tone}}\n"
        "- {name: b, bars: 2, tempo: 100, technique: blend,"
        " left: {hand: runs, sound: tone, bars_in: 2}, right: {hand: runs, sound: other}}\n"
        "- {name: c, bars: 2, tempo: 100, right: {hand: runs, sound: other, bars_in: 2}}\n"
    )
    text = (scene / "routine.yaml").read_text()
    sounds = "".join(
        f"  {name}: {{file: sounds/{name}.wav, tempo: 100, first_beat: 0}}\n"
        for name in ("tone", "other")
    )
    (scene / "routine.yaml").write_text(text.replace("sounds:\n", "sounds:\n" + sounds))
    time_s = np.arange(20 * 44_100) / 44_100
    for name, hz in (("tone", 500.0), ("other", 2000.0)):
        soundfile.write(
            scene / f"sounds/{name}.wav", 0.2 * np.sin(2 * np.pi * hz * time_s), 44_100, "PCM_24"
        )
    render_scene(scene / "routine.yaml")
    guide, rate = soundfile.read(scene / "decks/guide.wav")

    def strength(at_s, hz):
        part = guide[round(at_s * rate) : round((at_s + 0.2) * rate), 0]
        return abs(part @ np.exp(-2j * np.pi * hz * np.arange(len(part)) / rate)) / len(part)

    full_tone, full_other = strength(2.0, 500), strength(12.0, 2000)
    assert [strength(5.0, 2000) / full_other < 0.3, strength(9.0, 500) / full_tone < 0.4] == [
        True
    ] * 2
    assert strength(7.2, 2000) == pytest.approx(full_other, rel=0.1)
    assert strength(7.0, 500) == pytest.approx(full_tone, rel=0.1)
    assert strength(2.0, 2000) < 0.01 * full_other
    assert strength(12.0, 500) < 0.01 * full_tone


def test_all_problems_are_said_at_once_with_set_piece_and_field(bare):
    (bare / "sounds/awning.wav").unlink()
    soundfile.write(bare / "sounds/seller.wav", np.zeros((4000, 4)), 44_100)
    text = (bare / "routine.yaml").read_text()
    text = text.replace("bars: 1, tempo: 100", "bars: 40, tempo: 100").replace(
        "left: {hand: runs, sound: awning}}", "left: {hand: runs, sound: puddle}}"
    )
    text += "  - {name: Flood, bars: 1, tempo: 20, right: {hand: runs, sound: puddle}}\n"
    text += "  - {name: Gone, bars: 1, tempo: 100, right: {hand: runs}}\n"
    (bare / "routine.yaml").write_text(text)
    with pytest.raises(RoutineError) as caught:
        render_scene(bare / "routine.yaml")
    problems = {problem.field: problem for problem in caught.value.problems}
    assert set(problems) == {
        "sounds.awning.file",
        "sounds.seller.file",
        "pieces[4].left.sound",
        "pieces[5].tempo",
        "pieces[6].right.sound",
    }
    assert "no such file" in problems["sounds.awning.file"].found
    assert "4 channels" in problems["sounds.seller.file"].found
    assert '"Dry" (96.00 s at 100 BPM)' in problems["pieces[4].left.sound"].found
    assert "loop: yes" in problems["pieces[4].left.sound"].would_do
    assert '"Flood"' in problems["pieces[5].tempo"].found
    assert "0.25 to 4" in problems["pieces[5].tempo"].would_do
    assert str(bare / "routine.yaml") in str(caught.value)
    lines = text.splitlines()
    assert "Flood" in lines[problems["pieces[5].tempo"].line - 1]
    assert not (bare / "decks").exists()


def test_a_loop_may_be_repeated_when_the_map_says_so(scene):
    text = (scene / "routine.yaml").read_text()
    text = text.replace("tempo: 96, first_beat: 0}", "tempo: 96, first_beat: 0, loop: yes}")
    text = text.replace("bars: 1, tempo: 100", "bars: 12, tempo: 100")
    text = text.replace("left: {hand: runs, sound: awning}}", "left: {hand: runs, sound: puddle}}")
    (scene / "routine.yaml").write_text(text)
    render_scene(scene / "routine.yaml")
    placed = load_routine(scene / "decks/routine.yaml")
    left, rate = soundfile.read(scene / "decks/left.wav")
    for beat in range(48):
        at_s = placed.pieces[4].left.at_s + beat * 0.6
        assert first_onset_s(left, rate, at_s) == pytest.approx(at_s, abs=0.001)


def test_what_was_studied_stands_in_the_placed_map_and_what_was_written_stays(scene):
    file = scene / "routine.yaml"
    text = file.read_text()
    file.write_text(
        text.replace("kind: instrumental, tempo: 100, first_beat: 0.113", "key: D minor")
    )
    render_scene(file)
    sounds = load_routine(scene / "decks" / "routine.yaml").sounds
    # The clicks were made at 100 BPM from second 0.113 on; the map no longer says so.
    assert sounds["awning"].tempo_bpm == pytest.approx(100.0, rel=2e-4)
    assert sounds["awning"].key == "D minor"
    assert sounds["puddle"].tempo_bpm == 96.0


def test_a_map_with_its_own_seconds_and_no_sounds_has_nothing_to_render(tmp_path):
    file = tmp_path / "routine.yaml"
    file.write_text(
        "title: Own\npieces: [{name: A, bars: 1, tempo: 90, left: {hand: runs, at: 3}}]"
    )
    with pytest.raises(LiveaidError, match="found no `sounds`, so nothing to render"):
        render_scene(file)
    assert names(tmp_path) == ["routine.yaml"]


def test_a_loop_that_is_no_whole_number_of_beats_is_refused(scene):
    text = (scene / "routine.yaml").read_text()
    text = text.replace("first_beat: 0.113}", "first_beat: 0.113, loop: yes}")
    (scene / "routine.yaml").write_text(text)
    with pytest.raises(RoutineError, match=r"sounds.awning.loop: found yes, and awning is 32.19"):
        render_scene(scene / "routine.yaml")


def test_an_unknown_tempo_is_said_once_with_every_set_piece_that_needs_it(scene):
    noise = np.random.default_rng(0).uniform(-0.1, 0.1, 6 * 44_100)
    soundfile.write(scene / "sounds/awning.wav", noise, 44_100)
    text = (scene / "routine.yaml").read_text().replace("tempo: 100, first_beat: 0.113", "")
    (scene / "routine.yaml").write_text(text.replace("instrumental, }", "instrumental}"))
    with pytest.raises(RoutineError) as caught:
        render_scene(scene / "routine.yaml")
    (problem,) = caught.value.problems
    assert problem.field == "sounds.awning.tempo"
    assert '"Drizzle", "Call", "Crossing", "Dry" needs one' in problem.found


def test_a_side_that_is_too_short_is_said_with_both_lengths(scene):
    text = (scene / "routine.yaml").read_text()
    (scene / "routine.yaml").write_text('turntable: {side: "0:10"}\n' + text)
    with pytest.raises(RoutineError, match=r"turntable.side: found 0:10, and the left deck needs"):
        render_scene(scene / "routine.yaml")


def test_a_routine_of_more_than_two_hours_is_refused(scene):
    text = (scene / "routine.yaml").read_text()
    for number in range(20):
        text += f"  - {{name: Long {number}, bars: 1000, tempo: 200}}\n"
    (scene / "routine.yaml").write_text(text)
    with pytest.raises(RoutineError, match=r"pieces: found 400:22 of music in all"):
        render_scene(scene / "routine.yaml")


def test_a_sound_cut_off_in_its_file_is_refused_before_anything_is_written(scene):
    path = scene / "sounds/awning.wav"
    path.write_bytes(path.read_bytes()[:200_000])
    with pytest.raises(RoutineError, match=r"sounds.awning.file: .*cut off"):
        render_scene(scene / "routine.yaml")
    assert not (scene / "decks/left.wav").exists()


def test_samples_that_are_no_numbers_are_refused(scene):
    sound, rate = soundfile.read(scene / "sounds/seller.wav")
    sound[100] = np.nan
    soundfile.write(scene / "sounds/seller.wav", sound, rate, "FLOAT")
    with pytest.raises(RoutineError, match=r"sounds.seller.file: .*no numbers"):
        render_scene(scene / "routine.yaml")


def test_a_sound_that_the_render_would_overwrite_is_refused(bare):
    (bare / "decks").mkdir()
    (bare / "sounds/awning.wav").rename(bare / "decks/left.wav")
    text = (bare / "routine.yaml").read_text().replace("sounds/awning.wav", "decks/left.wav")
    (bare / "routine.yaml").write_text(text)
    with pytest.raises(RoutineError, match="which the render writes"):
        render_scene(bare / "routine.yaml")
    assert names(bare / "decks") == ["left.wav"]


def test_a_deck_file_of_the_performer_s_own_is_kept_under_another_name(bare):
    (bare / "decks").mkdir()
    (bare / "decks/left.wav").write_bytes(b"my own take")
    rendered = render_scene(bare / "routine.yaml")
    assert [path.read_bytes() for path in rendered.set_aside] == [b"my own take"]
    assert rendered.set_aside[0].name == "left-kept-1.wav"
    assert render_scene(bare / "routine.yaml").set_aside == ()


def test_deck_files_named_otherwise_in_the_map_stay_as_they_are_and_that_is_said(scene):
    text = (scene / "routine.yaml").read_text()
    (scene / "routine.yaml").write_text("decks: {left: {file: mine.wav}}\n" + text)
    (scene / "mine.wav").write_bytes(b"my own take")
    rendered = render_scene(scene / "routine.yaml")
    assert (scene / "mine.wav").read_bytes() == b"my own take"
    assert any("mine.wav stays as it is" in remark for remark in rendered.remarks)
    assert load_routine(rendered.routine).decks.left.file == "left.wav"


def test_a_span_and_the_cue_inside_it_keep_their_lengths_and_the_sticker_goes_by_the_cue(scene):
    text = (
        (scene / "routine.yaml")
        .read_text()
        .replace(
            "{hand: works, sound: seller}",
            "{hand: works, sound: seller, from: 5, to: 5.8, cue: 5.3}",
        )
    )
    (scene / "routine.yaml").write_text(text)
    rendered = render_scene(scene / "routine.yaml")
    plan = load_routine(rendered.routine).pieces[1].right
    assert plan.to_s - plan.from_s == pytest.approx(0.8, abs=1e-4)
    assert plan.cue_s - plan.from_s == pytest.approx(0.3, abs=1e-4)
    assert plan.cue_s / 1.8 == pytest.approx(round(plan.cue_s / 1.8), abs=1e-6)
    right, rate = soundfile.read(scene / "decks/right.wav")
    assert first_onset_s(right, rate, plan.from_s) == pytest.approx(plan.from_s, abs=0.001)


def test_a_deck_that_runs_into_a_faster_set_piece_keeps_its_beats_across_the_joint(scene):
    text = (
        (scene / "routine.yaml")
        .read_text()
        .replace("{name: Call, bars: 2, tempo: 100", "{name: Call, bars: 2, tempo: 106")
    )
    (scene / "routine.yaml").write_text(text)
    rendered = render_scene(scene / "routine.yaml")
    placed = load_routine(rendered.routine)
    first, second = placed.pieces[0].left.at_s, placed.pieces[1].left.at_s
    assert second - first == pytest.approx(8 * 0.6, abs=1 / 44_100)
    left, rate = soundfile.read(scene / "decks/left.wav")
    for at_s in [first + 0.6 * beat for beat in range(8)] + [
        second + 60 / 106 * beat for beat in range(8)
    ]:
        assert first_onset_s(left, rate, at_s) == pytest.approx(at_s, abs=0.001)
    # No click at the joint: nothing there is steeper than the hits themselves are.
    joint = round(second * rate)
    steps = np.abs(np.diff(left[:, 0]))
    hit = steps[round(first * rate) : round((first + 0.6) * rate)].max()
    assert steps[joint - 100 : joint].max() < 0.5 * hit


def test_two_hands_can_play_what_was_laid_out(scene):
    text = (
        (scene / "routine.yaml")
        .read_text()
        .replace(
            "left: {hand: runs, sound: awning}}", "left: {hand: runs, sound: puddle, bars_in: 2}}"
        )
    )
    (scene / "routine.yaml").write_text(text)
    rendered = render_scene(scene / "routine.yaml")
    placed = load_routine(rendered.routine)
    deck_s = {deck.side: deck.length_s for deck in rendered.decks}
    findings = check(placed, deck_s=deck_s)
    assert [f.says for f in findings if f.severity == "error" or f.rule == "reach"] == []


def test_the_placed_map_is_not_rendered_over_itself(scene):
    render_scene(scene / "routine.yaml")
    with pytest.raises(UsageError, match="placed map"):
        render_scene(scene / "decks/routine.yaml")


def test_without_the_sticker_rule_cues_lie_closer(scene):
    with_rule = render_scene(scene / "routine.yaml")
    without = render_scene(scene / "routine.yaml", Wish(sticker=False))
    for a, b in zip(with_rule.decks, without.decks, strict=True):
        assert b.length_s < a.length_s
    angles = {round(sticker_degrees(cut.cue_s, 100 / 3)) % 360 for cut in without.cuts}
    assert len(angles) > 1


# Dies by the signal that cannot be caught, with the decks written aside and nothing moved yet.
CRASH = """
import os, signal, sys
from pathlib import Path
from liveaid.render import render, writing
writing.sheet_html = lambda printed: os.kill(os.getpid(), signal.SIGKILL)
render.render_scene(Path(sys.argv[1]) / "routine.yaml")
"""

RENDER = """
import resource, sys
from liveaid.cli import main
if sys.argv[1] != "-":
    sys.dont_write_bytecode = True  # cut short by the limit it would be there for whoever is next
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
main(["render", sys.argv[2], "--json"])
"""


def run_render(scene, limit="-"):
    return subprocess.run(
        [sys.executable, "-c", RENDER, str(limit), str(scene)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.skipif(os.name != "posix", reason="a limit on file sizes is POSIX's")
@pytest.mark.parametrize("limit", [1000, 4_000_000])
def test_a_limit_on_file_sizes_is_a_clear_error_and_the_old_files_stay(scene, limit):
    render_scene(scene / "routine.yaml")
    before = contents(scene / "decks")
    text = (scene / "routine.yaml").read_text().replace("Drizzle", "Downpour")
    (scene / "routine.yaml").write_text(text)
    ran = run_render(scene, limit)
    assert ran.returncode == 1
    assert "limit on the size of a file" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert contents(scene / "decks") == before


@pytest.fixture
def small_disk(tmp_path):
    """small_disk(megabytes): a disk of that size, or a skip where none can be mounted."""
    disk = tmp_path / "disk"
    disk.mkdir()

    def mounted(megabytes):
        ran = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", disk],
            capture_output=True,
            check=False,
        )
        if ran.returncode != 0:
            pytest.skip("not on this machine: mounting a small tmpfs (needs root)")
        return disk

    yield mounted
    subprocess.run(["umount", disk], capture_output=True, check=False)


def test_a_full_disk_is_a_clear_error_and_the_old_files_stay(bare, small_disk, allow):
    disk = small_disk(6)
    allow("write", disk)
    (bare / "decks").symlink_to(disk)
    for name in MADE:
        (disk / name).write_bytes(b"old " + name.encode())
    ran = run_render(bare)
    assert ran.returncode == 1
    assert "disk full" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert contents(disk) == {name: b"old " + name.encode() for name in MADE}


def test_what_is_kept_for_the_next_render_never_takes_this_one_s_room(
    bare, done, small_disk, allow
):
    needed = sum((done[0] / "decks" / name).stat().st_size for name in MADE)
    disk = small_disk(needed // 1_000_000 + 3)
    allow("write", disk)
    (bare / "decks").symlink_to(disk)
    rendered = render_scene(bare / "routine.yaml")
    assert names(bare / "decks") == list(MADE)
    assert not any(cut.kept for cut in rendered.cuts)


def test_the_command_reports_as_json_and_as_text(scene):
    ran = run_render(scene)
    report = json.loads(ran.stdout)
    assert report["rate_hz"] == 44_100
    assert set(report["decks"]) == {"left", "right"}
    assert Path(report["routine"]).name == "routine.yaml"
    angles = [p["sticker_degrees"] % 360 for p in report["passages"]]
    assert sum(angle < 0.01 or angle > 359.99 for angle in angles) >= len(angles) - 1


def test_liveaid_errors_are_what_the_command_line_shows():
    assert issubclass(RoutineError, LiveaidError)


def test_winding_is_told_in_turns_of_the_platter(tmp_path):
    """A turn at 33 1/3 is 1.8 s (IEC 60098), 79380 frames at 44100 Hz: 198450 frames are 2.5."""
    only = {"name": "Alone", "bars": 2, "tempo": 100, "count": "left",
            "left": {"hand": "runs", "at": 1.0}}  # fmt: skip
    routine = Routine.model_validate({"title": "One", "pieces": [only]})
    order = SimpleNamespace(wound=198450, bound=79380)
    laid = SimpleNamespace(passage=SimpleNamespace(uses=[None]))
    layout = SimpleNamespace(frames=441000, order=order, shared=1, laid=[laid])
    written = SimpleNamespace(routine=routine, rate_hz=44100, layouts={"left": layout})
    made = _deck_made(written, tmp_path, "left", routine)
    assert (made.wound_turns, made.least_turns) == pytest.approx((2.5, 1.0))
    assert (made.length_s, made.cues, made.winds, made.shared) == (10.0, 1, 0, 1)
