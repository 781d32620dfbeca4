"""general-flash, red-flash: the light of a cue flashes more than three times within a second.

general-flash: the light of a cue flashes more than three times within a second.
red-flash: the red light of a cue flashes more than three times within a second.

What: no output by itself, no two outputs together, and not all outputs together make more than
three general or red flashes within any one second, in any cue rehearsed over idle, effects
included. Where a strand of idle draws what its light does, the worst that can be drawn counts. If
an effect lies over such light, or its fades cut one another short, the finding is a warning:
flashes cannot be ruled out.

Why: flashing light, saturated red above all, can set off seizures.

Example:

    repeat for ever
        lure fade to 100% in 100 ms
        lure fade to 0% in 100 ms

Instead:

    repeat for ever
        lure fade to 100% in 240 ms
        lure fade to 0% in 100 ms

Source of the limit: WCAG 2.2, success criterion 2.3.1, made for screens; read on the safe side for
lamps and strips (see `sim/light/flash.py`). Passing is no promise: some people react to less.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from itertools import islice

from seqlang.checks.context import Context
from seqlang.checks.figures import listed, seconds
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Finding, Fix, Span
from sim.light.flash import FLASHES, Flashing, FlashKind
from sim.model import Cue, Effect, Fade, Hold, Move, OneOf, Repeat, Step, StripLight
from sim.score.draws import draws_in
from sim.score.tree import swapped, timeline, walk
from sim.strain.drawn_light import MayFlash
from sim.strain.eye import Flash, least_passing_ms

SCREENS = "thresholds of WCAG 2.2, made for screens; some people react to less"

SLOWER = "slow it down, or let it change by less than a tenth of its light"

MOST_TRIED = 8
"""How many numbers of a cue are tried (own limit)."""


def check(context: Context) -> Iterator[Finding]:
    if not context.lamps and not context.strips:
        return
    for cue in context.lit.score.cues:
        if not context.eye.bound.cannot_flash(cue) and context.playable(cue):
            flashes = context.eye.flashes(cue)
            for flash in flashes:
                yield _finding(context, cue, flash)
            if not flashes:
                for one in context.eye.may_flash(cue):
                    yield _possible(context, cue, one)


def _possible(context: Context, cue: Cue, one: MayFlash) -> Finding:
    """What no rehearsal shows, and what draws may bring about."""
    fix, least_ms = _slower(context, cue, one.kind, one.outputs) or (None, 0)
    red = "red " if one.kind == "red" else ""
    if one.is_near:
        said = f"may flash {red}{one.count} times within one second of cue `{cue.name}`"
        note = "counted for the worst that can be drawn; a rehearsal with other draws did not flash"
        help_ = SLOWER
    else:
        said = f"may flash {red}too often within one second of cue `{cue.name}`"
        note = "so many changes fit into a second; a rehearsal with some of the draws did not flash"
        help_ = "take longer times, or lay no effect over light that is drawn"
    return Finding(
        "error" if one.is_near else "warning",
        f"{one.kind}-flash",
        f"{listed(list(one.outputs))} {said}, and {FLASHES} times are safe",
        context.span(_drawing(context, cue, one.outputs).mark),
        label="drawn anew at every pass",
        notes=(note, SCREENS),
        help=help_ if fix is None else _passing(fix.text, least_ms),
        fix=fix,
        asked=one.count,
        limit=FLASHES,
        unit="flashes a second",
    )


def _drawing(context: Context, cue: Cue, outputs: tuple[str, ...]) -> Move | Fade | Hold | OneOf:
    """The first statement of a strand that draws for these lights, or else at all."""
    written = next(one for one in context.written.score.cues if one.name == cue.name)
    several = list(draws_in(written.body))
    own = (step for step in several if isinstance(step, Fade) and step.output in outputs)
    return next(own, several[0])


def _finding(context: Context, cue: Cue, flash: Flash) -> Finding:
    found = flash.found
    culprit = flash.effect or _culprit(cue, found)
    span = context.span(cue.mark if culprit is None else culprit.mark, "name")
    slower = _slower(context, cue, found.kind, found.outputs)
    kind = "flashes red" if found.kind == "red" else "flashes"
    at = max(0.0, found.at_ms)
    return Finding(
        "error",
        f"{found.kind}-flash",
        f"{listed(list(found.outputs))} {kind if len(found.outputs) == 1 else kind[:5] + kind[7:]} "
        f"{found.count} times within one second of cue `{cue.name}`, and {FLASHES} times are safe",
        span,
        label=f"the second from {seconds(at)} on",
        notes=(*_notes(context, flash), SCREENS),
        help=SLOWER if slower is None else _passing(slower[0].text, slower[1]),
        fix=None if slower is None else slower[0],
        asked=found.count,
        limit=FLASHES,
        unit="flashes a second",
    )


def _passing(text: str, least_ms: int) -> str:
    """What a time that is as coarse as the text's own passes by."""
    if text in (f"{least_ms} ms", seconds(least_ms)):
        return f"`{text}` is the shortest time that passes here"
    return f"`{text}` passes; the shortest time that does here is {seconds(least_ms)}"


