"""record: what a record on a platter and a hand at it can do, in plain figures.

May import: numpy.
No clock, file, socket, thread. Used by every room that asks where a record is or can be.

platter   turns, sticker, pitch, and the semitones that pitch costs
figures   what hands and platters can do: one table with units and sources
places    when two places of a record count as one
strokes   how long one stroke takes, and how its place goes from rest to rest
bring     how long it takes to bring a record so many turns, by hand or by the needle
"""
