"""Who may press: a code that the laptop shows, few tries, and a pass for those who were let in.

Pure bookkeeping: addresses, codes and the time go in, decisions come out. The figures are ours.
Eight digits and at most 30 tries in a minute by all strangers together: whoever guesses for a whole
day finds the code once in some 2,300 days. The waits that double make that rarer still.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass
from typing import Final

DIGITS: Final = 8
TRIES: Final = 5
"""Wrong codes from one address before it has to wait."""
ALL_TRIES: Final = 30
"""Wrong codes from all addresses together before every stranger has to wait."""
LOCK_S: Final = 60.0
"""The first wait; each further one is twice as long."""
LONGEST_LOCK_S: Final = 960.0
MOST_ADDRESSES: Final = 1000
"""Addresses that are remembered; beyond that the one that tried longest ago is forgotten."""
MOST_PASSES: Final = 500


@dataclass(frozen=True, slots=True)
class LetIn:
    """The phone may come; with `pass_` it comes again, also while strangers have to wait."""

    phone: int
    pass_: str


@dataclass(frozen=True, slots=True)
class TurnedAway:
    """Not let in. `left`: tries that are left; with none, `wait_s` until the next."""

    left: int
    wait_s: float = 0.0


@dataclass(slots=True)
class _Tries:
    wrong: int = 0
    locks: int = 0
    until: float = float("-inf")

    def note(self, limit: int, now: float) -> None:
        self.wrong += 1
        if self.wrong >= limit:
            self.until = now + min(LOCK_S * 2**self.locks, LONGEST_LOCK_S)
            self.locks += 1
            self.wrong = 0


def new_code() -> str:
    """A code to be shown on the laptop."""
    return f"{secrets.randbelow(10**DIGITS):0{DIGITS}}"


class Pairing:
    """Decides who is let in. `code`: the one that the laptop shows."""

    def __init__(self, code: str) -> None:
        self._code = code
        self._all = _Tries()
        self._by_address: dict[str, _Tries] = {}
        self._passes: dict[str, int] = {}
        self._phones = 0

    def enter(self, address: str, code: str, now: float) -> LetIn | TurnedAway:
        """Somebody at this address gives a code. While it waits, a right one does not help."""
        tries = self._tries_of(address)
        wait_s = max(tries.until, self._all.until) - now
        if wait_s > 0:
            return TurnedAway(0, wait_s)
        if hmac.compare_digest(code.encode(), self._code.encode()):
            tries.wrong = tries.locks = 0
            return self._let_in()
        tries.note(TRIES, now)
        self._all.note(ALL_TRIES, now)
        wait_s = max(tries.until, self._all.until) - now
        if wait_s > 0:
            return TurnedAway(0, wait_s)
        return TurnedAway(min(TRIES - tries.wrong, ALL_TRIES - self._all.wrong))

    def enter_again(self, pass_: str) -> LetIn | None:
        """Somebody who was let in before comes again; None: that is no pass of ours."""
        found = None
        for known, phone in self._passes.items():  # all of them: the time tells nothing
            if hmac.compare_digest(pass_.encode(), known.encode()):
                found = LetIn(phone, known)
        return found

    def _tries_of(self, address: str) -> _Tries:
        tries = self._by_address.pop(address, None) or _Tries()
        self._by_address[address] = tries  # the newest stands last
        if len(self._by_address) > MOST_ADDRESSES:
            del self._by_address[next(iter(self._by_address))]
        return tries

    def _let_in(self) -> LetIn:
        self._phones += 1
        pass_ = secrets.token_hex(16)
        self._passes[pass_] = self._phones
        if len(self._passes) > MOST_PASSES:
            del self._passes[next(iter(self._passes))]
        return LetIn(self._phones, pass_)
