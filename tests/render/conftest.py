"""What the render's tests share: a small scene with its sounds, and ways to look at the result."""

from __future__ import annotations

import shutil
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from liveaid.render.render import render_scene

RATE_HZ = 44_100


def clicks(tempo_bpm, beats, *, lead_in_s=0.0, rate_hz=RATE_HZ, accent=1, seed=0):
    """A dull thump and a noise burst on every beat, on the exact sample, and a low hum.

    `accent`: every so many beats one is louder. Shape (frames,).
    """
    beat_s = 60.0 / tempo_bpm
    sound = np.zeros(round((lead_in_s + beats * beat_s) * rate_hz))
    time_s = np.arange(round(0.12 * rate_hz)) / rate_hz
    noise = np.random.default_rng(seed).standard_normal(len(time_s))
    hit = np.exp(-time_s / 0.03) * (np.sin(2 * np.pi * 140 * time_s) + 0.3 * noise)
    for beat in range(beats):
        begin = round((lead_in_s + beat * beat_s) * rate_hz)
        part = hit[: len(sound) - begin]
        sound[begin : begin + len(part)] += part * (0.35 if beat % accent == 0 else 0.2)
    return sound


def phrase(length_s=0.9, *, lead_in_s=0.2, rate_hz=RATE_HZ):
    """A voice-like tone with a sharp attack after some silence."""
    time_s = np.arange(round(length_s * rate_hz)) / rate_hz
    tone = sum(np.sin(2 * np.pi * 220 * n * time_s) / n for n in range(1, 6))
    shape = np.minimum(1.0, time_s / 0.002) * np.minimum(1.0, (length_s - time_s) / 0.05)
    return np.concatenate([np.zeros(round(lead_in_s * rate_hz)), 0.15 * tone * shape])


MAP = """\
title: Rain Check
limit: "0:40"
sounds:
  awning: {file: sounds/awning.wav, kind: instrumental, tempo: 100, first_beat: 0.113}
  puddle: {file: sounds/puddle.wav, kind: instrumental, tempo: 96, first_beat: 0}
  seller: {file: sounds/seller.wav, kind: a cappella, first_beat: 0.2, licence: all rights reserved}
pieces:
  - {name: Drizzle, bars: 2, tempo: 100, count: left, technique: drop,
     left: {hand: runs, sound: awning}, prompt: right hand ready}
  - {name: Call, bars: 2, tempo: 100, count: left, technique: scratch,
     left: {hand: runs, sound: awning, bars_in: 2}, right: {hand: works, sound: seller}}
  - {name: Crossing, bars: 2, tempo: 100, count: right, technique: blend,
     left: {hand: runs, sound: awning, bars_in: 4}, right: {hand: runs, sound: puddle}}
  - {name: Puddles, bars: 2, tempo: 100, technique: beat juggle,
     left: {hand: works, sound: puddle, bars_in: 2},
     right: {hand: works, sound: puddle, bars_in: 2}}
  - {name: Dry, bars: 1, tempo: 100, count: left, left: {hand: runs, sound: awning}}
"""


@pytest.fixture
def bare(tmp_path):
    """A scene's folder with its map and its three sounds, for a test to change."""
    return make_scene(tmp_path / "rain")


@pytest.fixture
def scene(bare, done):
    """The same, with what an earlier render kept: only what a test changes is cut anew."""
    shutil.copytree(done[0] / "decks/.rendered", bare / "decks/.rendered")
    return bare


@pytest.fixture(scope="session")
def done(tmp_path_factory):
    """The same scene, rendered once, for tests that only look: its folder and the report."""
    folder = make_scene(tmp_path_factory.mktemp("done") / "rain")
    return folder, render_scene(folder / "routine.yaml")


def make_scene(folder):
    (folder / "sounds").mkdir(parents=True)
    (folder / "routine.yaml").write_text(MAP)
    soundfile.write(
        folder / "sounds/awning.wav", clicks(100, 32, lead_in_s=0.113), RATE_HZ, "PCM_24"
    )
    stereo = clicks(96, 24, rate_hz=48_000)
    soundfile.write(folder / "sounds/puddle.wav", np.c_[stereo, 0.8 * stereo], 48_000, "PCM_16")
    soundfile.write(folder / "sounds/seller.wav", phrase(), RATE_HZ, "PCM_24")
    return folder


class Wave:
    """A WAV file read from its bytes by the published layout, sharing no code with the writer.

    Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0 (1991):
    chunks of 4-byte name, 32-bit size, body, and a pad byte after an odd size.
    """

    def __init__(self, path: Path) -> None:
        data = Path(path).read_bytes()
        assert data[:4] == b"RIFF"
        assert data[8:12] == b"WAVE"
        assert struct.unpack("<I", data[4:8])[0] == len(data) - 8
        self.chunks = list(_chunks(data, 12))
        named = dict(self.chunks)
        self.format = struct.unpack("<HHIIHH", named[b"fmt "][:16])
        self.data = named[b"data"]
        self.cues, self.labels = {}, {}
        if b"cue " in named:
            body = named[b"cue "]
            count = struct.unpack("<I", body[:4])[0]
            assert len(body) == 4 + 24 * count
            for at in range(4, len(body), 24):
                # dwName, dwPosition, fccChunk, dwChunkStart, dwBlockStart, dwSampleOffset
                name, position, chunk, start, block, offset = struct.unpack(
                    "<II4sIII", body[at : at + 24]
                )
                assert (chunk, start, block) == (b"data", 0, 0)
                assert position == offset
                assert name not in self.cues
                self.cues[name] = offset
        for name, body in self.chunks:
            if name == b"LIST" and body[:4] == b"adtl":
                for inner, text in _chunks(body, 4):
                    assert inner == b"labl"
                    assert text.endswith(b"\0")
                    number = struct.unpack("<I", text[:4])[0]
                    self.labels[number] = text[4:].rstrip(b"\0").decode()

    def points(self):
        """(frame, label) of every cue point, in order."""
        return sorted((frame, self.labels[name]) for name, frame in self.cues.items())


def _chunks(data, at):
    while at < len(data):
        name, size = data[at : at + 4], struct.unpack("<I", data[at + 4 : at + 8])[0]
        assert at + 8 + size <= len(data)
        yield name, data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2


@pytest.fixture(scope="session")
def read_wave():
    """read_wave(path): the file's format, data, cue points and labels, from its bytes."""
    return Wave


@pytest.fixture(scope="session")
def sounds():
    """The makers of test sounds: `sounds.clicks`, `sounds.phrase`."""

    class Makers:
        pass

    Makers.clicks, Makers.phrase = staticmethod(clicks), staticmethod(phrase)
    return Makers


@pytest.fixture(scope="session")
def render_into():
    """Renders the scene in a folder."""
    return lambda folder: render_scene(folder / "routine.yaml")
