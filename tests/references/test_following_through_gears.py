"""The following error shown, against a simulation of the horn alone by a general integrator.

The simulation knows only the horn, as PHYSICS.md states the model: full drive at 4 deg of the
horn's error, the lag critically damped, the torque of the straight line (stall torque when it
brakes), Newton's law with the load's inertia seen through the gear. The part follows the horn by
the ratio. (scipy's `solve_ivp`; nothing of `sim.strain.response` is used.)
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sim.arrays import Array
from sim.model import Board, CalibrationPoint, Gear, Load, PointMass, Rating, Rig, Servo
from sim.strain.response import follow

TOP, STALL, ROTOR, INERTIA = 400.0, 0.8, 3e-4, 0.05 * 0.1**2
DEAD_US, FULL_DRIVE = 6.0, 4.0
RATIOS = [1.0, 0.5, 2.0, -2.0]
"""Horn degrees for each degree of the part: straight, 1:2, 2:1, and reversed."""


def geared(ratio: float) -> Servo:
    """Upright hinge: no weight. Its points span 100 deg of the part with 1000 us."""
    return Servo(
        "fin",
        "b",
        1,
        (CalibrationPoint(-50.0, 1000.0), CalibrationPoint(50.0, 2000.0)),
        (-50.0, 50.0),
        (Rating(6.0, TOP, STALL, 2.0),),
        Load((PointMass(0.05, 0.1),), axis="upright"),
        drive=Gear(ratio),
        dead_band_us=DEAD_US,
        rotor_kg_m2=ROTOR,
    )


def by_the_horn(ratio: float, command_deg: Array) -> Array:
    """Where the part is every millisecond, by way of its horn's own degrees."""
    gain = TOP / FULL_DRIVE
    lag = 0.25 / gain
    dead = abs(ratio) * DEAD_US / 2.0 * 0.1
    inertia = ROTOR + INERTIA / ratio**2

    def slope(t: float, state: Array) -> tuple[float, float]:
        horn, speed = state
        asked = ratio * command_deg[min(int(t * 1000.0 + 1e-9), command_deg.size - 1)]
        error = asked - horn
        error = np.sign(error) * max(abs(error) - dead, 0.0)
        wanted = float(np.clip(gain * error, -TOP, TOP))
        hard = (wanted - speed) / lag
        drives = hard * speed > 0.0
        torque = STALL * max(1.0 - abs(speed) / TOP, 0.0) if drives else STALL
        most = np.degrees(torque / inertia)
        return speed, float(np.clip(hard, -most, most))

    horn = np.empty(command_deg.size)
    state = np.array([ratio * command_deg[0], 0.0])
    for n in range(command_deg.size):
        horn[n] = state[0]
        span = (n / 1000.0, (n + 1) / 1000.0 - 1e-9)
        state = solve_ivp(slope, span, state, rtol=1e-7, atol=1e-8, max_step=2.5e-4).y[:, -1]
    return horn / ratio


def ramp(speed_deg_s: float) -> Array:
    """Still for 0.1 s, then at that speed for 0.4 s, then still."""
    times = np.arange(700) / 1000.0
    return np.clip((times - 0.1) * speed_deg_s, 0.0, 0.4 * speed_deg_s) - 20.0


COMMANDS = {
    "slowly": ramp(40.0),
    "as fast as 2:1 goes": ramp(100.0),
    "step": ramp(1e6).clip(-20, 15),
}


@pytest.mark.parametrize("ratio", RATIOS)
@pytest.mark.parametrize("command", COMMANDS)
def test_the_error_shown_is_that_of_the_horn_through_its_gear(command: str, ratio: float) -> None:
    told = COMMANDS[command]
    rig = Rig(boards=(Board("b", "atmega328p", 1),))
    shown = follow(rig, [geared(ratio)], told[:, None], 6.0).angle_deg[:, 0]
    want = by_the_horn(ratio, told)
    assert np.abs(shown - want).max() < 0.01 * np.abs(told - want).max() + 0.02
    assert np.abs(told - want).max() > 0.3, "there must be an error to show"


@pytest.mark.parametrize("ratio", RATIOS)
def test_at_a_steady_speed_a_part_lags_by_its_speed_over_the_gain(ratio: float) -> None:
    """At 40 deg/s by hand 40 / (400 / 4) deg and half the dead band, whatever the gear."""
    rig = Rig(boards=(Board("b", "atmega328p", 1),))
    told = COMMANDS["slowly"]
    error = follow(rig, [geared(ratio)], told[:, None], 6.0).error_deg[:, 0]
    assert error[400] == pytest.approx(0.4 + DEAD_US / 2.0 * 0.1, abs=0.045)
