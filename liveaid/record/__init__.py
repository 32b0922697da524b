"""record: what a record on a platter and a hand at it can do, in plain figures.

May import: numpy.
No clock, file, socket, thread. Used by every room that asks where a record is or can be.

platter.py    turns, sticker, pitch and the semitones it costs
figures.py    hand and platter figures: one table with units and sources; a performer's own
places.py     when two places of a record count as one: the one set of tolerances
strokes.py    how long one stroke takes, and how its place and speed go from rest to rest
bring.py      how long it takes to bring a record so many turns, by hand or by the needle
"""
