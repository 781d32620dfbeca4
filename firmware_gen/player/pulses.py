"""From a servo's position to its pulse in integers: TABLE.md, section 3.2."""

from __future__ import annotations

from itertools import pairwise

from firmware_gen.table.records import ServoRecord
from sim.rulebook import ANGLE_BITS
from sim.score.fixed_laws import progress


class PulseLine:
    """A servo's calibration: from a position to the width of its pulse, in ticks of 0.5 us."""

    def __init__(self, servo: ServoRecord) -> None:
        self._low = servo.travel[0] << ANGLE_BITS
        self._high = servo.travel[1] << ANGLE_BITS
        self._segments = [
            (angle << ANGLE_BITS, pulse, 2 * (next_pulse - pulse), (next_angle - angle) << 7)
            for (angle, pulse), (next_angle, next_pulse) in pairwise(servo.points)
        ]

    def ticks(self, p: int) -> int:
        p = min(max(p, self._low), self._high)
        for segment in reversed(self._segments):
            if segment[0] <= p:
                break
        angle, pulse, half_ticks, width = segment
        share = progress((p - angle) >> 8, width)
        return pulse + ((((half_ticks * share) >> 16) + 1) >> 1)
