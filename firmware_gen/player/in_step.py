"""Staying in step with the board that leads: LINK.md, section 7.

Both boards count frames. From when a state arrives a board sees how far it is from where it should
be, and makes its own frames longer or shorter by a little until that is nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from firmware_gen.table.records import RadioRecord, SenseRecord
from sim.rulebook import FRAME_CLOCK

ARRIVAL: Final = 4 * FRAME_CLOCK // 5
"""Moment of the frame before its own at which a state should arrive: whatever is up to 4 ms late or
16 ms early is still in time, and a cue shows soon on all boards."""
FARTHEST: Final = 3 * FRAME_CLOCK // 2
"""Beyond this the frames are counted anew."""
MOST_STRETCH: Final = FRAME_CLOCK // 50
"""2 % of a frame."""
GENTLENESS_BITS: Final = 2
"""A frame makes good a quarter of what is wrong."""


def radio_late(senses: Iterable[SenseRecord]) -> int:
    """By how much later a radio brings each state, in 1/256 ms; 0 over the line."""
    return next((one.late for one in senses if isinstance(one, RadioRecord)), 0)


class InStep:
    """How many frames a board is ahead of the one that leads, and how its frames are corrected."""

    def __init__(self, late: int = 0) -> None:
        """`late`: by how much later than over the line a radio brings each state, in 1/256 ms."""
        self._late = late
        self._ahead = 0
        self.stretch = 0
        """What a frame should last longer, in 1/256 ms."""

    def arrived(self, frames: int, hub_frame: int, moment: int, follows: bool) -> tuple[int, bool]:
        """A state of the other board's frame `hub_frame` (modulo 2^16) has arrived.

        Args:
            frames: frames that this board has played.
            moment: 1/256 ms since the last of them began, 0 to 5119.
            follows: whether the last state came within a second.

        Returns: that frame in this board's count, and whether the count has changed.
        """
        frames, moment = divmod(frames * FRAME_CLOCK + moment - self._late, FRAME_CLOCK)
        wrong = (frames - hub_frame - self._ahead + 2**15) % 2**16 - 2**15
        late = wrong * FRAME_CLOCK + moment - ARRIVAL
        jumped = not follows or abs(late) > FARTHEST
        if jumped:
            wrong = int(moment < ARRIVAL - FRAME_CLOCK // 2)  # nearer to the frame before
            self._ahead = (frames - hub_frame - wrong) % 2**16
            late = wrong * FRAME_CLOCK + moment - ARRIVAL
        self.stretch = max(-MOST_STRETCH, min(MOST_STRETCH, late >> GENTLENESS_BITS))
        return frames - wrong, jumped
