"""What the part will really do: following the command within speed, torque and dead band.

The model, for one servo, in the part's own angle (degrees, seconds):

    error   e  = command - angle, less the dead band: 0 within it, shortened by it outside
    wanted  v* = gain e, at most the no-load speed either way
    speed   v' = (v* - v) / lag, at most what the torque line allows:
                 (available torque - needed to hold against weight, springs, friction) / inertia

The available torque is the servo's line through the drive (`sim.rig.servo`, `sim.rig.drive`):
stall torque when braking or at rest, falling to nothing at the no-load speed. The gain drives a
servo fully at an error of its horn of a few degrees (a gear of n makes n times the part's error of
it, and 1 / n of its speed, so the gain is the same for horn and part) and the lag damps it
critically, gain * lag = 1/4: own
assumptions where data sheets are silent. The wearer stands upright here; the worst posture is the
checks' business.

A step of 1 ms is integrated by the classical Runge-Kutta method, the load's torque held within it.
Time is cut into stretches that run side by side as one array: the servo forgets its past within a
fraction of a second, so each starts a little early from the dead band's play. Where two stretches
do not meet, the later one runs again from the earlier one's end, until all meet: the result is
that of one run from start to end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array, Flags
from sim.model import Rig, Servo
from sim.rig import drive, load, servo, supply
from sim.rulebook import FRAME_MS

STEP_S: Final = 0.001

FULL_DRIVE_DEG: Final = 4.0
"""Error of the horn (deg) at which a hobby servo drives fully (a few degrees: common practice, from
memory)."""

_STRETCH: Final = 1000
_EARLY: Final = 300
_MEETS_DEG: Final = 1e-3
_MEETS_DEG_S: Final = 0.05
_TABLE: Final = 721


@dataclass(frozen=True, slots=True)
class Response:
    """The part's angle and speed, arrays (times, servos); `error_deg` is command minus angle."""

    angle_deg: Array
    speed_deg_s: Array
    error_deg: Array


@dataclass(frozen=True, slots=True)
class Follower:
    """The numbers of one servo's model; arrays over servos where there are several.

    Angles run over `low_deg` to `high_deg` in tables of `hold` (deg/s2: the acceleration that the
    weight and springs alone would give) and `reach` (deg/s2: what the stall torque gives).
    """

    top_deg_s: Array
    gain: Array
    lag_s: Array
    dead_deg: Array
    rub: Array
    """Deceleration by the load's own friction (deg/s2)."""
    low_deg: Array
    per_deg: Array
    free: Array
    """(servos, table) deg/s2."""
    reach: Array
    """(servos, table) deg/s2."""
    ratio: Array
    """(servos, table) horn degrees per part degree, magnitude."""


def follower(rig: Rig, servos: Sequence[Servo], voltage_v: ArrayLike | None = None) -> Follower:
    """The model's numbers for `servos` at `voltage_v` (one or one each; None: each alone)."""
    columns = []
    for i, one in enumerate(servos):
        if voltage_v is None:
            volts = float(supply.moving_v(rig, one, 0.0))
        else:
            volts = float(np.broadcast_to(np.asarray(voltage_v, dtype=float), len(servos))[i])
        columns.append(_column(one, volts))
    stacked = [np.stack(parts) for parts in zip(*columns, strict=True)]
    return Follower(*stacked)


def _column(one: Servo, volts: float) -> tuple[Array, ...]:
    low, high = one.travel_deg
    beyond = 0.1 * (high - low) + 2.0
    angles = np.linspace(low - beyond, high + beyond, _TABLE)
    inside = np.clip(angles, low, high)
    at = drive.horn(one, inside)
    ratio = np.abs(np.nan_to_num(at.ratio, nan=1.0, posinf=1.0, neginf=1.0))
    line = servo.line(one, volts)
    inertia = load.inertia_borne_kg_m2(one.load) + one.rotor_kg_m2 * ratio**2
    top = float(line.speed_deg_s)
    gain = top / FULL_DRIVE_DEG
    # a part without mass would accelerate at once: the lag alone then shapes its start
    inertia = np.maximum(inertia, 1e-9)
    # of a chain: between the postures of what it carries
    weight = np.mean(load.gravity_nm(one.load, inside, 0.0), axis=0)
    free = np.degrees((weight + load.spring_nm(one.load, inside)) / inertia)
    reach = np.degrees(float(line.stall_nm) * ratio / inertia)
    pulses = abs(one.points[-1].pulse_us - one.points[0].pulse_us)
    dead = one.dead_band_us / 2.0 * (one.points[-1].angle_deg - one.points[0].angle_deg) / pulses
    rub = degrees(one.load.friction_nm / float(inertia.mean()))
    scalars = (
        top,
        gain,
        0.25 / gain,
        dead,
        rub,
        angles[0],
        (_TABLE - 1) / (angles[-1] - angles[0]),
    )
    return (*(np.asarray(s, dtype=np.float64) for s in scalars), free, reach, ratio)


