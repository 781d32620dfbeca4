"""duration-too-long: one move or fade lasts longer than the table can hold.

What: a move or a fade lasts at most 65 s, the stop 5.1 s, the silence before the cue for a lost
remote 25.5 s.

Why: a board keeps the times of moves in 24 bits of 1/256 ms, which is a little more. The table has
one byte for the stop, in frames, and one for the silence, in steps of 100 ms.

Example:

    lamp fade to 80% in 2 min

Instead:

    lamp fade to 40% in 60 s
    lamp fade to 80% in 60 s

Source of the limit: TABLE.md, code (duration: at most 65000 ms) and header (lost time, stop time).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figures
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Fade, Move
from sim.rulebook import LONGEST_DURATION_MS, LONGEST_SILENCE_MS, LONGEST_STOP_MS


def check(context: Context) -> Iterator[Finding]:
    for step in context.steps:
        if isinstance(step, Move | Fade) and step.duration_ms > LONGEST_DURATION_MS:
            what = "a move" if isinstance(step, Move) else "a fade"
            span = _pace_span(context, step)
            yield _finding(context, what, step.duration_ms, LONGEST_DURATION_MS, span)

    score = context.show.score
    if score.stop_ms > LONGEST_STOP_MS:
        span = context.place("stop time", "time")
        yield _finding(context, "a stop", score.stop_ms, LONGEST_STOP_MS, span)
    if score.lost_ms is not None and score.lost_ms > LONGEST_SILENCE_MS:
        span = context.place("lost", "time")
        yield _finding(context, "a silence", score.lost_ms, LONGEST_SILENCE_MS, span)


def _pace_span(context: Context, step: Move | Fade) -> Span:
    """The duration; or whatever else says how fast, such as `at 2 deg/s`."""
    part = "duration" if context.has_part(step.mark, "duration") else "pace"
    return context.span(step.mark, part)


def _finding(context: Context, what: str, asked_ms: int, limit_ms: int, span: Span) -> Finding:
    fix = rewritten(context, span, limit_ms, units.DURATION, "down")
    if context.text(span).startswith(("at ", "within ")):
        fix = Fix(span, f"in {fix.text}")
    in_two = limit_ms == LONGEST_DURATION_MS
    asked, limit = figures(asked_ms / 1000, limit_ms / 1000)
    return Finding(
        "error",
        "duration-too-long",
        f"{what} of {asked} s is longer than the {limit} s that a table can hold",
        span,
        label=f"at most {limit} s",
        help=f"write `{fix.text}`{', or split it in two' if in_two else ''}",
        fix=fix,
        asked=asked_ms / 1000,
        limit=limit_ms / 1000,
        unit="s",
    )
