"""Sockets that are open, and nobody knows yet whose: how many, and which has to go for the next.

Pure bookkeeping. Whoever opens sockets and says nothing cannot keep others out: where there is no
room, the address that has most of them gives up its oldest. So a helper's phone comes in, whatever
an address beside it does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable
from typing import Final, Generic, TypeVar

MOST_STRANGERS: Final = 64
"""Sockets that are open and not let in yet: those of a page that loads, and of a phone that is
about to say the code. Fifty phones that come at once have as many."""

Who = TypeVar("Who", bound=Hashable)


class Strangers(Generic[Who]):
    """Who is there and was not let in, by address. `most`: how many there may be."""

    def __init__(self, most: int = MOST_STRANGERS) -> None:
        self._most = most
        self._address_of: dict[Who, str] = {}

    def __len__(self) -> int:
        return len(self._address_of)

    def come(self, who: Who, address: str) -> Who | None:
        """Somebody opens a socket; whose socket is closed for it, if there is no room."""
        leaves = self._next_to_leave() if len(self) >= self._most else None
        if leaves is not None:
            del self._address_of[leaves]
        self._address_of[who] = address
        return leaves

    def gone(self, who: Who) -> None:
        """It was let in, or its socket is closed."""
        self._address_of.pop(who, None)

    def _next_to_leave(self) -> Who:
        """The oldest of the address that has most; of addresses with as many, the oldest of all."""
        counts = Counter(self._address_of.values())
        most = max(counts.values())
        return next(who for who, at in self._address_of.items() if counts[at] == most)
