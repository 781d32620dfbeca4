"""Drawing back, going too far, settling and breathing: plain moves that share a time."""

from __future__ import annotations

from math import exp, pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.meaning.swing import ANTICIPATION, OVERSHOOT, breaths, least_ms, pieces
from seqlang.text.source import Source
from sim.model import Move, Show
from sim.score.tree import acts, duration_ms

RIG = """
supply pack
    source adapter 6 V, 10 A
board body: atmega328p, address 1
    feed pack
servo jaw: body pin PB1
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 20 g at 50 mm
servo fin: body pin PB2
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
lamp eye: body pin PD6
safe pose rest
    jaw 0 deg, fin 0 deg, eye off
pose up
    jaw 50 deg, fin 40 deg, eye 80 %
"""
START = "cue a\n    jaw and fin to 20 deg in 1 s\n"
TAIL = "remote\n    button 1: go a\n    stop button 2\n"

shares = st.floats(0.01, 0.5)
angles = st.integers(-6000, 6000).map(lambda steps: steps / 100)


def loaded(line: str, start: str = START) -> Show:
    found = load_text(Source("x.cues", f"{RIG}{start}    {line}\n{TAIL}"))
    assert [one.message for one in found.findings] == []
    assert found.show is not None
    return found.show


def moves(show: Show, name: str = "jaw") -> list[tuple[float, int]]:
    """Targets and durations of a part's moves, without the one that brings it to its start."""
    (cue,) = show.score.cues
    own = [a for a in acts(cue.body) if isinstance(a, Move) and a.output == name]
    return [(move.angle_deg, move.duration_ms) for move in own[1:]]


# -- the numbers ----------------------------------------------------------------------------------


@given(angles, angles, st.integers(400, 20_000), shares, shares)
def test_the_moves_share_the_time_and_reach_the_same_peak_acceleration(
    start: float, target: float, duration: int, back: float, beyond: float
) -> None:
    if abs(target - start) < 5.0:
        return
    duration = max(duration, least_ms(start, target, back, beyond))
    made = pieces(start, target, duration, back, beyond)
    assert sum(one.duration_ms for one in made) == duration
    assert made[-1].to_deg == target
    froms = [start, *(one.to_deg for one in made[:-1])]
    hard = [abs(one.to_deg - at) / one.duration_ms**2 for at, one in zip(froms, made, strict=True)]
    # a duration is rounded to 1 ms, and the middle one takes what is left of the others
    slack = 5.0 / min(one.duration_ms for one in made) + 0.011 / min(back, beyond) / 5.0
    assert max(hard) <= min(hard) * (1.0 + slack) ** 2


@given(angles, angles, shares, shares)
def test_it_draws_back_by_its_share_and_goes_too_far_by_the_other(
    start: float, target: float, back: float, beyond: float
) -> None:
    if start == target:
        return
    made = pieces(start, target, 60_000, back, beyond)
    assert made[0].to_deg == pytest.approx(start - back * (target - start), abs=0.0051)
    assert made[1].to_deg == pytest.approx(target + beyond * (target - start), abs=0.0051)


def test_a_part_that_is_there_already_stays() -> None:
    assert pieces(30.0, 30.0, 900, 0.1, 0.05) == ((30.0, 900),)


@given(
    st.sampled_from([0.0, 0.01, -0.02, 0.05, 1.0, -40.0]),
    st.sampled_from([0.0, 0.00001, 0.001, 0.05, 0.5]),
    st.sampled_from([0.0, 0.00001, 0.001, 0.1, 0.5]),
)
def test_what_is_less_than_a_step_of_an_angle_is_left_out(
    way: float, back: float, beyond: float
) -> None:
    least = least_ms(20.0, 20.0 + way, back, beyond)
    made = pieces(20.0, 20.0 + way, least, back, beyond)
    assert sum(one.duration_ms for one in made) == least
    assert made[-1].to_deg == pytest.approx(20.0 + way)
    froms = [20.0, *(one.to_deg for one in made[:-1])]
    for at, one in zip(froms, made, strict=True):
        assert abs(one.to_deg - at) > 0.005 or len(made) == 1
    if len(made) > 1:
        with pytest.raises(ValueError, match="shorter than a frame"):
            pieces(20.0, 20.0 + way, least - 1, back, beyond)


