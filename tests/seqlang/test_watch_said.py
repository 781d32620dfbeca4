"""A board's `watch` line as hurried hands write it."""

from __future__ import annotations

import pytest

from tests.seqlang.show_text import applied, findings

RIG = """\
supply pack
    source 2 li-ion cells, 3000 mAh
    fuse 5 A
board box: atmega2560, address 1
    feed pack
    watch pin PF1, divider 18 kohm over 22 kohm
lamp lure: box pin PB4
cue flare
    lure fade to 80 % in 2 s
    lure fade to off in 2 s
remote
    button 1: go flare
    battery low: go flare
    stop button 5
"""
WATCH = "watch pin PF1, divider 18 kohm over 22 kohm"


def told(written: str) -> str:
    return RIG.replace(WATCH, written)


@pytest.mark.parametrize(
    "written",
    [
        "watch PF1, divider 18 kohm over 22 kohm",
        "watch pin PF1 divider 18 kohm over 22 kohm",
        "watch battery pin PF1, divider 18 kohm over 22 kohm",
        "watches pin PF1, divider 18 kohm over 22 kohm",
        "watch pin PF1, divider 18 kohm and 22 kohm",
        "watch pin PF1, divider 18 kohm / 22 kohm",
        "watch at pin PF1, with a divider of 18 kohm to 22 kohm",
    ],
)
def test_a_watch_said_otherwise_is_answered_with_the_line_that_passes(written: str) -> None:
    one = findings(told(written), "syntax")[0]
    assert applied(told(written), one) == RIG


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("warns at 3.4 V", "warns below 3.4 V"),
        ("stops under 3.3 V", "stops below 3.3 V"),
        ("warn below 3.5 V, stop below 3.2 V", "warns below 3.5 V, stops below 3.2 V"),
    ],
)
def test_limits_of_a_watch_said_otherwise_are_answered_with_its_words(
    written: str, meant: str
) -> None:
    text = told(f"{WATCH}, {written}")
    one = findings(text, "syntax")[0]
    assert applied(text, one) == told(f"{WATCH}, {meant}")
    assert findings(applied(text, one), "syntax") == []


def test_limits_of_the_whole_pack_become_those_of_a_cell_both_at_once() -> None:
    text = told(f"{WATCH}, warns below 6.8 V, stops below 6.4 V")
    (one,) = findings(text, "watch-limits")
    assert one.help is not None
    assert "6.8 V of 2 are 3.4 V of each, and 6.4 V of 2 are 3.2 V of each" in one.help
    mended = applied(text, one)
    assert mended == told(f"{WATCH}, warns below 3.4 V, stops below 3.2 V")
    assert findings(mended, "watch-limits") == []


def test_of_one_limit_of_the_pack_the_other_stays() -> None:
    text = told(f"{WATCH}, warns below 6.8 V, stops below 3.2 V")
    (one,) = findings(text, "watch-limits")
    assert applied(text, one) == told(f"{WATCH}, warns below 3.4 V, stops below 3.2 V")


def test_a_k_behind_a_resistor_is_a_kilohm_and_no_temperature() -> None:
    text = told("watch pin PF1, divider 18k over 22 kohm")
    (one,) = findings(text, "unknown-unit")
    assert findings(applied(text, one)) == findings(RIG)
