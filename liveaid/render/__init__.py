"""render: the two deck files, the guide mix, the sheet, cue markers, and the routine's picture.

May import: errors, files, record, routine, sound, study, matplotlib, numpy, python_stretch, scipy,
soxr.

From the map to the decks folder:
render         a scene rendered as a whole, or all that keeps it from being
wish           how the performer wants the decks made
sound_header   where a sound's file lies and how long it is
sources        what each sound holds, studied where the map leaves it open; its samples
cuts           every passage as sound, made once or taken from the cache
cache          passages kept from an earlier render
writing        all files of the decks folder, written aside and then moved into place
into_place     a set of files moved into place together
outcome        what was made, and what the performer should know of it

Sound:
cut            one passage: brought to tempo, joined, levelled, its edges faded
to_tempo       a stretch brought to tempo by resampling, as on a platter
stretching     a stretch brought to tempo with its key kept
edges          fades and joints
level          loudness by ITU-R BS.1770
limiter        true peaks turned down
passage_level  how loud a passage came out
deck_file      a WAV file written block by block
cue_chunk      the parts of a WAV file around its samples: cue points and labels

What is heard:
guide          the guide mix: the routine played as written
stroke_sounds  what is heard of each deck in a set piece
hand_heard     a record that a hand moves, both ways, through the fader
moved_mix      both deck files as a take moved them

On paper:
sheet          the sheet to print
acts_picture   acts drawn small, for the sheet
picture        the routine drawn over time
"""
