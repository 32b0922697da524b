"""sound: audio files read straight through, and how loud they are.

May import: files, av, mutagen, numpy, pyloudnorm, scipy, soundfile.

container   what a file's container promises, read from its bytes
labels      what a file says of itself: artist, title, album
loudness    integrated loudness, loudness range, true peak, block by block
packed      M4A, AAC and other packed containers
read        blocks of samples, cleaned, and what is wrong with the file
"""
