"""What a servo's calibration and travel allow, from both sides."""

from __future__ import annotations

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import along, findings, show


def jaw(**lines: str) -> str:
    return show(jaw=lines)


def points(count: int) -> str:
    return ", ".join(f"{900 + 150 * n} us at {15 * n} deg" for n in range(count))


def ends_at(angle: str) -> str:
    return show(cues={"snap": f"jaw to {angle} in 1 s\njaw to 5 deg in 1 s"}, jaw=FROM_FIVE)


THREE = "900 us at 0 deg, 1600 us at 45 deg, 2100 us at 90 deg"
FLAT = "2000 us at 0 deg, 2100 us at 90 deg"
FROM_FIVE = {"travel": "5 deg to 60 deg"}
TURN_BACK = "measure the points again, from one end of the travel to the other"
RANGE = "state the range the servo's data sheet gives"

LIMITS = (
    Limit(
        id="most-points",
        name="calibration-order",
        passes=jaw(pulse=points(8)),
        fails=jaw(pulse=points(9)),
        says="`jaw` has 9 calibration points, but a servo takes 2 to 8",
        asked=9,
        limit=8,
        help="keep the ends and the points where the part bends most",
    ),
    Limit(
        id="fewest-points",
        name="calibration-order",
        passes=jaw(pulse="900 us at 0 deg, 2100 us at 90 deg"),
        fails=jaw(pulse="900 us at 0 deg"),
        says="`jaw` has 1 calibration points, but a servo takes 2 to 8",
        asked=1,
        limit=8,
    ),
    Limit(
        id="rising",
        name="calibration-order",
        passes=jaw(pulse="900 us at 0 deg, 1500 us at 45 deg, 1501 us at 90 deg"),
        fails=jaw(pulse="900 us at 0 deg, 1500 us at 45 deg, 1500 us at 90 deg"),
        says="the pulses of `jaw` do not run one way: 1500 us at 45 deg, then 1500 us at 90 deg",
        help=TURN_BACK,
    ),
    Limit(
        id="falling",
        name="calibration-order",
        passes=jaw(pulse="2100 us at 0 deg, 1200 us at 45 deg, 1199 us at 90 deg"),
        fails=jaw(pulse="2100 us at 0 deg, 1200 us at 45 deg, 1200 us at 90 deg"),
        says="the pulses of `jaw` do not run one way: 1200 us at 45 deg, then 1200 us at 90 deg",
        help=TURN_BACK,
    ),
    Limit(
        # which way the pulses run is told by the ends
        id="one-back",
        name="calibration-order",
        passes=jaw(pulse="900 us at 0 deg, 901 us at 45 deg, 2100 us at 90 deg"),
        fails=jaw(pulse="900 us at 0 deg, 800 us at 45 deg, 2100 us at 90 deg"),
        says="the pulses of `jaw` do not run one way: 900 us at 0 deg, then 800 us at 45 deg",
        help=TURN_BACK,
    ),
    Limit(
        id="rising-in-parts",
        name="calibration-order",
        passes=jaw(pulse="900 us at 0 deg, 1500.16 us at 45.678 deg, 1501 us at 90 deg"),
        fails=jaw(pulse="900 us at 0 deg, 1500.16 us at 45.678 deg, 1500.16 us at 90 deg"),
        says="the pulses of `jaw` do not run one way: 1500.2 us at 45.68 deg, then 1500.2 us at "
        "90 deg",
    ),
    Limit(
        id="angles",
        name="calibration-order",
        passes=jaw(pulse="900 us at 0 deg, 1000 us at 1 deg, 2100 us at 90 deg"),
        fails=jaw(pulse="900 us at 0 deg, 1000 us at 0 deg, 2100 us at 90 deg"),
        says="the pulses of `jaw` do not run one way: 900 us at 0 deg, then 1000 us at 0 deg",
        help=TURN_BACK,
    ),
    Limit(
        id="shortest-pulse",
        name="pulse-outside-range",
        passes=jaw(pulse="500 us at 0 deg, 2100 us at 90 deg"),
        fails=jaw(pulse="490 us at 0 deg, 2100 us at 90 deg"),
        says="at 0 deg `jaw` would get a pulse of 490 us, and it takes 500 us to 2500 us",
        asked=490,
        limit=500,
        # 1610 us over 90 deg: 500 us stand at 0.56 deg
        fix="1 deg",
        help=f"end the travel at `1 deg`, or {RANGE}",
        at="0 deg",
    ),
    Limit(
        id="longest-pulse",
        name="pulse-outside-range",
        passes=jaw(pulse="900 us at 0 deg, 2500 us at 90 deg", travel="0 deg to 90 deg"),
        fails=jaw(pulse="900 us at 0 deg, 2510 us at 90 deg", travel="0 deg to 90 deg"),
        says="at 90 deg `jaw` would get a pulse of 2510 us, and it takes 500 us to 2500 us",
        asked=2510,
        limit=2500,
        fix="89 deg",  # 1610 us over 90 deg: 2500 us stand at 89.4 deg
        at="90 deg",
    ),
    Limit(
        id="longest-pulse-the-other-way-round",
        name="pulse-outside-range",
        passes=jaw(pulse="2500 us at 0 deg, 900 us at 90 deg"),
        fails=jaw(pulse="2510 us at 0 deg, 900 us at 90 deg"),
        says="at 0 deg `jaw` would get a pulse of 2510 us, and it takes 500 us to 2500 us",
        asked=2510,
        limit=2500,
        fix="1 deg",
    ),
    Limit(
        id="stated-range",
        name="pulse-outside-range",
        passes=jaw(limits="900 us to 2000 us"),
        fails=jaw(limits="1000 us to 2000 us"),
        says="at 0 deg `jaw` would get a pulse of 900 us, and it takes 1000 us to 2000 us",
        asked=900,
        limit=1000,
        fix="8 deg",  # 1200 us over 90 deg: 1000 us stand at 7.5 deg
    ),
    Limit(
        id="low-end-of-a-high-range",
        name="pulse-outside-range",
        passes=jaw(pulse=FLAT, travel="75 deg to 90 deg", limits="2080 us to 2200 us"),
        fails=jaw(pulse=FLAT, travel="75 deg to 90 deg", limits="2090 us to 2200 us"),
        says="at 75 deg `jaw` would get a pulse of 2083 us, and it takes 2090 us to 2200 us",
        asked=2083.333,
        limit=2090,
        fix="81 deg",
    ),
    Limit(
        id="travel-beyond",
        name="travel-outside-calibration",
        passes=jaw(travel="0 deg to 90 deg"),
        fails=jaw(travel="0 deg to 91 deg"),
        says="the travel of `jaw` ends at 91 deg, beyond its last calibration point at 90 deg",
        asked=91,
        limit=90,
        fix="90 deg",
        help="measure a point further out, or end the travel at `90 deg`",
        at="91 deg",
    ),
    Limit(
        id="travel-beyond-the-last-of-three-points",
        name="travel-outside-calibration",
        passes=jaw(pulse=THREE, travel="0 deg to 90 deg"),
        fails=jaw(pulse=THREE, travel="0 deg to 91 deg"),
        says="the travel of `jaw` ends at 91 deg, beyond its last calibration point at 90 deg",
        asked=91,
        limit=90,
        fix="90 deg",
    ),
    Limit(
        id="travel-below",
        name="travel-outside-calibration",
        passes=jaw(travel="0 deg to 60 deg"),
        fails=jaw(travel="-0.1 deg to 60 deg"),
        says="the travel of `jaw` ends at -0.1 deg, below its first calibration point at 0 deg",
        asked=-0.1,
        limit=0,
        fix="0.0 deg",
        at="-0.1 deg",
    ),
    Limit(
        id="target-beyond",
        name="target-outside-travel",
        passes=ends_at("60 deg"),
        fails=ends_at("60.1 deg"),
        says="`jaw` lies beyond its travel: 60.1 deg, and the travel ends at 60 deg",
        asked=60.1,
        limit=60,
        fix="60.0 deg",
        help="stay within the travel: `60.0 deg`",
        at="60.1 deg",
    ),
    Limit(
        id="target-below",
        name="target-outside-travel",
        passes=ends_at("5 deg"),
        fails=ends_at("4 deg"),
        says="`jaw` lies below its travel: 4 deg, and the travel ends at 5 deg",
        asked=4,
        limit=5,
        fix="5 deg",
        at="4 deg",
    ),
    Limit(
        id="safe-below",
        name="target-outside-travel",
        passes=ends_at("40 deg").replace("cue snap", "safe pose shut\n    jaw 5 deg\ncue snap"),
        fails=ends_at("40 deg").replace("cue snap", "safe pose shut\n    jaw 4 deg\ncue snap"),
        says="the safe angle of `jaw` lies below its travel: 4 deg, and the travel ends at 5 deg",
        asked=4,
        limit=5,
        fix="5 deg",
        at="4 deg",
    ),
    Limit(
        id="safe-beyond",
        name="target-outside-travel",
        passes=ends_at("40 deg").replace("cue snap", "safe pose shut\n    jaw 60 deg\ncue snap"),
        fails=ends_at("40 deg").replace("cue snap", "safe pose shut\n    jaw 61 deg\ncue snap"),
        says="the safe angle of `jaw` lies beyond its travel: 61 deg, and the travel ends at "
        "60 deg",
        asked=61,
        limit=60,
        fix="60 deg",
    ),
)


