"""follow-elsewhere: an output follows what another board hears or moves.

What: an output, and the channel, the sensor or the part that it follows, hang on the same board.

Why: no board tells another one where a stick or a part stands. The board of the output would never
know.

Example:

    channel stick: hub pin PL0
    servo neck: tail pin PA0
        follows stick from 1000 us to 2000 us, -30 deg to 30 deg

Instead:

    channel stick: hub pin PL0
    servo neck: hub pin PA0
        follows stick from 1000 us to 2000 us, -30 deg to 30 deg

Source of the limit: this tool's rule (TABLE.md, section 10).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import Channel, Lamp, Sensor, Servo


def check(context: Context) -> Iterator[Finding]:
    rig = context.show.rig
    for follow in rig.follows:
        source = context.sources_followed[follow.source]
        arrives = f"`{source.name}` arrives at `{source.board}`"
        yield from _found(context, follow.output, follow.mark, "source", source, arrives)
    for shine in rig.shines:
        servo = context.servos[shine.servo]
        hangs = f"`{servo.name}` on `{servo.board}`"
        yield from _found(context, shine.output, shine.mark, "servo", servo, hangs)
    for bar in rig.bars:
        lamp = context.lamps[bar.lamp]
        hangs = f"`{lamp.name}` on `{lamp.board}`"
        yield from _found(context, bar.strip, bar.mark, "lamp", lamp, hangs)


def _found(
    context: Context,
    name: str,
    mark: int,
    part: str,
    source: Channel | Sensor | Servo | Lamp,
    where: str,
) -> Iterator[Finding]:
    output = context.outputs[name]
    if output.board == source.board:
        return
    moves = isinstance(source, Servo | Lamp)
    other = f"give `{source.name}` one" if moves else f"let `{source.name}` arrive at"
    yield Finding(
        "error",
        "follow-elsewhere",
        f"`{output.name}` hangs on `{output.board}`, and {where}",
        context.span(mark, part),
        label="not known there" if moves else "not heard there",
        related=(
            (context.span(output.mark, "board"), "the output's board"),
            (
                context.span(source.mark, "board"),
                f"the board that {'has' if moves else 'hears'} it",
            ),
        ),
        help=f"give `{output.name}` a pin of `{source.board}`, or {other} "
        f"{'of ' if moves else ''}`{output.board}`",
    )