@pytest.mark.parametrize(
    ("line", "targets"),
    [
        ("jaw to 30 deg in 1 s, overshoot 0.01 %", [30.0]),
        ("jaw to 20.01 deg in 1 s, anticipation, overshoot", [20.01]),
        ("jaw to 20.08 deg in 1 s, anticipation, overshoot", [19.99, 20.08]),
    ],
)
def test_a_swing_that_nobody_sees_takes_no_time(line: str, targets: list[float]) -> None:
    assert [to for to, _ in moves(loaded(line))] == targets


def test_the_usual_shares_are_those_of_their_sources() -> None:
    """Overshoot: second order, damping 0.69 (Ogata, Modern Control Engineering: the formula).
    Drawing back: the dip of the back ease of computer animation (constant from memory)."""
    damping = 0.69
    assert pytest.approx(OVERSHOOT, abs=0.001) == exp(-pi * damping / sqrt(1 - damping**2))
    s = 1.70158
    assert pytest.approx(ANTICIPATION, abs=0.001) == 4 * s**3 / (27 * (s + 1) ** 2)


def test_breaths_fill_a_hold_and_are_about_as_long_as_asked() -> None:
    """At rest a person breathes 12 to 20 times a minute (teaching texts of physiology)."""
    for hold in (2000, 4000, 9000, 60_000):
        count, into, out = breaths(hold, 4000)
        assert 0 <= hold - count * (into + out) < count
        assert out == pytest.approx(2 * into, abs=2)
    assert breaths(60_000, 4000)[0] == 15


# -- the text -------------------------------------------------------------------------------------


def test_a_strike_draws_back_goes_too_far_and_settles_in_the_written_time() -> None:
    show = loaded("jaw to 50 deg in 900 ms, anticipation, overshoot")
    assert [to for to, _ in moves(show)] == [17.0, 51.5, 50.0]
    assert sum(ms for _, ms in moves(show)) == 900
    assert duration_ms(show.score.cues[0].body) == 1900


def test_shares_are_written_behind_and_a_law_before() -> None:
    show = loaded("jaw to 50 deg in 900 ms, cycloidal, overshoot 20 %")
    assert [to for to, _ in moves(show)] == [56.0, 50.0]
    last = [a for a in acts(show.score.cues[0].body) if isinstance(a, Move)][-1]
    assert last.law.name == "cycloidal"


def test_a_pose_swings_and_its_lights_fade() -> None:
    show = loaded("pose up in 1 s, overshoot 10 %")
    assert [to for to, _ in moves(show)] == [53.0, 50.0]
    assert [to for to, _ in moves(show, "fin")] == [42.0, 40.0]


def test_a_first_move_may_go_too_far_but_not_draw_back() -> None:
    once = loaded("jaw to 50 deg in 900 ms, overshoot", start="cue a\n    hold 20 ms\n")
    own = [a.angle_deg for a in acts(once.score.cues[0].body) if isinstance(a, Move)]
    assert own == [52.5, 50.0]  # from the safe pose, which is the farthest


def test_breathing_goes_on_round_the_pose_as_long_as_the_hold() -> None:
    show = loaded("hold 8 s, jaw breathing 2 deg every 4 s")
    assert [to for to, _ in moves(show)] == [22.0, 20.0]
    assert duration_ms(show.score.cues[0].body) == 9000
    down = loaded("hold 5 s, jaw and fin breathing -1.5 deg")
    assert [to for to, _ in moves(down)] == [18.5, 20.0]
    assert [to for to, _ in moves(down, "fin")] == [18.5, 20.0]


