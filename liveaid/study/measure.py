"""Measure one sound: read it once, then ask each fact's module."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soxr

from liveaid.files.names import shown
from liveaid.files.unreadable import Unreadable
from liveaid.sound.loudness import LoudnessMeter, PeakMeter
from liveaid.sound.read import Reader, Samples, open_sound
from liveaid.study.character import find_energy, guess_kind
from liveaid.study.downbeat import Bars, find_bars
from liveaid.study.facts import Study
from liveaid.study.imprint import take_imprint
from liveaid.study.key import find_key
from liveaid.study.onsets import Onsets, find_onsets
from liveaid.study.phrases import find_phrases, silence_s
from liveaid.study.sections import Section, beat_facts, edges_of, find_sections, struck
from liveaid.study.spectrum import RATE_HZ, Spectrum, analyse
from liveaid.study.steadiness import find_change, in_words, tempo_curve
from liveaid.study.tempo import Tempo, find_tempo
from liveaid.study.texture import Texture, weave
from liveaid.study.voice import Voice, find_voice

SMALL_AFTER_S = 1200.0
"""Sounds longer than this are kept at half precision, so that two hours fit in 400 MB."""
MEASURE_LONGEST_S = 4 * 3600.0
OFFSET_SHARE = 0.02
"""A steady offset from this share of full scale on is worth telling."""
CANCELLED = 0.02


@dataclass(frozen=True, slots=True)
class Listened:
    """What one pass over a file leaves: the sound at RATE_HZ in mono, and its levels."""

    mono: Samples
    loudness_lufs: float | None
    range_lu: float
    true_peak_dbtp: float | None
    offset: float
    """Mean of the samples, full scale 1; already taken out of `mono`."""
    cancelled: bool
    """The channels cancel each other in mono."""


def measure(path: str | Path) -> Study:
    """Every measured fact of the sound in one file. Unreadable when there is none to read."""
    with open_sound(path) as reader:
        heard = hear(reader)
        if not reader.frames:
            reason = "; ".join(reader.faults) or "it holds no samples"
            raise Unreadable(f"{shown(path)}: no sound that can be read ({reason})")
        faults = (*reader.all_faults(), *_faults(heard, reader))
        return _study(_uncancelled(path, heard), reader, faults)


def studied_mono(path: str | Path) -> Samples:
    """A file's sound at RATE_HZ in one channel, as it is studied. Unreadable when there is none."""
    with open_sound(path) as reader:
        heard = hear(reader)
    return _uncancelled(path, heard).mono.astype(np.float32)


def _uncancelled(path: str | Path, heard: Listened) -> Listened:
    """The same, or the first channel alone where the channels cancel each other."""
    if not heard.cancelled:
        return heard
    with open_sound(path) as again:
        return hear(again, channel=0)


def hear(reader: Reader, *, channel: int | None = None) -> Listened:
    """Read a whole sound, block by block; mono is the mean of the channels, or one of them."""
    loudness = LoudnessMeter(rate_hz=reader.rate_hz, channels=reader.channels)
    peak, mix = PeakMeter(), _Mix(reader, channel)
    for block in reader:
        loudness.hear(block)
        peak.hear(block)
        mix.hear(block)
    peak.finish()
    mono = mix.finish()
    offset = float(mono.mean(dtype=np.float64)) if len(mono) else 0.0
    mono -= mono.dtype.type(offset)
    return Listened(
        mono,
        loudness.integrated_lufs(),
        loudness.range_lu(),
        peak.dbtp(),
        offset,
        channel is None and mix.cancelled,
    )


class _Mix:
    """The channels as one, brought to RATE_HZ while they are read."""

    def __init__(self, reader: Reader, channel: int | None) -> None:
        count = reader.channels
        weights = np.full(count, 1.0 / count) if channel is None else np.eye(count)[channel]
        self._weights = weights.astype(np.float32)
        self._stream = (
            soxr.ResampleStream(reader.rate_hz, RATE_HZ, 1, dtype="float32", quality="HQ")
            if reader.rate_hz != RATE_HZ
            else None
        )
        promised_s = min(reader.declared / reader.rate_hz, MEASURE_LONGEST_S) + 1.0
        # Room for all that is promised at once: pieces put together at the end would need twice.
        kind = np.float16 if promised_s > SMALL_AFTER_S else np.float32
        self._whole = np.empty(round(promised_s * RATE_HZ), dtype=kind)
        self._filled = 0
        self._power = np.zeros(2)

    def hear(self, block: Samples) -> None:
        """The next (frames, channels)."""
        mixed = block @ self._weights
        self._power += (float(mixed @ mixed), float(np.vdot(block, block)) / block.shape[1])
        self._keep(mixed if self._stream is None else self._stream.resample_chunk(mixed))

    def _keep(self, part: Samples) -> None:
        part = part[: max(0, round(MEASURE_LONGEST_S * RATE_HZ) - self._filled)]
        end = self._filled + len(part)
        if end > len(self._whole):  # more than was promised
            self._whole = np.concatenate([self._whole, np.empty(end, dtype=self._whole.dtype)])
        self._whole[self._filled : end] = part
        self._filled = end

    @property
    def cancelled(self) -> bool:
        """Whether hardly anything of the channels' power is left in their mean."""
        return bool(self._power[1] > 0 and self._power[0] < CANCELLED * self._power[1])

    def finish(self) -> Samples:
        """The whole, (frames,) at RATE_HZ; of a long sound at half precision."""
        if self._stream is not None:
            self._keep(self._stream.resample_chunk(np.zeros(0, dtype=np.float32), last=True))
        return self._whole[: self._filled]  # type: ignore[return-value]


