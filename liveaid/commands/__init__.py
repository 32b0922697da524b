"""commands: one module a command; options in, one room's work, a report out.

May import: every room, cli, click, numpy, rich, soundfile.
Nothing imports a command but the list in cli.

arrange        the order and decks that cost the hands least
calibrate      `liveaid rehearse --calibrate`
check          can two hands play this routine, and does it work as a piece?
deck_files     how long the two deck files are, where they can be found
demo           the whole job in one go, without hardware
draft          a first map from the sounds on the shelf and the idea
fit            which sounds go with one sound on a platter
fit_report     what `liveaid fit` says
gather         study folders of sounds, find them again, mark them, see what is lacking
gather_report  what `liveaid gather` says
hearing        what a take sounded like: `liveaid review --hear`
laying         A scene judged as it is written
learn          listen to a sender or a controller and write its map
opening        how every command opens a scene, and says when its maps no longer say the same
parts_report   `liveaid gather --parts` and `--notes`
perform        follow the performance on stage
ports          what MIDI ports are there
rehearse       count-in, loops, a tempo ladder, takes kept and scored
render         the two deck files, the guide mix, the placed map and the sheet of a scene
review         takes, scores, pictures, and what to practise next
shelf_tables   tables of sounds, fits and wants for the terminal, from 80 columns up
simulate       the routine performed without hardware, over OSC
slower_decks   deck files of a stretch for tempos the fader does not reach
speaking       the sentences after a take, said aloud
stage_options  the options of every command that sets the stage
"""
