"""gather: sounds. Read audio, tempo grid, key, loudness, onsets, the shelf, what fits what.

May import: errors, routine, numpy, pyloudnorm, scipy, soundfile, soxr.
"""
