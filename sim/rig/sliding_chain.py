"""Parts on parts of which some slide: a head that rises with its jaw, a tongue in a jaw.

A part that slides does not turn against what carries it: both share one frame. So the turning
joints alone make the frames, and a slide moves masses and hinges about within one. With r the place
of a slide or hinge in its frame, phi, omega and alpha of the frame, w the direction of a slide in
it and s its way, what stands on it accelerates by

    e**(i phi) ((i alpha - omega**2) r + s'' w + 2 i omega s' w)

the last term being Coriolis'. A turning joint bears the moment of the rates of momentum about its
hinge, a slide their component along its line (Newton and Euler's equations, plane motion; the
generalised forces of Lagrange's equations: the tests derive those anew). In the model a slide's mm
stand in the fields of degrees and its force times `PINION_M` in those of torque (`sim.rig.slide`).

Bounds. What a joint bears is linear in each way s, but for the term M s**2 alpha of what the slide
carries: over s and s**2, each between its ends, the extremes lie at ends. For each choice of ends
the frames are a chain of turning parts (`sim.rig.chain`), which has its own bound; the slides' own
speeds and accelerations are added to it as intervals.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import product as every
from math import radians
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array
from sim.model import JointLimits, Link
from sim.rig.chain import Chain, Motion
from sim.rig.intervals import Interval, cosine, plus, product, square, sum_of, times
from sim.rig.skew_chain import SkewChain
from sim.rig.slide import PINION_M

Places = NDArray[np.complex128]

STILL: Final = JointLimits((0.0, 0.0), 0.0, 0.0)
"""How far the costume goes, seen from the wearer."""


@dataclass(frozen=True)
class SlidingChain(Chain):
    """Parts on parts from one root, some of which slide; see the module's head."""

    # -- frames -----------------------------------------------------------------------------

    @cached_property
    def frames(self) -> tuple[int, ...]:
        """For each part, the number of its frame; 0 is the costume."""
        found: list[int] = []
        count = 0
        for link in self.links:
            if link.way is None:
                count += 1
                found.append(count)
            else:
                found.append(0 if link.carrier is None else found[link.carrier])
        return tuple(found)

    @cached_property
    def hinges(self) -> tuple[int, ...]:
        """The turning part that makes each frame, behind that of the costume."""
        return tuple(u for u, link in enumerate(self.links) if link.way is None)

    @cached_property
    def slides(self) -> tuple[int, ...]:
        return tuple(u for u, link in enumerate(self.links) if link.way is not None)

    @cached_property
    def under(self) -> tuple[int, ...]:
        """For each part, the frame that its hinge or line stands in."""
        return tuple(
            0 if link.carrier is None else self.frames[link.carrier] for link in self.links
        )

    def in_frame(self, ways_m: Sequence[ArrayLike]) -> list[Places]:
        """Where each part's own origin is in the frame that it stands in, at the slides' ways.

        A hinge is where its mount is; it is 0 in the frame that it makes.
        """
        found: list[Places] = []
        for u, link in enumerate(self.links):
            below = link.carrier
            on_slide = below is not None and self.links[below].way is not None
            start = found[below] if below is not None and on_slide else np.complex128(0.0)
            moved = start + link.mount_m
            if link.way is not None:
                moved = moved + np.asarray(ways_m[u], dtype=np.float64) * link.way
            found.append(np.asarray(moved, dtype=np.complex128))
        return found

    # -- what is exact for a given motion ---------------------------------------------------

    def moving_nm(self, motion: Motion) -> Array:
        """Torque (N.m) that each joint needs for the motion alone; see `Chain.moving_nm`."""
        phi, omega, alpha = self.directions(motion)
        at, hurried = self._origins(motion)
        turned = np.exp(1j * phi)
        force, moment = [], []
        for u, link in enumerate(self.links):
            own = turned[u] * link.moment_kg_m
            force.append(link.mass_kg * hurried[u] + (1j * alpha[u] - omega[u] ** 2) * own)
            moment.append(link.inertia_kg_m2 * alpha[u] + (np.conj(own) * hurried[u]).imag)
        found = []
        for joint, link in enumerate(self.links):
            borne = self.borne[joint]
            if link.way is None:
                arms = {u: np.conj(at[u] - at[joint]) for u in borne}
                total = sum(moment[u] + (arms[u] * force[u]).imag for u in borne)
                found.append(link.sense * np.asarray(total))
            else:
                along = np.conj(turned[joint] * link.way)
                found.append(PINION_M * (along * sum(force[u] for u in borne)).real)
        return np.stack(found)

    def _origins(self, motion: Motion) -> tuple[list[Places], list[Places]]:
        """Where each part's origin is, seen by the wearer, and its acceleration (m, m/s2)."""
        phi, omega, alpha = self.directions(motion)
        at: list[Places] = []
        hurried: list[Places] = []
        for u, link in enumerate(self.links):
            below, step = link.carrier, np.asarray(link.mount_m, dtype=np.complex128)
            rest = np.zeros(motion.angle_deg.shape[1:], dtype=np.complex128)
            if link.way is not None:
                step = step + motion.angle_deg[u] / 1000.0 * link.way
            start, pushed = (at[below], hurried[below]) if below is not None else (rest, rest)
            face = phi[below] if below is not None else 0.0
            spin = omega[below] if below is not None else 0.0
            wind = alpha[below] if below is not None else 0.0
            within = (1j * wind - spin**2) * step
            if link.way is not None:
                fast, hard = motion.speed_deg_s[u] / 1000.0, motion.accel_deg_s2[u] / 1000.0
                within = within + (hard + 2j * spin * fast) * link.way
            turned = np.exp(1j * np.asarray(face))
            at.append(np.asarray(start + turned * step))
            hurried.append(np.asarray(pushed + turned * within))
        return at, hurried

    def borne_moments_kg_m(self, motion: Motion) -> Places:
        """First moment about each joint of all that it bears; see `Chain.borne_moments_kg_m`.

        Of a slide: its mass times the direction of its line, so turned that g times the real part
        is the weight's force (in the model's fields of torque) against it.
        """
        phi, _, _ = self.directions(motion)
        at, _ = self._origins(motion)
        found = []
        for joint, link in enumerate(self.links):
            if link.way is None:
                moments = (
                    np.exp(1j * phi[u]) * self.links[u].moment_kg_m
                    + self.links[u].mass_kg * (at[u] - at[joint])
                    for u in self.borne[joint]
                )
                found.append(np.asarray(sum(moments)))
            else:
                kg = float(self._branch_kg[joint])
                found.append(-1j * kg * PINION_M * np.exp(1j * phi[joint]) * link.way)
        return np.stack(found)

    def greatest_inertia_kg_m2(self, joint: int) -> float:
        """The most that a joint can bear against its own acceleration alone, in any posture."""
        if self.links[joint].way is not None:
            return float(self._branch_kg[joint]) * PINION_M**2
        total = 0.0
        for u in self.borne[joint]:
            far, link = self.stretched_m(joint, u), self.links[u]
            total += link.inertia_kg_m2 + far * (2.0 * abs(link.moment_kg_m) + link.mass_kg * far)
        return total

    def stretched_m(self, joint: int, part: int) -> float:
        """The farthest that a part's origin can be from that of a joint that bears it."""
        path = self.paths[part]
        above = path[path.index(joint) + 1 :]
        return sum(abs(self.links[w].mount_m) + self.links[w].reach_m for w in above)

    def greatest_energy_j(self, joint: int, speeds_deg_s: Sequence[float]) -> float:
        """The most kinetic energy (J) of all that a joint bears; see `Chain.greatest_energy_j`."""
        turns: list[float] = []
        moved: list[float] = []
        for link, speed in zip(self.links, speeds_deg_s, strict=True):
            below = link.carrier
            turn = 0.0 if below is None else turns[below]
            pace = 0.0 if below is None else moved[below]
            pace += turn * (abs(link.mount_m) + link.reach_m)
            slides = link.way is not None
            moved.append(pace + (abs(speed) / 1000.0 if slides else 0.0))
            turns.append(turn + (0.0 if slides else radians(abs(speed))))
        total = 0.0
        for u in self.borne[joint]:
            link = self.links[u]
            total += (link.mass_kg * moved[u] ** 2 + link.inertia_kg_m2 * turns[u] ** 2) / 2.0
            total += moved[u] * turns[u] * abs(link.moment_kg_m)
        return total

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
        """Least and greatest torque that a joint can need; see `Chain.bounds_nm` and the head."""
        place, speed, accel = np.broadcast_arrays(*(np.asarray(v, np.float64) for v in own))
        posture = (gravity_m_s2, radians(tilt_deg), upright)
        moving = self._moving(joint, speed, accel, others)
        slides = self.links[joint].way is not None
        low = high = None
        for ways_m, squares in self._ends(joint, place, others):
            if slides:
                found = self._on_slide(joint, ways_m, moving, posture)
            else:
                found = self._on_hinge(
                    *(joint, ways_m, squares, (place, speed, accel), others, moving, posture)
                )
            low = found[0] if low is None else np.minimum(low, found[0])
            high = found[1] if high is None else np.maximum(high, found[1])
        assert low is not None
        assert high is not None
        return low, high

    def _ends(
        self, joint: int, place: Array, others: Sequence[JointLimits]
    ) -> Iterator[tuple[list[Array | float], list[float]]]:
        """Ways (m) of all slides at their ends, and how much their squares are off (m2).

        The joint's own way is known. For each of the others the way and its square are taken at
        their ends, independently.
        """
        choices: list[list[tuple[Array | float, float]]] = []
        for u, link in enumerate(self.links):
            if link.way is None:
                choices.append([(0.0, 0.0)])
            elif u == joint:
                choices.append([(place / 1000.0, 0.0)])
            else:
                ends = [end / 1000.0 for end in others[u].angle_deg]
                least = 0.0 if ends[0] <= 0.0 <= ends[1] else min(end**2 for end in ends)
                squares = (least, max(end**2 for end in ends))
                choices.append([(end, s2 - end**2) for end in set(ends) for s2 in set(squares)])
        for row in every(*choices):
            yield [way for way, _ in row], [off for _, off in row]

    def _moving(
        self, joint: int, speed: Array, accel: Array, others: Sequence[JointLimits]
    ) -> _Moving:
        """Directions, speeds and accelerations of frames and slides, as intervals."""
        still = np.zeros_like(speed)
        turn, spin, wind = ([(still, still)] for _ in range(3))
        fast: list[Interval] = []
        hard: list[Interval] = []
        for u, link in enumerate(self.links):
            limits = others[u]
            if u == joint:
                rates: tuple[Interval, Interval] = ((speed, speed), (accel, accel))
            else:
                v, a = still + limits.speed_deg_s, still + limits.accel_deg_s2
                rates = ((-v, v), (-a, a))
            unit = 1e-3 if link.way is not None else radians(1.0) * link.sense
            fast.append(times(rates[0], unit))
            hard.append(times(rates[1], unit))
            if link.way is None:
                low, high = (still + end - link.straight_deg for end in limits.angle_deg)
                below = self.under[u]
                turn.append(plus(turn[below], times((low, high), unit)))
                spin.append(plus(spin[below], fast[u]))
                wind.append(plus(wind[below], hard[u]))
        return _Moving(self, turn, spin, wind, fast, hard)

    def _on_hinge(
        self,
        joint: int,
        ways_m: list[Array | float],
        squares: list[float],
        own: tuple[Array, Array, Array],
        others: Sequence[JointLimits],
        moving: _Moving,
        posture: tuple[float, float, bool],
    ) -> Interval:
        gravity, tilt, upright = posture
        sense = self.links[joint].sense
        frozen = _frozen(self, tuple(map(float, ways_m)), tuple(squares))
        far = [STILL, *(others[u] for u in self.hinges)]
        low, high = frozen.bounds_nm(
            self.frames[joint], own, far, gravity, float(np.degrees(tilt)), upright
        )
        turns = moving.turned_by(joint, own[0])
        for slide in self.slides:
            for frame, moment in self._both_bear(slide, joint, ways_m).items():
                z = moment.conjugate() * self._way(slide)
                rush = turns.rush(slide, frame, z, np.pi / 2.0)
                low, high = plus((low, high), rush if sense > 0.0 else (-rush[1], -rush[0]))
        return low, high

    def _on_slide(
        self,
        joint: int,
        ways_m: list[Array | float],
        moving: _Moving,
        posture: tuple[float, float, bool],
    ) -> Interval:
        gravity, tilt, upright = posture
        way, here = self._way(joint), self.frames[joint]
        kg = float(self._branch_kg[joint])
        found = times(moving.upward(here, way, tilt, upright), kg * gravity)
        for frame, moment in self._momentum_arms(joint, ways_m).items():
            z = np.conj(way) * moment
            co = moving.apart(frame, here, np.angle(z))
            si = moving.apart(frame, here, np.angle(z) + np.pi / 2.0)
            found = plus(found, _scaled(product(moving.wind[frame], si), np.abs(z)))
            slow = _scaled(product(square(moving.spin[frame]), co), np.abs(z))
            found = plus(found, (-slow[1], -slow[0]))
        for slide in self.slides:
            common = set(self.borne[slide]) & set(self.borne[joint])
            if common:
                shared = sum(self.links[u].mass_kg for u in common)
                z = np.conj(way) * self._way(slide) * shared
                # counted from this frame to that of the slide
                found = plus(found, moving.rush(slide, here, complex(z), 0.0))
        return times(found, PINION_M)

    def _way(self, slide: int) -> complex:
        way = self.links[slide].way
        assert way is not None
        return way

    def _both_bear(self, slide: int, joint: int, ways_m: list[Array | float]) -> dict[int, complex]:
        """First moment about a hinge of what it and a slide both bear, by frame, in that frame."""
        both = set(self.borne[slide]) & set(self.borne[joint])
        return {f: complex(m) for f, m in self._moments(both, joint, ways_m).items()}

    def _momentum_arms(self, joint: int, ways_m: list[Array | float]) -> dict[int, Places]:
        """First moment about the costume of what a slide bears, by frame, in that frame."""
        return self._moments(set(self.borne[joint]), None, ways_m)

    def _moments(
        self, parts: set[int], about: int | None, ways_m: list[Array | float]
    ) -> dict[int, Places]:
        places = self.in_frame(ways_m)
        found: dict[int, Places] = {}

        def add(frame: int, moment: Places | complex) -> None:
            found[frame] = np.asarray(found.get(frame, np.complex128(0.0)) + moment)

        for u in parts:
            link = self.links[u]
            add(self.frames[u], link.moment_kg_m)
            # down along what carries it: where it, and then each hinge below, stands in its frame
            at: int | None = u
            while at is not None and at != about:
                add(self.under[at], link.mass_kg * places[at])
                at = self._hinge_under(at)
        return found

    def _hinge_under(self, part: int) -> int | None:
        """The turning part that makes the frame in which a part stands; None: the costume."""
        frame = self.under[part]
        return self.hinges[frame - 1] if frame else None


