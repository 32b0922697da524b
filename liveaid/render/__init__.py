"""render: the two deck files, the guide mix, the sheet, cue markers, and the routine's picture.

May import: errors, files, record, routine, sound, study, matplotlib, numpy, python_stretch, scipy,
soxr.

acts_picture   acts drawn small, for the sheet
cache          rendered passages kept beside the decks
cue_chunk      the parts of a WAV file around its samples
cut            one passage as sound
cuts           all passages of both decks as sound
deck_file      one 24-bit WAV file, written block by block, with its cue points
edges          edges of a passage
hand_heard     what is heard of a record that a hand moves as the map's acts say
into_place     A set of files written aside in their own folder, then moved into place together
level          loudness levelled by ITU-R BS.1770, true peak kept below a ceiling
limiter        true peaks turned down to a ceiling, smoothly, leaving everything else as it is
moved_mix      both deck files as a take moved them
outcome        what a render made, and what the performer should know of it
passage_level  how loud one passage came out
sound_header   A sound's file as its header tells it
sources        the sounds' files
stretching     A stretch of a sound brought to tempo with its key kept, in a process of its own
stroke_sounds  what is heard of each deck when a set piece is played as written
to_tempo       A stretch of a sound brought to tempo by resampling
wish           how the performer wants the decks made
writing        everything a render leaves in the `decks` folder
"""
