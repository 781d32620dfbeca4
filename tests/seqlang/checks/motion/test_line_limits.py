"""What a servo that pushes along a line stands, from both sides; in millimetres and newtons.

It is rated 40 mm/s and 60 N; a fifth is kept in hand: 32 mm/s without a load, 48 N at rest. Minimum
jerk has Cv = 15/8 and Ca = 10/sqrt(3) (Flash and Hogan 1985). What it carries weighs 9.80665 N a kg
straight up, nothing on the level (but its inertia takes 0.04 N there).
"""

from __future__ import annotations

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import along, findings

BACK = "jaw to 2 mm in 9 s"


def level(duration_ms: int, **jaw: str) -> str:
    body = f"jaw to 40 mm in {duration_ms} ms\n{BACK}"
    return along(body, supply=None, slope="0 deg", **jaw)


def upright(grams: int, body: str = f"jaw to 40 mm in 9 s\n{BACK}") -> str:
    return along(body, supply=None, slope="90 deg", load=f"{grams} g")


def near(force: str, rig: str = "wearer\n    near hand\n") -> str:
    """Up a slope of 30 deg 400 g add 1.96 N."""
    text = along(rating=f"40 mm/s, {force}, 2 A at 6.0 V")
    return text.replace("supply pack", f"{rig}supply pack", 1)


LIMITS = (
    Limit(
        id="speed",
        name="servo-speed",
        passes=level(2228),
        fails=level(2220),
        says="`jaw` must move at 32.1 mm/s, and can do 32 mm/s",
        asked=1.875 * 38 / 2.22,
        limit=40 * (0.8 - 0.0362 / 60),
        label="38 mm in 2.22 s",
        fix="2228 ms",
        at="2220 ms",
    ),
    Limit(
        id="acceleration",
        name="servo-acceleration",
        passes=level(2342, acceleration="40 mm/s2"),
        fails=level(2341, acceleration="40 mm/s2"),
        says="`jaw` would accelerate at 40.03 mm/s2, and its limit is 40 mm/s2",
        asked=10 / 3**0.5 * 38 / 2.341**2,
        limit=40,
        label="38 mm in 2.34 s",
        fix="2342 ms",
    ),
    Limit(
        id="heat",
        name="servo-heat",
        passes=upright(2039),
        fails=upright(2041),
        says="`jaw` is loaded with 33.4 % of its stall force holding 2 mm, and can take about "
        "33.3 % for long",
        severity="warning",
        asked=2.041 * 9.80665 / 60,
        limit=1 / 3,
        label="20 N of 60 N at 6 V",
    ),
    Limit(
        id="holding",
        name="servo-torque",
        passes=upright(4890, "hold 1 s"),
        fails=upright(4900, "hold 1 s"),
        says="`jaw` must hold 2 mm with 48.1 N, and can give 48 N",
        asked=4.9 * 9.80665,
        limit=48,
        label="no cue moves it, and it must stand",
        at="jaw",
    ),
    Limit(
        id="pinch",
        name="pinch-over-limit",
        passes=near("138 N"),
        fails=near("139 N"),
        says="`jaw` presses with 141 N when it stalls, and 140 N are published for hands and "
        "fingers",
        severity="warning",
        asked=139 + 0.4 * 9.80665 / 2,
        limit=140,
        label="",
        at="jaw",
    ),
)


@each(LIMITS)
def test_a_servo_along_a_line_stands_just_so_much(limit: Limit) -> None:
    assert_holds(limit)


def test_a_force_that_is_missing_is_told_in_newtons() -> None:
    found = findings(upright(4900), "servo-torque")
    assert len(found) == 2
    for one in found:
        assert one.unit == "N"
        assert one.asked is not None
        assert 48.0 < one.asked < 48.2
        assert one.limit is not None
        assert one.limit < 48
        assert one.fix is None
    assert "servo of at least 144 N" in (findings(upright(4900), "servo-heat")[0].help or "")


def test_without_a_region_nothing_is_said_of_a_pinch() -> None:
    assert findings(near("300 N", rig=""), "pinch-over-limit") == []
    assert len(findings(near("300 N"), "pinch-over-limit")) == 1
