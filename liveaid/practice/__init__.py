"""practice: takes, scores, what to practise next.

May import: errors, routine, follow, gather, matplotlib, numpy, scipy, soundfile.
"""
