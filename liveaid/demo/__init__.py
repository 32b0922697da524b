"""demo: the night market, synthesised, and the whole job shown on it in one go.

May import: every room, click, numpy, rich, scipy, soundfile.
"""
