"""What can be asked of a show only once its moves have been looked at: what is left that passes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from seqlang.checks.figures import seconds
from seqlang.checks.motion.failing_moves import failures
from seqlang.checks.motion.follow_overload import overloads
from sim.rulebook import CUES
from sim.strain.interruption import Cuts, interruptions
from sim.strain.reachable import Reachable
from sim.strain.usage import seen_ms

if TYPE_CHECKING:
    from seqlang.checks.context import Context

REHEARSED_MS = 600_000
"""A score longer than ten minutes is not rehearsed for heat and run time (own limit)."""


def interruptions_of_passing(context: Context) -> tuple[Cuts, ...]:
    """The worst that one cue does to another's moves, per sound servo whose moves all pass."""
    failing = {failure.planned.move.output for failure in context.once(failures)}
    states = context.states
    if failing:
        passing = [one for one in context.planned if one.move.output not in failing]
        states = Reachable(context.sound_show, passing)
    return interruptions(context.sound_show, context.rated_v, states)


def rehearsable(context: Context) -> bool:
    """Whether rehearsing all cues makes sense and ends soon: none fails or is very long."""
    cues = context.show.score.cues
    over = context.once(overloads)
    if context.once(failures) or over or len(cues) > CUES:
        return False
    if not all(context.playable(cue) for cue in cues):
        return False
    return context.once(rehearsal_ms) <= REHEARSED_MS


def rehearsal_ms(context: Context) -> float:
    """How long a rehearsal of all cues, each alone, would take."""
    return sum(seen_ms(context.show.rig, cue) for cue in context.show.score.cues)


def as_long_as_that(context: Context) -> tuple[float, float, str]:
    """What a rehearsal of all cues takes and may take (s), and both in words."""
    takes, limit = context.once(rehearsal_ms), float(REHEARSED_MS)
    told = f"the cues take {seconds(takes)} together, and up to {seconds(limit)} are rehearsed"
    return takes / 1000.0, limit / 1000.0, told


def is_too_long(context: Context) -> bool:
    """Whether nothing but its length keeps the show from being rehearsed: that has to be told."""
    return context.once(rehearsal_ms) > REHEARSED_MS and not context.once(failures)
