"""How the effect of a light comes and goes in a rehearsal: TABLE.md, section 3.4.

An effect that is laid comes in over `EFFECT_STEPS` frames, one that is taken off goes over as many.
Another one comes when the one before has gone. One that is laid again stays, or comes back. What a
light shows from a frame on is said by at most two pieces, until something else is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from sim.light.effects import depth_level
from sim.model import Effect
from sim.rehearsal.trajectories import Modulation
from sim.rulebook import CLOCK_PER_MS, EFFECT_STEPS, FRAME_CLOCK, FRAME_MS


@dataclass(frozen=True, slots=True)
class _LaidEffect:
    """An effect that counts its time from `start` on (the player's clock)."""

    effect: Effect
    start: int
    cue: str | None

    @property
    def values(self) -> tuple[object, ...]:
        one = self.effect
        return one.name, one.period_ms, depth_level(one), one.seed, one.width


_Coming: TypeAlias = _LaidEffect | None


class Presence:
    """The effect of one light: the row of its pieces, and what it is about to do."""

    def __init__(self) -> None:
        self.row: list[Modulation] = []
        self._on: _Coming = None
        self._next: _Coming = None
        self._leaves = False
        self._weight = 0
        """After the frame before `_frame`, in steps."""
        self._frame = 0

    def lay(self, effect: Effect, start: int, frame: int, cue: str | None) -> None:
        """An effect is laid at a time, in a frame (its number)."""
        new = _LaidEffect(effect, start, cue)
        self._wait_for(frame)
        if self._on is None:
            self._on, self._leaves = new, False
        elif self._on.values == new.values:
            if not self._leaves:
                return  # it just goes on: a repeat may lay it thousands of times
            self._next, self._leaves = None, False
        else:
            self._next, self._leaves = new, True
        self._show()

    def take_off(self, frame: int) -> None:
        """The effect, if there is one, goes."""
        self._wait_for(frame)
        if self._on is not None:
            self._next, self._leaves = None, True
            self._show()

    def cut(self, frame: int) -> None:
        """What is left of an effect that goes for good is gone at once."""
        self._wait_for(frame)
        if self._leaves and self._next is None:
            self.clear(frame)

    def clear(self, frame: int) -> None:
        """There is no effect."""
        self._wait_for(frame)
        self._on = self._next = None
        self._leaves, self._weight = False, 0
        self._show()

    def _wait_for(self, frame: int) -> None:
        """Let all frames before this one pass; frames only go on."""
        for _ in range(min(frame - self._frame, 3 * EFFECT_STEPS)):
            self._step()
        self._frame = frame

    def _step(self) -> None:
        if not self._leaves:
            self._weight = min(self._weight + 1, EFFECT_STEPS) if self._on else 0
            return
        self._weight = max(self._weight - 1, 0)
        if self._weight == 0:
            self._on, self._next, self._leaves = self._next, None, False

    def _show(self) -> None:
        """Write down what is seen from this frame on."""
        while self.row and self.row[-1].shown_ms >= self._frame * FRAME_MS:
            self.row.pop()
        if not self._leaves:
            self._put(self._on, self._frame, min(self._weight + 1, EFFECT_STEPS), 1)
            return
        left = max(self._weight - 1, 0)
        if left:
            self._put(self._on, self._frame, left, -1)
        self._put(self._next, self._frame + left, 0, 1)

    def _put(self, one: _Coming, frame: int, weight: int, step: int) -> None:
        shown_ms = float(frame * FRAME_MS)
        if one is None:
            self.row.append(Modulation(shown_ms, shown_ms, None))
        else:
            start_ms = one.start / CLOCK_PER_MS
            self.row.append(Modulation(start_ms, shown_ms, one.effect, one.cue, weight, step))


def frame_of(shown: int) -> int:
    """The number of the frame that is being played; `shown`: the time of the one before."""
    return shown // FRAME_CLOCK + 1
