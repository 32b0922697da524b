"""fit: what goes with a sound on a platter, and what an idea still lacks.

May import: errors, files, record, routine, shelf, sound, study, numpy, soundfile, soxr.

meeting      how two records come to one beat
costs        what each difference costs
rank         a whole crate ranked by its columns
fit          how one other sound goes with a sound, every number of it
audition     the two heard together at that pitch
why          every number of it in a sentence
brief        what the shelf still lacks for an idea
draft        a first map for it from what the shelf has
"""
