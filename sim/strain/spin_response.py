"""How fast a part that turns round and round will really turn.

A continuous-rotation servo has no sensor of its own speed: its pulse sets the share of the feed
that the motor gets. On that share u of its line (`sim.rig.servo`), with n the gear's ratio, J the
inertia at the part, and its friction F,

    J w' = n Ts (u - n w / w0) - F

which comes to a steady speed exponentially, with the time constant J w0 / (n**2 Ts) (Newton's law
on the straight torque-speed line). u is taken so that the steady speed is the calibrated one, up to
all of the feed: the pulses were measured with the part on it, at this voltage (own assumption). In
the dead band round standstill the motor gets nothing.
"""

from __future__ import annotations

from math import exp, radians
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array
from sim.model import Rig, Servo
from sim.rig import drive, load, servo, supply
from sim.rig.spin import RPM_DEG_S
from sim.rig.standstill import stands_still

STEP_S: Final = 0.001


def spun_rpm(rig: Rig, one: Servo, command_rpm: ArrayLike, voltage_v: float | None = None) -> Array:
    """Speeds (rpm) under a command (rpm) given every millisecond, from standstill.

    `voltage_v`: what arrives at the servo; None: as if it moved alone.
    """
    command = np.asarray(command_rpm, dtype=np.float64)
    volts = float(supply.moving_v(rig, one, 0.0)) if voltage_v is None else voltage_v
    steady = np.clip(command, -top_rpm(one, volts), top_rpm(one, volts))
    steady = np.where(stands_still(one, command), 0.0, steady)
    tau = time_constant_s(one, volts)
    # within a step the command stands, so the exponential is exact
    gain = 1.0 - exp(-STEP_S / tau) if tau > 0.0 else 1.0
    speed = np.empty(command.shape)
    now = 0.0
    for index, wanted in enumerate(steady.tolist()):
        speed[index] = now
        now += gain * (wanted - now)
    return speed


def top_rpm(one: Servo, voltage_v: float) -> float:
    """The part's highest steady speed (rpm) at a voltage, under its friction."""
    ratio = _ratio(one)
    friction_nm = one.load.friction_nm / (ratio * one.drive_efficiency)
    return float(servo.speed_at_deg_s(servo.line(one, voltage_v), friction_nm)) / ratio / RPM_DEG_S


def time_constant_s(one: Servo, voltage_v: float) -> float:
    """Time (s) in which the part comes to 63 % of a speed: J w0 / (n**2 Ts)."""
    ratio, line = _ratio(one), servo.line(one, voltage_v)
    inertia = load.mass(one.load).inertia_kg_m2 + one.rotor_kg_m2 * ratio**2
    stall = max(float(line.stall_nm), 1e-12)
    return inertia * radians(float(line.speed_deg_s)) / (ratio**2 * stall)


def _ratio(one: Servo) -> float:
    """Turns of the horn for one of the part, at any angle: only a gear lets it turn on and on."""
    return abs(float(drive.horn(one, 0.0).ratio))
