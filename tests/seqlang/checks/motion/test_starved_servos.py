"""A supply that cannot give what servos take as soon as they move: it is to blame, not a drive.

Eight sheets (read) have up to 35 % of the stall current as the current without a load; so a servo
of 30 A stalled takes 10.5 A as soon as it turns.
"""

from __future__ import annotations

import pytest

from tests.seqlang.show_text import findings

SHOW = """supply wall
    source adapter 6 V, {gives} A
board box: atmega328p, address 1
    feed wall
servo jaw: box pin PB1
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 30 A at 6 V
    load 50 g at 20 mm
cue bite
    jaw to 60 deg {pace}
    jaw to 0 deg in 2 s
remote
    button 1: go bite
    stop button 2
"""


def blamed(gives: str, pace: str = "as fast as it can") -> list[str]:
    """What errors of motion say and advise."""
    found = findings(SHOW.format(gives=gives, pace=pace))
    names = ("impossible-move", "servo-torque", "linkage-locks")
    return [f"{f.message}; {f.help}" for f in found if f.name in names]


@pytest.mark.parametrize("gives", ["5", "10.3"])
def test_a_move_that_the_supply_cannot_feed_blames_the_supply(gives: str) -> None:
    told = blamed(gives)
    assert told
    assert all("supply" in one and "locks" not in one and "lighter" not in one for one in told)


def test_a_supply_that_gives_it_is_not_blamed() -> None:
    assert blamed("13") == []
