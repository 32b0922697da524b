"""shelf: studied sounds kept, found again, and marked by the performer.

May import: errors, files, routine, sound, study, numpy, soundfile.

folder       which files below a folder may be sounds
one_file     what a worker does with one file, and for how long
collect      gather folders: only what is new or changed is read
database     the SQLite file behind the shelf
shelf        sounds known by their bytes, not by their names
shelf_sound  one sound as the shelf keeps it
open_break   an open break as a sound of its own
columns      the facts sounds are found by, a column each
crate_facts  what ranking needs, an array a fact
map_words    what a section map says of its sounds, put over the study
choose       the one sound meant by a path or a name
find         sounds by what matters on a platter
alike        sounds that sound like one
for_map      what the shelf knows of the sounds a section map names
query_words  the words a sound can be found by
"""