ALONG_A_LINE = (
    Limit(
        id="travel-along-a-line",
        name="travel-outside-calibration",
        passes=along(travel="2 mm to 50 mm"),
        fails=along(travel="2 mm to 50.5 mm"),
        says="the travel of `jaw` ends at 50.5 mm, beyond its last calibration point at 50 mm",
        asked=50.5,
        limit=50,
        label="no pulse is known beyond 50 mm",
        fix="50.0 mm",
        at="50.5 mm",
    ),
    Limit(
        # 20 us a millimetre: 1100 us stand at 5 mm
        id="pulse-along-a-line",
        name="pulse-outside-range",
        passes=along(limits="1040 us to 2000 us"),
        fails=along(limits="1100 us to 2000 us"),
        says="at 2 mm `jaw` would get a pulse of 1040 us, and it takes 1100 us to 2000 us",
        asked=1040,
        limit=1100,
        fix="5 mm",
        at="2 mm",
    ),
    Limit(
        id="target-along-a-line",
        name="target-outside-travel",
        passes=along("jaw to 48 mm in 4 s\njaw to 2 mm in 4 s"),
        fails=along("jaw to 49 mm in 4 s\njaw to 2 mm in 4 s"),
        says="`jaw` lies beyond its travel: 49 mm, and the travel ends at 48 mm",
        asked=49,
        limit=48,
        label="beyond 48 mm",
        fix="48 mm",
    ),
    Limit(
        id="play-along-a-line",
        name="backlash",
        passes=along(backlash="2 mm"),
        fails=along(backlash="2.2 mm"),
        says="the play of `jaw` lets it stand 1.1 mm to either side of its place; 1 mm "
        "is hardly seen",
        severity="advice",
        asked=1.1,
        limit=1,
    ),
    Limit(
        id="order-along-a-line",
        name="calibration-order",
        passes=along(),
        fails=along(pulse="1000 us at 0 mm, 1000 us at 50 mm"),
        says="the pulses of `jaw` do not run one way: 1000 us at 0 mm, then 1000 us at 50 mm",
    ),
    Limit(
        # half of the play lies on either side
        id="play",
        name="backlash",
        passes=jaw(backlash="2 deg"),
        fails=jaw(backlash="2.1 deg"),
        says="the play of `jaw` lets it stand 1.05 deg to either side of its angle; 1 deg "
        "is hardly seen",
        severity="advice",
        asked=1.05,
        limit=1,
        at="2.1 deg",
    ),
    Limit(
        # a travel that ends where the points begin or end has nothing left
        id="travel-all-beyond",
        name="travel-outside-calibration",
        passes=jaw(travel="0 deg to 90 deg"),
        fails=jaw(travel="90 deg to 95 deg"),
        says="the travel of `jaw` ends at 95 deg, beyond its last calibration point at 90 deg",
        asked=95,
        limit=90,
        help="measure points on both sides of the travel",
    ),
    Limit(
        id="travel-nearly-all-beyond",
        name="travel-outside-calibration",
        passes=jaw(travel="0 deg to 90 deg"),
        fails=jaw(travel="89 deg to 95 deg"),
        says="the travel of `jaw` ends at 95 deg, beyond its last calibration point at 90 deg",
        asked=95,
        limit=90,
        fix="90 deg",
    ),
    Limit(
        id="travel-all-below",
        name="travel-outside-calibration",
        passes=jaw(travel="0 deg to 90 deg"),
        fails=jaw(travel="-10 deg to 0 deg"),
        says="the travel of `jaw` ends at -10 deg, below its first calibration point at 0 deg",
        asked=-10,
        limit=0,
        help="measure points on both sides of the travel",
    ),
    Limit(
        id="travel-nearly-all-below",
        name="travel-outside-calibration",
        passes=jaw(travel="0 deg to 90 deg"),
        fails=jaw(travel="-10 deg to 1 deg"),
        says="the travel of `jaw` ends at -10 deg, below its first calibration point at 0 deg",
        asked=-10,
        limit=0,
        fix="0 deg",
        at="-10 deg",
    ),
)


