"""A transfer cut at any byte says which show the board has, and that is so."""

from __future__ import annotations

import pytest
from small_tables import NEW, OLD

from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.transfer import ShowOn
from tests.unchecked import transfer_unchecked


class CutPort(LocalPort):
    """A port that is unplugged after so many bytes, counted both ways; `None`: never.

    `back_after_s`: nothing is said of it; the line is dead for that long and then whole again.
    """

    def __init__(
        self, virtual: VirtualBoard, after: int | None, back_after_s: float | None = None
    ) -> None:
        super().__init__(virtual)
        self._left = after
        self._back_after_s = back_after_s
        self._back_at = 0.0
        self.bytes = 0

    def write(self, data: bytes) -> None:
        super().write(self._passed(data))
        self._say_if_lost()

    def read(self, timeout_s: float) -> bytes:
        data = self._passed(super().read(timeout_s))
        if not data:
            self._say_if_lost()
        return data

    def _passed(self, data: bytes) -> bytes:
        if self._left is None:
            self.bytes += len(data)
            return data
        if self._left == 0 and self._back_at and self.now() >= self._back_at:
            self._left = None
            return data
        passed, self._left = data[: self._left], self._left - len(data[: self._left])
        if self._left == 0 and not self._back_at and self._back_after_s is not None:
            self._back_at = self.now() + self._back_after_s
        return passed

    def _say_if_lost(self) -> None:
        if self._left == 0 and self._back_after_s is None:
            raise LinkFailure("port-lost", "port virtual went away", "check plug and cable")


def board_with_old(write_s: float = 0.0) -> VirtualBoard:
    virtual = VirtualBoard(write_s=write_s)
    transfer_unchecked(HostLink(LocalPort(virtual)), OLD)
    return virtual


def bytes_of_a_transfer() -> int:
    port = CutPort(board_with_old(), None)
    transfer_unchecked(HostLink(port), NEW)
    return port.bytes


ALL = bytes_of_a_transfer()


def test_a_port_unplugged_at_any_byte_ends_in_words_that_are_so() -> None:
    """Two bytes that differ in time alone may lie in one read: those after the cut are lost."""
    facts = []
    for after in range(ALL):
        virtual = board_with_old()
        known = ShowOn()
        with pytest.raises(LinkFailure, match="went away"):
            transfer_unchecked(HostLink(CutPort(virtual, after)), NEW, show_on=known)
        virtual.advance(virtual.time_s + 1.0)
        plays = virtual.board.slots.table
        assert known.fact == "unknown" or (known.fact == "new") == (plays == NEW), after
        facts.append((known.fact, plays == NEW))
    # the old show is known to be on until the commit goes out; nothing is known without the board
    assert facts == sorted(facts, key=lambda fact: (fact[0] != "old", fact[1]))
    assert ("unknown", False) in facts
    assert ("unknown", True) in facts
    assert facts[0] == ("old", False)


@pytest.mark.parametrize("dead_s", [0.2, 1.5, 4.0])
def test_a_line_that_is_dead_for_a_while_at_any_byte_leaves_a_fact_and_no_doubt(
    dead_s: float,
) -> None:
    """It is up again before the last try, so the board can be asked."""
    for after in range(0, ALL, 3):
        virtual = board_with_old()
        known = ShowOn()
        link = HostLink(CutPort(virtual, after, back_after_s=dead_s))
        try:
            transfer_unchecked(link, NEW, show_on=known)
        except LinkFailure:
            assert known.fact != "new" or virtual.board.slots.table == NEW
        else:
            assert known.fact == "new"
        if known.fact != "unknown":
            assert (known.fact == "new") == (virtual.board.slots.table == NEW), after


@pytest.mark.parametrize("write_s", [0.0, 0.01])
@pytest.mark.parametrize("fault", [KeyboardInterrupt, LinkFailure])
def test_whoever_is_interrupted_at_any_request_learns_which_show_is_on(
    fault: type[BaseException], write_s: float
) -> None:
    """The line is whole, so there is nothing that the board cannot be asked.

    A slow board still plays the old show while it stores the commit: the answer waits for that.
    """
    asked = 0
    while True:
        virtual = board_with_old(write_s)
        known = ShowOn()
        port = _Interrupted(virtual, asked, fault)
        try:
            transfer_unchecked(HostLink(port), NEW, show_on=known)
        except (KeyboardInterrupt, LinkFailure):
            virtual.advance(virtual.time_s + 5.0)
            assert known.fact == ("new" if virtual.board.slots.table == NEW else "old"), asked
        else:
            break
        asked += 1
    assert asked > 15
    assert known.fact == "new"


class _Interrupted(LocalPort):
    def __init__(self, virtual: VirtualBoard, at: int, fault: type[BaseException]) -> None:
        super().__init__(virtual)
        self._at = at
        self._fault = fault

    def write(self, data: bytes) -> None:
        super().write(data)
        self._at -= 1
        if self._at == -1:
            is_cut = self._fault is LinkFailure
            raise LinkFailure("refused", "cut") if is_cut else KeyboardInterrupt
