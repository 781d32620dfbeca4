"""What a servo stands, alone and behind gears, from both sides.

The servo is rated 0.15 s/60deg and 10 kgf.cm: 400 deg/s (reference: unit table) and 0.980665 N.m
(NIST SP 811, B.8). A fifth is kept in hand. Minimum jerk has Cv = 15/8 (Flash and Hogan 1985) and
Ca = 10/sqrt(3) (recomputed from the polynomial). 10 kgf.cm is 1 kg at 10 cm, so weights on a lever
of 100 mm can be read off: a third of the stall torque holds 333.3 g.
"""

from __future__ import annotations

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import LAMP, REMOTE, show


def quick(duration_ms: int, **jaw: str) -> str:
    """60 deg with nothing to carry: at most 1.875 * 60 / 320 = 351.6 ms."""
    body = f"jaw to 60 deg in {duration_ms} ms\njaw to 0 deg in 2 s"
    return show(jaw={"load": None, **jaw}, cues={"snap": body}, supply=None)


def held(grams: int, **jaw: str) -> str:
    """A weight on a lever of 100 mm that the show leaves level."""
    return show(
        jaw={"load": f"{grams} g at 100 mm", "level": "at 0 deg", **jaw},
        cues={"snap": "jaw to 40 deg in 4 s\njaw to 0 deg in 4 s"},
        supply=None,
    )


def standing(grams: int, **jaw: str) -> str:
    """A weight on a level lever of 100 mm that no cue moves: 0.8 of the stall torque hold 800 g."""
    return show(
        jaw={"load": f"{grams} g at 100 mm", "level": "at 0 deg", **jaw},
        rig="switch fan: body pin PD4\n",
        cues={"snap": "fan on\nhold 1 s\nfan off"},
        supply=None,
    )


