"""The speed that a board reckons for a part on its way is that at which its position changes.

Positions count 0.01 deg in Q15, speeds that per ms, times 1/256 ms (TABLE.md, 3.2).
"""

from __future__ import annotations

import pytest

from sim.model import MINIMUM_JERK, UNIFORM, Law
from sim.rehearsal.fixed_motion import FixedMotion, at_rest, servo_limits, start_motion
from sim.rehearsal.takeover import POSITIONS_PER_DEG
from sim.rulebook import CLOCK_PER_MS
from sim.score.fixed_laws import fixed_law

LIMITS = servo_limits(200, 800, (-6000, 6000))
PACE = 100 * POSITIONS_PER_DEG // 1000
"""100 deg/s."""


def moving_back(law: Law) -> FixedMotion:
    """A part that moves up at 100 deg/s is sent down: it brakes for 125 ms, then turns."""
    target = -30 * POSITIONS_PER_DEG
    return start_motion(LIMITS, 0, PACE, 0, target, 600 * CLOCK_PER_MS, fixed_law(law))


def slope(run: FixedMotion, time: int) -> float:
    """Positions per ms about a time, over 2 ms."""
    half = CLOCK_PER_MS
    return (run.position(time + half) - run.position(time - half)) / 2


@pytest.mark.parametrize("law", [UNIFORM, MINIMUM_JERK])
def test_a_part_that_brakes_before_it_turns_has_the_speed_of_its_brake_alone(law: Law) -> None:
    run = moving_back(law)
    assert run.start == run.brake == pytest.approx(125 * CLOCK_PER_MS, abs=CLOCK_PER_MS)
    for ms in (5, 40, 80, 115):
        speed = run.state(ms * CLOCK_PER_MS)[1]
        assert speed == pytest.approx(PACE * (1 - ms / 125), rel=0.01)
        assert speed == pytest.approx(slope(run, ms * CLOCK_PER_MS), rel=0.01, abs=PACE / 200)


@pytest.mark.parametrize("law", [UNIFORM, MINIMUM_JERK])
def test_after_its_brake_it_has_the_speed_of_its_law(law: Law) -> None:
    run = moving_back(law)
    for ms in range(140, 580, 40):
        speed = run.state(ms * CLOCK_PER_MS)[1]
        assert speed < 0
        assert speed == pytest.approx(slope(run, ms * CLOCK_PER_MS), rel=0.01, abs=PACE / 200)


def test_an_even_move_has_its_whole_speed_from_the_first_step_of_progress_on() -> None:
    """A step is the 65536th part of the duration; before it nothing has moved."""
    still = at_rest(0, 0)
    assert still.state(5) == (0, 0)
    target = 30 * POSITIONS_PER_DEG
    run = start_motion(LIMITS, 0, 0, 0, target, 4000 * CLOCK_PER_MS, fixed_law(UNIFORM))
    first = next(t for t in range(1, 64) if run.position(t) > 0)
    whole = target / 4000
    assert run.state(first)[1] == pytest.approx(whole, rel=0.001)
    assert run.state(run.end - 1)[1] == pytest.approx(whole, rel=0.001)
    assert run.state(run.end) == (target, 0)
