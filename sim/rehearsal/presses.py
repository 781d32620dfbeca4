"""What a button's downs and ups come to: a press, a long one, two in a row (TABLE.md, section 8).

A button of which a show wants only that it goes down or up is decided at once. One that may also
be pressed for long, or twice, stays *undecided* for a while.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import inf
from typing import Any

from sim.model import PressKind
from sim.rulebook import STUCK_FRAMES, TWICE_FRAMES
from sim.score.program import BoardProgram, Patience


@dataclass(slots=True)
class _Undecided:
    """A press that began in frame `since`; `is_down` until the button goes up."""

    since: int
    is_down: bool = True


class Presses:
    """The buttons of one board: which are down, and what their presses are."""

    def __init__(self, program: BoardProgram[Any]) -> None:
        self._patience: Mapping[int, Patience] = program.patience
        self._undecided: dict[int, _Undecided] = {}
        self._down_since: dict[int, int] = {}

    def is_down(self, button: int) -> bool:
        return button in self._down_since

    def stuck(self, number: int) -> int:
        """Mask of the buttons that have been down for so long that they may be stuck."""
        return sum(
            1 << button
            for button, since in self._down_since.items()
            if number - since >= STUCK_FRAMES
        )

    def note_down(self, button: int, number: int) -> None:
        """A button goes down in a frame, whatever comes of it."""
        self._down_since.setdefault(button, number)

    def note_up(self, button: int) -> None:
        self._down_since.pop(button, None)

    def down(self, button: int, number: int) -> PressKind | None:
        """What a down is, where something may start; None: that is not decided yet."""
        if button not in self._patience:
            return "down"
        before = self._undecided.get(button)
        if before is None:
            self._undecided[button] = _Undecided(number)
        elif not before.is_down:
            del self._undecided[button]
            return "twice"
        return None

    def up(self, button: int, number: int) -> PressKind | None:
        """What an up makes of the press that it ends; None: nothing yet, or it was decided."""
        press = self._undecided.get(button)
        if press is None or not press.is_down:
            return None
        if self._patience[button].twice and number - press.since < TWICE_FRAMES:
            press.is_down = False
            return None
        del self._undecided[button]
        return "down"

    def decided(self, number: int) -> Iterator[tuple[int, PressKind]]:
        """What time decides in a frame, the lowest button first."""
        for button, press in sorted(self._undecided.items()):
            if number >= self._due(button, press):
                del self._undecided[button]
                is_long = press.is_down and self._patience[button].long_frames > 0
                yield button, "long" if is_long else "down"

    def _due(self, button: int, press: _Undecided) -> int:
        """The frame in which a press is decided if nothing comes before."""
        long_frames = self._patience[button].long_frames
        return press.since + (long_frames if press.is_down and long_frames else TWICE_FRAMES)

    def forget(self) -> None:
        """What is undecided comes to nothing."""
        self._undecided.clear()

    def next_frame(self) -> float:
        """When time decides something; infinite if nothing is undecided."""
        return min((self._due(*one) for one in self._undecided.items()), default=inf)
