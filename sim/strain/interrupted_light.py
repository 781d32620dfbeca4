"""interrupted-flash: two cues, each safe by itself, flash when one follows or joins the other.

What: no output, nor all of them together, flashes more than three times within a second when a
button's cue takes over from another one, or runs beside it. A cue that flashes only when its own
button is pressed again while it runs, or several times a second, is named as advice.

Why: buttons are pressed at any instant; three flashes at the end of one cue and one at the start of
the next are four.

Example: `alarm` blinks three times in its last second, and so does `lure` in its first.

Instead: let the second cue begin with a second of calm, or slow both down.

Source of the limit: as for `general-flash`. Candidates are found by counting changes; each is
then rehearsed, and only what flashes there is named. Not covered: several buttons pressed in turn
several times a second.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from seqlang.checks.context import Context
from seqlang.checks.figures import listed, seconds
from seqlang.checks.light.rehearsed_light import TOO_MANY, Times, most_changes, watch, watch_pressed
from seqlang.text.findings import Finding
from sim.light.flash import (
    FLASHES,
    SECOND_MS,
    Flashing,
    flashing,
    general_changes,
    red_changes,
    together,
)
from sim.model import Cue, Effect, Fade, Show
from sim.score.tree import timeline

MOST_PAIRS = 60
"""Of more candidates those with the most changes are rehearsed (own limit)."""

OFFSETS_MS = (0, 240, 500, 740)
"""Two cues that run beside each other are started so far apart."""

PRESSES_MS = (120, 180, 240)
"""A quick finger's presses are so far apart: four to eight a second (common practice, no source).
Fewer than four a second cannot make more than three flashes by themselves."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """The instants of a cue's changes, per kind and output ("": all together)."""

    cue: Cue
    changes: dict[tuple[str, str], Times]


def check(context: Context) -> Iterator[Finding]:
    bound = {binding.cue for binding in context.show.score.bindings}
    lights = context.lights
    names = {output.name for output in lights.rig.outputs}
    able = {
        cue.name: most_changes(cue)
        for cue in context.show.score.cues
        if cue.name in context.reachable
        and names & context.uses[cue.name]
        and context.playable(cue)
    }
    seen = _restless(context, able)
    pairs = [(a, b) for a in seen for b in seen if b.cue.name in bound]
    ranked = sorted(((_most(context, *pair), n) for n, pair in enumerate(pairs)), reverse=True)
    named: set[str] = set()
    for most, n in ranked[:MOST_PAIRS]:
        first, then = pairs[n]
        if most < TOO_MANY or then.cue.name in named:
            continue
        for finding in _confirmed(context, lights, first, then):
            named.add(then.cue.name)
            yield finding
    for name in able:
        if name in bound and name not in named and _changes_at_once(context.cues[name]):
            yield from _pressed(context, lights, context.cues[name])


def _changes_at_once(cue: Cue) -> bool:
    """Whether a restart could change a light there and back before the next press."""
    fades: list[str] = []
    for start, step in timeline(cue.body):
        if start > PRESSES_MS[-1]:
            continue
        if isinstance(step, Effect) and step.name != "steady":
            return True
        if isinstance(step, Fade):
            fades.append(step.output)
    return len(fades) > len(set(fades))


def _pressed(context: Context, lights: Show, cue: Cue) -> Iterator[Finding]:
    """The advice, if the cue flashes under a quick finger and not by itself."""
    if any(flashing(*context.watched(cue))):
        return
    for every_ms in PRESSES_MS:
        for found in flashing(*watch_pressed(lights, cue, every_ms)):
            yield Finding(
                "advice",
                "interrupted-flash",
                f"{listed(list(found.outputs))} can flash {found.count} times within one second "
                f"while the button of `{cue.name}` is pressed every {seconds(every_ms)}, and "
                f"{FLASHES} times are safe",
                context.span(cue.mark, "name"),
                label="safe when it is pressed once",
                notes=("thresholds of WCAG 2.2, made for screens; some people react to less",),
                help="let the cue last half a second or more and refuse to start again before it "
                "ends: `if busy refuse`",
                asked=found.count,
                limit=FLASHES,
                unit="flashes a second",
            )
            return