@dataclass(frozen=True)
class _Moving:
    """Directions (rad), speeds and accelerations of frames and slides, as intervals."""

    chain: SlidingChain
    turn: list[Interval]
    spin: list[Interval]
    wind: list[Interval]
    fast: list[Interval]
    """Of each part, along its own joint: m/s of a slide."""
    hard: list[Interval]

    def turned_by(self, joint: int, angle_deg: Array) -> _Moving:
        """The same with the angle of one turning joint known."""
        chain = self.chain
        still = np.zeros_like(angle_deg)
        link, frame = chain.links[joint], chain.frames[joint]
        known = radians(1.0) * link.sense * (angle_deg - link.straight_deg)
        turn = list(self.turn)
        turn[frame] = plus(turn[chain.under[joint]], (known, known))
        for n, hinge in enumerate(chain.hinges, 1):
            if hinge != joint and joint in chain.paths[hinge]:
                below = chain.under[hinge]
                own = tuple(a - b for a, b in zip(self.turn[n], self.turn[below], strict=True))
                turn[n] = plus(turn[below], (still + own[0], still + own[1]))
        return _Moving(chain, turn, self.spin, self.wind, self.fast, self.hard)

    def between(self, frame: int, other: int) -> Interval:
        """How far `frame` is turned against `other`, one of which carries the other."""
        if frame == other:
            still = np.zeros_like(self.turn[frame][0])
            return still, still
        upper, lower = max(frame, other), min(frame, other)
        rows = []
        at = upper
        while at != lower:
            below = self.chain.under[self.chain.hinges[at - 1]]
            (a, b), (c, d) = self.turn[at], self.turn[below]
            rows.append((a - c, b - d))
            at = below
        found = sum_of(rows)
        return found if frame == upper else (-found[1], -found[0])

    def apart(self, frame: int, other: int, ahead: ArrayLike) -> Interval:
        """cos(phi of `frame` less that of `other` + ahead)."""
        low, high = self.between(frame, other)
        more = np.asarray(ahead, dtype=np.float64)
        return cosine((low + more, high + more), 0.0)

    def upward(self, frame: int, way: complex, tilt: float, upright: bool) -> Interval:
        """How much of a weight pulls against a line, as a share."""
        low, high = self.turn[frame]
        if upright:
            share = np.full_like(low, np.sin(min(tilt, np.pi / 2.0)))
            return -share, share
        return cosine((low - tilt, high + tilt), float(np.angle(way)) - np.pi / 2.0)

    def rush(self, slide: int, frame: int, z: complex, quarter: float) -> Interval:
        """What a slide's own acceleration and Coriolis' do through an arm z, seen from a frame.

        Re(z e**(i D) (s'' + 2 i omega s')) for `quarter` 0 and the imaginary part for a quarter
        turn, D being how far the slide's frame is turned against `frame`.
        """
        own = self.chain.frames[slide]
        ahead = float(np.angle(z)) - quarter
        straight = product(self.hard[slide], self.apart(own, frame, ahead))
        across = self.apart(own, frame, ahead + np.pi / 2.0)
        twist = times(product(self.spin[own], self.fast[slide]), 2.0)
        return times(plus(straight, product(twist, across)), abs(z))