def _notes(context: Context, flash: Flash) -> Iterator[str]:
    found = flash.found
    if flash.pixels is not None:
        first, last = flash.pixels
        several = f"pixels {first} to {last}" if last > first else f"pixel {first}"
        yield f"{several}, seen from {context.show.rig.wearer.viewing_m * 1000:.0f} mm"
    if flash.effect is None:
        first_s, last_s = seconds(max(0.0, found.first_ms)), seconds(found.last_ms)
        yield f"too fast from {first_s} to {last_s}"
    if flash.finds is not None:
        lights = [
            f"`{name}` at {_light(light)}"
            for name, light in flash.finds.lights.items()
            if name in found.outputs
        ]
        yield f"when the cue starts with {', '.join(lights)}"


def _light(light: float | StripLight) -> str:
    if isinstance(light, StripLight):
        red, green, blue = light.colour
        return f"#{red:02x}{green:02x}{blue:02x} {light.level_pct:.3g} %"
    return f"{light:.3g} %"


def _culprit(cue: Cue, found: Flashing) -> Effect | Fade | None:
    """The statement at work when the worst second starts; an effect rather than a fade."""
    best: Effect | Fade | None = None
    for start, step in timeline(cue.body):
        if isinstance(step, Effect | Fade) and step.output in found.outputs:
            if start > found.at_ms and best is not None:
                continue
            works = isinstance(step, Effect) and step.name != "steady"
            if works or (isinstance(step, Fade) and not isinstance(best, Effect)):
                best = step
    return best


# -- the slowest change that passes ---------------------------------------------------------------


class _TiredError(Exception):
    """So much has been watched that no further number is tried."""


def _slower(
    context: Context, cue: Cue, kind: FlashKind, outputs: tuple[str, ...]
) -> tuple[Fix, int] | None:
    """The one number in the cue whose least increase makes this flashing pass, and that number."""
    for span, part, now_ms in islice(_numbers(context, cue, outputs), MOST_TRIED):
        if context.eye.is_tired:
            return None
        try:
            passing = _least(context, cue, kind, span, part, now_ms)
        except _TiredError:
            return None
        if passing is not None:
            return rewritten(context, span, passing, units.DURATION, "up"), passing
    return None


def _numbers(
    context: Context, cue: Cue, outputs: tuple[str, ...]
) -> Iterator[tuple[Span, str, int]]:
    """Periods of effects first, then the longest durations inside the innermost repeats.

    A strand of idle that comes to its end begins again: all of it is repeated.
    """
    for step in walk(cue.body):
        if not isinstance(step, Effect) or step.output not in outputs:
            continue
        if context.has_part(step.mark, "period"):
            yield context.span(step.mark, "period"), "period", step.period_ms
    bodies = [step.body for step in walk(cue.body) if isinstance(step, Repeat)]
    if cue.name in context.lit.score.idle:
        bodies.insert(0, cue.body)
    for body in reversed(bodies):
        inside = list(walk(body))
        if not any(isinstance(s, Fade) and s.output in outputs for s in inside):
            continue
        timed = [s for s in inside if isinstance(s, Fade | Hold)]
        for step in sorted(timed, key=lambda s: -s.duration_ms):
            if context.has_part(step.mark, "duration"):
                yield context.span(step.mark, "duration"), "duration", step.duration_ms


def _least(
    context: Context, cue: Cue, kind: FlashKind, span: Span, part: str, now_ms: int
) -> int | None:
    """The least number (ms) at `span` with which the cue passes; None: none that is sensible.

    Raises `_TiredError` in mid-search: what was seen to pass so far may not be the least.
    """

    @cache
    def is_there(mark: int) -> bool:
        return context.has_part(mark, part) and context.span(mark, part) == span

    def passes(value: int) -> bool:
        if context.eye.is_tired:
            raise _TiredError
        change = _with(is_there, value)
        slow = replace(cue, body=swapped(cue.body, change))
        if any(f.found.kind == kind for f in context.eye.flashes_as(slow)):
            return False
        return not any(one.kind == kind for one in context.eye.may_flash_as(cue, change))

    return least_passing_ms(now_ms, passes, regular=part == "duration")


def _with(is_there: Callable[[int], bool], value: int) -> Callable[[Step], Step]:
    """What puts `value` in place of a number in every step whose mark says that it is there."""

    def change(step: Step) -> Step:
        if not isinstance(step, Effect | Fade | Hold) or not is_there(step.mark):
            return step
        if isinstance(step, Effect):
            return replace(step, period_ms=value)
        return replace(step, duration_ms=value)

    return change
