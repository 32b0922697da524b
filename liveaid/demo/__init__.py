"""demo: the night market, synthesised, and the whole job shown on it in one go.

May import: every room, numpy, rich, soundfile.

alley   what the hands do in the spice alley
market  the sounds of the night market, written as files
show    the demo's performance
tally   how well a performance was followed: what the prompt said against what was so. Pure
tour    the whole job on the night market: each stage by the command a performer would type
voices  the instruments of the night market, synthesised
"""
