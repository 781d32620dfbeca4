"""button-on-follower: a button is wired to a board that follows another one.

What: in a show with a board that leads, the remote's buttons are wired to that board.

Why: the line between the boards goes one way, from the board that leads to the others. A board that
follows cannot tell anybody of its buttons, and starts no cue by itself. A stop button there would
stop that board alone.

Example:

    board hub: atmega2560, address 1, leads
    board arm: atmega328p, address 2
    input 1: arm pin PC0

Instead:

    input 1: hub pin PC0

Source of the limit: this tool's rule (LINK.md, section 7).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding


def check(context: Context) -> Iterator[Finding]:
    leader = context.show.rig.leader
    if leader is None:
        return
    rig = context.show.rig
    wired = [(wire.button, wire.board, wire.mark) for wire in rig.inputs]
    wired += [
        (band.button, channel.board, band.mark)
        for channel in rig.channels
        for band in channel.bands
    ]
    for button, name, mark in wired:
        board = context.boards.get(name)
        if board is None or board.leads:
            continue
        is_stop = button == context.show.score.stop_button
        does = f"would stop only `{board.name}`" if is_stop else "would do nothing"
        yield Finding(
            "error",
            "button-on-follower",
            f"button {button} is wired to `{board.name}`, which follows `{leader.name}`",
            context.span(mark, "button"),
            label=f"there it {does}",
            related=((context.span(leader.mark), "this board hears the remote"),),
            help=f"wire it to a free pin of `{leader.name}`",
        )
