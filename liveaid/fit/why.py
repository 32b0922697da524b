"""Every number of a fit in a sentence a performer can act on."""

from __future__ import annotations

import statistics
from collections.abc import Callable

from liveaid.fit.costs import FULL_LOUDNESS_LU
from liveaid.fit.fit import UNSURE, Fit
from liveaid.fit.meeting import Meeting
from liveaid.routine.harmony import KeyMeeting
from liveaid.routine.model import Turntable
from liveaid.study.facts import Study

PEAK_CEILING_DBTP = -1.0
"""True peak a level match should stay below (EBU R 128)."""


def percent(value: float) -> str:
    """A pitch as it is set: signed, two decimals, never minus nothing."""
    return f"{value + 0.0:+.2f} %" if abs(value) >= 0.005 else "0 %"


def pitches(meeting: Meeting | None) -> str:
    """The pitch of the deck that moves; both when both move, this sound's first."""
    if meeting is None:
        return "by hand"
    if meeting.sound_percent == 0.0:
        return percent(meeting.other_percent)
    if meeting.other_percent == 0.0:
        return f"{percent(meeting.sound_percent)} here"
    return f"{meeting.sound_percent:+.2f} / {meeting.other_percent:+.2f} %"


def reading(meeting: Meeting | None) -> str:
    """How the beats are counted together."""
    if meeting is None:
        return "-"
    return {1.0: "same", 2.0: "double", 0.5: "half"}.get(meeting.beats, "3 to 2")


def key_words(keys: KeyMeeting | None) -> str:
    """The key the other sound is heard in, and how far off it lies."""
    if keys is None:
        return "no key"
    cents = round(keys.cents_off)
    return f"{keys.beside} {cents:+d} ct" if cents else str(keys.beside)


def relation_words(keys: KeyMeeting | None) -> str:
    """How the keys stand to each other in two or three words, and how far off they are."""
    if keys is None:
        return "no key"
    short = {
        "relative major and minor": "relative",
        "parallel major and minor": "parallel",
        "a fifth apart": "a fifth",
        "neighbours by a fifth, other mode": "fifth, other mode",
    }
    said = short.get(keys.relation, keys.relation.removesuffix(" apart"))
    cents = round(keys.cents_off)
    return f"{said} {cents:+d} ct" if cents else said


def length_words(seconds: float) -> str:
    """Minutes and seconds with one decimal."""
    minutes, rest = divmod(round(seconds, 1), 60.0)
    return f"{int(minutes)}:{rest:04.1f}"


def phrase_words(fit: Fit) -> str:
    """How many phrases the other sound has and how long the middle one is."""
    if not fit.phrases_bars:
        return "-"
    return f"{len(fit.phrases_bars)} x {statistics.median(fit.phrases_bars):.1f}"


def reasons(sound: Study, other: Study, fit: Fit, turntable: Turntable) -> list[tuple[str, str]]:
    """A pair (term, sentence) for each cost of the fit, in the order of its costs."""
    told: dict[str, Callable[[], str]] = {
        "pitch": lambda: _pitch(sound, other, fit, turntable),
        "reading": lambda: (
            _READING[fit.meeting.beats] if fit.meeting else "no beats to count together"
        ),
        "beat": lambda: _beat(sound, other, fit),
        "key": lambda: _key(sound, other, fit),
        "kind": lambda: f"{_kind(sound)} with {_kind(other)}",
        "energy": lambda: f"from {sound.energy} to {other.energy} of 5",
        "length": lambda: _length(sound, other, fit),
        "loudness": lambda: _loudness(fit),
    }
    return [(cost.term, told[cost.term]()) for cost in fit.costs]


def _pitch(sound: Study, other: Study, fit: Fit, turntable: Turntable) -> str:
    meeting = fit.meeting
    if meeting is None or not sound.tempo:
        return fit.why_cued
    if pitches(meeting) == percent(0.0):
        return f"none needed: {other.tempo:.2f} BPM to {meeting.beats * sound.tempo:.2f}"
    ways = [
        f"{who} deck alone {percent(alone)}"
        for who, alone in (
            ("the other", meeting.other_alone_percent),
            ("this", meeting.sound_alone_percent),
        )
        if alone is not None
    ]
    if not ways:
        ways = [f"neither deck alone reaches it within ±{turntable.pitch_range_percent:g} %"]
    ways.append("shared: this {}, the other {}".format(*map(percent, meeting.split_percent)))
    ways = [", or ".join(ways)]
    together = meeting.beats * meeting.tempo_bpm
    ways.append(f"{other.tempo:.2f} BPM comes to {together:.2f}")
    if meeting.sound_percent:
        ways.append(f"{sound.tempo:.2f} here to {meeting.tempo_bpm:.2f}")
    return "; ".join(ways)


_READING = {
    1.0: "beat on beat",
    0.5: "two beats of this one to one of the other",
    2.0: "two beats of the other to one of this one",
    1.5: "three beats of the other to two of this one",
    2 / 3: "three beats of this one to two of the other",
}


def _beat(sound: Study, other: Study, fit: Fit) -> str:
    if fit.meeting is None:
        return fit.why_cued
    parts = [_tempo_trust("this", sound), _tempo_trust("the other", other)]
    if fit.bar_turns:
        parts.append(f"a bar is {fit.bar_turns:.3f} turns of the other's platter")
    return "; ".join(parts)


