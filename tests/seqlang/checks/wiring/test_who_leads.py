"""A board that is to lead and cannot: which one could."""

from __future__ import annotations

import pytest

from tests.seqlang.show_text import findings, show


@pytest.mark.parametrize(
    ("chips", "way"),
    [
        ((), "give it such a chip"),
        (("atmega328p",), "give it such a chip"),
        (("atmega2560",), "let `hub_2` lead, which has such a chip"),
        (("atmega328p", "atmega2560", "atmega2560"), "let `hub_3` lead, which has such a chip"),
    ],
)
def test_the_first_board_whose_chip_can_lead_is_named(chips: tuple[str, ...], way: str) -> None:
    rig = [
        f"board hub_{n}: {chip}, address {n}\n    feed pack\n" for n, chip in enumerate(chips, 2)
    ]
    text = show(rig=rig)
    leading = text.replace("atmega328p, address 1", "atmega328p, address 1, leads")
    (one,) = findings(leading, "cannot-lead")
    assert one.help == f"{way}, or leave out `leads`: then each board plays for itself"
    assert (one.fix is None) is way.startswith("let")
    assert findings(text, "cannot-lead") == []
