"""Slips of the pen: what a line that cannot be read was meant to be.

Each module knows slips of one kind (characters, numbers, units, colours, words, joints) and
proposes changes for them. `seqlang.text.slips.mending` tries the changes on the line until it can
be read; no change is proposed that leaves it unreadable.
"""
