"""repeat-without-time: the body of a repeat takes no time.

What: a repeat's body lasts at least a millisecond.

Why: a body of no duration would run without end within one instant; the board runs 64
statements of it in each frame and does little else.

Example:

    repeat
        bell on
        bell off

Instead:

    repeat
        bell on
        hold 500 ms
        bell off
        hold 500 ms

Source of the limit: TABLE.md, 2 (at most 64 statements a frame).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Repeat
from sim.rulebook import FRAME_MS
from sim.score.tree import Act, Lengths, walk


def check(context: Context) -> Iterator[Finding]:
    for cue in context.show.score.cues:
        repeats = [step for step in walk(cue.body) if isinstance(step, Repeat)]
        lengths = Lengths(cue.body) if repeats else None
        for step in repeats:
            once = not step.while_held and step.times == 1
            if lengths is None or lengths[step.body] > 0 or once:
                continue
            yield Finding(
                "error",
                "repeat-without-time",
                "the body of this repeat takes no time",
                context.span(step.mark),
                label="runs without end in one instant",
                help=f"add a hold to its body, one frame at least: `hold {FRAME_MS} ms`",
                fix=_rest(context, step),
                asked=0,
                limit=FRAME_MS,
                unit="ms",
            )


def _rest(context: Context, repeat: Repeat) -> Fix | None:
    """A hold before the first statement of the body."""
    first = next((step for step in walk(repeat.body) if isinstance(step, Act)), None)
    if first is None:
        return None
    span = context.span(first.mark)
    at = Span(span.path, span.start, span.start)
    return Fix(at, f"hold {FRAME_MS} ms\n{context.indent(span)}")
