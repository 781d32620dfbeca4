"""Every state in which a show can leave its outputs: what checks of any kind ask about.

One source for torque, sag, fuse, regulator, heat, pinch and flashes, so that none of them forgets a
state that another one knows. It enumerates

* for each part: the angles at which the show can leave it standing, for a moment (any target of any
  move, since what comes next may be taken over; any place of a part that follows a source) and for
  minutes; the moves that each cue makes from
  each of them; the poses that a cue can find;
* for each light: every light that a cue leaves it at, and those in the middle of a fade
  (`sim.strain.light_states`);

and it bounds, in closed form, what cannot be enumerated:

* a part in motion, whatever cuts what short and however often: within the angles that it is ever
  brought to, at most at the speed and the acceleration of its table (the rule of interruption keeps
  both, see `sim.strain.interruption`);
* power-up, and standby after limp: the part may hang anywhere in its travel and jumps to its safe
  pose with all that its servo has.

What a strand draws is written out as `sim.score.draws` does it.

Standby right after limp is the same as power-up for parts. For lights it is dark, then safe.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import ceil, exp, inf, isfinite, radians
from typing import TYPE_CHECKING, Final

import numpy as np

from sim.model import JointLimits, Move, Servo, Show
from sim.rig import drive, load, servo
from sim.rig.disturbance import push_nm
from sim.rig.slide import PINION_M
from sim.rig.supply import highest_v
from sim.rulebook import COEFFICIENT_ONE, FRAME_S
from sim.score.draws import at_its_hardest
from sim.score.law_numbers import law_numbers
from sim.score.planned_moves import (
    PlannedMove,
    follow_limits,
    followed_deg,
    motion_limits,
    planned_moves,
    rest_angles,
)
from sim.score.tree import acts, timeline
from sim.strain.light_states import LightStates

if TYPE_CHECKING:
    from sim.model import Cue

LONG_MS: Final = 60_000.0
"""A part that stands for a minute or more is held for long: a small servo's case warms up in a few
(common practice, no source)."""

FOLLOWED_STEP_DEG: Final = 0.5
"""Between these places the torque that holds a part bends by less than a part in 10,000."""

HARDEST_DEG_S2: Final = 1e9
"""In place of an endless acceleration, of a part that weighs nothing."""


@dataclass(frozen=True, slots=True)
class Jump:
    """What a part may do at power-up: `reach`, all with the greatest torque on its axis (N.m).

    `lasts_s`: how long it is on its way at the most. At the horn: `stall_nm`, what it has against
    it at the most (`against_nm`), and the time constant in which it then comes to its speed.
    """

    reach: JointLimits
    torque_nm: float
    lasts_s: float
    stall_nm: float
    against_nm: float
    constant_s: float

    def after_nm(self, seconds: float) -> float:
        """The most horn torque (N.m) so long after the first pulse; `lasts_s` is not looked at.

        On its straight line the motor gives Ts (1 - w / w0), and J w' is that less what is against
        it, Th. So it gives Th + (Ts - Th) exp(-t / tau), with tau = J w0 / Ts (Newton's law). Less
        inertia or less against it lets it be faster by then, so this is the most.
        """
        if self.against_nm >= self.stall_nm:
            return self.stall_nm
        faded = exp(-seconds / self.constant_s) if self.constant_s > 0.0 else 0.0
        return self.against_nm + (self.stall_nm - self.against_nm) * faded


class Reachable:
    """The states that a show can reach. `planned`: its planned moves, if they are known already."""

    def __init__(self, show: Show, planned: Iterable[PlannedMove] | None = None) -> None:
        self.show = show = at_its_hardest(show)
        self.servos = {o.name: o for o in show.rig.outputs if isinstance(o, Servo)}
        self._given = None if planned is None else tuple(planned)

    # -- parts ------------------------------------------------------------------------------------

    @cached_property
    def planned(self) -> tuple[PlannedMove, ...]:
        """Every move with every angle that it is planned to start from."""
        return planned_moves(self.show) if self._given is None else self._given

    @cached_property
    def stands_deg(self) -> Mapping[str, tuple[float, ...]]:
        """By servo, every angle at which a part may come to a stand, the safe one first.

        A cue that takes over may wait before it moves the part, or not move it at all; the motion
        that runs goes on to its target. So that is the target of any move.
        """
        found: dict[str, dict[float, None]] = {
            name: {one.safe_deg: None} for name, one in self.servos.items()
        }
        for cue in self.show.score.cues:
            for act in acts(cue.body):
                if isinstance(act, Move) and act.output in found:
                    found[act.output].setdefault(act.angle_deg)
        for name, several in self._followed_deg.items():
            found[name].update(dict.fromkeys(several))
        return {name: tuple(angles) for name, angles in found.items()}

    @cached_property
    def held_long_deg(self) -> Mapping[str, tuple[float, ...]]:
        """By servo, the angles at which the show can leave a part for minutes, the safe one first.

        Where cues end; targets after which a cue waits for `LONG_MS` before it moves the part
        again; and any target, where another cue can take over and waits so long.
        """
        rests = rest_angles(self.show)
        found = {name: dict.fromkeys(rests[name]) for name in self.servos}
        for cue in self.show.score.cues:
            moves = _moves_by_servo(cue)
            for name, row in moves.items():
                if name not in found:
                    continue
                if row[0][0] >= LONG_MS:
                    found[name].update(dict.fromkeys(self.stands_deg[name]))
                for (start, move), (then, _) in pairwise(row):
                    if then - start - move.duration_ms >= LONG_MS:
                        found[name].setdefault(move.angle_deg)
        for name, several in self._followed_deg.items():
            found[name].update(dict.fromkeys(several))
        return {name: tuple(angles) for name, angles in found.items()}

    @cached_property
    def _followed_deg(self) -> Mapping[str, tuple[float, ...]]:
        """By servo that follows a source, where that may leave it: all along its way, both ends
        among them, at most `FOLLOWED_STEP_DEG` apart."""
        found = {}
        for name, (low, high) in followed_deg(self.show).items():
            count = max(2, ceil((high - low) / FOLLOWED_STEP_DEG) + 1)
            found[name] = tuple(np.linspace(low, high, count).tolist())
        return found

    def poses(self) -> tuple[Mapping[str, float], ...]:
        """Poses of all parts that a cue can find; the safe pose is the first.

        Each angle that a part is left at is in one of them, beside those of the same number of the
        other parts; where parts hang together, not every pairing is.
        """
        rests = rest_angles(self.show)
        count = max((len(angles) for angles in rests.values()), default=1)
        return tuple(
            {name: angles[min(n, len(angles) - 1)] for name, angles in rests.items()}
            for n in range(count)
        )

    @cached_property
    def table(self) -> Mapping[str, tuple[int, int]]:
        """The limits that a table states, by servo."""
        return motion_limits(self.show, self.planned)

    @cached_property
    def in_motion(self) -> Mapping[str, tuple[float, float]]:
        """Speed (deg/s) and acceleration (deg/s2) that no motion passes, by servo that moves.

        Those of its table; a `uniform` move also starts and ends within a frame.
        """
        table = self.table
        moved = {one.move.output for one in self.planned if one.move.angle_deg != one.from_deg}
        jumping = {one.move.output for one in self.planned if one.move.law.name == "uniform"}
        return {
            name: (speed, max(accel, speed / FRAME_S) if name in jumping else accel)
            for name, (speed, accel) in table.items()
            if name in moved
        }

    @cached_property
    def reaches(self) -> Mapping[str, JointLimits]:
        """How far, how fast and how hard each part goes in the show, whatever interrupts what."""
        table = self.table
        found = {}
        for name, own in self.stands_deg.items():
            speed, accel = self.in_motion.get(name, table[name])
            beyond = self._overshoot_deg(name, table[name])
            low, high = self.servos[name].travel_deg
            between = (
                max(min(own) - beyond, min(low, *own)),
                min(max(own) + beyond, max(high, *own)),
            )
            found[name] = JointLimits(between, float(speed), float(accel))
        return found

    @cached_property
    def _peak_deg_s2(self) -> Mapping[str, float]:
        """The greatest acceleration (deg/s2) of any planned move, by servo."""
        found: dict[str, float] = {}
        for one in self.planned:
            name = one.move.output
            found[name] = max(found.get(name, 0.0), _peak_deg_s2(one))
        return found

    def _overshoot_deg(self, name: str, table: tuple[int, int]) -> float:
        """How far a part that is taken over may brake beyond its target.

        Not at all where no planned move stops harder than what takes over brakes; else, as a
        `uniform` move does, v**2 / (2 a). A source that a part follows takes over as well, from any
        move that is on its way while no cue holds the part (a channel arrives), and brakes as
        gently as it follows. A brake ends within the travel in any case.
        """
        speed, accel = table
        peak = self._peak_deg_s2.get(name, 0.0)
        beyond = speed**2 / (2.0 * accel) if peak > accel else 0.0
        # what takes a part back to its strand is as hard as the table allows
        hardest = max(peak, float(accel))
        for follow in (one for one in self.show.rig.follows if one.output == name):
            gentle = follow_limits(follow, table)[1]
            beyond = max(beyond, speed**2 / 2.0 * (1.0 / gentle - 1.0 / hardest))
        return beyond

    def jump(self, name: str) -> Jump | None:
        """What the part may do when its servo gets its first pulse; None without a rating.

        None as well for one that turns round and round: its first pulse is that of standstill.

        It stands anywhere in its travel and is turned with the stall torque at the highest voltage,
        up to the no-load speed, and beyond as far as weight and springs push it: on the motor's
        line, to w0 (1 + Th / Ts). Its inertia is at least that of its own bodies and of the motor.
        """
        one = self.servos[name]
        if not one.ratings or one.load.spins:
            return None
        low, high = one.travel_deg
        angles = np.linspace(low, high, max(3, int(np.ceil(2.0 * (high - low))) + 1))
        line = servo.strongest_line(one, highest_v(self.show.rig, one.board))
        ratio = np.abs(np.nan_to_num(drive.horn(one, angles).ratio))
        least, most = float(ratio.min()), float(ratio.max())
        wearer = self.show.rig.wearer
        ends = load.held_nm(one.load, angles, wearer.tilt_deg, push_nm(one.load, wearer))
        pull = np.maximum(*map(np.abs, ends))
        held = pull + one.load.friction_nm
        stall, fastest = float(line.stall_nm), float(line.speed_deg_s)
        with np.errstate(divide="ignore", invalid="ignore"):
            against = np.where(held > 0.0, held / (ratio * one.drive_efficiency), 0.0)
            helping = np.where(pull > 0.0, pull / ratio, 0.0)
            heavy = load.inertia_borne_kg_m2(one.load) / ratio**2 + one.rotor_kg_m2
        hindered = float(np.max(against)) / stall if stall > 0.0 else inf
        pushed = float(np.max(helping)) / stall if stall > 0.0 else 0.0
        speed = fastest * (1.0 + min(pushed, 1.0)) / max(least, 1e-6)
        torque = stall * ratio + held
        inertia = _least_inertia_kg_m2(one) + one.rotor_kg_m2 * ratio**2
        with np.errstate(divide="ignore", invalid="ignore"):
            hard = np.degrees(np.where(torque > 0.0, torque / inertia, 0.0))
        # as fast as it may be, and stopped by the same torque
        hardest = min(float(np.nan_to_num(hard, posinf=HARDEST_DEG_S2).max()), HARDEST_DEG_S2)
        reach = JointLimits((low, high), min(speed, HARDEST_DEG_S2), hardest)
        constant_s = float(np.max(heavy)) * radians(fastest) / stall if stall > 0.0 else inf
        lasts_s = _on_the_way_s((high - low) * most, fastest * (1.0 - hindered), constant_s)
        return Jump(reach, stall * most, lasts_s, stall, float(np.max(against)), constant_s)

    # -- lights -----------------------------------------------------------------------------------

    @cached_property
    def lights(self) -> LightStates:
        """The lights that cues can find and leave."""
        return LightStates(self.show)


def _on_the_way_s(way_deg: float, speed_deg_s: float, constant_s: float) -> float:
    """How long (s) a way takes at a speed that is come to with a time constant, from rest.

    The root of way = speed (t - tau (1 - exp(-t / tau))), between way / speed and tau more.
    """
    if speed_deg_s <= 0.0 or not isfinite(constant_s):
        return inf
    if constant_s <= 0.0:
        return way_deg / speed_deg_s
    low, high = way_deg / speed_deg_s, way_deg / speed_deg_s + constant_s
    for _ in range(60):
        middle = (low + high) / 2.0
        done = speed_deg_s * (middle - constant_s * (1.0 - exp(-middle / constant_s)))
        low, high = (middle, high) if done < way_deg else (low, middle)
    return high


def _peak_deg_s2(planned: PlannedMove) -> float:
    """The greatest acceleration (deg/s2) of a planned move; endless for a jump of speed."""
    way, seconds = abs(planned.move.angle_deg - planned.from_deg), planned.move.duration_ms / 1000.0
    if way == 0.0 or seconds <= 0.0:
        return 0.0
    ca = law_numbers(planned.move.law).ca
    return inf if not ca else ca * way / seconds**2 / COEFFICIENT_ONE


def _moves_by_servo(cue: Cue) -> dict[str, list[tuple[float, Move]]]:
    """Each servo's moves in the first pass of a cue, with their starts (ms), in that order."""
    found: dict[str, list[tuple[float, Move]]] = {}
    for start, step in timeline(cue.body):
        if isinstance(step, Move):
            found.setdefault(step.output, []).append((start, step))
    return {name: sorted(row, key=lambda each: each[0]) for name, row in found.items()}


def _least_inertia_kg_m2(one: Servo) -> float:
    """The least inertia about the part's hinge: what it carries may hang back, its own may not."""
    coupled = one.load.coupled
    if coupled is None:
        return load.mass(one.load).inertia_kg_m2
    own = coupled.links[coupled.joint]
    return own.inertia_kg_m2 if own.way is None else own.mass_kg * PINION_M**2
