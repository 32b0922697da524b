"""fit: what goes with a sound on a platter, and what an idea still lacks.

May import: errors, routine, shelf, study.

meeting      how two records come to one beat
costs        what each difference costs
fit          every other sound ranked
why          every number of it in a sentence
brief        what the shelf still lacks for an idea
"""
