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
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Binding, PressKind
from sim.rulebook import BUTTONS


def check(context: Context) -> Iterator[Finding]:
    score = context.show.score
    taken = {binding.button for binding in score.bindings}
    if score.stop_button is not None:
        taken.add(score.stop_button)
    stopping = _once([one for one in score.bindings if one.button == score.stop_button])
    if stopping:
        yield _is_stop(context, stopping, taken)
    first: dict[tuple[int, PressKind], Binding] = {}
    held = {binding.button: binding for binding in score.bindings if binding.while_held}
    for binding in score.bindings:
        earlier = first.setdefault((binding.button, binding.kind), binding)
        is_another = earlier.mark != binding.mark
        waits = binding.kind in ("long", "twice") and binding.button in held
        if binding.button == score.stop_button or not (is_another or waits):
            continue
        if is_another:
            reason = f"already starts `{earlier.cue}`"
        else:
            earlier = held[binding.button]
            reason = f"repeats `{earlier.cue}` while it is held"
        yield _bound_twice(context, binding, earlier, reason, taken)


def _once(bindings: list[Binding]) -> list[Binding]:
    """One binding for each line: a list of cues gives several."""
    return list({binding.mark: binding for binding in reversed(bindings)}.values())[::-1]


def _is_stop(context: Context, lines: list[Binding], taken: set[int]) -> Finding:
    """All lines of the stop button: they are of one button, and stay together."""
    first, *others = lines
    spans = [context.span(binding.mark, "button") for binding in lines]
    free = _free(context, taken)
    return Finding(
        "error",
        "button-bound-twice",
        f"button {first.button} is the stop button",
        spans[0],
        label=f"starts `{first.cue}` as well",
        related=tuple(
            (span, f"starts `{other.cue}` as well")
            for span, other in zip(spans[1:], others, strict=True)
        ),
        help=None if free is None else f"button {free} is free",
        fix=None if free is None else _moved(context, spans, first.button, free),
        asked=first.button,
    )


def _free(context: Context, taken: set[int]) -> int | None:
    """A button that nothing uses yet; where buttons are wired, one that is. It is taken then."""
    rig = context.show.rig
    wired = {wire.button for wire in rig.inputs}
    wired |= {band.button for channel in rig.channels for band in channel.bands}
    free = next((n for n in BUTTONS if n not in taken and (not wired or n in wired)), None)
    if free is not None:
        taken.add(free)
    return free


def _moved(context: Context, spans: list[Span], button: int, free: int) -> Fix:
    """The same other number in all these places."""
    first, *more = ((s, context.text(s).replace(str(button), str(free), 1)) for s in spans)
    return Fix(*first, tuple(more))


def _bound_twice(
    context: Context, binding: Binding, earlier: Binding, reason: str, taken: set[int]
) -> Finding:
    span = context.span(binding.mark, "button")
    free = _free(context, taken)
    return Finding(
        "error",
        "button-bound-twice",
        f"button {binding.button} {reason}",
        span,
        label=f"starts `{binding.cue}` as well",
        related=((context.span(earlier.mark), "bound here first"),),
        help=None if free is None else f"button {free} is free",
        fix=None if free is None else _moved(context, [span], binding.button, free),
        asked=binding.button,
    )
