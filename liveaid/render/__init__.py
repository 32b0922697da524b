"""render: the two deck files, the guide mix, the sheet, cue markers, and the routine's picture.

May import: errors, files, record, routine, sound, study, matplotlib, numpy, pyloudnorm,
python_stretch, scipy, soundfile, soxr.
"""
