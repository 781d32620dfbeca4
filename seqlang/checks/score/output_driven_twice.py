"""output-driven-twice: two statements of a cue drive one output at the same time.

What: at each instant at most one statement of a cue moves a servo or fades a light.

Why: the later one would interrupt the earlier one, and the cue would look different from what both
lines say.

Example:

    together
        jaw to 50 deg in 400 ms
        jaw to 4 deg in 400 ms

Instead:

    together
        jaw to 50 deg in 400 ms
        in turn
            hold 400 ms
            jaw to 4 deg in 400 ms

Source of the limit: this tool's rule (cues have an exact, known timeline).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import ceil, isfinite

from seqlang.checks.context import Context
from seqlang.checks.figures import seconds
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Cue, InTurn, Step
from sim.score.overlaps import Overlap, overlaps
from sim.score.tree import children, walk


def check(context: Context) -> Iterator[Finding]:
    for cue in context.show.score.cues:
        above: dict[int, Step] = {}
        for overlap in overlaps(cue):
            if not above:
                above = {id(child): step for step in walk(cue.body) for child in children(step)}
            yield _finding(context, cue, overlap, above)


def _finding(context: Context, cue: Cue, overlap: Overlap, above: Mapping[int, Step]) -> Finding:
    """`above`: the step that each step of the cue stands in."""
    start = overlap.second_ms[0]
    end = overlap.first_ms[1]
    delay_ms = ceil(end - start) if isfinite(end) else None
    until = f"until {seconds(end)}" if isfinite(end) else "without end"
    span = context.span(overlap.second.mark)
    fix = None if not delay_ms else _delayed(context, above, overlap.second, delay_ms)
    return Finding(
        "error",
        "output-driven-twice",
        f"`{overlap.output}` is driven twice at once in cue `{cue.name}`: this starts at "
        f"{seconds(start)}, and an earlier statement drives it {until}",
        context.span(overlap.second.mark, "name"),
        label=f"starts at {seconds(start)}",
        related=((context.span(overlap.first.mark), f"drives `{overlap.output}` {until}"),),
        help=f"start `{overlap.output}` {seconds(delay_ms)} later"
        if delay_ms and span != context.span(overlap.first.mark)
        else "take one of the two out, or put one after the other",
        fix=fix if span != context.span(overlap.first.mark) else None,
        asked=start,
        limit=end,
        unit="ms",
    )


def _delayed(context: Context, above: Mapping[int, Step], act: Step, delay_ms: int) -> Fix | None:
    """The statement of `act` with a hold before it."""
    span = context.span(act.mark)
    indent = context.indent(span)
    if indent.strip():
        return None
    if isinstance(_block_of(context, above, act), InTurn):
        return Fix(Span(span.path, span.start, span.start), f"hold {delay_ms} ms\n{indent}")
    inner = indent + ("\t" if "\t" in indent else "    ")
    text = f"in turn\n{inner}hold {delay_ms} ms\n{inner}{context.text(span)}"
    return Fix(span, text)


def _block_of(context: Context, above: Mapping[int, Step], act: Step) -> Step | None:
    """The block the statement of `act` stands in. One statement can make several acts."""
    own = context.span(act.mark)
    step = above.get(id(act))
    while step is not None and context.span(step.mark) == own:
        step = above.get(id(step))
    return step
