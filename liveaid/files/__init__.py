"""files: what several rooms need of the disk and of processes.

May import: errors, platformdirs.

aside       a file written in full beside its place, then moved there
file_bytes  a file by its bytes and by its looks: is it the same as before
folders     the performer's own folders on this system; those that come along
harmless    texts that cannot steer a terminal
inside      where a name in a folder really leads
names       file names as they can be printed
unreadable  what a file that cannot be read raises
workers     a few worker processes with a time limit a task
"""
