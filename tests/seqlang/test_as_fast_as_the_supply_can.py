"""`as fast as it can` takes the supply into account: no faster than it can feed."""

from __future__ import annotations

import re

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.score.planned_moves import planned_moves

SERVO = """    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 60 g at 60 mm
"""
SHOW = f"""supply pack
    source adapter 6 V, 1.8 A
board body: atmega328p, address 1
    feed pack, 300 mm of 18 AWG
servo jaw: body pin PB1
{SERVO}servo fin: body pin PB2
{SERVO}cue a
    jaw to 50 deg as fast as it can
    jaw to 0 deg as fast as it can
cue b
    fin to 50 deg as fast as it can
    fin to 0 deg in 900 ms
remote
    button 1: go a
    button 2: go b
    stop button 3
"""
AS_FAST = "as fast as it can"


def fed(source: str, feed: str = "300 mm of 18 AWG") -> str:
    return SHOW.replace("adapter 6 V, 1.8 A", source).replace("300 mm of 18 AWG", feed)


def errors(text: str) -> list[str]:
    found = check(load_text(Source("t.cues", text))).findings
    return [one.name for one in found if one.severity == "error"]


def times_ms(text: str) -> list[int]:
    show = load_text(Source("t.cues", text)).show
    assert show is not None
    return [one.move.duration_ms for one in planned_moves(show)]


@pytest.mark.parametrize("current", ["1.65", "1.7", "1.8", "1.9"])
def test_times_that_are_computed_are_long_enough_for_a_weak_adapter(current: str) -> None:
    weak, strong = fed(f"adapter 6 V, {current} A"), fed("adapter 6 V, 9 A")
    assert errors(weak) == []
    slow, quick = times_ms(weak), times_ms(strong)
    assert all(one >= other for one, other in zip(slow, quick, strict=True))
    assert sum(slow) >= sum(quick)


def test_they_are_hardly_longer_than_they_must_be() -> None:
    """The same moves in four fifths of the time ask more than the adapter gives."""
    text = fed("adapter 6 V, 1.7 A")
    times = iter(sorted({one for one in times_ms(text) if one != 900}, reverse=True))
    longest = next(times)
    written = re.sub(AS_FAST, f"in {round(0.8 * longest)} ms", text)
    assert "supply-overload" in errors(written)


def test_a_weaker_adapter_never_makes_them_shorter() -> None:
    sums = [sum(times_ms(fed(f"adapter 6 V, {a} A"))) for a in ("1.65", "1.7", "1.8", "2.2", "4")]
    assert sums == sorted(sums, reverse=True)
    assert sums[0] > 1.2 * sums[-1]


def test_where_another_move_asks_too_much_the_finding_stays() -> None:
    text = fed("adapter 6 V, 1.7 A").replace("in 900 ms", "in 360 ms")
    assert "supply-overload" in errors(text)


def test_a_thin_wire_makes_them_longer_before_it_resets_the_board() -> None:
    thin = fed("adapter 6 V, 9 A", "3 m of 28 AWG")
    direct = thin.replace("of 28 AWG\n", "of 28 AWG\n    logic direct\n")
    assert "brown-out" not in errors(direct)
    assert sum(times_ms(direct)) > sum(times_ms(fed("adapter 6 V, 9 A")))
