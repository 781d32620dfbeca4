"""A second implementation of a battery's watch, from TABLE.md's section 11 alone."""

from __future__ import annotations


class WatchedBattery:
    def __init__(self, pin: int, scale: int, low: int, stop: int, cue: int) -> None:
        self.at_pin, self.scale, self.low, self.stop, self.cue = pin != 255, scale, low, stop, cue
        self.m: int | None = None
        self.low_frames = self.empty_frames = 0
        self.is_low = self.is_empty = False
        self.since_asked: int | None = None
        """Frames in which the cue could have started, since it was asked for."""

    @property
    def u(self) -> int:
        return 0 if self.m is None else self.m >> 5

    @property
    def is_blind(self) -> bool:
        return self.m is not None and self.u < self.stop // 2

    @property
    def told(self) -> tuple[int, int]:
        return self.u, 1 + 2 * self.is_low + 4 * self.is_empty + 8 * self.is_blind

    def read(self, r: int | None, starting: bool) -> None:
        if r is None:
            return
        if self.at_pin:
            v = self.scale * r // 1024
        else:
            v = min(65535, 1024 * self.scale // r) if r else 65535
        if self.m is None or (self.is_blind and v >= self.stop // 2):
            self.m = 32 * v
        else:
            self.m += v - (self.m >> 5)
        if self.u < self.low:
            self.low_frames = min(250, self.low_frames + 1)
            self.is_low |= self.low_frames == 250
        elif not self.is_low or self.u >= self.low + self.low // 32:
            self.low_frames, self.is_low, self.since_asked = 0, False, None
        if self.stop // 2 <= self.u < self.stop:
            self.empty_frames = min(500, self.empty_frames + 1)
            self.is_empty |= self.empty_frames >= (25 if starting else 500)
        elif not self.is_empty or self.u >= self.stop + self.stop // 32:
            self.empty_frames, self.is_empty = 0, False

    def asks(self) -> bool:
        """Whether the cue is asked for, in a frame in which it may start."""
        if not self.is_low:
            return False
        again = self.since_asked is None or self.since_asked == 2999
        self.since_asked = 0 if again or self.since_asked is None else self.since_asked + 1
        return self.since_asked == 0
