"""no-stop-button: the remote starts cues, but has no button that stops them.

What: a show with a remote and moving parts names a stop button.

Why: the one who holds the remote must be able to stop a part that pinches, without a laptop.

Example:

    remote
        button 1: go lure

Instead:

    remote
        button 1: go lure
        stop button 2

Source of the limit: this tool's advice. IEC 60204-1 has a stop category 1 (a controlled stop,
then power removed). Ending the pulses helps, but it is not an emergency stop as a standard means
it.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding, Fix, Span
from sim.rulebook import BUTTONS


def check(context: Context) -> Iterator[Finding]:
    score = context.show.score
    if context.partial or score.stop_button is not None or not score.bindings or not context.servos:
        return
    taken = {binding.button for binding in score.bindings}
    free = next((n for n in BUTTONS if n not in taken), None)
    span = context.span(score.bindings[0].mark)
    fix = None
    if free is not None:
        at = Span(span.path, span.start, span.start)
        fix = Fix(at, f"stop button {free}\n{context.indent(span)}")
    yield Finding(
        "advice",
        "no-stop-button",
        "the remote starts cues and has no stop button",
        span,
        label="starts cues, and no button stops them",
        help=None if free is None else f"button {free} is free: `stop button {free}`",
        fix=fix,
    )
