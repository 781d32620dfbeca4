"""Lamps that follow: how quickly they may, from both sides.

Relative luminance of L* (CIE 1976, above 8 %): Y = ((L* + 16) / 116)^3, which is steepest at the
bright end: dY/dL* = 3 / 116 ((L* + 16) / 116)^2. Seven changes of a tenth within a second are three
flashes and a half, and pass (WCAG 2.2, success criterion 2.3.1, as the check reads it).
"""

from __future__ import annotations

import pytest

from tests.seqlang.checks.wiring.test_line_and_timer_pins import broken
from tests.seqlang.show_text import findings

WAY = "from 10 % to 60 %, 0 % to 100 %, in 300 ms"
RED = "0 % to 40 %, in 800 ms"


def told(way: str, ms: float) -> str:
    return broken("follow-flashes", (WAY, f"from 10 % to 60 %, {way}, in {ms:g} ms"))


def least_ms(low: float, high: float) -> float:
    slope = 3 / 116 * ((high + 16) / 116) ** 2
    return 1000 * (high - low) * slope / (7 * 0.1)


@pytest.mark.parametrize(("low", "high"), [(0, 100), (50, 100), (0, 60), (20, 40)])
@pytest.mark.parametrize("falls", [False, True])
def test_a_lamp_follows_so_slowly_that_no_second_holds_eight_changes(
    low: int, high: int, falls: bool
) -> None:
    way = f"{high} % to {low} %" if falls else f"{low} % to {high} %"
    (one,) = findings(told(way, 100), "follow-flashes")
    assert one.limit is not None
    # on the safe side of the slope itself, by a few percent and a rounding to 10 ms
    assert least_ms(low, high) <= one.limit <= 1.05 * least_ms(low, high) + 10
    assert (one.asked, one.limit % 10, one.unit) == (100.0, 0.0, "ms")
    assert one.label == "changes from end to end in 100 ms"
    assert one.message == "`voice` may make `glow` flash more than three times a second"
    assert one.help == f"`in {one.limit:.0f} ms` is slow enough; or let `glow` get less bright"
    assert findings(told(way, one.limit), "follow-flashes") == []
    (again,) = findings(told(way, one.limit - 10), "follow-flashes")
    assert again.limit == one.limit


@pytest.mark.parametrize(
    ("way", "at"),
    [
        ("0 % to 40 %, in 4 s", "0 %"),
        ("40 % to 0 %, in 4 s", "0 %"),
        # beside an end that is hardly lit, too
        ("0 % to 1 %, in 4 s", "0 %"),
        ("1 % to 0 %, in 4 s", "0 %"),
        ("1 % to 40 %, in 4 s", None),
        ("40 % to 1 %, in 4 s", None),
    ],
)
def test_a_saturated_red_stays_lit(way: str, at: str | None) -> None:
    text = broken("follow-flashes-dark-red", (RED, way))
    found = findings(text, "follow-flashes")
    assert [text[one.span.start : one.span.end] for one in found] == ([] if at is None else [at])
    for one in found:
        assert (one.asked, one.limit, one.fix and one.fix.text) == (0.0, 1.0, "1 %")
        assert text[one.span.end :].lstrip(" ").startswith("to " if way[0] == "0" else ", in")
    white = broken("follow-flashes-dark-red", (RED, way), ("    colour red\n", ""))
    assert findings(white, "follow-flashes") == []


@pytest.mark.parametrize(
    ("line", "is_told"),
    [
        ("glow ember every 3 s", True),
        ("glow steady", False),
        ("eye ember every 3 s", False),
    ],
)
def test_no_effect_of_idle_lies_on_a_lamp_that_follows(line: str, is_told: bool) -> None:
    text = broken("follow-flashes-under-effect", ("    glow ember every 3 s\n", f"    {line}\n"))
    found = findings(text, "follow-flashes")
    assert len(found) == is_told
    for one in found:
        word = line.split()[1]
        assert one.message == f"idle lays `{word}` on `glow`, which follows `voice`"
        assert text[one.span.start : one.span.end] == word
    awake = text.replace("idle: go smoulder\n", "")
    assert findings(awake, "follow-flashes") == []
