"""endless-cue: a cue repeats for ever, and no button's cue takes all its outputs back.

What: a cue that never ends is a strand of idle, or other cues that a button starts take over every
output it uses.

Why: if nothing takes over, the cue goes on until the stop button. Idle never gets its outputs back.

Example:

    cue glow "Glows"
        repeat
            belly fade to 80% in 1 s
            belly fade to 20% in 1 s
    remote
        button 1: go glow

Instead:

    idle: go glow

Source of the limit: TABLE.md, 2 (a run ends when it has lost its last output).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import listed
from seqlang.text.findings import Finding
from sim.model import Cue, Repeat
from sim.score.tree import walk


def check(context: Context) -> Iterator[Finding]:
    score = context.show.score
    if context.partial:
        return
    for cue in score.cues:
        loop = next((s for s in walk(cue.body) if _is_endless(s)), None)
        if loop is None or cue.name in score.idle or cue.name not in context.reachable:
            continue
        if cue.let_go and any(b.cue == cue.name for b in score.bindings):
            continue  # it ends when its button is let go
        if any(b.cue == cue.name and b.manner == "toggle" for b in score.bindings):
            continue  # it ends when its button is pressed again
        span = context.span(loop.mark)
        if any(b.cue == cue.name and b.while_held for b in score.bindings):
            yield _held(context, cue, loop)
            continue
        left = context.uses[cue.name] - _taken_back(context, cue)
        if context.uses[cue.name] and not left:
            continue
        yield Finding(
            "warning",
            "endless-cue",
            f"cue `{cue.name}` never ends: no other cue of the remote takes over "
            f"{listed(sorted(left))}"
            if left
            else f"cue `{cue.name}` never ends: it uses no output that another cue could take over",
            span,
            label="repeats for ever",
            help=f"give the repeat a count, or let idle play it: `idle: go {cue.name}`"
            + (f"; or bind a cue that uses {listed(sorted(left))}" if left else ""),
        )
    yield from _lost(context)


def _is_endless(step: object) -> bool:
    return isinstance(step, Repeat) and step.times is None and not step.while_held


def _held(context: Context, cue: Cue, loop: object) -> Finding:
    return Finding(
        "warning",
        "endless-cue",
        f"cue `{cue.name}` is to run while its button is held, but repeats for ever by itself",
        context.span(getattr(loop, "mark", cue.mark)),
        label="letting go of the button does not end this",
        help="write `repeat while held`, or take the repeat out",
    )


def _taken_back(context: Context, cue: Cue) -> set[str]:
    """Outputs that some button's cue takes from `cue` whatever happens."""
    bound = {binding.cue for binding in context.show.score.bindings}
    return {
        output
        for other in context.show.score.cues
        if other is not cue and other.name in bound and other.conflict == "take"
        for output in context.uses[other.name]
    }


def _lost(context: Context) -> Iterator[Finding]:
    score = context.show.score
    cue = context.cues.get(score.lost_cue or "")
    if cue is None or not any(_is_endless(step) for step in walk(cue.body)):
        return
    yield Finding(
        "warning",
        "endless-cue",
        f"cue `{cue.name}`, for a lost remote, never ends",
        context.span(cue.mark, "name"),
        label="runs on after the remote is back, until a button's cue takes over",
        help="let it end in the safe pose",
    )