def held(command_deg: ArrayLike, step_s: float = STEP_S) -> Array:
    """The command as a servo gets it: one pulse a frame (20 ms), held until the next."""
    command = np.asarray(command_deg, dtype=np.float64)
    every = max(1, round(FRAME_MS / 1000.0 / step_s))
    return command[np.arange(command.shape[0]) // every * every]


def follow(
    rig: Rig,
    servos: Sequence[Servo],
    command_deg: ArrayLike,
    voltage_v: ArrayLike | None = None,
) -> Response:
    """Follow commands, shape (times, servos), given every millisecond; see the module's head.

    At the first instant each part rests at its command. A command holds for its millisecond. To
    let the servo see one pulse a frame, pass it through `held`. `voltage_v`: one, or one for
    each servo; None: as if each moved alone.
    """
    command = np.asarray(command_deg, dtype=np.float64)
    model = follower(rig, servos, voltage_v)
    run = _RunStretches(model, command)
    run.sweep()
    angle, speed = run.angle, run.speed
    return Response(angle, speed, command - angle)


def slopes(model: Follower, command: Array, angle: Array, speed: Array) -> tuple[Array, Array]:
    """The model's right-hand side: angle' and speed', arrays whose last axis is the servos."""
    free, reach, ratio = _looked_up(model, angle)
    return speed, _acceleration(model, command, angle, speed, free, reach, ratio)


def _looked_up(model: Follower, angle: Array) -> tuple[Array, Array, Array]:
    place = np.clip((angle - model.low_deg) * model.per_deg, 0.0, _TABLE - 1.000001)
    left = place.astype(np.intp)
    part = place - left
    row = np.arange(model.low_deg.size)
    free, reach, ratio = (
        table[row, left] * (1.0 - part) + table[row, left + 1] * part
        for table in (model.free, model.reach, model.ratio)
    )
    return free, reach, ratio


def _acceleration(
    model: Follower,
    command: Array,
    angle: Array,
    speed: Array,
    free: Array,
    reach: Array,
    ratio: Array,
) -> Array:
    error = command - angle
    error = error - np.minimum(np.maximum(error, -model.dead_deg), model.dead_deg)
    top = model.top_deg_s / ratio
    wanted = np.minimum(np.maximum(model.gain * error, -top), top)
    asked = (wanted - speed) / model.lag_s
    used = speed / top
    upward = reach * np.minimum(1.0 - used, 1.0)
    downward = reach * np.minimum(1.0 + used, 1.0)
    rubbing = model.rub * np.minimum(np.maximum(speed, -1.0), 1.0)
    return np.minimum(np.maximum(asked, free - rubbing - downward), free - rubbing + upward)


class _RunStretches:
    """All stretches of one run, and what is known of each."""

    def __init__(self, model: Follower, command: Array) -> None:
        times, servos = command.shape
        self.model, self.count = model, max(1, -(-times // _STRETCH))
        self.times, self.servos = times, servos
        padded = np.concatenate(
            [command, np.repeat(command[-1:], self.count * _STRETCH - times, axis=0)]
        )
        self.command = padded.reshape(self.count, _STRETCH, servos)
        self._angle = np.empty(self.command.shape)
        self._speed = np.empty(self.command.shape)
        self.end_angle = np.empty((self.count, servos))
        self.end_speed = np.empty((self.count, servos))

    @property
    def angle(self) -> Array:
        return self._angle.reshape(-1, self.servos)[: self.times]

    @property
    def speed(self) -> Array:
        return self._speed.reshape(-1, self.servos)[: self.times]

    def sweep(self) -> None:
        """Run all stretches from early starts, then again those that do not meet."""
        angle, speed = self._early_starts()
        everyone = np.arange(self.count)
        self._play(everyone, angle, speed)
        still = np.ptp(self.command, axis=1) == 0.0
        while True:
            again = self._unmet(still)
            if again.size == 0:
                return
            self._play(again, self.end_angle[again - 1].copy(), self.end_speed[again - 1].copy())

    def _early_starts(self) -> tuple[Array, Array]:
        """States at the stretches' starts, from a little earlier and the dead band's play."""
        play = self._play_of_dead_band()
        angle, speed = play.copy(), np.zeros(play.shape)
        if self.count == 1:
            return angle, speed
        before = self.command[:-1, _STRETCH - _EARLY :]
        for step in range(_EARLY):
            angle[1:], speed[1:] = _step(self.model, before[:, step], angle[1:], speed[1:])
        return angle, speed

    def _play_of_dead_band(self) -> Array:
        """Where a slow part would be, `_EARLY` before each stretch: pushed by the dead band."""
        sampled = self.command[:, ::10].reshape(-1, self.servos)
        per = _STRETCH // 10
        here = sampled[0].copy()
        starts = np.empty((self.count, self.servos))
        starts[0] = here
        dead = self.model.dead_deg
        low, high = sampled - dead, sampled + dead
        first = (_STRETCH - _EARLY) // 10
        for n in range(sampled.shape[0] - per):
            here = np.minimum(np.maximum(here, low[n]), high[n])
            if n % per == first:
                starts[n // per + 1] = here
        return starts

    def _play(self, which: NDArray[np.intp], angle: Array, speed: Array) -> None:
        command = self.command[which]
        out_angle, out_speed = np.empty(command.shape), np.empty(command.shape)
        for step in range(_STRETCH):
            out_angle[:, step], out_speed[:, step] = angle, speed
            angle, speed = _step(self.model, command[:, step], angle, speed)
        self._angle[which], self._speed[which] = out_angle, out_speed
        self.end_angle[which], self.end_speed[which] = angle, speed

    def _unmet(self, still: Flags) -> NDArray[np.intp]:
        """Stretches whose start is not where the one before ended.

        One in which nothing happens (command still, part at rest within the dead band) is moved
        there as it stands, without running it.
        """
        unmet = []
        for n in range(1, self.count):
            off = np.abs(self._angle[n, 0] - self.end_angle[n - 1]) > _MEETS_DEG
            off |= np.abs(self._speed[n, 0] - self.end_speed[n - 1]) > _MEETS_DEG_S
            error = np.abs(self.command[n, 0] - self.end_angle[n - 1])
            rests = still[n] & (np.abs(self.end_speed[n - 1]) <= _MEETS_DEG_S)
            rests &= error <= self.model.dead_deg + _MEETS_DEG
            moved = off & rests
            self._angle[n][:, moved] = self.end_angle[n - 1][moved]
            self._speed[n][:, moved] = 0.0
            self.end_angle[n][moved] = self.end_angle[n - 1][moved]
            self.end_speed[n][moved] = 0.0
            if (off & ~rests).any():
                unmet.append(n)
        return np.array(unmet, dtype=np.intp)


def _step(model: Follower, command: Array, angle: Array, speed: Array) -> tuple[Array, Array]:
    """One millisecond by the classical Runge-Kutta method, the load's torque held."""
    table = _looked_up(model, angle)

    def bend(at: Array, going: Array) -> Array:
        return _acceleration(model, command, at, going, *table)

    h = STEP_S
    a1 = bend(angle, speed)
    v2 = speed + h / 2.0 * a1
    a2 = bend(angle + h / 2.0 * speed, v2)
    v3 = speed + h / 2.0 * a2
    a3 = bend(angle + h / 2.0 * v2, v3)
    v4 = speed + h * a3
    a4 = bend(angle + h * v3, v4)
    return (
        angle + h / 6.0 * (speed + 2.0 * (v2 + v3) + v4),
        speed + h / 6.0 * (a1 + 2.0 * (a2 + a3) + a4),
    )