@pytest.mark.parametrize(
    ("line", "passes"),
    [
        ("jaw to 58 deg in 900 ms, overshoot 10 %", "overshoot 5.2 %"),
        ("jaw to 58 deg in 900 ms, overshoot 5.2 %", None),
        ("jaw to 10 deg in 900 ms, overshoot 50 %", None),
        ("jaw to 30 deg in 900 ms, overshoot 60 %", "50 %"),
        ("jaw to 50 deg in 30 ms, anticipation, overshoot", "in 141 ms"),
        ("hold 8 s, jaw breathing 50 deg", "40 deg"),
        ("hold 8 s, jaw breathing 40 deg", None),
        ("hold 50 ms, jaw breathing 2 deg", "60 ms"),
        ("hold 60 ms, jaw breathing 2 deg", None),
        ("hold 24 h, jaw breathing 2 deg every 1310 ms", "1320 ms"),
        ("hold 24 h, jaw breathing 2 deg every 20 h", "65000 ms"),
        ("hold 96 s, jaw breathing 2 deg every 65 s", None),
        ("hold 2 s, jaw breathing 2 deg every 10 s", "2000 ms"),
        ("hold 2 s, jaw breathing 2 deg every 4001 ms", "2000 ms"),
        ("hold 2 s, jaw breathing 2 deg every 4 s", None),
        ("hold 1 s, jaw breathing 2 deg", None),
    ],
)
def test_what_leaves_the_travel_or_the_time_is_an_error_and_the_fix_passes(
    line: str, passes: str | None
) -> None:
    text = f"{RIG}{START}    {line}\n{TAIL}"
    found = load_text(Source("x.cues", text)).findings
    if passes is None:
        assert found == ()
        return
    (one,) = found
    assert one.name == "number-out-of-range"
    assert one.fix is not None
    assert one.fix.text == passes
    edited = text[: one.fix.span.start] + one.fix.text + text[one.fix.span.end :]
    assert load_text(Source("x.cues", edited)).findings == ()


@pytest.mark.parametrize(
    "lines",
    [
        "jaw to 50 deg at 60 deg/s, overshoot",
        "jaw to 50 deg in 900 ms, overshoot, overshoot 8 %",
        "hold 8 s, eye breathing 2 deg",
    ],
)
def test_what_makes_no_sense_is_an_error(lines: str) -> None:
    (one,) = load_text(Source("x.cues", f"{RIG}{START}    {lines}\n{TAIL}")).findings
    assert one.name in ("wrong-kind", "duplicate-line")


def test_a_swing_that_is_too_hard_for_its_servo_is_found() -> None:
    text = f"{RIG}{START}    jaw to 50 deg in 240 ms, anticipation, overshoot\n{TAIL}"
    found = check(load_text(Source("x.cues", text))).findings
    assert {one.name for one in found if one.severity == "error"} & {"servo-speed", "servo-torque"}


def test_both_sides_of_a_mirrored_row_swing_breathe_and_let_go() -> None:
    text = """
supply pack
    source adapter 6 V, 20 A
mirror left, right
    board wing: atmega328p, address (left: 1, right: 2)
        feed pack, 300 mm of 18 AWG
    row of 2
        servo feather: wing pin (PB1, PB2)
            pulse 900 us at 0 deg, 2100 us at 90 deg
            travel 0 deg to 70 deg
            rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
            load rod 16 g, 90 mm
cue spread
    feather to 20 deg in 1 s
    feather to 50 deg in 900 ms, anticipation, overshoot 8 %
    hold 4 s, feather breathing 2 deg
    when let go
        feather to 5 deg in 600 ms
remote
    button 1: go spread
    stop button 2
"""
    found = load_text(Source("x.cues", text))
    assert found.findings == ()
    assert found.show is not None
    main, part = found.show.score.cues
    assert (main.let_go, part.name) == ("spread let go", "spread let go")
    for side in ("left", "right"):
        for n in (1, 2):
            name = f"{side}_feather_{n}"
            ways = [a.angle_deg for a in acts(main.body) if getattr(a, "output", "") == name]
            assert ways == [20.0, 17.0, 52.4, 50.0, 52.0, 50.0]
            assert [a.angle_deg for a in acts(part.body) if a.output == name] == [5.0]
