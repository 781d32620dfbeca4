"""button-bound-twice: a button starts cues in two lines, or is the stop button as well.

What: each kind of press of a button (down, `long`, `twice`, `let go`) stands in one `button` line.
A button with `while held` has no long and no double press. The stop button stands in none.

Why: two cues started by one press compete for their outputs. Where a press may become a long one,
the board waits before it starts anything, so there is nothing to hold. A stop button must stop, and
must not start anything.

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
from sim.model import Binding, PressKind
from sim.rulebook import BUTTONS


def check(context: Context) -> Iterator[Finding]:
    score = context.show.score
    taken = {binding.button for binding in score.bindings}
    if score.stop_button is not None:
        taken.add(score.stop_button)
    first: dict[tuple[int, PressKind], Binding] = {}
    held = {binding.button: binding for binding in score.bindings if binding.while_held}
    for binding in score.bindings:
        earlier = first.setdefault((binding.button, binding.kind), binding)
        is_stop = binding.button == score.stop_button
        is_another = earlier.mark != binding.mark
        waits = binding.kind in ("long", "twice") and binding.button in held
        if not is_another and not is_stop and not waits:
            continue
        if is_stop:
            reason = "is the stop button"
        elif is_another:
            reason = f"already starts `{earlier.cue}`"
        else:
            earlier = held[binding.button]
            reason = f"repeats `{earlier.cue}` while it is held"
        yield _bound_twice(context, binding, None if is_stop else earlier, reason, taken)


def _bound_twice(
    context: Context, binding: Binding, earlier: Binding | None, reason: str, taken: set[int]
) -> Finding:
    span = context.span(binding.mark, "button")
    free = next((n for n in BUTTONS if n not in taken), None)
    fix = None
    if free is not None:
        taken.add(free)
        fix = Fix(span, context.text(span).replace(str(binding.button), str(free), 1))
    related = () if earlier is None else ((context.span(earlier.mark), "bound here first"),)
    return Finding(
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
