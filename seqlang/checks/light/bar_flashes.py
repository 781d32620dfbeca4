"""bar-flashes: the bar of a strip that shows a level may flash more than three times a second.

What: the level that a strip shows goes up and down so seldom, in any cue, that no pixels change
eight times within a second; what the strip itself is lit with counts as well. A level that follows
a stick or a sensor goes so slowly that no hand can do it. No effect lies on the strip. A bar so dim
that a tenth of full light is never reached passes at any pace, if it is not red.

Where a cue takes over from another one, their changes add up: that is a warning. It is only advice
where the same cue is started again, where the stop ends it, and where buttons are pressed in quick
turn, up to eight a second.

Why: even a small change of the level switches the pixels at the end of the bar on and off.
Flashing light, saturated red above all, can set off seizures.

Example:

    strip tube: head pin PB0
        pixels 30
        shows level
    cue beat
        repeat 8 times
            level fade to 80 % in 100 ms
            level fade to 40 % in 100 ms

Instead:

    cue beat
        repeat 8 times
            level fade to 80 % in 400 ms
            level fade to 40 % in 400 ms

Source of the limit: WCAG 2.2, success criterion 2.3.1, made for screens; read on the safe side for
strips (see `sim/strain/bar_light.py`, `sim/strain/bar_pressed.py`). Passing is no promise: some
people react to less. A stop counts where no cue lights the
strip, and not among quick presses.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import listed, seconds
from seqlang.checks.light.flashing_light import SCREENS
from seqlang.checks.motion.follow_overload import slower
from seqlang.text.findings import Finding
from sim.light.counting import TOO_MANY
from sim.light.flash import FLASHES
from sim.model import Cue, Effect, Follow, LevelBar, Strip
from sim.rulebook import BAR_ENDS, LONGEST_DURATION_MS
from sim.score.tree import acts, parts_for_letting_go
from sim.strain.bar_light import changes_of_bar, contrast, is_capped, shortest_way_ms
from sim.strain.bar_pressed import Pressed
from sim.strain.light_states import STOP
from sim.strain.ways_of_runs import MostWays


def check(context: Context) -> Iterator[Finding]:
    follows = {one.output: one for one in context.show.rig.follows}
    for bar in context.show.rig.bars:
        strip = context.strips[bar.strip]
        laid = list(_under_effects(context, bar))
        yield from laid
        if laid or contrast(strip, context.eye.states) < 1.0:
            continue
        by_cues = list(_by_cues(context, bar, is_capped(strip, context.eye.states)))
        yield from by_cues
        if not by_cues:
            yield from _by_presses(context, bar)
        if bar.lamp in follows:
            yield from _by_hand(context, bar, strip, follows[bar.lamp])


def _by_cues(context: Context, bar: LevelBar, capped: bool) -> Iterator[Finding]:
    changes, cue = changes_of_bar(context.eye.bound, context.lit.score.cues, bar, capped)
    if changes < TOO_MANY or cue is None:
        return
    yield Finding(
        "error",
        "bar-flashes",
        f"`{bar.strip}` shows `{bar.lamp}`, and pixels at the end of its bar may flash "
        f"{changes // 2} times within one second of cue `{cue.name}`; {FLASHES} times are safe",
        context.span(cue.mark, "name"),
        label="moves the level most often",
        related=((context.span(bar.mark), "shown here"),),
        notes=(SCREENS,),
        help=f"let `{bar.lamp}` go up and down less often, or light `{bar.strip}` less",
        asked=changes // 2,
        limit=FLASHES,
        unit="flashes a second",
    )


def _by_presses(context: Context, bar: LevelBar) -> Iterator[Finding]:
    """What cues do to the bar one after the other: two of them, then as quickly as hands press."""
    score = context.lit.score
    pressed = Pressed(context.lit, context.eye.bound, context.eye.states)
    used = {bar.lamp, bar.strip}
    cues = [
        c for c in score.cues if c.name in context.reachable and used & context.uses_lit[c.name]
    ]
    asked = {binding.cue for binding in score.bindings}
    asked |= {part for part, cue in parts_for_letting_go(score).items() if cue.name in asked}
    takers = [cue for cue in cues if cue.name in asked | score.unasked]
    pairs = [(a, b) for a in cues for b in takers if a.name != b.name]
    pairs += [(cue, cue) for cue in takers]
    if not any(bar.strip in context.uses_lit[cue.name] for cue in cues):
        pairs += [(cue, context.eye.states.stop()) for cue in cues]
    for first, then in pairs:
        most = int(pressed.taken_over(bar, first, then).most)
        if most >= TOO_MANY:
            yield _taken_over(context, bar, most, first, then)
            return
    turns = pressed.in_quick_turn(bar, [cue for cue in cues if cue.name in asked])
    if turns.most >= TOO_MANY:
        yield _in_quick_turn(context, bar, turns)


def _taken_over(context: Context, bar: LevelBar, most: int, first: Cue, then: Cue) -> Finding:
    same, stopped = first.name == then.name, then.name == STOP
    how = "it is started again" if same else f"`{then.name}` starts meanwhile"
    how = "everything is stopped meanwhile" if stopped else how
    return Finding(
        "advice" if same or stopped else "warning",
        "bar-flashes",
        f"`{bar.strip}` shows `{bar.lamp}`, and pixels at the end of its bar may flash "
        f"{most // 2} times within one second if {how}; {FLASHES} times are safe",
        context.span(first.mark, "name"),
        label="moves the level often already",
        related=(
            (context.span(bar.mark), "shown here"),
            *(() if same or stopped else ((context.span(then.mark, "name"), "takes over"),)),
        ),
        notes=(SCREENS,),
        help=f"let `{bar.lamp}` go up and down less often, or light `{bar.strip}` less",
        asked=most // 2,
        limit=FLASHES,
        unit="flashes a second",
    )


def _in_quick_turn(context: Context, bar: LevelBar, turns: MostWays) -> Finding:
    names = list(dict.fromkeys(turns.cues))
    several = len(names) > 1
    buttons = f"the buttons of {listed(names)}" if several else f"the button of `{names[0]}`"
    cue = context.cues[names[-1]]
    return Finding(
        "advice",
        "bar-flashes",
        f"`{bar.strip}` shows `{bar.lamp}`, and pixels at the end of its bar may flash "
        f"{int(turns.most) // 2} times within one second while {buttons} "
        f"{'are pressed in turn, quickly' if several else 'is pressed again and again'}; "
        f"{FLASHES} times are safe",
        context.span(cue.mark, "name"),
        label="safe when it is pressed once",
        related=(
            (context.span(bar.mark), "shown here"),
            *(
                (context.span(context.cues[n].mark, "name"), "the other button's cue")
                for n in names[:-1]
            ),
        ),
        notes=(SCREENS,),
        help=f"let every cue that moves `{bar.lamp}` or lights `{bar.strip}` last half a second or "
        f"more and refuse to start while another one runs (`if busy refuse`), or light "
        f"`{bar.strip}` less",
        asked=int(turns.most) // 2,
        limit=FLASHES,
        unit="flashes a second",
    )


def _by_hand(context: Context, bar: LevelBar, strip: Strip, follow: Follow) -> Iterator[Finding]:
    viewing = context.show.rig.wearer.viewing_m
    both = BAR_ENDS[bar.end] == "the middle"
    shortest = 10 * -(-shortest_way_ms(strip, follow, viewing, context.eye.states, both) // 10)
    if follow.way_ms >= shortest:
        return
    fits = shortest <= LONGEST_DURATION_MS
    yield Finding(
        "error",
        "bar-flashes",
        f"`{bar.strip}` shows `{bar.lamp}`, and `{follow.source}` may make pixels at the end of "
        "its bar flash more than three times a second",
        context.span(follow.mark, "duration"),
        label=f"changes from end to end in {seconds(follow.way_ms)}",
        related=((context.span(bar.mark), "shown here"),),
        notes=(SCREENS,),
        help=(f"`in {shortest} ms` is slow enough; or " if fits else "")
        + f"light `{bar.strip}` less",
        fix=slower(context, follow, shortest) if fits else None,
        asked=float(follow.way_ms),
        limit=float(shortest),
        unit="ms",
    )


def _under_effects(context: Context, bar: LevelBar) -> Iterator[Finding]:
    for cue in context.show.score.cues:
        own = (one for one in acts(cue.body) if isinstance(one, Effect))
        laid = next((one for one in own if one.output == bar.strip and one.name != "steady"), None)
        if laid is not None:
            yield Finding(
                "error",
                "bar-flashes",
                f"`{laid.name}` lies on `{bar.strip}`, which shows `{bar.lamp}`",
                context.span(laid.mark, "effect"),
                label="both together may flash",
                related=((context.span(bar.mark), "shown here"),),
                help="take one of the two lines out",
            )
