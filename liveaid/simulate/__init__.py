"""simulate: a performance without hardware: platter, performer, network, and the truth of it.

May import: errors, routine, numpy. Seeded, and faster than real time; shares no model with follow.
"""
