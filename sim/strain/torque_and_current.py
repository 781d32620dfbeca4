"""What a rehearsal asks of servos and supplies: torque, current and voltage over time.

Every sampled instant goes through the same models as the checks: the part's motion and load to the
horn (`sim.rig.load`, `sim.rig.drive`), torque and light to current, all currents to the voltages
at the boards (`sim.rig.supply`), and those back to the servos' lines (`sim.rig.servo`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.arrays import Array
from sim.model import Board, Lamp, Rig, Servo, Strip, Switch, Wearer
from sim.rehearsal.sampling import Samples, ServoSamples
from sim.rig import battery, drive, load, servo
from sim.rig.chain import Motion
from sim.rig.disturbance import push_nm
from sim.rig.grip import GripLoad, horn_nm, presses, pressing
from sim.rig.sliding_chain import chain_of
from sim.rig.spin import turning
from sim.rig.supply import PIXEL_IDLE_A, Demand, feed_share, highest_v, solve


@dataclass(frozen=True)
class ServoWork:
    """One servo over the sampled times; arrays of their length.

    Horn torque (signed, the worst posture) and speed, the torque its line leaves at that speed with
    the margin kept, the share of the line (1: on it), and the current. While limp there is no
    torque, and the current is the idle one. A part that presses on what it grips is stopped there.
    """

    torque_nm: Array
    speed_deg_s: Array
    allowed_nm: Array
    share: Array
    current_a: Array


@dataclass(frozen=True)
class SupplyWork:
    """One supply over the sampled times: the feed, and the battery or adapter behind it."""

    feed_v: Array
    feed_a: Array
    source_v: Array
    source_a: Array
    collapsed: NDArray[np.bool_]


@dataclass(frozen=True)
class RigWork:
    """All of a rig over the sampled times. `board_v` and `board_a` by board name."""

    times_ms: Array
    servos: dict[str, ServoWork]
    supplies: dict[str, SupplyWork]
    board_v: dict[str, Array]
    board_a: dict[str, Array]


def work(
    rig: Rig, samples: Samples, charge: float = battery.EMPTY_CHARGE, wearer: Wearer | None = None
) -> RigWork:
    """What the sampled motion and light take.

    `charge`: state of charge of batteries, 0 to 1; by default the end of the usable part.
    `wearer`: how the wearer leans and moves, in the worst direction; None: as the rig declares. For
    energy and heat, where jolts and postures do not last, see `sim.rig.disturbance`.
    """
    wearer = rig.wearer if wearer is None else wearer
    servos = {o.name: o for o in rig.outputs if isinstance(o, Servo)}
    grips = presses(rig)
    ends = {
        name: _gripped(one, samples, _horn_torques(one, samples, wearer), grips.get(name, ()))
        for name, one in servos.items()
        if name in samples.servos
    }
    torques = {n: np.maximum(np.abs(e[0]), np.abs(e[1])) for n, e in ends.items()}

    def whole(values: Array) -> Array:
        return np.broadcast_to(values, samples.times_ms.shape)

    supplies: dict[str, SupplyWork] = {}
    board_v: dict[str, Array] = {}
    board_a: dict[str, Array] = {}
    for supply in rig.supplies:
        boards = [b for b in rig.boards if b.supply == supply.name]
        demands = {b.name: demand_of(rig, b, samples, torques) for b in boards}
        solved = solve(rig, supply, demands, charge)
        board_a.update({name: whole(amps) for name, amps in solved.board_a.items()})
        board_v.update({name: whole(volts) for name, volts in solved.board_v.items()})
        supplies[supply.name] = SupplyWork(
            feed_v=whole(solved.feed_v),
            feed_a=sum((board_a[b.name] for b in boards), np.zeros(samples.times_ms.shape)),
            source_v=whole(solved.source_v),
            source_a=whole(solved.source_a),
            collapsed=solved.collapsed | np.zeros(samples.times_ms.shape, dtype=bool),
        )
    for board in rig.boards:
        rated = highest_v(rig, board.name)
        board_v.setdefault(board.name, np.full(samples.times_ms.shape, rated))
    done = {n: _servo_work(rig, servos[n], samples, e, board_v) for n, e in ends.items()}
    return RigWork(samples.times_ms, done, supplies, board_v, board_a)


def _horn_torques(one: Servo, samples: Samples, wearer: Wearer) -> tuple[Array, Array]:
    """Horn torque at both ends of what the postures span; 0 while limp."""
    seen = samples.servos[one.name]
    angle, speed, accel = _mechanics(one, seen)
    at = drive.horn(one, angle)
    low, high = (
        np.where(
            seen.powered,
            np.nan_to_num(
                drive.horn_torque_nm(at, one.rotor_kg_m2, end, speed, accel, one.drive_efficiency)
            ),
            0.0,
        )
        for end in _part_torques(one, samples, wearer)
    )
    return low, high


def _gripped(
    one: Servo, samples: Samples, ends: tuple[Array, Array], grips: Sequence[GripLoad]
) -> tuple[Array, Array]:
    """The same, and what the part presses with where it, or a part on it, grips.

    A part's own grip has the sign of a motion that closes, weight and springs their own; a grip of
    a part that it carries may push either way.
    """
    mine = samples.servos[one.name]
    own = others = stall = np.zeros(samples.times_ms.shape)
    for press in grips:
        grip, seen = press.gripper.grip, samples.servos.get(press.gripper.name)
        if grip is None or seen is None:
            continue
        holds = pressing(grip, seen.angle_deg) & seen.powered
        asked = np.where(holds, press.part_nm, 0.0)
        own, others = (own + asked, others) if seen is mine else (own, others + asked)
        stall = stall + np.where(holds, press.stall_nm, 0.0)
    holds = ((own + others > 0.0) | (stall > 0.0)) & mine.powered
    if not holds.any():
        return ends
    angle = mine.angle_deg
    side = 1.0 if one.grip is None else float(one.grip.side)
    closes = side * np.sign(drive.horn(one, angle).ratio)
    pressed, shaken = horn_nm(one, angle, own) * closes, horn_nm(one, angle, others)
    found = (
        np.where(stall > 0.0, stall * closes, end + pressed + way * shaken)
        for end, way in zip((np.minimum(*ends), np.maximum(*ends)), (-1.0, 1.0), strict=True)
    )
    low, high = (np.where(holds, torque, end) for torque, end in zip(found, ends, strict=True))
    return low, high


def _part_torques(one: Servo, samples: Samples, wearer: Wearer) -> tuple[Array, Array]:
    """Torque on the part's axis at both ends of what the postures span.

    Of a chain all joints are sampled, so what they do to one another is known, not bounded.
    """
    seen = samples.servos[one.name]
    angle, speed, accel = _mechanics(one, seen)
    push, tilt_deg = push_nm(one.load, wearer), wearer.tilt_deg
    coupled = one.load.coupled
    if coupled is None or not all(link.name in samples.servos for link in coupled.links):
        return load.needed_nm(one.load, angle, speed, accel, tilt_deg, push)
    all_seen = [samples.servos[link.name] for link in coupled.links]
    motion = Motion(
        np.stack([each.angle_deg for each in all_seen]),
        np.stack([each.velocity_deg_s for each in all_seen]),
        np.stack([each.acceleration_deg_s2 for each in all_seen]),
    )
    whole = chain_of(coupled.links)
    ends = whole.needed_nm(coupled.joint, motion, load.GRAVITY_M_S2, tilt_deg, coupled.upright)
    own = load.friction_nm(one.load, speed) - load.spring_nm(one.load, angle)
    return own + ends[0] - push, own + ends[1] + push


def demand_of(rig: Rig, board: Board, samples: Samples, torques: Mapping[str, Array]) -> Demand:
    """What one board's outputs ask at the sampled times. `torques`: at the horns, by servo."""
    torque: dict[str, Array] = {}
    duty: dict[str, Array] = {}
    moving: dict[str, Array] = {}
    fixed = np.full(samples.times_ms.shape, board.electrics.idle_a)
    for output in (o for o in rig.outputs if o.board == board.name):
        match output:
            case Servo() if output.name in torques:
                torque[output.name] = torques[output.name]
                moving[output.name] = moving_in(output, samples.servos[output.name])
            case Lamp() if output.name in samples.lamps:
                duty[output.name] = samples.lamps[output.name].luminance
            case Strip() if output.name in samples.strips:
                lit = samples.strips[output.name].linear
                own = lit.sum(axis=(1, 2)) * output.channel_a + output.pixels * PIXEL_IDLE_A
                fixed += own * feed_share(rig, output)
            case Switch() if output.name in samples.switches:
                fixed += samples.switches[output.name] * output.current_a
    return Demand(torque, duty, fixed, moving)


