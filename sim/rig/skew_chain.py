"""Parts on parts whose hinge lines are not parallel: a wing that folds across, a head that nods on
a neck that turns.

Each part has a frame of its own: x along its zero line, z along its hinge line, y where it rises.
The hinge line of a part that it carries is turned from z by an angle about x (`Link.turned_deg`).
So the frames follow from one another by R = R_carrier Rx(turned) Rz(turn), and Newton's and Euler's
laws, from the root outwards, give what each part asks for:

    omega = omega_c + z w,   alpha = alpha_c + z a + omega_c x z w
    a_hinge = a_c + alpha_c x d + omega_c x (omega_c x d)
    force   = m a_hinge + alpha x s + omega x (omega x s)
    moment about the hinge = s x a_hinge + J alpha + omega x J omega

with s the first moment and J the inertia about the hinge. A joint's torque is the part along its z
of all moments about it of what it bears. (Newton-Euler recursion: Luh, Walker and Paul 1980, as in
Spong, Hutchinson and Vidyasagar, Robot Modeling and Control, 2006; from memory, and held against
Lagrange's equations in the tests.) Parallel lines keep the closed form of `sim.rig.chain`.

What the other joints may be doing is bounded by the same recursion over intervals, seen from the
joint's own frame. The angles of the others are taken in `CELLS` pieces, each on the safe side.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product as pairings
from math import cos, radians, sin
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array
from sim.rig.chain import Chain, Motion
from sim.rig.intervals import Interval, cosine, plus, product, square, times

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sim.model import JointLimits, Link


CELLS: Final = 16
"""The angles of the other joints are bounded in so many pieces together at the most (own limit)."""

Ends: TypeAlias = "Interval | float"
"""An interval, or a number that is known."""

Vector: TypeAlias = "tuple[Ends, Ends, Ends]"
Matrix: TypeAlias = "tuple[Vector, Vector, Vector]"
"""By rows."""


@dataclass(frozen=True)
class SkewChain(Chain):
    """Parts on parts from one root, of which some hinge lines are turned from their carriers'."""

    @cached_property
    def _extents_kg_m2(self) -> Array:
        """Second moment of each part and its lumps about the middle of its own hinge line."""
        found = np.array([link.inertia_kg_m2 + link.flank_kg_m2 for link in self.links])
        for index, link in enumerate(self.links):
            if link.carrier is not None:
                found[link.carrier] += self._branch_kg[index] * abs(link.mount_m) ** 2
        return np.asarray(found)

    def greatest_inertia_kg_m2(self, joint: int) -> float:
        """As of any chain: every part stretched out, square to the joint's hinge line."""
        return self.stretched_out_kg_m2(joint, self._extents_kg_m2)

    def greatest_energy_j(self, joint: int, speeds_deg_s: Sequence[float]) -> float:
        """As of any chain. About any line through its hinge a part has no more than tr(S)."""
        about_any = (
            replace(link, inertia_kg_m2=link.inertia_kg_m2 + link.flank_kg_m2)
            for link in self.links
        )
        return Chain(tuple(about_any)).greatest_energy_j(joint, speeds_deg_s)

    # -- what is exact for a given motion ---------------------------------------------------

    def directions(self, motion: Motion) -> tuple[Array, Array, Array]:
        """Raises TypeError: these parts do not move in one plane; ask `needed_nm`."""
        raise TypeError("parts that turn across have no directions in one plane")

    def moving_nm(self, motion: Motion) -> Array:
        """Torque (N.m) that each joint needs for the motion alone; see `Chain.moving_nm`."""
        joints = range(len(self.links))
        return np.stack([self.needed_nm(n, motion, 0.0, 0.0, False)[0] for n in joints])

    def needed_nm(
        self,
        joint: int,
        motion: Motion,
        gravity_m_s2: float,
        tilt_deg: float,
        upright: bool,
    ) -> Interval:
        """Least and greatest torque (N.m) of one joint in a motion of all, in any posture."""
        turns = [
            tuple(_turned(link, row[n], kind == 0) for kind, row in enumerate(_rows(motion)))
            for n, link in enumerate(self.links)
        ]
        exact = [tuple((value, value) for value in turn) for turn in turns]
        moving, weight, up = self._seen(joint, exact, upright)
        pull = np.sqrt(sum(_mid(one) ** 2 for one in weight))
        along = np.asarray(sum(_mid(a) * _mid(b) for a, b in zip(weight, up, strict=True)))
        with np.errstate(invalid="ignore", divide="ignore"):
            between = np.arccos(np.clip(np.where(pull > 0.0, along / pull, 1.0), -1.0, 1.0))
        tilt = radians(tilt_deg)
        sense = self.links[joint].sense
        low, high = cosine((between - tilt, between + tilt), 0.0)
        # over a cone an angle is at most half a turn
        low = np.where(between + tilt >= np.pi, -1.0, low)
        high = np.where(between <= tilt, 1.0, high)
        whole = (
            _mid(moving) + gravity_m_s2 * pull * low,
            _mid(moving) + gravity_m_s2 * pull * high,
        )
        return whole if sense > 0.0 else (-whole[1], -whole[0])

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

        As of any chain; a bound on the safe side of that with parallel lines.
        """
        angle, speed, accel = np.broadcast_arrays(*(np.asarray(v, np.float64) for v in own))
        shape = angle.shape
        involved = [
            u for u in dict.fromkeys((*self.paths[joint], *self.borne[joint])) if u != joint
        ]
        pieces = max(1, int(CELLS ** (1.0 / max(len(involved), 1)) + 1e-9))
        cells = np.array(list(pairings(range(pieces), repeat=len(involved)))).reshape(
            -1, len(involved)
        )
        turns: list[tuple[Interval, ...]] = []
        for index, link in enumerate(self.links):
            if index == joint:
                rows = (angle.ravel()[None], speed.ravel()[None], accel.ravel()[None])
                known = [_turned(link, row, kind == 0) for kind, row in enumerate(rows)]
                turns.append(tuple((value, value) for value in known))
                continue
            reach = others[index]
            low, high = reach.angle_deg
            step = (high - low) / pieces
            first = low + step * (cells[:, [involved.index(index)]] if index in involved else 0.0)
            first = np.asarray(first, dtype=np.float64).reshape(-1, 1)
            width = step if index in involved else high - low
            turn = times((first - link.straight_deg, first + width - link.straight_deg), _rad(link))
            fast, hard = (np.radians([[v]]) for v in (reach.speed_deg_s, reach.accel_deg_s2))
            turns.append((turn, (-fast, fast), (-hard, hard)))
        moving, weight, up = self._seen(joint, turns, upright)
        leant = _leant(weight, up, radians(tilt_deg))
        whole = _add(moving, _scaled(leant, gravity_m_s2))
        size = (cells.shape[0], angle.size)
        ends = [np.broadcast_to(end, size) for end in _pair(whole)]
        low_nm, high_nm = ends[0].min(axis=0).reshape(shape), ends[1].max(axis=0).reshape(shape)
        return (low_nm, high_nm) if self.links[joint].sense > 0.0 else (-high_nm, -low_nm)

    # -- both -------------------------------------------------------------------------------

    def _seen(
        self, joint: int, turns: Sequence[tuple[Interval, ...]], upright: bool
    ) -> tuple[Ends, Vector, Vector]:
        """Torque of the motion along a joint's z; z x first moment of what it bears; and up.

        All in the frame of the joint's part. `turns`: angle (rad), speed, acceleration of each.
        """
        up: Vector = (0.0, 0.0, 1.0) if upright else (0.0, 1.0, 0.0)
        omega: Vector = (0.0, 0.0, 0.0)
        alpha, pull = omega, omega
        for step in self.paths[joint]:
            link = self.links[step]
            d = _flat(link.mount_m)
            pull = _sum3(pull, _accelerated(omega, alpha, d))
            frame = _frame(link.turned_deg, turns[step][0])
            up, omega, alpha, pull = (_back(frame, v) for v in (up, omega, alpha, pull))
            z: Vector = (0.0, 0.0, 1.0)
            omega, alpha = _driven(omega, alpha, z, turns[step])
        return (*self._borne(joint, turns, omega, alpha, pull), up)

    def _borne(
        self,
        joint: int,
        turns: Sequence[tuple[Interval, ...]],
        omega: Vector,
        alpha: Vector,
        pull: Vector,
    ) -> tuple[Ends, Vector]:
        """Of all that a joint bears: the torque of the motion, and z x first moment."""
        one: Matrix = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
        at: dict[int, tuple[Matrix, Vector, Vector, Vector, Vector]] = {
            joint: (one, (0.0, 0.0, 0.0), omega, alpha, pull)
        }
        torque: Ends = 0.0
        moment: Vector = (0.0, 0.0, 0.0)
        for u in self.borne[joint]:
            link = self.links[u]
            if u != joint:
                assert link.carrier is not None
                frame, place, w, a, hinge = at[link.carrier]
                d = _turn(frame, _flat(link.mount_m))
                place, hinge = _sum3(place, d), _sum3(hinge, _accelerated(w, a, d))
                frame = _after(frame, _rolled(link.turned_deg))
                z = (frame[0][2], frame[1][2], frame[2][2])
                w, a = _driven(w, a, z, turns[u])
                frame = _after(frame, _frame(0.0, turns[u][0]))
                at[u] = frame, place, w, a, hinge
            frame, place, w, a, hinge = at[u]
            s = _turn(frame, _flat(link.moment_kg_m))
            force = _sum3(_scale3(hinge, link.mass_kg), _accelerated(w, a, s))
            torque = _add(torque, _cross_z(place, force))
            torque = _add(torque, _cross_z(s, hinge))
            torque = _add(torque, self._turning(link, frame, w, a))
            moment = _sum3(moment, _sum3(_scale3(place, link.mass_kg), s))
        # z x (x, y, z) = (-y, x, 0)
        return torque, (_scaled(moment[1], -1.0), moment[0], 0.0)

    def _turning(self, link: Link, frame: Matrix, w: Vector, a: Vector) -> Ends:
        """z part of J alpha + omega x J omega, with J = tr(S) - S, S the second moments.

        tr(S) omega has no part in omega x J omega. In the part's frame S has no terms with z.
        """
        inner = _second_moments(link)
        trace = link.inertia_kg_m2 + link.flank_kg_m2
        turned_a, turned_w = (_second(inner, frame, v) for v in (a, w))
        return _add(
            _add(_scaled(a[2], trace), _scaled(turned_a[2], -1.0)),
            _scaled(_cross_z(w, turned_w), -1.0),
        )


def _second_moments(link: Link) -> tuple[float, float, float, float]:
    """Sxx, Syy, Sxy and Szz of a part in its own frame (kg.m2)."""
    along, across, both = link.spread_kg_m2
    return along, across, both, link.flank_kg_m2


def _second(inner: tuple[float, float, float, float], frame: Matrix, v: Vector) -> Vector:
    """R S R^T v."""
    xx, yy, xy, zz = inner
    x, y, z = _back(frame, v)
    own = (
        _add(_scaled(x, xx), _scaled(y, xy)),
        _add(_scaled(x, xy), _scaled(y, yy)),
        _scaled(z, zz),
    )
    return _turn(frame, own)


def _rows(motion: Motion) -> tuple[Array, Array, Array]:
    return motion.angle_deg, motion.speed_deg_s, motion.accel_deg_s2


def _rad(link: Link) -> float:
    return radians(1.0) * link.sense


def _turned(link: Link, value: Array, angle: bool) -> Array:
    return np.asarray((value - link.straight_deg if angle else value) * _rad(link))


def _driven(
    omega: Vector, alpha: Vector, z: Vector, turn: tuple[Interval, ...]
) -> tuple[Vector, Vector]:
    """omega and alpha of a part, those of its carrier given in the same frame as its hinge line."""
    _, speed, accel = turn
    about = tuple(_mul(one, speed) for one in z)
    whirl = _cross(omega, (about[0], about[1], about[2]))
    pushed = tuple(_mul(one, accel) for one in z)
    return (
        _sum3(omega, (about[0], about[1], about[2])),
        _sum3(_sum3(alpha, (pushed[0], pushed[1], pushed[2])), whirl),
    )


def _accelerated(omega: Vector, alpha: Vector, d: Vector) -> Vector:
    """alpha x d + omega x (omega x d); of the squares each is taken once."""
    x, y, z = omega
    xx, yy, zz = _squared(x), _squared(y), _squared(z)
    xy, yz, zx = _mul(x, y), _mul(y, z), _mul(z, x)
    rows: Matrix = (
        (_scaled(_add(yy, zz), -1.0), xy, zx),
        (xy, _scaled(_add(zz, xx), -1.0), yz),
        (zx, yz, _scaled(_add(xx, yy), -1.0)),
    )
    return _sum3(_cross(alpha, d), _turn(rows, d))


def _leant(weight: Vector, up: Vector, tilt: float) -> Ends:
    """weight . up for every up within `tilt` of the given one.

    cos(psi - tau) is at most cos psi cos tau + sin tau, and never more than 1; with |weight| alike.
    """
    along = _add(_add(_mul(weight[0], up[0]), _mul(weight[1], up[1])), _mul(weight[2], up[2]))
    length = np.sqrt(sum(np.asarray(_pair(_squared(one))[1]) for one in weight))
    low, high = _pair(along)
    if tilt >= np.pi / 2.0:
        return -length, length
    lean, less = sin(tilt) * length, cos(tilt)
    return np.maximum(less * low - lean, -length), np.minimum(less * high + lean, length)


# -- vectors and matrices of intervals ------------------------------------------------------------


def _pair(a: Ends) -> Interval:
    return a if isinstance(a, tuple) else (np.asarray(a), np.asarray(a))


def _mid(a: Ends) -> Array:
    low, high = _pair(a)
    return np.asarray((low + high) / 2.0)


def _add(a: Ends, b: Ends) -> Ends:
    if not isinstance(a, tuple) and a == 0.0:
        return b
    if not isinstance(b, tuple) and b == 0.0:
        return a
    return plus(_pair(a), _pair(b))


def _scaled(a: Ends, factor: float) -> Ends:
    if factor == 0.0:
        return 0.0
    return times(a, factor) if isinstance(a, tuple) else a * factor


def _mul(a: Ends, b: Ends) -> Ends:
    if not isinstance(a, tuple):
        return _scaled(b, a)
    if not isinstance(b, tuple):
        return _scaled(a, b)
    return product(a, b)


def _squared(a: Ends) -> Ends:
    return square(a) if isinstance(a, tuple) else a * a


def _sum3(a: Vector, b: Vector) -> Vector:
    return _add(a[0], b[0]), _add(a[1], b[1]), _add(a[2], b[2])


def _scale3(a: Vector, factor: float) -> Vector:
    return _scaled(a[0], factor), _scaled(a[1], factor), _scaled(a[2], factor)


def _cross(a: Vector, b: Vector) -> Vector:
    def part(i: int, j: int) -> Ends:
        return _add(_mul(a[i], b[j]), _scaled(_mul(a[j], b[i]), -1.0))

    return part(1, 2), part(2, 0), part(0, 1)


def _cross_z(a: Vector, b: Vector) -> Ends:
    return _add(_mul(a[0], b[1]), _scaled(_mul(a[1], b[0]), -1.0))


def _dot(a: Vector, b: Vector) -> Ends:
    return _add(_add(_mul(a[0], b[0]), _mul(a[1], b[1])), _mul(a[2], b[2]))


def _turn(m: Matrix, v: Vector) -> Vector:
    return _dot(m[0], v), _dot(m[1], v), _dot(m[2], v)


def _back(m: Matrix, v: Vector) -> Vector:
    """The transpose of `m` times `v`."""
    a, b, c = ((m[0][n], m[1][n], m[2][n]) for n in range(3))
    return _dot(a, v), _dot(b, v), _dot(c, v)


def _after(m: Matrix, n: Matrix) -> Matrix:
    columns = [_turn(m, (n[0][k], n[1][k], n[2][k])) for k in range(3)]
    a, b, c = ((columns[0][k], columns[1][k], columns[2][k]) for k in range(3))
    return a, b, c


def _rolled(turned_deg: float) -> Matrix:
    """Rx: a hinge line turned about the carrier's zero line."""
    c, s = cos(radians(turned_deg)), sin(radians(turned_deg))
    c, s = (0.0 if abs(v) < 1e-15 else v for v in (c, s))
    return (1.0, 0.0, 0.0), (0.0, c, -s), (0.0, s, c)


def _frame(turned_deg: float, angle: Interval) -> Matrix:
    """Rx(turned) Rz(angle)."""
    c, s = cosine(angle, 0.0), cosine(angle, -np.pi / 2.0)
    minus = times(s, -1.0)
    turn: Matrix = ((c, minus, 0.0), (s, c, 0.0), (0.0, 0.0, 1.0))
    return turn if turned_deg == 0.0 else _after(_rolled(turned_deg), turn)


def _flat(place: complex) -> Vector:
    return place.real, place.imag, 0.0
