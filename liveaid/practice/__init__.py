"""practice: takes, scores, what to practise next.

May import: errors, routine, follow, stage, aiohttp, matplotlib, numpy, pythonosc, scipy,
soundfile.

Pure, told the time: trace, motion, hear, grid, events, match, assess, score (one take);
visits, takes, count_in, ladder, care, session (a rehearsal as it goes); wilson, next (what to
practise); hearing, warp, align, recording (a take from the mixer's recording).
Files, clocks, threads: store, report, rehearsal, pages, replay.
"""
