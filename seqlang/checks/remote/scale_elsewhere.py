"""scale-elsewhere: a cue is to go as far as a channel or a sensor of another board says.

What: all servos of such a cue hang on the board at which its channel or its sensor arrives. That
board leads, or plays alone.

Why: a board reads the channel once, when the cue starts, and tells no other board what it read. So
the parts would go differently far. A board that follows starts nothing by itself.

Example:

    sensor knob: hub pin PF0
    servo neck: tail pin PA0
    cue bow, as far as knob from 10 % to 90 %
        neck to 30 deg in 1 s

Instead: write a cue of its own for the parts on the other board, without `as far as`, or

    sensor knob: hub pin PF0
    servo neck: hub pin PA0

Source of the limit: this tool's rule (TABLE.md, section 14).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from seqlang.checks.context import Context
from seqlang.checks.remote.scale_unfit import servos_of
from seqlang.text.findings import Finding

if TYPE_CHECKING:
    from seqlang.text.findings import Span
    from sim.model import Channel, Cue, Sensor


def check(context: Context) -> Iterator[Finding]:
    for cue in context.scaled:
        assert cue.scaling is not None
        source = context.sources_followed[cue.scaling.source]
        board = context.boards[source.board]
        leader = context.show.rig.leader
        if leader is not None and leader is not board:
            yield _finding(
                context,
                cue,
                source,
                f"`{source.name}` arrives at `{board.name}`, and `{leader.name}` starts the cues",
                (context.span(leader.mark, "name"), "it leads"),
                f"let `{source.name}` arrive at `{leader.name}`, or leave out `as far as`",
            )
            continue
        for name in servos_of(context, cue):
            servo = context.servos[name]
            if servo.board != board.name:
                yield _finding(
                    context,
                    cue,
                    source,
                    f"`{name}` hangs on `{servo.board}`, and `{source.name}` arrives at "
                    f"`{board.name}`",
                    (context.span(servo.mark, "board"), "the servo's board"),
                    f"give `{name}` a pin of `{board.name}`, or move it in a cue of its own "
                    "without `as far as`",
                )
                break


def _finding(
    context: Context,
    cue: Cue,
    source: Channel | Sensor,
    message: str,
    beside: tuple[Span, str],
    help_: str,
) -> Finding:
    assert cue.scaling is not None
    return Finding(
        "error",
        "scale-elsewhere",
        message,
        context.span(cue.scaling.mark, "source"),
        label="not known there",
        related=(beside, (context.span(source.mark, "board"), "the board that hears it")),
        help=help_,
    )