def _scaled(a: Interval, factor: Array) -> Interval:
    """Times an array that is nowhere negative."""
    return a[0] * factor, a[1] * factor


@lru_cache(maxsize=512)
def _frozen(chain: SlidingChain, ways_m: tuple[float, ...], squares: tuple[float, ...]) -> Chain:
    """The frames as turning parts, the slides held at `ways_m`; the first is the costume.

    `squares`: how much more than `ways_m` squared the square of each way is taken (m2).
    """
    places = chain.in_frame(ways_m)
    count = len(chain.hinges) + 1
    mass, moment, inertia = np.zeros(count), np.zeros(count, dtype=np.complex128), np.zeros(count)
    for u, link in enumerate(chain.links):
        frame = chain.frames[u]
        at = complex(places[u]) if link.way is not None else 0j
        mass[frame] += link.mass_kg
        moment[frame] += link.moment_kg_m + link.mass_kg * at
        inertia[frame] += link.inertia_kg_m2 + link.mass_kg * abs(at) ** 2
        inertia[frame] += 2.0 * (at.conjugate() * link.moment_kg_m).real
        if link.way is not None:
            inertia[frame] += float(chain._branch_kg[u]) * squares[u]
    rows = [Link("", None, 1.0, 0.0, 0j, mass[0], complex(moment[0]), float(inertia[0]))]
    for n, u in enumerate(chain.hinges, 1):
        link = chain.links[u]
        rows.append(
            Link(
                *(link.name, chain.under[u], link.sense, link.straight_deg, complex(places[u])),
                *(float(mass[n]), complex(moment[n]), float(inertia[n])),
            )
        )
    return Chain(tuple(rows))


@lru_cache(maxsize=64)
def chain_of(links: tuple[Link, ...]) -> Chain:
    """The chain of these links, each behind what carries it: they turn, across or not, or slide."""
    if any(link.way is not None for link in links):
        return SlidingChain(links)
    across = any(link.turned_deg for link in links)
    return SkewChain(links) if across else Chain(links)
