"""Operating points of moves against the servo's torque-speed line.

For every instant of a move: the part's angle, speed and acceleration from its law; the torque on
its axis in the worst posture of the wearer (`sim.rig.load`); horn torque and speed through the
drive (`sim.rig.drive`); the voltage that arrives (`sim.rig.supply`); and how far out on the
servo's line that is (`sim.rig.servo.share`). A move passes if that share stays within 1 - margin.

At every instant the share is greatest at one end of the interval of torques that the postures span
(it falls, then rises with the torque), so the worst posture is exact. Over time, the peak is taken
on a grid that holds both sides of every jump of the law and is then closed in twice, to about
1e-6 of the move.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array
from sim.model import Law, Rig, Servo, Wearer
from sim.rig import drive, load, servo, supply
from sim.rig.disturbance import push_nm
from sim.rig.spin import turning
from sim.rig.supply import FallingVoltage
from sim.rulebook import FRAME_MS
from sim.score.laws import Shape, at_share, ramp_shares, shape

TOLERANCE: Final = 1e-6
"""A share may exceed 1 - margin by this much: the resolution of the peak search."""


Feed: TypeAlias = "ArrayLike | FallingVoltage | None"
"""What arrives at a servo's board: a voltage (V), one that falls with the servo's own torque, or
None: as if the servo alone moved (`sim.rig.supply.moving_v`)."""


@dataclass(frozen=True, slots=True)
class OperatingPoints:
    """Operating points of a horn, arrays of one shape.

    `torque_nm` and `speed_deg_s` are signed and of the horn, in the posture with the greater share;
    `share` as in `sim.rig.servo.share`; `allowed_nm` is the torque the line leaves at that speed,
    less the margin; `voltage_v` is what arrives; `greatest_nm` is the greatest torque, without
    sign, of any posture, which may brake and so have the lesser share.
    """

    torque_nm: Array
    speed_deg_s: Array
    share: Array
    allowed_nm: Array
    voltage_v: Array
    greatest_nm: Array


@dataclass(frozen=True, slots=True)
class Assessment:
    """How hard each of several moves works a servo; arrays of one value per move.

    At the worst instant (the greatest share): `at_ms` into the move, `angle_deg` of the part, horn
    torque (signed) and speed, torque allowed there, voltage. Over the move, on the grid, so within
    about 1 %: greatest horn torque and speed (magnitudes), the part's greatest acceleration, RMS
    horn torque, each of the posture that asks for most. `passes`: the share
    keeps the margin and the acceleration keeps the servo's stated one.
    """

    peak_share: Array
    at_ms: Array
    angle_deg: Array
    torque_nm: Array
    speed_deg_s: Array
    allowed_nm: Array
    voltage_v: Array
    peak_torque_nm: Array
    peak_speed_deg_s: Array
    peak_accel_deg_s2: Array
    rms_torque_nm: Array
    passes: NDArray[np.bool_]


def operate(
    rig: Rig,
    one: Servo,
    angle_deg: ArrayLike,
    speed_deg_s: ArrayLike,
    accel_deg_s2: ArrayLike,
    voltage_v: Feed = None,
) -> OperatingPoints:
    """Operating points where the part stands, moves and accelerates so (deg, deg/s, deg/s2).

    Arrays of any one shape. `voltage_v`: see `Feed`. A pose out of the drive's reach has infinite
    share and torque.
    """
    low, high, horn_speed = asked_of_horn(one, angle_deg, speed_deg_s, accel_deg_s2, rig.wearer)
    greatest = np.maximum(np.abs(low), np.abs(high))
    finite = np.nan_to_num(greatest, nan=0.0, posinf=1e9)
    if voltage_v is None:
        volts = supply.moving_v(rig, one, finite)
    elif isinstance(voltage_v, FallingVoltage):
        volts = voltage_v.at(finite)
    else:
        volts = np.broadcast_to(np.asarray(voltage_v, dtype=np.float64), greatest.shape)
    line = servo.line(one, volts)
    share_low, share_high = (servo.share(line, end, horn_speed) for end in (low, high))
    share = np.maximum(share_low, share_high)
    lost = np.isnan(share)
    return OperatingPoints(
        torque_nm=np.where(lost, np.inf, np.where(share_low > share_high, low, high)),
        speed_deg_s=np.where(lost, 0.0, horn_speed),
        share=np.where(lost, np.inf, share),
        allowed_nm=np.where(
            lost, 0.0, servo.allowed_torque_nm(line, horn_speed, rig.wearer.margin)
        ),
        voltage_v=np.asarray(volts),
        greatest_nm=np.where(lost, np.inf, greatest),
    )


def asked_of_horn(
    one: Servo,
    angle_deg: ArrayLike,
    speed_deg_s: ArrayLike,
    accel_deg_s2: ArrayLike,
    wearer: Wearer,
) -> tuple[Array, Array, Array]:
    """Least and greatest horn torque (N.m) over all postures, and the horn's speed (deg/s).

    For the part's angle, speed and acceleration, arrays of one shape.
    """
    angle, speed, accel = turning(one.load, angle_deg, speed_deg_s, accel_deg_s2)
    push = push_nm(one.load, wearer)
    ends = load.needed_nm(one.load, angle, speed, accel, wearer.tilt_deg, push)
    at = drive.horn(one, angle)
    low, high = (
        drive.horn_torque_nm(at, one.rotor_kg_m2, end, speed, accel, one.drive_efficiency)
        for end in ends
    )
    return low, high, np.asarray(at.ratio * speed)


def passage(
    from_deg: float, to_deg: float, duration_ms: float, law: Law
) -> tuple[Array, Array, Array, Array]:
    """Times (ms), angles, speeds and accelerations of a move at the instants that matter.

    Both sides of every jump of the law and an even spread between.
    """
    grid, shaped = _grid(law)
    stroke, seconds = to_deg - from_deg, duration_ms / 1000.0
    accel = stroke * shaped.a / seconds**2
    if law.name == "uniform":
        accel = accel + stroke / seconds / (FRAME_MS / 1000.0) * _jump(grid)
    return grid * duration_ms, from_deg + stroke * shaped.s, stroke * shaped.v / seconds, accel


def assess(
    rig: Rig,
    one: Servo,
    from_deg: ArrayLike,
    to_deg: ArrayLike,
    duration_ms: ArrayLike,
    law: Law | Sequence[Law],
    voltage_v: Feed = None,
) -> Assessment:
    """Assess many moves of one servo at once.

    `from_deg`, `to_deg`, `duration_ms` and `voltage_v` are numbers or arrays of one length, `law`
    one law or one for each move. `voltage_v`: see `Feed`. Durations must be over 0.
    """
    falling = voltage_v if isinstance(voltage_v, FallingVoltage) else None
    volts = np.nan if voltage_v is None or isinstance(voltage_v, FallingVoltage) else voltage_v
    columns = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (from_deg, to_deg)),
        *(np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (duration_ms, volts)),
    )
    count = columns[0].size if isinstance(law, Law) else len(law)
    start, end, lasts, fed = (np.broadcast_to(c, (count,)) for c in columns)
    moves = _Moves(start, end, lasts, fed, falling)
    laws = [law] * count if isinstance(law, Law) else list(law)
    groups: dict[Law, list[int]] = {}
    for index, each in enumerate(laws):
        groups.setdefault(each, []).append(index)
    rows = np.empty((11, count))
    for each, indices in groups.items():
        chosen = np.array(indices)
        rows[:, chosen] = _assess_law(rig, one, moves.at(chosen), each)
    limit = np.inf if one.accel_deg_s2 is None else one.accel_deg_s2 * (1.0 + TOLERANCE)
    passes = (rows[0] <= 1.0 - rig.wearer.margin + TOLERANCE) & (rows[9] <= limit)
    return Assessment(
        *(rows[0], rows[1], rows[2], rows[3], rows[4], rows[5]),
        *(rows[6], rows[7], rows[8], rows[9], rows[10], passes),
    )


@dataclass(frozen=True, slots=True)
class _Moves:
    from_deg: Array
    to_deg: Array
    duration_ms: Array
    voltage_v: Array
    """nan: as if the servo alone moved, or as it falls."""
    falling: FallingVoltage | None

    def at(self, chosen: NDArray[np.intp]) -> _Moves:
        return _Moves(
            self.from_deg[chosen],
            self.to_deg[chosen],
            self.duration_ms[chosen],
            self.voltage_v[chosen],
            self.falling,
        )


def _assess_law(rig: Rig, one: Servo, moves: _Moves, law: Law) -> Array:
    """The eleven rows of numbers of an `Assessment`, for moves of one law."""
    grid, shaped = _grid(law)
    points = _at(rig, one, moves, law, grid[None, :], shaped)
    worst = np.argmax(points.share, axis=1)
    last = grid.size - 1
    left, right = grid[np.maximum(worst - 1, 0)], grid[np.minimum(worst + 1, last)]
    best = _pick(points, worst, grid[worst])
    inner = np.linspace(0.0, 1.0, 17)
    for _ in range(2):
        x = left[:, None] + (right - left)[:, None] * inner
        finer = _at(rig, one, moves, law, x, shape(law, x))
        peak = np.argmax(finer.share, axis=1)
        row = np.arange(x.shape[0])
        best = np.where(finer.share[row, peak] > best[1], _pick(finer, peak, x[row, peak]), best)
        left, right = x[row, np.maximum(peak - 1, 0)], x[row, np.minimum(peak + 1, 16)]
    x_worst, share, torque, speed, allowed, volts = best
    stroke = moves.to_deg - moves.from_deg
    accel = np.abs(stroke) * np.abs(shaped.a).max() / (moves.duration_ms / 1000.0) ** 2
    squares = points.greatest_nm**2
    rms = np.sqrt(np.sum((squares[:, 1:] + squares[:, :-1]) / 2.0 * np.diff(grid), axis=1))
    return np.stack(
        [
            share,
            x_worst * moves.duration_ms,
            moves.from_deg + stroke * shape(law, x_worst).s,
            torque,
            speed,
            allowed,
            volts,
            np.maximum(points.greatest_nm.max(axis=1), np.abs(torque)),
            np.maximum(np.abs(points.speed_deg_s).max(axis=1), np.abs(speed)),
            accel,
            rms,
        ]
    )


def _at(rig: Rig, one: Servo, moves: _Moves, law: Law, x: Array, shaped: Shape) -> OperatingPoints:
    """Operating points of all moves at the shares `x` of their durations; shape (moves, points)."""
    seconds = moves.duration_ms[:, None] / 1000.0
    stroke = (moves.to_deg - moves.from_deg)[:, None]
    accel = stroke * shaped.a / seconds**2
    if law.name == "uniform":
        accel = accel + stroke / seconds / (FRAME_MS / 1000.0) * _jump(x)
    volts: Feed = moves.falling
    if volts is None and not np.isnan(moves.voltage_v).any():
        volts = moves.voltage_v[:, None]
    return operate(
        rig,
        one,
        moves.from_deg[:, None] + stroke * shaped.s,
        stroke * shaped.v / seconds,
        accel,
        volts,
    )


def _jump(x: Array) -> Array:
    """Where `uniform` jumps into and out of its speed.

    The acceleration is infinite on paper; commands come once a frame, so the servo has one frame
    for it (own assumption).
    """
    return np.where(x <= 2.0 * _NEAR, 1.0, 0.0) - np.where(x >= 1.0 - 2.0 * _NEAR, 1.0, 0.0)


_NEAR: Final = 1e-9
"""Share of the duration by which both sides of a jump are told apart."""


@lru_cache(maxsize=256)
def _grid(law: Law) -> tuple[Array, Shape]:
    """Shares of the duration to look at, both sides of each break, and the law there."""
    half = {0.0}
    if law.name in ("parabolic", "trapezoid", "double-S"):
        alpha, beta = ramp_shares(law)
        half |= {alpha, alpha * beta, alpha * (1.0 - beta)}
    elif law.name in ("modified sine", "modified trapezoid"):
        half |= {0.125, 0.375}
    breaks = at_share(law, sorted(half | {1.0 - b for b in half} | {0.5}))
    # three times as far: beside the instants at which `uniform` takes up its speed and gives it up
    beside = [breaks + n * _NEAR for n in (-3, -1, 0, 1, 3)]
    near = np.concatenate([*beside, np.linspace(0.0, 1.0, 49)])
    grid = np.array(sorted({x for x in near.tolist() if 0.0 <= x <= 1.0}))
    return grid, shape(law, grid)


def _pick(points: OperatingPoints, column: NDArray[np.intp], x: Array) -> Array:
    row = np.arange(column.size)
    return np.stack(
        [
            x,
            points.share[row, column],
            points.torque_nm[row, column],
            points.speed_deg_s[row, column],
            points.allowed_nm[row, column],
            points.voltage_v[row, column],
        ]
    )