def _faults(heard: Listened, reader: Reader) -> list[str]:
    faults = []
    if abs(heard.offset) >= OFFSET_SHARE:
        faults.append(f"a steady offset of {100 * heard.offset:.0f} % of full scale was taken out")
    if heard.cancelled:
        faults.append("the channels cancel each other: the first one was studied")
    if reader.frames > MEASURE_LONGEST_S * reader.rate_hz:
        hours = MEASURE_LONGEST_S / 3600
        faults.append(f"longer than {hours:.0f} hours: beat, key and onsets are of that much")
    return faults


def _sections(
    texture: Texture,
    onsets: Onsets,
    voice: Voice,
    tempo: Tempo,
    bars: Bars | None,
    duration_s: float,
) -> tuple[Section, ...]:
    """What plays from beat to beat, or from second to second where there is none."""
    edges = edges_of(tempo.beats_s, duration_s)
    if len(edges) < 2:
        return ()
    facts = beat_facts(texture, onsets, edges)
    sung, alone = voice.at((edges[1:] + edges[:-1]) / 2)
    bar = None if bars is None else (bars.metre, bars.first)
    return struck(find_sections(facts, sung, alone, edges, bar), onsets)


def _study(heard: Listened, reader: Reader, faults: tuple[str, ...]) -> Study:
    """Everything found, as the record that is kept."""
    duration_s, mono = reader.frames / reader.rate_hz, heard.mono
    spectrum = analyse(mono)
    onsets = find_onsets(mono, spectrum)
    silent_s = silence_s(spectrum.level_db, duration_s)
    study = Study(
        duration_s=duration_s,
        sample_rate_hz=reader.rate_hz,
        channels=reader.channels,
        format=reader.format,
        frames_declared=reader.declared,
        frames_read=reader.frames,
        faults=faults,
        silence_start_s=silent_s[0],
        silence_end_s=silent_s[1],
        loudness_lufs=heard.loudness_lufs,
        loudness_range_lu=heard.range_lu,
        true_peak_dbtp=heard.true_peak_dbtp,
        brightness_hz=spectrum.centroid_hz,
        energy=_energy(heard, spectrum, onsets, sounding_s=duration_s - sum(silent_s)),
        onsets_s=tuple(float(time) for time in onsets.times_s if time < duration_s),
        phrases_s=find_phrases(spectrum.level_db, onsets, duration_s),
        imprint=take_imprint(spectrum),
    )
    if silent_s[0] >= duration_s:
        return replace(study, rhythmic="it is silent")
    tempo = find_tempo(
        mono,
        spectrum,
        onsets,
        frames=reader.frames,
        rate_hz=reader.rate_hz,
        padding=reader.padding,
    )
    bars = find_bars(mono, spectrum, tempo.beats_s, loop_beats=tempo.loop_beats)
    key = find_key(mono)
    texture = weave(mono)
    voice = find_voice(spectrum, texture)
    kind = guess_kind(
        spectrum,
        onsets,
        tempo,
        keyed=key.key is not None,
        duration_s=duration_s,
        voice=voice.share(),
    )
    return replace(
        study,
        tempo=tempo.tempo_bpm,
        tempo_confidence=tempo.confidence,
        tempo_alternative=tempo.alternative_bpm,
        tempo_rival=tempo.rival_bpm,
        first_beat=tempo.first_beat_s,
        first_downbeat=None if bars is None else float(tempo.beats_s[bars.first]),
        downbeat_confidence=0.0 if bars is None else bars.confidence,
        metre=None if bars is None else bars.metre,
        steady=tempo.steady,
        tempo_drift_percent=tempo.drift_percent,
        beat_residual_ms=1000.0 * tempo.residual_s,
        **_followed(tempo),
        loop_beats=tempo.loop_beats,
        rhythmic=tempo.why_not,
        key=None if key.key is None else str(key.key),
        key_confidence=key.confidence,
        tuning_cents=key.tuning_cents,
        voice=round(voice.share()[0], 3),
        sections=tuple(
            _told(one, bars) for one in _sections(texture, onsets, voice, tempo, bars, duration_s)
        ),
        kind=kind.kind,
        kind_confidence=kind.confidence,
    )


def _told(section: Section, bars: Bars | None) -> tuple[float, float, str, float]:
    """A section as the study keeps it."""
    length = section.beats / (4 if bars is None else bars.metre)
    return round(section.begin_s, 4), round(section.end_s, 4), section.plays, round(length, 2)


def _followed(tempo: Tempo) -> dict[str, Any]:
    """The beats of a sound without one tempo, the tempo's curve, and what it does."""
    if tempo.steady or not len(tempo.beats_s):
        return {}
    return {
        "beats_s": tuple(round(float(beat), 4) for beat in tempo.beats_s),
        "tempo_curve": tempo_curve(tempo.beats_s),
        "tempo_change": in_words(find_change(tempo.beats_s)),
    }


def _energy(heard: Listened, spectrum: Spectrum, onsets: Onsets, *, sounding_s: float) -> int:
    if heard.loudness_lufs is None or heard.true_peak_dbtp is None:
        return 1
    crest = heard.true_peak_dbtp - heard.loudness_lufs
    return find_energy(spectrum, onsets, sounding_s=sounding_s, crest_db=crest)
