"""A show's remote as a page for phones: who may come, what they say, and their hands on the boards.

Each phone has a connection of its own to the owner of the ports, so what it held is let go of when
it goes. Stop and limp take the owner's own way for them, past everything else.
"""
