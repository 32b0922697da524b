"""commands: one module a command; options in, one room's work, a report out.

May import: every room, cli, click, numpy, rich, soundfile.
Nothing imports a command but the list in cli.

The commands: arrange, check, demo, draft, fit, gather, learn, perform, ports, rehearse, render,
review, simulate. What several of them share, or one has beside itself:

opening        how a scene is opened, and what is said when its maps no longer say the same
laying         a scene judged as it is written: sounds from the shelf, cues laid out without audio
deck_files     how long the two deck files are
shared_options options that several commands have
stage_options  the options of every command that sets the stage, and what they set
calibrate      `rehearse --calibrate`
slower_decks   `rehearse --slower-decks`
speaking       `rehearse --speak`
hearing        `review --hear`
fit_report     what `fit` says
gather_report  what `gather` says
parts_report   `gather --parts` and `--notes`
shelf_tables   tables of sounds, fits and wants
"""
