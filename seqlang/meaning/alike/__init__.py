"""What is described once and exists several times: mirrored sides, and rows of like parts.

A text that describes things once is written out before anybody asks what it means: from then on
every thing has its own statements, at the place of the one description. `written.py` writes the
rig out, `cues.py` what moves it.
"""
