"""interrupted-flash: two cues, each safe by itself, flash when one follows or joins the other.

What: no output, nor all of them together, flashes more than three times within a second when a
button's cue, the cue for a lost remote or idle takes over from another one, or runs beside it.
Named as advice: a cue that flashes only when its own button is pressed again while it runs, or
several times a second, and one that flashes when the stop button is pressed in the midst of it
(the stop itself shall never wait).

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

from seqlang.checks.context import Context
from seqlang.checks.figures import listed, seconds
from seqlang.checks.light.flashing_light import SCREENS
from seqlang.text.findings import Finding
from sim.light.flash import FLASHES
from sim.strain.interrupted_light import Hurry, Interruption, hurry, interruptions
from sim.strain.light_states import STOP


def check(context: Context) -> Iterator[Finding]:
    score = context.show.score
    cues = tuple(
        cue
        for cue in score.cues
        if cue.name in context.reachable
        and context.eye.names & context.uses[cue.name]
        and context.playable(cue)
    )
    named: set[str] = set()
    for one in interruptions(context.eye, cues):
        named.add(one.then.name)
        yield _stopped(context, one) if one.then.name == STOP else _interrupted(context, one)
    bound = {binding.cue for binding in score.bindings}
    for cue in cues:
        if cue.name in bound - named:
            pressed = hurry(context.eye, cue)
            if pressed is not None:
                yield _hurried(context, pressed)


def _hurried(context: Context, one: Hurry) -> Finding:
    return Finding(
        "advice",
        "interrupted-flash",
        f"{listed(list(one.found.outputs))} can flash {one.found.count} times within one second "
        f"while the button of `{one.cue.name}` is pressed every {seconds(one.every_ms)}, and "
        f"{FLASHES} times are safe",
        context.span(one.cue.mark, "name"),
        label="safe when it is pressed once",
        notes=(SCREENS,),
        help="let the cue last half a second or more and refuse to start again before it "
        "ends: `if busy refuse`",
        asked=one.found.count,
        limit=FLASHES,
        unit="flashes a second",
    )


def _stopped(context: Context, one: Interruption) -> Finding:
    return Finding(
        "advice",
        "interrupted-flash",
        f"{_flashing(one)} when everything is stopped {seconds(one.after_ms)} after "
        f"`{one.first.name}` starts, and {FLASHES} times are safe",
        context.span(one.first.mark, "name"),
        label="safe when it is not stopped",
        notes=(SCREENS,),
        help="slow its flashes down a little; the stop must never wait",
        asked=one.found.count,
        limit=FLASHES,
        unit="flashes a second",
    )


def _interrupted(context: Context, one: Interruption) -> Finding:
    first, then = one.first, one.then
    again = first.name == then.name
    taking = (
        f"`{then.name}` is started again {seconds(one.after_ms)} after its start"
        if again
        else f"`{then.name}` starts {seconds(one.after_ms)} after `{first.name}`"
    )
    return Finding(
        "advice" if again else "warning",
        "interrupted-flash",
        f"{_flashing(one)} when {taking}, and {FLASHES} times are safe",
        context.span(then.mark, "name"),
        label="safe when it runs once" if again else "each of the two is safe by itself",
        related=() if again else ((context.span(first.mark, "name"), "the cue that runs already"),),
        notes=(SCREENS,),
        help="let it end with a second of calm, and refuse to start again before: `if busy refuse`"
        if again
        else "let one of the two begin or end with a second of calm, or let the second wait: "
        "`if busy wait`",
        asked=one.found.count,
        limit=FLASHES,
        unit="flashes a second",
    )


def _flashing(one: Interruption) -> str:
    found = one.found
    flashes = "flashes" if len(found.outputs) == 1 else "flash"
    return f"{listed(list(found.outputs))} {flashes} {found.count} times within one second"
