"""draw-outside-idle: something is drawn in a cue that is not a strand of idle.

What: only the cues behind `idle: go` may say `A .. B`. A gesture that they play may, too.

Why: a drawn amount differs from one pass of a loop to the next. A cue that a button starts begins
anew each time, and would show the same each time.

Example:

    cue nod
        head to 10 deg .. 20 deg in 500 ms

Instead:

    cue nod
        head to 15 deg in 500 ms

Source of the limit: LANGUAGE.md, 5.4.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.meaning.draws_elsewhere import outside_idle
from seqlang.text.findings import Finding
from sim.score.draws import draws_in


def check(context: Context) -> Iterator[Finding]:
    if context.draws is None or context.partial:
        return
    score = context.draws.score
    for cue in score.cues:
        first = None if cue.name in score.idle else next(draws_in(cue.body), None)
        if first is not None:
            yield outside_idle(cue.name, context.span(first.mark))
