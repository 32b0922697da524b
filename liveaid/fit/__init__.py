"""fit: what goes with a sound on a platter, and what an idea still lacks.

May import: errors, routine, shelf, study.

meeting      how two records come to one beat
keymeeting   how their keys stand at the speeds they run at
costs        what each difference costs
fit          every other sound ranked
why          every number of it in a sentence
brief        what the shelf still lacks for an idea
"""