@each(LIMITS + ALONG_A_LINE)
def test_a_servo_goes_just_so_far(limit: Limit) -> None:
    assert_holds(limit)


def test_points_that_run_both_ways_are_asked_nothing_else() -> None:
    """No pulse belongs to an angle then, inside the range or out of it."""
    text = jaw(pulse="450 us at 0 deg, 2100 us at 45 deg, 900 us at 90 deg")
    found = {one.name for one in findings(text) if one.severity == "error"}
    assert found == {"calibration-order"}


def test_a_range_is_shown_to_the_microsecond() -> None:
    (one,) = findings(jaw(limits="1000.4 us to 2000.4 us"), "pulse-outside-range")
    assert one.message.endswith("and it takes 1000 us to 2000 us")
    assert one.label == "900 us here, the limit is 1000 us"


def test_play_is_no_question_where_the_travel_is_wrong() -> None:
    assert findings(jaw(backlash="5 deg", travel="0 deg to 95 deg"), "backlash") == []
    assert len(findings(jaw(backlash="5 deg", travel="0 deg to 85 deg"), "backlash")) == 1


def test_a_travel_that_is_wrong_at_both_ends_is_told_of_both() -> None:
    found = findings(jaw(travel="-5 deg to 95 deg"), "travel-outside-calibration")
    assert [(one.asked, one.limit) for one in found] == [(-5, 0), (95, 90)]
    found = findings(jaw(limits="1000 us to 1600 us"), "pulse-outside-range")
    assert [(one.asked, one.limit) for one in found] == [(900, 1000), (1700, 1600)]


def test_a_pulse_range_that_no_point_reaches_has_no_angle_to_suggest() -> None:
    """900 to 2100 us are calibrated, and the servo is stated to take less or more than that."""
    for limits, limit in (("500 us to 800 us", 800), ("2200 us to 2400 us", 2200)):
        found = findings(jaw(limits=limits), "pulse-outside-range")
        assert [one.fix for one in found] == [None, None]
        assert {one.limit for one in found} == {limit}
        assert {one.help for one in found} == {"state the range that the servo's data sheet gives"}
