"""Sockets of which nobody knows yet whose they are: nobody keeps others out."""

from __future__ import annotations

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from seqlang.phone.strangers import Strangers


def test_where_there_is_no_room_the_address_with_most_gives_up_its_oldest() -> None:
    strangers: Strangers[str] = Strangers(most=4)
    for who, address in (("helper", "A"), ("one", "B"), ("two", "B"), ("three", "B")):
        assert strangers.come(who, address) is None
    assert strangers.come("four", "B") == "one"
    assert strangers.come("late", "C") == "two"
    assert len(strangers) == 4


def test_of_addresses_with_as_many_the_oldest_of_all_leaves() -> None:
    strangers: Strangers[str] = Strangers(most=2)
    strangers.come("first", "A")
    strangers.come("second", "B")
    assert strangers.come("third", "C") == "first"


def test_who_is_let_in_or_goes_makes_room() -> None:
    strangers: Strangers[str] = Strangers(most=1)
    strangers.come("first", "A")
    strangers.gone("first")
    strangers.gone("never there")
    assert strangers.come("second", "A") is None


@given(st.lists(st.integers(0, 5), max_size=80), st.integers(2, 9))
def test_no_address_can_take_the_place_of_one_that_has_fewer(
    addresses: list[int], most: int
) -> None:
    strangers: Strangers[int] = Strangers(most)
    there: dict[int, int] = {}
    for number, address in enumerate(addresses):
        leaves = strangers.come(number, str(address))
        if leaves is not None:
            counts = Counter(there.values())
            assert counts[there[leaves]] == max(counts.values())
            assert leaves == min(n for n, at in there.items() if counts[at] == max(counts.values()))
            del there[leaves]
        there[number] = address
        assert len(strangers) == len(there) <= most
