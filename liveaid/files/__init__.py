"""files: what several rooms need of the disk and of processes.

May import: errors.

digest      a file by its bytes and by its looks: is it the same as before
names       file names as they can be printed
unreadable  what a file that cannot be read raises
workers     a few worker processes with a time limit a task
"""