def stands(id: str, grams: int, more: int, **jaw: str) -> Limit:
    """`more`: on that lever, what a gear of 1 would have to hold."""
    return Limit(
        id=f"standing{id}",
        name="servo-torque",
        passes=standing(grams, **jaw),
        fails=standing(grams * more // 800, **jaw),
        says=f"`jaw` must hold 0 deg with {more * 0.000980665:.3f} N.m, and can give 0.785 N.m",
        asked=more * 0.000980665,
        limit=0.8 * 0.980665,
        label="no cue moves it, and it must stand",
        help="take a lighter part, a counterweight spring, a stronger servo or a higher gear ratio",
        at="jaw",
    )


def jump(duration_ms: int, **jaw: str) -> str:
    """Inertia 0.003 kg m2: 0.196133 N.m in 20 ms take 1.3076 rad/s, 40 deg in 533.9 ms."""
    return show(
        jaw={"load": "300 g at 100 mm", "level": "at -50 deg", **jaw},
        cues={"snap": f"jaw to 40 deg in {duration_ms} ms, uniform\njaw to 0 deg in 3 s"},
        supply=None,
    )


def lasting(body: str, more: str = "") -> str:
    return show(rig=LAMP, cues={"snap": body}, remote=REMOTE + more)


def too_fast(asked: str, left: str = "320") -> str:
    return f"`jaw` must turn at {asked} deg/s, and can do {left} deg/s"


LIMITS = (
    Limit(
        id="speed",
        name="servo-speed",
        passes=quick(352),
        fails=quick(351),
        says=too_fast("321"),
        asked=1.875 * 60 / 0.351,
        limit=320,
        help="`352 ms` is the shortest duration that passes",
        fix="352 ms",
        at="351 ms",
    ),
    Limit(
        # the least time that can be written is no cut: 60 deg in it are 60,000 deg/s in the mean
        id="speed-in-a-millisecond",
        name="servo-speed",
        passes=quick(352),
        fails=quick(1),
        says=too_fast("112500"),
        asked=1.875 * 60 / 0.001,
        limit=320,
        help="`352 ms` is the shortest duration that passes",
        fix="352 ms",
        at="1 ms",
    ),
    Limit(
        id="speed-geared-down",
        name="servo-speed",
        passes=quick(704, gear="2"),
        fails=quick(702, gear="2"),
        says=too_fast("321"),
        asked=2 * 1.875 * 60 / 0.702,
        limit=320,
        fix="704 ms",
    ),
    Limit(
        id="speed-geared-the-other-way-round",
        name="servo-speed",
        passes=quick(704, gear="-2"),
        fails=quick(702, gear="-2"),
        says=too_fast("321"),
        asked=2 * 1.875 * 60 / 0.702,
        limit=320,
        fix="704 ms",
    ),
    Limit(
        id="speed-geared-up",
        name="servo-speed",
        passes=quick(176, gear="0.5"),
        fails=quick(175, gear="0.5"),
        says=too_fast("321"),
        asked=0.5 * 1.875 * 60 / 0.175,
        limit=320,
        fix="176 ms",
    ),
    Limit(
        id="acceleration",
        name="servo-acceleration",
        passes=quick(589, acceleration="1000 deg/s2"),
        fails=quick(588, acceleration="1000 deg/s2"),
        says="`jaw` would accelerate at 1002 deg/s2, and its limit is 1000 deg/s2",
        asked=10 / 3**0.5 * 60 / 0.588**2,
        limit=1000,
        help="`589 ms` is the shortest duration that passes",
        fix="589 ms",
        at="588 ms",
    ),
    Limit(
        # the limit is the part's, whatever the gears
        id="acceleration-geared-up",
        name="servo-acceleration",
        passes=quick(589, acceleration="1000 deg/s2", gear="0.5"),
        fails=quick(588, acceleration="1000 deg/s2", gear="0.5"),
        says="`jaw` would accelerate at 1002 deg/s2, and its limit is 1000 deg/s2",
        asked=10 / 3**0.5 * 60 / 0.588**2,
        limit=1000,
        fix="589 ms",
    ),
    stands("", 800, 801),
    # what stands has no speed and no acceleration, however little of either the servo could bear
    stands("-on-a-slow-servo", 800, 801, rating="15 s/60deg, 10 kgf.cm, 2 A at 6.0 V"),
    stands("-with-a-heavy-rotor", 800, 801, rotor="1000000 g.cm2"),
    stands("-geared-down", 1600, 801, gear="2"),
    stands("-geared-up-and-round", 400, 802, gear="-0.5"),
    Limit(
        id="heat",
        name="servo-heat",
        passes=held(333),
        fails=held(334),
        says="`jaw` is loaded with 33.4 % of its stall torque holding 0 deg, and can take about "
        "33.3 % for long",
        severity="warning",
        asked=0.334,
        limit=1 / 3,
        help="let it rest where less weight pulls, add a spring against the weight, or take a "
        "servo of at least 10.1 kgf.cm at 6 V",
        at="jaw",
    ),
    Limit(
        id="heat-geared-down",
        name="servo-heat",
        passes=held(666, gear="2"),
        fails=held(668, gear="2"),
        says="`jaw` is loaded with 33.4 % of its stall torque holding 0 deg, and can take about "
        "33.3 % for long",
        severity="warning",
        asked=0.334,
        limit=1 / 3,
    ),
    Limit(
        id="heat-geared-up",
        name="servo-heat",
        passes=held(166, gear="0.5"),
        fails=held(167, gear="0.5"),
        says="`jaw` is loaded with 33.4 % of its stall torque holding 0 deg, and can take about "
        "33.3 % for long",
        severity="warning",
        asked=0.334,
        limit=1 / 3,
    ),
    Limit(
        id="jump",
        name="speed-jump",
        passes=jump(534),
        fails=jump(533),
        says="`jaw` starts with a jump of speed by the law `uniform`: the jump takes 20.03 % "
        "of the stall torque, and more than 20 % is heavy",
        severity="advice",
        asked=100 * 0.003 * 40 / 57.29578 / 0.533 / 0.020 / 0.980665,
        limit=20,
        fix="3-4-5",
        at="uniform",
    ),
    Limit(
        id="longest-move",
        name="duration-too-long",
        passes=lasting("jaw to 40 deg in 65 s\njaw to 0 deg in 1 s"),
        fails=lasting("jaw to 40 deg in 65.001 s\njaw to 0 deg in 1 s"),
        says="a move of 65.001 s is longer than the 65 s that a table can hold",
        asked=65.001,
        limit=65,
        help="write `65.000 s`, or split it in two",
        fix="65.000 s",
    ),
    Limit(
        id="longest-fade",
        name="duration-too-long",
        passes=lasting("lure fade to 40% in 65 s"),
        fails=lasting("lure fade to 40% in 66 s"),
        says="a fade of 66 s is longer than the 65 s that a table can hold",
        asked=66,
        limit=65,
        fix="65 s",
        at="66 s",
    ),
    Limit(
        id="slowest-move",
        name="duration-too-long",
        passes=lasting("jaw to 6 deg at 0.2 deg/s\njaw to 0 deg in 1 s"),
        fails=lasting("jaw to 7 deg at 0.2 deg/s\njaw to 0 deg in 1 s"),
        says="a move of 65.6 s is longer than the 65 s that a table can hold",
        asked=1.875 * 7 / 0.2,
        limit=65,
        fix="in 65000 ms",
        at="at 0.2 deg/s",
    ),
    Limit(
        id="longest-stop",
        name="duration-too-long",
        passes=lasting("jaw to 40 deg in 1 s", "\nstop in 5100 ms"),
        fails=lasting("jaw to 40 deg in 1 s", "\nstop in 5120 ms"),
        says="a stop of 5.12 s is longer than the 5.1 s that a table can hold",
        asked=5.12,
        limit=5.1,
        help="write `5100 ms`",
        fix="5100 ms",
    ),
    Limit(
        id="longest-silence",
        name="duration-too-long",
        passes=lasting("jaw to 40 deg in 1 s", "\nlost 25.5 s: go snap"),
        fails=lasting("jaw to 40 deg in 1 s", "\nlost 25.6 s: go snap"),
        says="a silence of 25.6 s is longer than the 25.5 s that a table can hold",
        asked=25.6,
        limit=25.5,
        help="write `25.5 s`",
        fix="25.5 s",
    ),
)


@each(LIMITS)
def test_a_servo_stands_just_so_much(limit: Limit) -> None:
    assert_holds(limit)
