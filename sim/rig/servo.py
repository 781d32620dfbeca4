"""The torque-speed line of a hobby servo, at the voltage that reaches it.

A brushed motor behind a gear train: at a constant voltage the speed falls in a straight line from
the no-load speed at no torque to standstill at the stall torque, and both ends move in proportion
to the voltage (MIT, Understanding D.C. Motor Characteristics). A servo's data sheet states the two
ends at one or two voltages, gear losses included.

Current follows torque: from the idle current at rest, or the no-load current in motion (gears and
brushes rub), at no torque to the stall current at stall torque. The servo is taken to draw its
motor current from the feed; a real one switches the motor and draws less on average when it is
slow, so currents here are on the safe side.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import radians
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array

if TYPE_CHECKING:
    from sim.model import Rating, Servo


KGF_CM_NM: Final = 0.0980665
"""One kgf.cm in N.m, exact (NIST SP 811, 2008, App. B.8: kgf.m = 9.806 65 N.m)."""


@dataclass(frozen=True, slots=True)
class TorqueSpeedLine:
    """The torque-speed line at one voltage, or at an array of voltages (all fields alike).

    `speed_deg_s` is the no-load speed of the horn, `stall_nm` and `stall_a` belong to a locked
    horn, `idle_a` is drawn at rest without torque, `no_load_a` in motion without torque.
    """

    speed_deg_s: Array
    stall_nm: Array
    stall_a: Array
    idle_a: float
    no_load_a: float


NO_LOAD: Final = 0.35
"""No-load current over stall current where a sheet is silent: the most that eight sound sheets of
hobby servos have (they have 0.087 to 0.35; read)."""


def no_load_a(servo: Servo) -> float:
    """Current (A) while the servo turns without a load: the greatest stated or usual one."""
    stated = (NO_LOAD * r.stall_a if r.no_load_a is None else r.no_load_a for r in servo.ratings)
    return max((servo.idle_a, *stated))


TIME_CONSTANT_S: Final = 0.015
"""Mechanical time constant (s) of a hobby servo's motor with its gears, where none is known: small
brushed motors have 5 to 20 ms (makers' sheets, from memory)."""


def rotor_kg_m2(ratings: tuple[Rating, ...], time_constant_s: float = TIME_CONSTANT_S) -> float:
    """Inertia (kg.m2) of motor and gears, felt at the horn, by a servo's mechanical time constant.

    Without a load a motor on its line comes to speed as 1 - exp(-t / tau), tau = J w0 / Ts
    (Newton's law on the straight line). So the inertia grows with the servo's size. Of two ratings
    the one that gives more.
    """
    return max(time_constant_s * r.stall_nm / radians(r.speed_deg_s) for r in ratings)


def line(servo: Servo, voltage_v: ArrayLike) -> TorqueSpeedLine:
    """The servo's line at `voltage_v` (V; any shape), as little as it may be.

    This is for what the servo can do; for what it can do to others, see `strongest_line`.

    One rating: both ends are proportional to the voltage. Two: linear between them; outside, the
    lesser of that straight line continued and of proportion to the nearer rating, so that neither
    way of reading two data sheet points promises more than the other.
    """
    return _line(servo, voltage_v, np.minimum)


def thirstiest_line(servo: Servo, voltage_v: ArrayLike) -> TorqueSpeedLine:
    """The servo's line for what it draws: as little torque and as much current as may be.

    Outside the ratings the two readings differ; see `line` and `strongest_line`.
    """
    weak, strong = line(servo, voltage_v), strongest_line(servo, voltage_v)
    return replace(weak, stall_a=strong.stall_a)


def strongest_line(servo: Servo, voltage_v: ArrayLike) -> TorqueSpeedLine:
    """The servo's line at `voltage_v` (V; any shape), as much as it may be.

    As `line`, but outside the ratings the greater of the two readings: for pinch force, fuses and
    stall currents, where more is worse.
    """
    return _line(servo, voltage_v, np.maximum)


_Outside: TypeAlias = Callable[[Array, Array], Array]


def _line(servo: Servo, voltage_v: ArrayLike, outside: _Outside) -> TorqueSpeedLine:
    volts = np.maximum(np.asarray(voltage_v, dtype=np.float64), 0.0)
    return TorqueSpeedLine(
        _scaled(servo.ratings, [r.speed_deg_s for r in servo.ratings], volts, outside),
        _scaled(servo.ratings, [r.stall_nm for r in servo.ratings], volts, outside),
        _scaled(servo.ratings, [r.stall_a for r in servo.ratings], volts, outside),
        servo.idle_a,
        no_load_a(servo),
    )


def _scaled(
    ratings: tuple[Rating, ...], values: list[float], volts: Array, outside: _Outside
) -> Array:
    low, high = ratings[0], ratings[-1]
    below = values[0] * volts / low.voltage_v
    if high.voltage_v <= low.voltage_v:
        return below
    above = values[-1] * volts / high.voltage_v
    slope = (values[-1] - values[0]) / (high.voltage_v - low.voltage_v)
    straight = values[0] + slope * (volts - low.voltage_v)
    proportional = np.where(volts < low.voltage_v, below, above)
    inside = (volts >= low.voltage_v) & (volts <= high.voltage_v)
    return np.maximum(np.where(inside, straight, outside(straight, proportional)), 0.0)


@dataclass(frozen=True, slots=True)
class Stack:
    """Several servos as columns, one row each, to ask for the currents of all at once.

    The first two fields are the lower and the upper rating, as rows of voltage, stall torque and
    stall current; the same one twice where a servo has only one.
    """

    lower: Array
    upper: Array
    idle_a: Array
    no_load_a: Array

    def current_a(self, volts: Array, torque_nm: Array, moving: Array) -> Array:
        """`current_a` on each servo's `thirstiest_line`; arrays of a row for each servo."""
        volts = np.maximum(volts, 0.0)
        stall_nm = self._scaled(1, volts, np.minimum)
        stall_a = self._scaled(2, volts, np.maximum)
        least = self.idle_a + (self.no_load_a - self.idle_a) * moving
        of_torque = np.minimum(_ratio(np.abs(torque_nm), stall_nm), 1.0)
        return np.asarray(least + np.maximum(stall_a - least, 0.0) * of_torque)

    def _scaled(self, which: int, volts: Array, outside: _Outside) -> Array:
        low_v, high_v = self.lower[0], self.upper[0]
        low, high = self.lower[which], self.upper[which]
        below: Array = low / low_v * volts
        if np.all(high_v <= low_v):
            return below
        rise_v = np.where(high_v > low_v, high_v - low_v, np.inf)
        straight = low + (high - low) / rise_v * (volts - low_v)
        proportional = np.where(volts < low_v, below, high / high_v * volts)
        inside = (volts >= low_v) & (volts <= high_v)
        two = np.maximum(np.where(inside, straight, outside(straight, proportional)), 0.0)
        return np.where(high_v > low_v, two, below)


def stacked(servos: list[Servo]) -> Stack:
    """The servos one below the other."""

    def ends(which: int) -> Array:
        rated = [one.ratings[which] for one in servos]
        rows = [(r.voltage_v, r.stall_nm, r.stall_a) for r in rated]
        return np.array(rows, dtype=np.float64).reshape(-1, 3).T[:, :, None]

    idle = np.array([one.idle_a for one in servos], dtype=np.float64)[:, None]
    turning = np.array([no_load_a(one) for one in servos], dtype=np.float64)[:, None]
    return Stack(ends(0), ends(-1), idle, turning)


def share(at: TorqueSpeedLine, torque_nm: ArrayLike, speed_deg_s: ArrayLike) -> Array:
    """How far out an operating point of the horn lies: 1 is on the line, 0 at rest without torque.

    Driving (torque along the motion): torque / stall + speed / no-load speed, which is 1 exactly
    on the line (MIT, as above). Braking (torque against the motion) the motor could give more
    than its stall torque, but the gears are not rated for more: the greater of the two shares.
    Infinite where the line has no torque or speed left. Units: N.m, deg/s.
    """
    torque = np.asarray(torque_nm, dtype=np.float64)
    speed = np.asarray(speed_deg_s, dtype=np.float64)
    of_torque = _ratio(np.abs(torque), at.stall_nm)
    of_speed = _ratio(np.abs(speed), at.speed_deg_s)
    driving = np.signbit(torque) == np.signbit(speed)
    return np.where(driving, of_torque + of_speed, np.maximum(of_torque, of_speed))


def _ratio(value: Array, of: Array) -> Array:
    value, of = np.broadcast_arrays(value, of)
    out = np.full(value.shape, np.inf)
    np.divide(value, of, out=out, where=of > 0.0)
    return np.where((value == 0.0) & (of <= 0.0), 0.0, out)


def allowed_torque_nm(at: TorqueSpeedLine, speed_deg_s: ArrayLike, margin: float) -> Array:
    """The torque (N.m) that the line, less `margin` of both its ends, leaves at a horn speed.

    stall (1 - margin - speed / no-load speed), at least 0.
    """
    of_speed = _ratio(np.abs(np.asarray(speed_deg_s, dtype=np.float64)), at.speed_deg_s)
    return np.asarray(at.stall_nm * np.maximum(1.0 - margin - of_speed, 0.0))


def speed_at_deg_s(at: TorqueSpeedLine, torque_nm: ArrayLike) -> Array:
    """The horn speed (deg/s) on the line at a driving torque (N.m): w0 (1 - T / Ts), at least 0."""
    of_torque = _ratio(np.abs(np.asarray(torque_nm, dtype=np.float64)), at.stall_nm)
    return np.asarray(at.speed_deg_s * np.maximum(1.0 - of_torque, 0.0))


def current_a(at: TorqueSpeedLine, torque_nm: ArrayLike, moving: ArrayLike = 0.0) -> Array:
    """Current (A) at a horn torque (N.m): I0 + (stall - I0) torque / stall torque.

    I0 is the idle current at rest (`moving` 0) and the no-load current in motion (1). A torque
    beyond the stall torque draws the stall current: the servo gives no more.
    """
    of_torque = np.minimum(_ratio(np.abs(np.asarray(torque_nm, dtype=np.float64)), at.stall_nm), 1)
    least = at.idle_a + (at.no_load_a - at.idle_a) * np.asarray(moving, dtype=np.float64)
    return np.asarray(least + np.maximum(at.stall_a - least, 0.0) * of_torque)


def reversal_a(servo: Servo, voltage_v: float) -> float:
    """Current (A), for milliseconds, of a servo that is thrown back at its full speed: 2 Is - I0.

    The motor's own voltage then adds to the feed's: I = (V + k w) / R, and k w is V - I0 R at the
    no-load speed (MIT, as above).
    """
    stall = float(strongest_line(servo, voltage_v).stall_a)
    return max(2.0 * stall - no_load_a(servo), stall)


def greatest_power_w(at: TorqueSpeedLine) -> Array:
    """The most mechanical power (W): stall torque times no-load speed / 4, at half of each."""
    return np.asarray(at.stall_nm * np.radians(at.speed_deg_s) / 4.0)
