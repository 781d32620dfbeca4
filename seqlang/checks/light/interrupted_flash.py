"""interrupted-flash: two cues, each safe by itself, flash when one follows or joins the other.

What: no output, and not all of them together, flashes more than three times within a second when a
button's cue, the cue for a lost remote or idle takes over from another one, or runs beside it.
Three cases are only advice. A cue flashes only when its own button is pressed again while it runs,
or several times a second. A cue flashes when the stop button is pressed while it runs (the stop
itself must never wait). Two buttons are pressed in turn by quick fingers.

Why: buttons are pressed at any instant; three flashes at the end of one cue and one at the start of
the next are four.

Example: `alarm` blinks three times in its last second, and so does `lure` in its first.

Instead: let the second cue begin with a second of calm, or slow both down.

Source of the limit: as for `general-flash`. Candidates are found by counting changes. Each is
then rehearsed, and only what flashes there is reported. Two cues side by side are looked at in
every phase.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import listed, seconds
from seqlang.checks.light.flashing_light import SCREENS
from seqlang.text.findings import Finding
from sim.light.flash import FLASHES
from sim.strain.interrupted_light import InterruptedFlash, interruptions
from sim.strain.light_states import STANDBY, STOP
from sim.strain.quick_fingers import Hurry, hurry, hurry_in_turn


def check(context: Context) -> Iterator[Finding]:
    score = context.lit.score
    cues = tuple(
        cue
        for cue in score.cues
        if cue.name in context.reachable
        and context.eye.names & context.uses_lit[cue.name]
        and context.playable(cue)
    )
    named: set[str] = set()
    for one in interruptions(context.eye, cues):
        named.add(one.then.name)
        ended = one.then.name in (STOP, STANDBY)
        yield _ended(context, one) if ended else _interrupted(context, one)
    bound = {binding.cue for binding in score.bindings} - named
    alone = {cue.name: hurry(context.eye, cue) for cue in cues if cue.name in bound}
    for one_finger in alone.values():
        if one_finger is not None:
            yield _hurried(context, one_finger)
    calm = tuple(cue for cue in cues if cue.name in bound and alone[cue.name] is None)
    fingers = hurry_in_turn(context.eye, calm)
    if fingers is not None:
        yield _hurried(context, fingers)


def _hurried(context: Context, one: Hurry) -> Finding:
    cue = one.cues[-1]
    if len(one.cues) == 1:
        pressing = f"the button of `{cue.name}` is pressed every {seconds(one.every_ms)}"
        help_ = (
            "let the cue last half a second or more and refuse to start again before it "
            "ends: `if busy refuse`"
        )
    else:
        names = listed([each.name for each in one.cues])
        pressing = f"the buttons of {names} are pressed in turn every {seconds(one.every_ms)}"
        help_ = (
            "let one of them change its light over a second or more, or refuse to start "
            "while another runs: `if busy refuse`"
        )
    return Finding(
        "advice",
        "interrupted-flash",
        f"{listed(list(one.found.outputs))} can flash {one.found.count} times within one second "
        f"while {pressing}, and {FLASHES} times are safe",
        context.span(cue.mark, "name"),
        label="safe when it is pressed once",
        related=tuple(
            (context.span(other.mark, "name"), "the other button's cue") for other in one.cues[:-1]
        ),
        notes=(SCREENS,),
        help=help_,
        asked=one.found.count,
        limit=FLASHES,
        unit="flashes a second",
    )


def _ended(context: Context, one: InterruptedFlash) -> Finding:
    """What flashes when the stop, or standby right after limp, ends a cue."""
    stopped = one.then.name == STOP
    what = "everything is stopped" if stopped else "the board goes limp and back to standby"
    return Finding(
        "advice",
        "interrupted-flash",
        f"{_flashing(one)} when {what} {seconds(one.after_ms)} after "
        f"`{one.first.name}` starts, and {FLASHES} times are safe",
        context.span(one.first.mark, "name"),
        label=f"safe when it is not {'stopped' if stopped else 'cut short'}",
        notes=(SCREENS,),
        help="slow its flashes down a little; the stop must never wait",
        asked=one.found.count,
        limit=FLASHES,
        unit="flashes a second",
    )


def _interrupted(context: Context, one: InterruptedFlash) -> Finding:
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
        notes=(*_besides(one), SCREENS),
        help="let it end with a second of calm, and refuse to start again before: `if busy refuse`"
        if again
        else "let one of the two begin or end with a second of calm, or let the second wait: "
        "`if busy wait`",
        asked=one.found.count,
        limit=FLASHES,
        unit="flashes a second",
    )


def _besides(one: InterruptedFlash) -> Iterator[str]:
    for cue, after_ms in one.also:
        yield f"`{cue.name}` runs as well, from {seconds(after_ms)} after the first on"


def _flashing(one: InterruptedFlash) -> str:
    found = one.found
    flashes = "flashes" if len(found.outputs) == 1 else "flash"
    return f"{listed(list(found.outputs))} {flashes} {found.count} times within one second"
