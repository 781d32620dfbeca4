"""supply-overload: regulator, adapter or battery cannot give what the show takes.

What: the peak current of the cues that can run together stays under the limit of the regulator and
the adapter, and a battery's voltage does not collapse under it (an error). Where slower moves would
do, their times are computed; if holding the poses already takes too much, the finding says so. The
same at power-up, while one servo after another jumps to its safe pose (a warning); where a board
resets then, `brown-out` says so.

Why: a board whose voltage collapses resets in the middle of a move.

Example:

    regulator 6.0 V, 1 A

Instead:

    regulator 6.0 V, 5 A

Source of the limit: the `supply` lines themselves; the worst instant is that of
`sim/strain/sag.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.rewrite import rewritten
from seqlang.checks.supply.sagging import cues_running, of_supply, resets, while_running
from seqlang.checks.supply.slower import (
    HOLDS_TOO_MUCH,
    NoSlower,
    SlowEnough,
    holding,
    slow_enough,
)
from seqlang.text import units
from seqlang.text.findings import Finding
from sim.model import Adapter, Show, Supply
from sim.strain.sag import Sag, sags, start_sags, without_limit


def check(context: Context) -> Iterator[Finding]:
    for supply in context.show.rig.supplies:
        # a supply collapses on all its boards at once, in the same cues
        collapsed = next((sag for sag in of_supply(context, supply) if sag.collapsed), None)
        if collapsed is not None:
            yield _overload(context, supply, collapsed)
        else:
            yield from _at_power_up(context, supply)


def _overload(context: Context, supply: Supply, sag: Sag) -> Finding:
    free_show = _unlimited(context.sound_show, supply)
    free = _hardest(supply, sags(free_show, context.planned))
    asked, limit, mark, what = _limit(supply, free)
    if free.collapsed or asked <= limit:
        return _exhausted(context, supply, sag)
    starting = _hardest(supply, start_sags(free_show))
    enough = max(asked, starting.source_a if what == "adapter" else starting.supply_a)
    notes: list[str] = []
    still = _limit(supply, _hardest(supply, tuple(holding(free_show, supply))))[0]
    only_held = free.cues and still > limit
    if starting.starting is not None:
        power_up = f"at power-up, while `{starting.starting}` jumps to its safe pose"
        notes.append(f"{power_up}: {figure(starting.supply_a)} A")
    if only_held:
        moving_text, _ = figures(asked, limit)
        notes.append(f"{moving_text} A {while_running(free)}")
        asked = still
    asked_text, limit_text = figures(asked, limit)
    span = context.span(mark, "current")
    stronger = rewritten(context, span, enough * 1.0001, units.AMPERES, "up")
    slow = slow_enough(context, supply)
    when = "even while all parts only hold their poses" if only_held else while_running(free)
    return Finding(
        "error",
        "supply-overload",
        f"supply `{supply.name}` must give {asked_text} A {when}, and its {what} gives "
        f"{limit_text} A",
        span,
        label=f"{asked_text} A needed",
        related=cues_running(context, free),
        notes=tuple(notes),
        help=f"use one for `{stronger.text}`{_otherwise(slow)}",
        fix=slow.fix if isinstance(slow, SlowEnough) else stronger,
        asked=asked,
        limit=limit,
        unit="A",
    )


def _at_power_up(context: Context, supply: Supply) -> Iterator[Finding]:
    """A servo's first pulse may find the part anywhere: it jumps to its safe pose at stall current.

    The boards go on, at what the limit leaves; but an adapter or a regulator may switch off.
    """
    starts = [sag for sag in context.start_sags if sag.supply == supply.name]
    if not any(sag.collapsed for sag in starts) or any(resets(context, sag) for sag in starts):
        return
    free = _hardest(supply, start_sags(_unlimited(context.sound_show, supply)))
    asked, limit, mark, what = _limit(supply, free)
    if free.starting is None or free.collapsed or asked <= limit:
        return
    asked_text, limit_text = figures(asked, limit)
    span = context.span(mark, "current")
    fix = rewritten(context, span, asked * 1.0001, units.AMPERES, "up")
    yield Finding(
        "warning",
        "supply-overload",
        f"at power-up `{free.starting}` may draw its stall current: supply `{supply.name}` must "
        f"give {asked_text} A, and its {what} gives {limit_text} A",
        span,
        label="it may switch off",
        related=((context.span(context.servos[free.starting].mark), "jumps to its safe pose"),),
        help=f"use one for `{fix.text}`, or bring the parts near their safe pose before switching "
        "on",
        fix=fix,
        asked=asked,
        limit=limit,
        unit="A",
    )


def _hardest(supply: Supply, all_sags: tuple[Sag, ...]) -> Sag:
    return max((s for s in all_sags if s.supply == supply.name), key=lambda sag: sag.supply_a)


def _limit(supply: Supply, free: Sag) -> tuple[float, float, int, str]:
    """Current asked of the part that limits the supply, its limit, its mark and what it is."""
    source, regulator = supply.source, supply.regulator
    if isinstance(source, Adapter) and (
        regulator is None or free.source_a / source.current_a > free.supply_a / regulator.current_a
    ):
        return free.source_a, source.current_a, source.mark, "adapter"
    assert regulator is not None  # cells alone have no limit: they sag, as far as to nothing
    return free.supply_a, regulator.current_a, regulator.mark, "regulator"


def _unlimited(show: Show, supply: Supply) -> Show:
    supplies = tuple(
        without_limit(one) if one.name == supply.name else one for one in show.rig.supplies
    )
    return replace(show, rig=replace(show.rig, supplies=supplies))


def _exhausted(context: Context, supply: Supply, sag: Sag) -> Finding:
    only_held = sag.cues and any(one.collapsed for one in holding(context.sound_show, supply))
    slow = slow_enough(context, supply)
    when = "even while all parts only hold their poses" if only_held else while_running(sag)
    return Finding(
        "error",
        "supply-overload",
        f"the battery of supply `{supply.name}` cannot give what the show takes "
        f"{when}: its voltage collapses",
        context.span(supply.source.mark),
        label="at the end of its charge, its own resistance takes too much voltage",
        related=cues_running(context, sag),
        help=f"use more or larger cells{_otherwise(slow)}",
        fix=slow.fix if isinstance(slow, SlowEnough) else None,
    )


def _otherwise(slow: SlowEnough | NoSlower) -> str:
    return f"; {slow.words}" if slow is HOLDS_TOO_MUCH else f", or {slow.words}"
