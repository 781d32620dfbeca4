"""What a page needs to know how hard a take is that somebody presses on it: tables of this model.

Nothing is played or integrated there: the boards say which motion each servo makes, and these rows
say what that takes. A part's torque is linear in its acceleration and square in speeds (Lagrange),
so it is told by rows over its pose; that of parts on parts by tables over the poses of all of them
(`sim.rig.chain`, whichever kind of chain it is), asked one acceleration and one pair of speeds at a
time. Between poses a page takes straight lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.model import Board, Direct, Lamp, Law, Rig, Servo, Strip, Supply, Switch, Wearer
from sim.rig import drive, load
from sim.rig import servo as servo_model
from sim.rig.chain import Motion
from sim.rig.disturbance import push_nm
from sim.rig.grip import presses
from sim.rig.logic import logic_of
from sim.rig.slide import of_horn
from sim.rig.sliding_chain import chain_of
from sim.rig.supply import (
    PIXEL_IDLE_A,
    feed_share,
    feed_v_at,
    highest_v,
    lamp_feed,
    lamp_series,
    open_v,
    strip_full_a,
)
from sim.rig.wire import loop_ohm
from sim.score.laws import forms

POSES: Final = 129
"""Poses over a travel."""
VOLTS: Final = 129
"""Voltages from none to the highest at a board."""
AMPS: Final = 257
"""Currents from none to more than all outputs together can draw."""
SHARES: Final = 513
"""Shares of a motion's duration."""
CHAIN_POSES: Final = {2: 25, 3: 11, 4: 7}
"""Poses of each joint, by how many joints hang together; more of them would make the page heavy."""


@dataclass(frozen=True, slots=True)
class PressedGrip:
    """What one part that grips asks of a servo; see `sim.rig.grip.GripLoad`."""

    gripper: str
    side: float
    contact_deg: float
    part_nm: float
    stall_nm: float


@dataclass(frozen=True, slots=True)
class ServoEffort:
    """How hard one servo's motion is.

    Over its poses, from one end of the travel to the other: `still_low` and `still_high`, the least
    and greatest torque on the part's axis (N.m) of weight, springs and the wearer's movement (of a
    part in a chain without its weight); `ratio` and `bend` of its drive (`sim.rig.drive`).
    Over voltages from none to `volts`: its line as it may be least (`stall_nm`, `top_deg_s`), and
    its stall current where that is most. `told_nm`: one unit of what a reader is told, N.m.
    """

    name: str
    board: str
    travel: tuple[float, float]
    spins: bool
    chain: int | None
    joint: int
    told_nm: float
    inertia: float
    friction_nm: float
    rotor: float
    efficiency: float
    idle_a: float
    no_load_a: float
    own_side: float
    own_contact_deg: float | None
    grips: list[PressedGrip]
    still_low: Array
    still_high: Array
    ratio: Array
    bend: Array
    volts: float
    stall_nm: Array
    top_deg_s: Array
    stall_a: Array


@dataclass(frozen=True, slots=True)
class ChainEffort:
    """Torques on the axes of parts that hang together, over the poses of all.

    Rows run over a grid of `poses` for each joint, the last joint's pose fastest. By joint that
    bears it: `accelerations[joint][other]` N.m for 1 deg/s2 of another, `speeds[joint][pair]` for
    1 deg/s of both of a pair (the pairs in the order of `pairs`), and the ends of the weight.
    """

    names: list[str]
    travels: list[tuple[float, float]]
    poses: int
    pairs: list[tuple[int, int]]
    accelerations: list[list[Array]]
    speeds: list[list[Array]]
    weight_low: list[Array]
    weight_high: list[Array]


@dataclass(frozen=True, slots=True)
class LampDraw:
    name: str
    siemens: float
    forward_v: float
    from_pin: bool