def _mechanics(one: Servo, seen: ServoSamples) -> tuple[Array, Array, Array]:
    """Angle, speed and acceleration of the part; see `sim.rig.spin`."""
    return turning(one.load, seen.angle_deg, seen.velocity_deg_s, seen.acceleration_deg_s2)


def moving_in(one: Servo, seen: ServoSamples) -> Array:
    """1 where the part moves, 0 where it stands or hangs limp.

    A part that turns about does not stand at the turn: its gears and brushes rub all along. One
    that turns round and round moves wherever it has a speed, or changes it.
    """
    going = seen.under_way
    if one.load.spins:
        going = going | (np.abs(_mechanics(one, seen)[1]) > 0.0)
    return (going & seen.powered).astype(np.float64)


def _servo_work(
    rig: Rig,
    one: Servo,
    samples: Samples,
    ends: tuple[Array, Array],
    board_v: Mapping[str, Array],
) -> ServoWork:
    seen = samples.servos[one.name]
    angle, turns, _ = _mechanics(one, seen)
    stopped = one.grip is not None and pressing(one.grip, seen.angle_deg)  # it goes no farther
    speed = np.where(seen.powered & ~np.asarray(stopped), drive.horn(one, angle).ratio * turns, 0.0)
    line = servo.line(one, board_v[one.board])
    thirst = servo.thirstiest_line(one, board_v[one.board])
    shares = [servo.share(line, end, speed) for end in ends]
    torque = np.where(shares[0] > shares[1], *ends)
    return ServoWork(
        torque,
        speed,
        servo.allowed_torque_nm(line, speed, rig.wearer.margin),
        np.where(seen.powered, np.maximum(*shares), 0.0),
        servo.current_a(thirst, torque, moving_in(one, seen)),
    )
