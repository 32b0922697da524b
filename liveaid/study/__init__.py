"""study: the measured facts of one sound.

May import: files, routine, sound, numpy, scipy, soxr.

facts       the facts, as one record that goes to JSON and back
measure     reads a sound once and asks each fact's module
spectrum    one spectrum for all
onsets      where sounds begin;  soft: a finer look where nothing strikes
pulse       how fast the beat goes, roughly
grid        one even grid through the onsets
beats       beats of played material, followed one by one
tempo_course  whether one grid holds from end to end
steadiness  tempo over time; a step or a ramp in words
loop        tempo told by a loop's length
tempo       which of the three ways is believed
downbeat    where bars begin
key         tonic, mode, tuning
imprint     what it sounds like, small enough to find its like again
texture     what lasts and what strikes, and how pitches glide;  periodicity: how periodic it is
voice       whether and where there is a voice;  voice_weights: what its judges have learnt
sections    what plays from bar to bar; open breaks
spoken_words  words of speech, each with its attack;  words_placed: those of a known text, by
            what their letters sound like (letter_sounds)
phrases     stretches of sound between pauses
part_finding  words and hits a hand could play;  tone: a steady tone's frequency
by_hand     a sound as one channel, its parts as files
character   how driving, and what it is most likely for
"""

from __future__ import annotations

from pathlib import Path

from liveaid.study.facts import Study

__all__ = ["Study", "study"]


def study(path: str | Path) -> Study:
    """Every measured fact of the sound in one file. Unreadable when there is none to read."""
    # Loaded when first needed: it brings scipy and soundfile with it.
    from liveaid.study.measure import measure

    return measure(path)
