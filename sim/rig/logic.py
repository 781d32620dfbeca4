"""Which voltage a board's chip and its pins have: not that of the feed, as a rule.

A small board passes its feed through a linear regulator of its own, which needs some headroom, or
is fed at the chip's own supply pin. The pins give what the chip has: a lamp that hangs on a pin
sees that voltage, one that takes more than a pin gives hangs on the feed behind a transistor.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array
from sim.model import Direct, OnBoard

if TYPE_CHECKING:
    from sim.model import Board, Logic


REGULATOR_V: Final = 5.0
"""What a small board's own regulator makes (common practice)."""

DROPOUT_V: Final = 1.0
"""Headroom (V) of such a regulator at the board's own small current (regulators of the 1117 class,
data sheets, from memory: 1.0 to 1.2 V)."""

USUAL: Final = OnBoard(REGULATOR_V, DROPOUT_V)
"""What a board is taken to have whose feed is over what its chip stands."""


def logic_of(board: Board, highest_feed_v: float) -> Logic:
    """How the board's chip is fed: as the rig says, or as it must be at that feed.

    Without a word: at the chip's own pin while the feed stays within what the chip stands, else
    through the board's regulator.
    """
    if board.logic is not None:
        return board.logic
    return Direct() if highest_feed_v <= board.electrics.highest_v else USUAL


def chip_v(logic: Logic, feed_v: ArrayLike) -> Array:
    """Voltage (V) at the chip and its pins, at a voltage of the feed; arrays of one shape."""
    volts = np.asarray(feed_v, dtype=np.float64)
    if isinstance(logic, Direct):
        return volts
    return np.clip(volts - logic.dropout_v, 0.0, logic.voltage_v)
