"""Servos asked for their currents together draw what each draws alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.model import Rating, Servo
from sim.rig.servo import current_a, stacked, thirstiest_line
from sim.rig.supply import Demand, solve
from tests.seqlang.rig_text import cue
from tests.sim.small_shows import show_of

amounts = st.floats(0.05, 5.0)
ONE = next(o for o in show_of().rig.outputs if isinstance(o, Servo))


def rating(volts: float, stall_nm: float, stall_a: float) -> Rating:
    return replace(ONE.ratings[0], voltage_v=volts, stall_nm=stall_nm, stall_a=stall_a)


ratings = st.one_of(
    st.builds(rating, st.floats(3.0, 8.0), amounts, amounts).map(lambda one: (one,)),
    st.tuples(
        st.builds(rating, st.floats(3.0, 5.0), amounts, amounts),
        st.builds(rating, st.floats(5.5, 8.0), amounts, amounts),
    ),
)

voltages = st.floats(-1.0, 12.0).map(lambda volts: round(volts, 6))
"""To a microvolt: what is closer to nothing overflows when it is divided by."""


@given(
    st.lists(ratings, min_size=1, max_size=4),
    st.lists(voltages, min_size=1, max_size=5),
    st.floats(-6.0, 6.0),
    st.sampled_from([0.0, 1.0]),
)
def test_a_stack_draws_what_its_servos_draw_one_by_one(
    rated: list[tuple[Rating, ...]], volts: list[float], torque: float, moving: float
) -> None:
    servos = [replace(ONE, ratings=each) for each in rated]
    shape = len(servos), len(volts)
    row = np.array(volts)
    together = stacked(servos).current_a(
        np.broadcast_to(row, shape), np.full(shape, torque), np.full(shape, moving)
    )
    alone = [current_a(thirstiest_line(one, row), torque, moving) for one in servos]
    assert together == pytest.approx(np.array(alone), rel=1e-12, abs=1e-12)


@given(st.lists(st.floats(0.0, 3.0), min_size=2, max_size=6))
def test_instants_that_are_solved_together_come_out_as_alone(torques: list[float]) -> None:
    """Also where some of them collapse the supply and some do not."""
    show = cue("hold 1 s").show
    assert show is not None
    rig = show.rig
    names = [o.name for o in rig.outputs if isinstance(o, Servo)]

    def board_v(row: list[float]) -> list[float]:
        demand = Demand(dict.fromkeys(names, np.array(row)))
        return [float(v) for v in solve(rig, rig.supplies[0], {"body": demand}).board_v["body"]]

    alone = [board_v([torque])[0] for torque in torques]
    assert board_v(torques) == pytest.approx(alone, abs=1e-6)
