"""Keys of a terminal that may be closed, or whose keys never cease."""

from __future__ import annotations

import select
import sys
from typing import TYPE_CHECKING, Final

from blessed import Terminal

if TYPE_CHECKING:
    from blessed.keyboard import Keystroke

MOST_AT_A_TIME: Final = 256
"""Characters that are read before the board is looked after again. A terminal keeps 4096, and the
library takes longer for them than a jog lasts."""
_KEYS: Final = {
    "KEY_UP": "up",
    "KEY_RIGHT": "up",
    "KEY_DOWN": "down",
    "KEY_LEFT": "down",
    "KEY_ENTER": "enter",
    "KEY_ESCAPE": "escape",
    "KEY_BACKSPACE": "backspace",
    "KEY_DELETE": "backspace",
}


class Keyboard(Terminal):
    """A terminal whose keys are read in parts.

    `inkey` of the library reads on for as long as something is there: for ever while a key is
    jammed, and at the end of a terminal that was closed.
    """

    _left = MOST_AT_A_TIME

    def keys(self, wait_s: float) -> list[str]:
        """All keys that have come: those of a heap come at one time, but for what is too much.

        Raises KeyboardInterrupt if the terminal was closed: nobody can press a key any more.
        """
        self._left = MOST_AT_A_TIME
        found = []
        key = self.inkey(timeout=wait_s)
        while key:
            found.append(_name(key))
            key = self.inkey(timeout=0)
        return found

    def kbhit(self, timeout: float | None = None) -> bool:
        if is_closed():
            raise KeyboardInterrupt
        return self._left > 0 and bool(super().kbhit(timeout))

    def getch(self) -> str:
        self._left -= 1
        return str(super().getch())


def is_closed() -> bool:
    """Whether the other end of the terminal is gone.

    Most terminals then end their commands (SIGHUP), but not one that is meant to outlive them.
    """
    if not hasattr(select, "poll"):  # Windows, which ends the command
        return False
    asked = select.poll()
    asked.register(sys.stdin.fileno(), 0)  # a hang-up is told without being asked for
    return bool(asked.poll(0))


def _name(key: Keystroke) -> str:
    return _KEYS.get(key.name or "", str(key))
