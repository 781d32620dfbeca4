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
from seqlang.checks.wiring import pins
from seqlang.text.findings import Finding, Fix
from sim.model import Board


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
            fix=_on_leader(context, leader, mark),
        )


def _on_leader(context: Context, leader: Board, mark: int) -> Fix | None:
    """The change that wires a button to the leader's nearest free pin.

    None for a band of a channel, whose timer and whose wire are those of the whole channel.
    """
    wire = next((one for one in context.show.rig.inputs if one.mark == mark), None)
    chips = {one: (chip, users) for one, chip, users in pins.by_board(context)}
    if wire is None or leader not in chips:
        return None
    chip, users = chips[leader]
    taken = {user.pin for user in users}
    if chip.line_out is not None:
        taken.add(chip.pins[chip.line_out])
    free = pins.nearest_free(chip, wire, taken)
    spans = [context.span(mark, part) for part in ("board", "pin")]
    if free is None or context.text(spans[0]) != wire.board:
        return None
    pin = chip.pin_name(free)
    bench = f"the wire of button {wire.button} moves to {pin} of `{leader.name}`"
    return Fix(spans[0], leader.name, ((spans[1], pin),), bench)
