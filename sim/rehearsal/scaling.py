"""The scale of a run that starts, from where a source stands: TABLE.md, section 14."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sim.rehearsal.tracking import FollowSpan
from sim.rulebook import LEVEL_BITS, SCALE_FULL
from sim.score.scaling import scale_of

if TYPE_CHECKING:
    from sim.score.program import PlayedScale


def scale_at_start(stated: PlayedScale | None, value: int | None) -> int:
    """`value`: of the cue's source in this frame; None: it is not live."""
    if stated is None:
        return SCALE_FULL
    if value is None:
        return scale_of(stated.otherwise << LEVEL_BITS)
    ends = stated.at_low << LEVEL_BITS, stated.at_high << LEVEL_BITS
    return scale_of(FollowSpan(stated.low, stated.high, *ends).wanted(value))
