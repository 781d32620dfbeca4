"""button-bound-twice: a button starts cues in two lines, or is the stop button as well.

What: a button stands in one `button` line, and the stop button in none.

Why: two cues started by one press compete for their outputs. A stop button must stop, and must not
start anything.

Example:

    remote
        button 1: go lure
        button 1: go chew

Instead:

    remote
        button 1: go lure
        button 2: go chew

Source of the limit: this tool's rule; TABLE.md gives buttons 1 to 31.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding, Fix
from sim.model import Binding
from sim.rulebook import BUTTONS


def check(context: Context) -> Iterator[Finding]:
    score = context.show.score
    taken = {binding.button for binding in score.bindings}
    if score.stop_button is not None:
        taken.add(score.stop_button)
    first: dict[int, Binding] = {}
    for binding in score.bindings:
        earlier = first.setdefault(binding.button, binding)
        is_stop = binding.button == score.stop_button
        if earlier is binding and not is_stop:
            continue
        span = context.span(binding.mark, "button")
        free = next((n for n in BUTTONS if n not in taken), None)
        fix = (
            None
            if free is None
            else Fix(span, context.text(span).replace(str(binding.button), str(free), 1))
        )
        if free is not None:
            taken.add(free)
        reason = "is the stop button" if is_stop else f"already starts `{earlier.cue}`"
        related = () if is_stop else ((context.span(earlier.mark), "bound here first"),)
        yield Finding(
            "error",
            "button-bound-twice",
            f"button {binding.button} {reason}",
            span,
            label=f"starts `{binding.cue}` as well",
            related=related,
            help=None if free is None else f"button {free} is free",
            fix=fix,
            asked=binding.button,
        )
