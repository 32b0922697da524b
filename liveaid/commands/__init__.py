"""commands: one module a command; options in, one room's work, a report out.

May import: every room, cli, click, rich. Nothing imports a command but the list in cli.
"""
