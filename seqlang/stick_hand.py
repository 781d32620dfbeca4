"""A radio's stick, or a knob, as the hand that turns a servo: rules without radio or board.

A stick stands anywhere when somebody takes it for a hand, and a part must not run there. So the
stick turns nothing until it comes past where the part stands; from then on the part goes with it.
It has to do so anew after a key has turned the part, after the pulses ended, and after the radio
was lost. A stick that nobody moves is no hand: the time without a key runs on.

    hand = StickHand(travel_us)
    hand, jog = moved(hand, jog, share, now_s)   # share: of the stick's way; None: it is lost
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from seqlang.jogging import act, slid, typing

if TYPE_CHECKING:
    from seqlang.jogging import Jog

NEAR_US: Final = 10.0
"""So close to the part's pulse a stick need not come past it."""
TREMBLE_US: Final = 3.0
"""A stick that is moved by less is not moved: receivers tremble (own choice)."""


@dataclass(frozen=True, slots=True)
class StickHand:
    """A stick, and what it does to the servo under the hands.

    `travel_us`: the pulses at the two ends of the stick's way.
    """

    travel_us: tuple[float, float]
    at_us: float | None = None
    """Where it wants the servo; None: it has not been heard yet, or is lost."""
    holds: bool = False
    """The part goes with it."""


def moved(hand: StickHand, jog: Jog, share: float | None, now_s: float) -> tuple[StickHand, Jog]:
    """The stick is heard at a share of its way (0 to 1), or is lost: the hand and the servo then.

    A radio that is lost in the middle of a motion ends the pulses.
    """
    if share is None:
        lost = replace(hand, at_us=None, holds=False)
        return lost, act(jog, "limp", now_s) if hand.holds and not jog.is_limp else jog
    first, last = hand.travel_us
    wanted = first + min(max(share, 0.0), 1.0) * (last - first)
    before = hand.at_us
    is_moved = before is not None and abs(wanted - before) >= TREMBLE_US
    here = replace(hand, at_us=wanted if is_moved or before is None else before)
    if jog.is_limp:
        return replace(here, holds=False), jog
    if not is_moved:
        return here, jog
    assert before is not None
    jog = typing(jog, now_s)
    if not hand.holds and not _comes_past(before, wanted, jog.held_us):
        return here, jog
    return replace(here, holds=True), slid(jog, wanted, now_s)


def released(hand: StickHand) -> StickHand:
    """A key turns the part: the stick has to come past it again."""
    return replace(hand, holds=False)


def _comes_past(before: float, wanted: float, held_us: float) -> bool:
    is_passed = min(before, wanted) <= held_us <= max(before, wanted)
    return is_passed or abs(wanted - held_us) <= NEAR_US