def other_tempos(study: Study) -> list[float]:
    """How else its beat may be counted, the plainest relation first."""
    return [bpm for bpm in (study.tempo_alternative, study.tempo_rival) if bpm]


def _tempo_trust(who: str, study: Study) -> str:
    sure = f"{who} {study.tempo:.2f} BPM, confidence {study.tempo_confidence:.2f}"
    if others := other_tempos(study):
        sure += f" (or {' or '.join(f'{bpm:.2f}' for bpm in others)})"
    if abs(study.tempo_drift_percent) >= 0.1:
        sure += f", drifts {study.tempo_drift_percent:+.1f} %: ride the pitch"
    return sure


def _key(sound: Study, other: Study, fit: Fit) -> str:
    if fit.keys is None or fit.keys_locked is None:
        who = "this sound" if sound.key is None else "the other"
        return f"{who} has no key: nothing to clash"
    shift = fit.meeting.shift_semitones if fit.meeting else 0.0
    parts = [
        f"{other.key} against {sound.key}",
        f"the pitch moves it {shift + 0.0:+.2f} semitones" if abs(shift) >= 0.005 else "not moved",
    ]
    if (tuning := other.tuning_cents - sound.tuning_cents) and abs(tuning) >= 1.0:
        parts.append(f"tuned {tuning:+.0f} cents apart")
    parts.append(f"heard as {key_words(fit.keys)}: {fit.keys.relation}")
    parts.append(f"with the key kept {key_words(fit.keys_locked)}: {fit.keys_locked.relation}")
    sure = sound.key_confidence * other.key_confidence
    parts.append(f"confidence {sure:.2f}{', a guess' if sure < UNSURE else ''}")
    return "; ".join(parts)


def _kind(study: Study) -> str:
    return study.kind if study.kind_confidence >= UNSURE else f"{study.kind} (a guess)"


def _length(sound: Study, other: Study, fit: Fit) -> str:
    if fit.length_bars is None:
        return "no bars to count"
    whose = "" if sound.tempo else " of its own"
    parts = [f"{fit.length_bars:.2f} bars{whose}"]
    if fit.phrases_bars:
        shown = ", ".join(f"{bars:.1f}" for bars in fit.phrases_bars[:8])
        parts.append(f"phrases of {shown}{' ...' if len(fit.phrases_bars) > 8 else ''} bars")
    if fit.pickup_beats:
        parts.append(f"a pick-up: let it go {fit.pickup_beats:.1f} beats before the bar line")
    if sound.metre and other.metre and sound.metre != other.metre:
        parts.append(f"{other.metre} beats in a bar against {sound.metre}")
    if sound.loop_beats and other.loop_beats:
        parts.append(f"a loop of {other.loop_beats} beats against {sound.loop_beats}")
    return "; ".join(parts)


def _loudness(fit: Fit) -> str:
    if fit.loudness_lu is None:
        return "not known"
    gain = -fit.loudness_lu
    said = f"{-gain + 0.0:+.1f} LU; the other's gain {gain + 0.0:+.1f} dB"
    if abs(gain) > FULL_LOUDNESS_LU:
        said += ", more than a mixer's gain usually gives"
    peak = fit.gain_peak_dbtp
    if peak is None:
        return said
    over = f", above {PEAK_CEILING_DBTP:g}: take this deck down instead"
    return f"{said}, peak then {peak:+.1f} dBTP{over if peak > PEAK_CEILING_DBTP else ''}"


def in_a_sentence(sound: Study, other: Study, fit: Fit) -> str:
    """Why it fits, in one sentence: what is set, how the keys stand, what it is good for."""
    parts = [_set(other, fit)]
    if fit.keys is not None:
        parts.append(f"{fit.keys.beside} against {sound.key}: {relation_words(fit.keys)}")
    parts.append(_lies(sound, other))
    if fit.pickup_beats:
        parts.append(f"comes in {fit.pickup_beats:.1f} beats before the bar line")
    told = [cost for cost in fit.costs if fit.meeting or cost.term not in OF_THE_BEAT]
    dearest = max(told, key=lambda cost: cost.points)
    if dearest.points >= TELLING_POINTS:
        parts.append(f"weakest in {dearest.term}")
    return "; ".join(parts) + "."


TELLING_POINTS = 5.0
"""A term that takes fewer points off than this is no weakness worth a word."""


OF_THE_BEAT = ("pitch", "reading", "beat")
"""Terms that stand alike for the hand that brings the time where no beats meet."""


def _lies(sound: Study, other: Study) -> str:
    """What lies over what: all other kinds over an instrumental."""
    below = other.kind == "instrumental" and sound.kind != "instrumental"
    return f"{_a(other.kind)} {'under' if below else 'over'} {_a(sound.kind)}"


def _set(other: Study, fit: Fit) -> str:
    """What the decks are set to, or that a hand brings the time."""
    if fit.meeting is None:
        return f"{_length_s(other)} cued by hand"
    counted = {"same": "beat on beat"}.get(reading(fit.meeting), f"{reading(fit.meeting)} time")
    return f"pitch {pitches(fit.meeting)}, {counted}"


def _length_s(study: Study) -> str:
    return f"{study.duration_s:.1f} s"


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"
