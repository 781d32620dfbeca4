"""Lamps as bright as a move goes, in integers: TABLE.md, section 12."""

from __future__ import annotations

from collections.abc import Callable

from firmware_gen.table.records import ShineRecord
from sim.rulebook import ANGLE_BITS, LEVEL_BITS, SHARE_ONE
from sim.score.fixed_laws import progress


class PlayedShine:
    """How a lamp shines with a servo: it does, or goes its own way."""

    def __init__(
        self, record: ShineRecord, servo: Callable[[int], tuple[int, int]], glide: int
    ) -> None:
        """`servo`: its position and speed at a time. `glide`: in how long the lamp comes to its
        move, in 1/256 ms."""
        self._record, self._servo, self._glide = record, servo, glide
        self._since: int | None = None

    def begin(self, time: int) -> None:
        """Nobody has the lamp: unless it does already, it shines with its move from now on."""
        if self._since is None:
            self._since = time

    def end(self) -> None:
        self._since = None

    def level(self, own: int, time: int) -> int:
        """What is seen of the lamp, whose own level is given."""
        if self._since is None:
            return own
        share = progress(time - self._since, self._glide) if self._glide else SHARE_ONE
        return own + (((self._wanted(time) - own) * share) >> 16)

    def _wanted(self, time: int) -> int:
        record = self._record
        position, speed = self._servo(time)
        place = 10 * abs(speed) if record.by_speed else position
        way = max(0, place - (record.low << ANGLE_BITS)) >> 8
        share = progress(way, (record.high - record.low) << 7) if way else 0
        low, high = record.low_level << LEVEL_BITS, record.high_level << LEVEL_BITS
        return low + (((high - low) * share) >> 16)
