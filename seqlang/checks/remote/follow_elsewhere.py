"""follow-elsewhere: an output follows a channel or a sensor that arrives at another board.

What: an output, and the channel or the sensor that it follows, hang on the same board.

Why: no board tells another one where a stick stands. The board of the output would never hear it.

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


def check(context: Context) -> Iterator[Finding]:
    for follow in context.show.rig.follows:
        output, source = context.outputs[follow.output], context.sources_followed[follow.source]
        if output.board == source.board:
            continue
        yield Finding(
            "error",
            "follow-elsewhere",
            f"`{output.name}` hangs on `{output.board}`, and `{source.name}` arrives at "
            f"`{source.board}`",
            context.span(follow.mark, "source"),
            label="not heard there",
            related=(
                (context.span(output.mark, "board"), "the output's board"),
                (context.span(source.mark, "board"), "the board that hears it"),
            ),
            help=f"give `{output.name}` a pin of `{source.board}`, or let `{source.name}` arrive "
            f"at `{output.board}`",
        )