@dataclass(frozen=True, slots=True)
class BoardDraw:
    """What a board and its outputs other than servos draw: see `sim.rig.supply`."""

    name: str
    highest_v: float
    loop_ohm: float
    idle_a: float
    chip_v: float | None
    dropout_v: float
    lamps: list[LampDraw]
    strips: dict[str, float]
    """Amperes for all of a channel of one pixel."""
    switches: dict[str, float]


@dataclass(frozen=True, slots=True)
class SupplyDraw:
    """A supply with the battery at the end of its usable part: its voltage over currents."""

    name: str
    boards: list[str]
    open_v: float
    most_a: float
    feed_v: Array


@dataclass(frozen=True, slots=True)
class Efforts:
    """`chains`: None for one that is too long to be told."""

    margin: float
    servos: list[ServoEffort]
    chains: list[ChainEffort | None]
    boards: list[BoardDraw]
    supplies: list[SupplyDraw]


def law_rows(law: Law) -> tuple[Array, Array, Array]:
    """A law and its first two derivatives (per share of its duration) at `SHARES` shares."""
    place, speed, acceleration = forms(law, np.linspace(0.0, 1.0, SHARES), 2)
    return place, speed, acceleration


def efforts(rig: Rig) -> Efforts:
    """The tables of a rig whose parts in chains know one another (`sim.strain.coupling`)."""
    servos = [one for one in rig.outputs if isinstance(one, Servo) and one.ratings]
    chains: list[tuple[str, ...]] = []
    for one in servos:
        if one.load.coupled is not None:
            names = tuple(link.name for link in one.load.coupled.links)
            if names not in chains:
                chains.append(names)
    by_name = {one.name: one for one in rig.outputs if isinstance(one, Servo)}
    return Efforts(
        rig.wearer.margin,
        [_servo(rig, one, chains) for one in servos],
        [_chain(rig.wearer, [by_name[name] for name in names]) for names in chains],
        [_board(rig, board) for board in rig.boards],
        [_supply(rig, supply) for supply in rig.supplies],
    )


def _servo(rig: Rig, one: Servo, chains: Sequence[tuple[str, ...]]) -> ServoEffort:
    wearer, part = rig.wearer, one.load
    poses = np.zeros(1) if part.spins else np.linspace(*one.travel_deg, POSES)
    push, coupled = push_nm(part, wearer), part.coupled
    if coupled is None:
        low, high = load.needed_nm(part, poses, 0.0, 0.0, wearer.tilt_deg, push)
    else:
        springs = load.spring_nm(part, poses)
        low, high = -springs - push, -springs + push
    at = drive.horn(one, poses)
    top = highest_v(rig, one.board)
    volts = np.linspace(0.0, top, VOLTS)
    line, thirst = servo_model.line(one, volts), servo_model.thirstiest_line(one, volts)
    names = () if coupled is None else tuple(link.name for link in coupled.links)
    return ServoEffort(
        one.name,
        one.board,
        one.travel_deg,
        part.spins,
        chains.index(names) if names else None,
        names.index(one.name) if names else 0,
        of_horn(one).newton_metres,
        0.0 if coupled is not None else load.mass(part).inertia_kg_m2,
        part.friction_nm,
        one.rotor_kg_m2,
        one.drive_efficiency,
        one.idle_a,
        servo_model.no_load_a(one),
        1.0 if one.grip is None else float(one.grip.side),
        None if one.grip is None else one.grip.contact_deg,
        list(_grips(rig, one)),
        low,
        high,
        np.nan_to_num(at.ratio, nan=1e-9),
        np.nan_to_num(at.bend),
        top,
        line.stall_nm,
        line.speed_deg_s,
        thirst.stall_a,
    )


def _grips(rig: Rig, one: Servo) -> Iterator[PressedGrip]:
    for press in presses(rig).get(one.name, ()):
        grip = press.gripper.grip
        if grip is not None:
            side = float(grip.side)
            yield PressedGrip(
                press.gripper.name, side, grip.contact_deg, press.part_nm, press.stall_nm
            )


