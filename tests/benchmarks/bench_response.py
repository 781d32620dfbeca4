"""Following of servos against a general integrator of the same model.

16 servos over 600 s at 1 kHz by `sim.strain.response.follow`, against `scipy.integrate.solve_ivp`
(RK45, tolerances 1e-6, all 16 in one call, output at 1 kHz) of the same right-hand side. The
integrator runs over the first 6 s and is taken to go on at that pace; over those 6 s both must
agree.
"""

from __future__ import annotations

from time import perf_counter

import numpy as np
from scipy.integrate import solve_ivp

from sim.model import Board, CalibrationPoint, Law, Load, PointMass, Rating, Rig, Servo
from sim.score import laws
from sim.strain import response

SERVOS = 16
SECONDS = 600
REFERENCE_SECONDS = 6


def rig() -> Rig:
    points = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
    servos = tuple(
        Servo(
            f"s{n}",
            "b",
            n,
            points,
            (0.0, 90.0),
            (Rating(6.0, 300.0 + 10.0 * n, 0.3 + 0.05 * n, 1.5),),
            load=Load((PointMass(0.02 + 0.005 * n, 0.05),), level_deg=20.0, friction_nm=0.005),
        )
        for n in range(SERVOS)
    )
    return Rig(boards=(Board("b", "atmega328p", 1),), outputs=servos)


def commands(milliseconds: int) -> np.ndarray:
    """Moves of 0.2 to 0.9 s with rests between, each servo on its own; pulses once a frame."""
    random = np.random.default_rng(1)
    command = np.empty((milliseconds, SERVOS))
    for column in command.T:
        at, here = 0, 10.0
        while at < milliseconds:
            lasts, there, rests = random.integers(200, 900), random.uniform(0, 90), 700
            x = np.arange(1, lasts + 1) / lasts
            way = here + (there - here) * laws.position(Law("3-4-5"), x)
            column[at : at + lasts] = way[: milliseconds - at]
            column[at + lasts : at + lasts + rests] = there
            at, here = at + lasts + int(random.integers(0, rests)), there
    return response.held(command)


def reference(model: response.Follower, command: np.ndarray) -> np.ndarray:
    def slope(t: float, state: np.ndarray) -> np.ndarray:
        now = command[min(int(t * 1000.0 + 1e-9), len(command) - 1)]
        return np.concatenate(response.slopes(model, now, state[:SERVOS], state[SERVOS:]))

    times = np.arange(len(command)) / 1000.0
    start = np.concatenate([command[0], np.zeros(SERVOS)])
    solved = solve_ivp(slope, (0.0, times[-1]), start, t_eval=times, rtol=1e-6, atol=1e-6)
    return solved.y[:SERVOS].T


def run() -> list[tuple[str, float, float, str]]:
    one = rig()
    servos = [output for output in one.outputs if isinstance(output, Servo)]
    command = commands(SECONDS * 1000)
    started = perf_counter()
    ours = response.follow(one, servos, command).angle_deg
    followed_s = perf_counter() - started
    short = command[: REFERENCE_SECONDS * 1000]
    started = perf_counter()
    theirs = reference(response.follower(one, servos), short)
    integrated_s = (perf_counter() - started) * SECONDS / REFERENCE_SECONDS
    apart = float(np.abs(theirs - ours[: len(short)]).max())
    return [
        (
            "following 16 servos, 600 s: times faster than solve_ivp",
            integrated_s / followed_s,
            10.0,
            ">=",
        ),
        ("following: deg apart from solve_ivp at most", apart, 0.05, "<="),
    ]
