"""unreachable-cue: nothing starts a cue.

What: each cue is bound to a button, is played by idle or is the cue for a lost remote.

Why: a cue that no button starts is usually a line forgotten under `remote`.

Example:

    cue chew "Chews"
        ...
    remote
        button 1: go lure

Instead:

    remote
        button 1: go lure
        button 2: go chew

Source of the limit: this tool's rule. A cue can still be started over the link by its name, so
this is a warning; it is not given when the show has no remote at all.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Cue
from sim.rulebook import BUTTONS
from sim.score.tree import acts


def check(context: Context) -> Iterator[Finding]:
    bindings = context.show.score.bindings
    if context.partial or not bindings:
        return
    first = context.span(bindings[0].mark)
    taken = {binding.button for binding in bindings} | {context.show.score.stop_button}
    for cue in context.written.score.cues:
        if cue.name in context.reachable or _played(context, cue):
            continue
        free = next((n for n in BUTTONS if n not in taken), None)
        taken.add(free)
        line = f"button {free}: go {cue.name}"
        at = Span(first.path, first.start, first.start)
        yield Finding(
            "warning",
            "unreachable-cue",
            f"nothing starts cue `{cue.name}`",
            context.span(cue.mark, "name"),
            label="no button, not idle, not for a lost remote",
            help=f"bind it under `remote`: `{line}`" if free else "all buttons are taken",
            fix=Fix(at, f"{line}\n{context.indent(first)}") if free else None,
        )


def _played(context: Context, cue: Cue) -> bool:
    """Whether another cue plays this one: its statements stand in that cue as well."""
    own = {step.mark for step in acts(cue.body)}
    return bool(own) and all(context.uses_of_mark[mark] > 1 for mark in own)