def _chain(wearer: Wearer, servos: Sequence[Servo]) -> ChainEffort | None:
    count = len(servos)
    coupled = servos[0].load.coupled
    if count not in CHAIN_POSES or coupled is None:
        return None
    whole, poses = chain_of(coupled.links), CHAIN_POSES[count]
    axes = [np.linspace(*one.travel_deg, poses) for one in servos]
    angle = np.stack([grid.ravel() for grid in np.meshgrid(*axes, indexing="ij")])
    still = np.zeros_like(angle)

    def moving(speeds: Sequence[int] = (), harder: int | None = None) -> list[Array]:
        """Torque of each joint for the motion alone: nothing weighs anything."""
        speed, accel = still.copy(), still.copy()
        for joint in speeds:
            speed[joint] = 1.0
        if harder is not None:
            accel[harder] = 1.0
        motion = Motion(angle, speed, accel)
        return [whole.needed_nm(n, motion, 0.0, 0.0, coupled.upright)[0] for n in range(count)]

    alone = [moving((joint,)) for joint in range(count)]
    accelerations = [moving(harder=joint) for joint in range(count)]
    pairs = list(combinations_with_replacement(range(count), 2))
    both = [
        alone[a]
        if a == b
        else [
            ab - one - other
            for ab, one, other in zip(moving((a, b)), alone[a], alone[b], strict=True)
        ]
        for a, b in pairs
    ]
    weights = [
        whole.needed_nm(
            joint,
            Motion(angle, still, still),
            load.GRAVITY_M_S2,
            wearer.tilt_deg,
            coupled.upright,
        )
        for joint in range(count)
    ]
    return ChainEffort(
        [one.name for one in servos],
        [one.travel_deg for one in servos],
        poses,
        pairs,
        [[row[joint] for row in accelerations] for joint in range(count)],
        [[row[joint] for row in both] for joint in range(count)],
        [low for low, _ in weights],
        [high for _, high in weights],
    )


def _board(rig: Rig, board: Board) -> BoardDraw:
    outputs = [one for one in rig.outputs if one.board == board.name]
    logic = logic_of(board, highest_v(rig, board.name))
    own = None if isinstance(logic, Direct) else logic
    lamps = []
    for lamp in (one for one in outputs if isinstance(one, Lamp)):
        series = lamp_series(rig, lamp)
        if series is not None:
            siemens = lamp.count / series.preferred_ohm
            from_pin = lamp_feed(rig, lamp).from_pin
            lamps.append(LampDraw(lamp.name, siemens, lamp.forward_v, from_pin))
    strips = [one for one in outputs if isinstance(one, Strip)]
    dark = sum(one.pixels * PIXEL_IDLE_A * feed_share(rig, one) for one in strips)
    return BoardDraw(
        board.name,
        highest_v(rig, board.name),
        float(loop_ohm(board.wire, rig.wearer.temperature_c)),
        board.electrics.idle_a + dark,
        None if own is None else own.voltage_v,
        0.0 if own is None else own.dropout_v,
        lamps,
        {one.name: one.channel_a * feed_share(rig, one) for one in strips},
        {one.name: one.current_a for one in outputs if isinstance(one, Switch)},
    )


def _supply(rig: Rig, supply: Supply) -> SupplyDraw:
    boards = [board for board in rig.boards if board.supply == supply.name]
    top = open_v(supply)
    most = 0.1
    for one in (o for o in rig.outputs if any(o.board == board.name for board in boards)):
        match one:
            case Servo() if one.ratings:
                most += float(np.max(servo_model.strongest_line(one, top).stall_a)) + one.idle_a
            case Lamp():
                most += 2.0 * one.count * one.current_a
            case Strip():
                most += strip_full_a(one) * feed_share(rig, one)
            case Switch():
                most += one.current_a
    most += sum(board.electrics.idle_a for board in boards)
    amps = np.linspace(0.0, most, AMPS)
    names = [board.name for board in boards]
    return SupplyDraw(supply.name, names, top, most, feed_v_at(supply, amps))
