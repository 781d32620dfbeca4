"""Parts on parts: what a joint bears when other joints sit on it, or it sits on others.

The joints of a chain turn about parallel hinge lines, so all of it moves in one plane. `phi` is the
direction of a part in that plane, as the wearer sees it standing upright: the sum of its own turn
and those of the parts that carry it. With `omega` and `alpha` its first and second derivatives,
Lagrange's equations in these directions are, for each part u,

    Q_u = I_u alpha_u + sum over v of k_uv (alpha_v cos D_uv + omega_v**2 sin D_uv)
    D_uv = phi_u - phi_v + d_uv

where v runs over the parts that carry u and those that u carries. I_u is the inertia of u about
its own hinge with all that it carries lumped at the hinges it carries them by; k_uv is the distance
from v's hinge to the hinge by which it carries the branch of u, times the first moment of u with
its lumps; d_uv is the angle between the two. A joint turns all that stands on it, so its torque is
the sum of Q over its own part and every part above. (Lagrange's equations for a planar tree; for
two parts they are the two-link arm's of Spong, Hutchinson and Vidyasagar, Robot Modeling and
Control, 2006. The alpha terms are the coupled inertia, the omega**2 terms hold what is called
Coriolis and centrifugal when they are written in joint angles.)

Weight is left to the caller as first moments: the torque of a weight is its first moment times g
times a cosine, whatever carries it, so posture and leaning are judged as for a single part.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import radians
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array
from sim.rig.intervals import (
    Interval,
    cosine,
    plus,
    product,
    square,
    squares_apart,
    sum_of,
    times,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sim.model import JointLimits, Link


@dataclass(frozen=True, slots=True)
class Motion:
    """Joint angles (deg), speeds (deg/s) and accelerations (deg/s2) of a chain.

    Each has shape (joints, ...): the joints in the order of `Chain.links`, anything behind.
    """

    angle_deg: Array
    speed_deg_s: Array
    accel_deg_s2: Array


@dataclass(frozen=True)
class Chain:
    """Parts on parts from one root, each behind what carries it."""

    links: tuple[Link, ...]

    @cached_property
    def paths(self) -> tuple[tuple[int, ...], ...]:
        """For each part, the parts from the root to it, itself last."""
        found: list[tuple[int, ...]] = []
        for index, link in enumerate(self.links):
            found.append((*(found[link.carrier] if link.carrier is not None else ()), index))
        return tuple(found)

    @cached_property
    def borne(self) -> tuple[tuple[int, ...], ...]:
        """For each joint, the parts that it turns: its own and every part above."""
        count = range(len(self.links))
        return tuple(tuple(u for u in count if joint in self.paths[u]) for joint in count)

    @cached_property
    def _branch_kg(self) -> Array:
        """The mass that each joint bears."""
        return np.array([sum(self.links[u].mass_kg for u in borne) for borne in self.borne])

    @cached_property
    def moments_kg_m(self) -> NDArray[np.complex128]:
        """First moment of each part in its own frame, what it carries lumped at the mounts."""
        found = np.array([link.moment_kg_m for link in self.links], dtype=np.complex128)
        for index, link in enumerate(self.links):
            if link.carrier is not None:
                found[link.carrier] += self._branch_kg[index] * link.mount_m
        return found

    @cached_property
    def inertias_kg_m2(self) -> Array:
        """Inertia of each part about its own hinge, what it carries lumped at the mounts."""
        found = np.array([link.inertia_kg_m2 for link in self.links], dtype=np.float64)
        for index, link in enumerate(self.links):
            if link.carrier is not None:
                found[link.carrier] += self._branch_kg[index] * abs(link.mount_m) ** 2
        return found

    @cached_property
    def couplings(self) -> tuple[tuple[int, int, complex], ...]:
        """(u, v, k_uv exp(i d_uv)) for every ordered pair of which one carries the other."""
        found: list[tuple[int, int, complex]] = []
        for above, path in enumerate(self.paths):
            for below, toward in pairwise(path):
                arm = self.links[toward].mount_m
                k = complex(np.conj(arm) * self.moments_kg_m[above])
                found += [(above, below, k), (below, above, k.conjugate())]
        return tuple(found)

    # -- what is exact for a given motion ---------------------------------------------------

    def directions(self, motion: Motion) -> tuple[Array, Array, Array]:
        """phi (rad), omega (rad/s) and alpha (rad/s2) of each part; shapes as the motion's."""
        shape = (len(self.links), *([1] * (motion.angle_deg.ndim - 1)))
        # one that slides does not turn against what carries it
        senses = [link.sense if link.way is None else 0.0 for link in self.links]
        sense = np.array(senses).reshape(shape)
        straight = np.array([link.straight_deg for link in self.links]).reshape(shape)
        turns = (
            sense * np.radians(motion.angle_deg - straight),
            sense * np.radians(motion.speed_deg_s),
            sense * np.radians(motion.accel_deg_s2),
        )
        phi, omega, alpha = (
            np.stack([turn[list(path)].sum(axis=0) for path in self.paths]) for turn in turns
        )
        return phi, omega, alpha

    def moving_nm(self, motion: Motion) -> Array:
        """Torque (N.m, along growing angle) that each joint needs for the motion alone.

        Without weight, springs and friction. Shape as the motion's.
        """
        phi, omega, alpha = self.directions(motion)
        of_part = self._column(self.inertias_kg_m2, phi.ndim) * alpha
        for u, v, k in self.couplings:
            turned = k * np.exp(1j * (phi[u] - phi[v]))
            of_part[u] += alpha[v] * turned.real + omega[v] ** 2 * turned.imag
        return self._on_joints(of_part)

    def borne_moments_kg_m(self, motion: Motion) -> NDArray[np.complex128]:
        """First moment about each joint of all that it bears, seen by the wearer.

        The real axis is level, the imaginary one up: the weight's torque against a growing phi is
        g times the real part. Shape (joints, ...).
        """
        phi, _, _ = self.directions(motion)
        seen = self._column(self.moments_kg_m, phi.ndim) * np.exp(1j * phi)
        return np.stack([seen[list(borne)].sum(axis=0) for borne in self.borne])

    def greatest_inertia_kg_m2(self, joint: int) -> float:
        """The most that a joint can bear against its own acceleration alone, in any posture."""
        return self.stretched_out_kg_m2(joint, self.inertias_kg_m2)

    def stretched_out_kg_m2(self, joint: int, own_kg_m2: Array) -> float:
        """The inertia that a joint bears of all parts in one line, whose own are given."""
        borne = self.borne[joint]
        coupled = sum(abs(k) for u, v, k in self.couplings if u in borne and v in borne)
        return float(sum(own_kg_m2[u] for u in borne)) + coupled

    def greatest_energy_j(self, joint: int, speeds_deg_s: Sequence[float]) -> float:
        """The most kinetic energy (J) of all that a joint bears, each joint at its greatest speed.

        A bound: every part stretched out, all turning the same way. A part of mass m whose hinge
        goes at h has m h**2 / 2 + h w S + I w**2 / 2 (Koenig's theorem).
        """
        turns = [sum(radians(abs(speeds_deg_s[w])) for w in path) for path in self.paths]
        hinges: list[float] = []
        for link in self.links:
            below = link.carrier
            moved = 0.0 if below is None else hinges[below] + turns[below] * abs(link.mount_m)
            hinges.append(moved)
        total = 0.0
        for u in self.borne[joint]:
            link, hinge, turn = self.links[u], hinges[u], turns[u]
            total += (link.mass_kg * hinge**2 + link.inertia_kg_m2 * turn**2) / 2.0
            total += hinge * turn * abs(link.moment_kg_m)
        return total

    def _on_joints(self, of_part: Array) -> Array:
        return np.stack(
            [
                self.links[joint].sense * of_part[list(borne)].sum(axis=0)
                for joint, borne in enumerate(self.borne)
            ]
        )

    @staticmethod
    def _column(values: NDArray, dimensions: int) -> NDArray:  # type: ignore[type-arg]
        return values.reshape(-1, *([1] * (dimensions - 1)))

    def needed_nm(
        self,
        joint: int,
        motion: Motion,
        gravity_m_s2: float,
        tilt_deg: float,
        upright: bool,
    ) -> Interval:
        """Least and greatest torque (N.m) of one joint in a motion of all, in any posture.

        Posture as in `bounds_nm`; exact.
        """
        sense = self.links[joint].sense
        moving = self.moving_nm(motion)[joint]
        moment = self.borne_moments_kg_m(motion)[joint]
        tilt = radians(tilt_deg)
        toward = np.full(moment.shape, np.pi / 2.0) if upright else np.angle(sense * moment)
        low, high = cosine((toward - tilt, toward + tilt), 0.0)
        pull = np.abs(moment) * gravity_m_s2
        return moving + pull * low, moving + pull * high

    # -- bounds over what the other joints may be doing -------------------------------------

    def bounds_nm(
        self,
        joint: int,
        own: tuple[ArrayLike, ArrayLike, ArrayLike],
        others: Sequence[JointLimits],
        gravity_m_s2: float,
        tilt_deg: float = 0.0,
        upright: bool = False,
    ) -> Interval:
        """Least and greatest torque (N.m) that a joint can need, whatever the others do.

        `own`: angle, speed and acceleration of the joint itself (deg, deg/s, deg/s2), arrays of
        one shape. `others`: how far, how fast and how hard every joint of the chain may go, in
        order; that of `joint` itself is not looked at. The wearer leans up to `tilt_deg` any way;
        `upright`: the hinge lines stand upright while the wearer does.

        A bound, not the extreme: each product of Lagrange's equations is taken at its own worst.
        For two parts it is the extreme but for the cosines that both inertia and weight hold.
        """
        turn, speed, accel = self._turns(joint, own, others)
        low, high = np.zeros_like(turn[joint][0]), np.zeros_like(turn[joint][0])
        for u in self.borne[joint]:
            low, high = plus((low, high), times(self._sum(accel, u), self.inertias_kg_m2[u]))
            upward = self._upward(u, turn, radians(tilt_deg), upright)
            weight = abs(complex(self.moments_kg_m[u])) * gravity_m_s2
            low, high = plus((low, high), times(upward, weight))
        for u, v, k in self.couplings:
            if u not in self.borne[joint]:
                continue
            both = v in self.borne[joint]
            if both and v > u:  # the pair is taken once, from the part above
                continue
            apart = self._between(turn, u, v)
            co, si = (cosine(apart, float(np.angle(k)) - q) for q in (0.0, np.pi / 2.0))
            hard = self._sum(accel, v)
            if both:
                hard = plus(hard, self._sum(accel, u))
                fast = squares_apart(self._sum(speed, v), self._between(speed, u, v))
            else:
                fast = square(self._sum(speed, v))
            of_pair = plus(product(hard, co), product(fast, si))
            low, high = plus((low, high), times(of_pair, abs(k)))
        return (low, high) if self.links[joint].sense > 0.0 else (-high, -low)

    def _turns(
        self, joint: int, own: tuple[ArrayLike, ArrayLike, ArrayLike], others: Sequence[JointLimits]
    ) -> tuple[list[Interval], list[Interval], list[Interval]]:
        """Turn, speed and acceleration of every joint upward (rad, rad/s, rad/s2), as intervals."""
        angle, speed, accel = np.broadcast_arrays(*(np.asarray(v, np.float64) for v in own))
        found: tuple[list[Interval], list[Interval], list[Interval]] = ([], [], [])
        for index, link in enumerate(self.links):
            reach = others[index]
            rows: tuple[Interval, ...] = (
                (angle - link.straight_deg, angle - link.straight_deg),
                (speed, speed),
                (accel, accel),
            )
            if index != joint:
                still = np.zeros_like(angle)
                low, high = (still + end - link.straight_deg for end in reach.angle_deg)
                fast, hard = still + reach.speed_deg_s, still + reach.accel_deg_s2
                rows = ((low, high), (-fast, fast), (-hard, hard))
            for kind, row in zip(found, rows, strict=True):
                kind.append(times(row, radians(1.0) * link.sense))
        return found

    def _sum(self, of_joint: list[Interval], part: int) -> Interval:
        """Of the parts from the root to this one together."""
        return sum_of(of_joint[w] for w in self.paths[part])

    def _between(self, of_joint: list[Interval], u: int, v: int) -> Interval:
        """Of u less that of v, one of which carries the other."""
        above, below = (u, v) if v in self.paths[u] else (v, u)
        joints = [w for w in self.paths[above] if w not in self.paths[below]]
        found = sum_of(of_joint[w] for w in joints)
        return found if above == u else (-found[1], -found[0])

    def _upward(self, part: int, turn: list[Interval], tilt: float, upright: bool) -> Interval:
        """How much of the weight of a part and its lumps turns against its phi, as a share."""
        low, high = self._sum(turn, part)
        if upright:
            share = np.full_like(low, np.sin(min(tilt, np.pi / 2.0)))
            return -share, share
        return cosine((low - tilt, high + tilt), float(np.angle(self.moments_kg_m[part])))