def _restless(context: Context, able: dict[str, float]) -> list[_Seen]:
    """Cues whose changes could be part of a second with too many, rehearsed.

    `able`: by name, how many changes a second of the cue could hold at most. One of two cues must
    bring half of them; the other needs to be rehearsed only if it could make up the rest. The one
    more is the change from the light that is cut to the one that begins.
    """
    half = TOO_MANY / 2.0
    seen = [_seen(context, context.cues[name]) for name, most in able.items() if most >= half]
    busiest = max(
        (_densest(at, SECOND_MS) for one in seen for at in one.changes.values()), default=0
    )
    seen += [
        _seen(context, context.cues[name])
        for name, most in able.items()
        if most < half and most + busiest + 1 >= TOO_MANY
    ]
    return [one for one in seen if one.changes]


def _seen(context: Context, cue: Cue) -> _Seen:
    times, sources = context.watched(cue)
    if any(flashing(times, sources)):
        return _Seen(cue, {})  # a finding of its own
    changes: dict[tuple[str, str], Times] = {}
    whole = {"": together(sources)} if len(sources) > 1 else {}
    own = {name: (source.luminance, source.rgb) for name, source in sources.items()}
    for name, (luminance, rgb) in {**own, **whole}.items():
        for kind, found in (
            ("general", general_changes(times, luminance).at_ms),
            ("red", red_changes(times, rgb).at_ms),
        ):
            if found.size:
                changes[kind, name] = found
    return _Seen(cue, changes)


def _most(context: Context, first: _Seen, then: _Seen) -> int:
    """The most changes a second could hold when `then` follows or joins `first`, from above."""
    worst = 0
    for key in first.changes.keys() | then.changes.keys():
        before = first.changes.get(key, np.zeros(0))
        after = then.changes.get(key, np.zeros(0))
        if _beside(context, first.cue, then.cue):
            worst = max(worst, _densest(before, SECOND_MS) + _densest(after, SECOND_MS))
            continue
        starts = after[(after >= 0.0) & (after <= SECOND_MS)]
        for number, at in enumerate(starts, start=1):
            # one change more, from the light that is cut to the one that begins
            worst = max(worst, number + 1 + _densest(before, SECOND_MS - at))
    return worst


def _beside(context: Context, first: Cue, then: Cue) -> bool:
    """Whether the two can run at the same time."""
    idle = context.show.score.idle
    return first.name != idle and not context.uses[first.name] & context.uses[then.name]


def _densest(at_ms: Times, window_ms: float) -> int:
    """The most changes within any window of that length."""
    if not at_ms.size:
        return 0
    ends = np.searchsorted(at_ms, at_ms + window_ms, side="right")
    return int((ends - np.arange(at_ms.size)).max())


def _confirmed(context: Context, lights: Show, first: _Seen, then: _Seen) -> Iterator[Finding]:
    """The finding, if a rehearsal at one of the likely instants really flashes."""
    for after_ms in _instants(context, first, then):
        found = flashing(*watch(lights, first.cue, then.cue, after_ms))
        if found:
            yield _finding(context, first.cue, then.cue, after_ms, found[0])
            return


def _instants(context: Context, first: _Seen, then: _Seen) -> list[int]:
    if _beside(context, first.cue, then.cue):
        return list(OFFSETS_MS)
    instants: set[int] = set()
    for at_ms in first.changes.values():
        ends = np.searchsorted(at_ms, at_ms + SECOND_MS / 2.0, side="right")
        densest = int(np.argmax(ends - np.arange(at_ms.size)))
        last = float(at_ms[int(ends[densest]) - 1])
        instants |= {max(0, int(last) + later) for later in (20, 60, 120)}
    return sorted(instants)


def _finding(context: Context, first: Cue, then: Cue, after_ms: int, found: Flashing) -> Finding:
    outputs = listed(list(found.outputs))
    again = first.name == then.name
    taking = (
        f"`{then.name}` is started again {seconds(after_ms)} after its start"
        if again
        else f"`{then.name}` starts {seconds(after_ms)} after `{first.name}`"
    )
    return Finding(
        "advice" if again else "warning",
        "interrupted-flash",
        f"{outputs} {'flashes' if len(found.outputs) == 1 else 'flash'} {found.count} times within "
        f"one second when {taking}, and {FLASHES} times are safe",
        context.span(then.mark, "name"),
        label="safe when it runs once" if again else "each of the two is safe by itself",
        related=() if again else ((context.span(first.mark, "name"), "the cue that runs already"),),
        notes=("thresholds of WCAG 2.2, made for screens; some people react to less",),
        help="let it end with a second of calm, and refuse to start again before: `if busy refuse`"
        if again
        else "let one of the two begin or end with a second of calm, or let the second wait: "
        "`if busy wait`",
        asked=found.count,
        limit=FLASHES,
        unit="flashes a second",
    )
