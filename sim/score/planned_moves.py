"""Which moves a show may ask of each servo: from where each may start, and how fast it may be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, floor, inf, sqrt
from typing import Final

from sim.model import (
    MINIMUM_JERK,
    Cue,
    Follow,
    InTurn,
    Move,
    Repeat,
    Servo,
    Show,
    Step,
    Together,
)
from sim.rulebook import (
    COEFFICIENT_ONE,
    LARGEST_LIMIT,
)
from sim.score.draws import at_its_hardest
from sim.score.law_numbers import law_numbers
from sim.score.tree import (
    TREES_KEPT,
    Lengths,
    OneStep,
    acts,
    children,
    duration_ms,
    in_time,
    passes,
    timeline,
)

REST_ANGLES_KEPT: Final = 16
"""A servo with more rest angles is represented by that many, the extremes among them."""


@dataclass(frozen=True, slots=True)
class PlannedMove:
    """A move and one angle that it can start from.

    `entry`: the cue's first move of that servo, so the start is where an earlier cue or the safe
    pose left the part; otherwise the start is known from the cue itself.
    """

    cue: str
    move: Move
    from_deg: float
    start_ms: float
    entry: bool


@dataclass(frozen=True, slots=True)
class _FirstAndLastMove:
    """A servo's first and last move in time inside a step, with their starts: of the first in its
    first pass, of the last in its last."""

    first: Move
    first_ms: float
    last: Move
    last_ms: float

    def beside(self, other: _FirstAndLastMove) -> _FirstAndLastMove:
        """Of both together; of two that start at once the one before the other in the text."""
        first = other if other.first_ms < self.first_ms else self
        last = self if self.last_ms > other.last_ms else other
        return _FirstAndLastMove(first.first, first.first_ms, last.last, last.last_ms)


def planned_moves(show: Show) -> tuple[PlannedMove, ...]:
    """Every move with every angle it can start from.

    A cue's first move of a servo starts from each of that servo's rest angles, a strand's from the
    safe angle. Later ones start from the target before them; the first of a `repeat` also from
    where the body ends. A strand also glides back to each of its targets. Of what is drawn, the
    least, the middle and the greatest target count, and the shortest time. A part that follows a
    source goes to and fro between its ends, as quickly as it may; its cue is `FOLLOWING`.
    """
    show = at_its_hardest(show)
    rest = rest_angles(show)
    found = _written(show, rest)
    return tuple(found + _glides(show, rest, found) + _following(show))


def glides(show: Show) -> dict[str, list[PlannedMove]]:
    """By servo, the moves by which its part glides back into idle, from each of its rest angles."""
    found: dict[str, list[PlannedMove]] = {}
    if show.score.idle:
        show = at_its_hardest(show)
        rest = rest_angles(show)
        for one in _glides(show, rest, _written(show, rest)):
            found.setdefault(one.move.output, []).append(one)
    return found


def _glides(
    show: Show, rest: dict[str, tuple[float, ...]], written: list[PlannedMove]
) -> list[PlannedMove]:
    """No faster than the limits that the written moves give to the table."""
    strands = [cue for cue in show.score.cues if cue.name in show.score.idle]
    if not strands:
        return []
    limits = motion_limits(show, written)
    found: dict[tuple[str, float, float], PlannedMove] = {}
    for cue in strands:
        for start, step in in_time(cue.body):
            if not isinstance(step, Move) or step.output not in rest:
                continue
            for angle in rest[step.output]:
                least = _least_ms(abs(step.angle_deg - angle), limits[step.output])
                move = replace(step, duration_ms=max(show.score.glide_ms, least), law=MINIMUM_JERK)
                key = step.output, angle, step.angle_deg
                found.setdefault(key, PlannedMove(cue.name, move, angle, start, True))
    return list(found.values())


def _least_ms(way_deg: float, limits: tuple[int, int]) -> int:
    """The shortest minimum-jerk move over a way within a table's limits, in whole ms."""
    speed, accel = (max(1, limit - 1) for limit in limits)  # what was rounded up by that much
    cv, ca, *_ = law_numbers(MINIMUM_JERK)
    by_speed = cv * way_deg / COEFFICIENT_ONE / speed
    by_accel = sqrt(ca * way_deg / COEFFICIENT_ONE / accel)
    return ceil(1000.0 * max(by_speed, by_accel))


def _written(show: Show, rest: dict[str, tuple[float, ...]]) -> list[PlannedMove]:
    found: list[PlannedMove] = []
    for cue in show.score.cues:
        at: dict[str, float] = {}
        for start, step in in_time(cue.body):
            if not isinstance(step, Move):
                continue
            entry = step.output not in at
            starts = rest.get(step.output, ()) if entry else (at[step.output],)
            if entry and cue.name in show.score.idle:
                starts = starts[:1]  # the safe angle
            found += [PlannedMove(cue.name, step, angle, start, entry) for angle in starts]
            at[step.output] = step.angle_deg
        found += (PlannedMove(cue.name, *again, False) for again in _passed(OneStep(cue.body))[0])
        if cue.name in show.score.idle:
            found += _over_again(cue, at)
    return found


def _over_again(cue: Cue, ends_deg: dict[str, float]) -> list[PlannedMove]:
    """The moves with which a strand that has an end begins anew."""
    length = duration_ms(cue.body)
    firsts: dict[str, tuple[float, Move]] = {}
    for start, step in in_time(cue.body):
        if isinstance(step, Move):
            firsts.setdefault(step.output, (start, step))
    return [
        PlannedMove(cue.name, move, ends_deg[name], start + length, False)
        for name, (start, move) in firsts.items()
        if length < inf
    ]


def last_moves(cue: Cue) -> dict[str, Move]:
    """By servo, the last move in time that a cue makes."""
    return {name: one.last for name, one in _passed(OneStep(cue.body))[1].items()}


@lru_cache(maxsize=TREES_KEPT)
def _passed(root: OneStep) -> tuple[list[tuple[Move, float, float]], dict[str, _FirstAndLastMove]]:
    """The moves that begin a second pass of a repeat, and the passages of the whole by servo.

    Of such a move also where it starts (deg) and when (ms).
    """
    lengths = Lengths(root.step)
    found: list[tuple[Move, float, float]] = []
    passages: list[dict[str, _FirstAndLastMove]] = []  # of finished steps, the first child on top
    for start, step in reversed(list(timeline(root.step))):
        own = _joined([passages.pop() for _ in children(step)])
        passages.append(own)
        if isinstance(step, Move):
            own[step.output] = _FirstAndLastMove(step, start, step, start)
        elif isinstance(step, Repeat) and (step.while_held or passes(step) > 1):
            late = lengths[step.body]
            found += [(p.first, p.last.angle_deg, p.first_ms + late) for p in own.values()]
            later = 0.0 if late == 0.0 else (passes(step) - 1) * late
            for name, p in own.items():
                own[name] = _FirstAndLastMove(p.first, p.first_ms, p.last, p.last_ms + later)
    return found, passages.pop()


def _joined(inner: list[dict[str, _FirstAndLastMove]]) -> dict[str, _FirstAndLastMove]:
    """Passages of children in their order; the largest is filled up, to stay near linear."""
    if not inner:
        return {}
    middle = max(range(len(inner)), key=lambda n: len(inner[n]))
    whole = inner[middle]
    for part in reversed(inner[:middle]):
        for output, early in part.items():
            whole[output] = early.beside(whole[output]) if output in whole else early
    for part in inner[middle + 1 :]:
        for output, late in part.items():
            whole[output] = whole[output].beside(late) if output in whole else late
    return whole


def rest_angles(show: Show) -> dict[str, tuple[float, ...]]:
    """Per servo, the angles that the show can leave the part at: the safe angle first.

    The others, ascending: where each cue ends; and every target of a cue that ends by being taken
    over (idle, or a repeat without end) or let go, since that may happen anywhere in it; and places
    all along the way of what a servo follows. A servo
    with more than `REST_ANGLES_KEPT` is represented by its extremes and an even choice of the rest.
    """
    show = at_its_hardest(show)
    servos = {output.name: output for output in show.rig.outputs if isinstance(output, Servo)}
    found: dict[str, set[float]] = {name: set() for name in servos}
    for cue in show.score.cues:
        if cue.name in show.score.idle or cue.let_go or duration_ms(cue.body) == inf:
            for act in acts(cue.body):
                if isinstance(act, Move) and act.output in found:
                    found[act.output].add(act.angle_deg)
        for name, move in last_moves(cue).items():
            if name in found:
                found[name].add(move.angle_deg)
    for name, (low, high) in followed_deg(show).items():
        found[name].update(low + (high - low) * n / 4.0 for n in range(5))
    return {name: _rest(servos[name].safe_deg, angles) for name, angles in found.items()}


def _rest(safe: float, angles: set[float]) -> tuple[float, ...]:
    others = sorted(angles - {safe})
    room = REST_ANGLES_KEPT - 1
    if len(others) > room:
        others = [others[n * (len(others) - 1) // (room - 1)] for n in range(room)]
    return (safe, *others)


# -- parts that follow a source -------------------------------------------------------------------

FOLLOWING: Final = "what follows"
"""In place of a cue's name: parts that follow a source, as if a hand moved it without a pause."""


def followed_deg(show: Show) -> dict[str, tuple[float, float]]:
    """By servo that follows a source, the least and the greatest angle that this asks of it.

    Those of its two ends; mixed with idle, also as far beyond them as a strand moves the part to
    either side of where it rests. Never beyond its travel.
    """
    servos = {output.name: output for output in show.rig.outputs if isinstance(output, Servo)}
    found = {}
    for follow in show.rig.follows:
        one = servos.get(follow.output)
        if one is None:
            continue
        ends = sorted((follow.target_from, follow.target_to))
        aside = [0.0, *_moved_aside(show, one)] if follow.mixed else [0.0]
        low, high = (
            min(max(at, one.travel_deg[0]), one.travel_deg[1])
            for at in (ends[0] + min(aside), ends[1] + max(aside))
        )
        found[one.name] = (low, high)
    return found


def _moved_aside(show: Show, one: Servo) -> Iterator[float]:
    """How far idle moves a part from where it rests."""
    for cue in at_its_hardest(show).score.cues:
        if cue.name in show.score.idle:
            for act in acts(cue.body):
                if isinstance(act, Move) and act.output == one.name:
                    yield act.angle_deg - one.safe_deg


def followed_ms(show: Show) -> dict[str, int]:
    """By servo that follows a source, in what time (ms) a move of the usual law goes from the one
    of its angles to the other at the limits of following."""
    servos = {output.name: output for output in show.rig.outputs if isinstance(output, Servo)}
    cv, ca, *_ = law_numbers(MINIMUM_JERK)
    found = {}
    for follow in show.rig.follows:
        if follow.output not in servos:
            continue
        low, high = followed_deg(show)[follow.output]
        way = high - low
        v, a = _quickest(follow)
        stated = servos[follow.output].accel_deg_s2
        hard = a if stated is None else min(a, stated)
        by_speed = cv * way / v / COEFFICIENT_ONE if v else 0.0
        by_gain = (ca * way / hard / COEFFICIENT_ONE) ** 0.5 if hard else 0.0
        found[follow.output] = max(follow.way_ms, ceil(1000.0 * max(by_speed, by_gain) - 1e-6))
    return found


def _following(show: Show) -> list[PlannedMove]:
    """The moves of parts that follow, from each end of their ways to the other."""
    marks = {follow.output: follow.mark for follow in show.rig.follows}
    lasts = followed_ms(show)
    return [
        PlannedMove(
            FOLLOWING, Move(name, end, lasts[name], MINIMUM_JERK, marks[name]), start, 0.0, False
        )
        for name, (low, high) in followed_deg(show).items()
        for start, end in ((low, high), (high, low))
        if low < high
    ]


def following_cue(show: Show) -> Cue | None:
    """All parts that follow, going to and fro as quickly as they may; None: nothing follows.

    Each comes to the first of its ends at no more than the limits of following.
    """
    lasts = followed_ms(show)
    parts: list[Step] = []
    for name, (low, high) in followed_deg(show).items():
        one = next(o for o in show.rig.outputs if isinstance(o, Servo) and o.name == name)
        if low == high:
            continue
        far = one.travel_deg[1] - one.travel_deg[0]
        there, back = (Move(name, at, lasts[name], MINIMUM_JERK) for at in (high, low))
        first = replace(back, duration_ms=ceil(lasts[name] * max(1.0, far / (high - low))))
        parts.append(InTurn((first, Repeat(InTurn((there, back)), None))))
    return Cue(FOLLOWING, "", Together(tuple(parts))) if parts else None


# -- limits ---------------------------------------------------------------------------------------


def motion_limits(
    show: Show, planned: Iterable[PlannedMove] | None = None
) -> dict[str, tuple[int, int]]:
    """Per servo, the limits a table states: speed in deg/s and acceleration in deg/s2.

    The speed is the largest that any planned move reaches; the acceleration is the servo's stated
    one, or the largest planned. Both are rounded up to a whole number plus one, so that the
    coefficients' rounding in a table stretches no planned move, and are at most `LARGEST_LIMIT`.

    A `uniform` move has no finite acceleration; for braking it counts as a minimum-jerk move.
    What a servo follows a source with counts as a planned move between both ends.
    `planned`: the show's planned moves, if they are known already.
    """
    if not any(isinstance(output, Servo) for output in show.rig.outputs):
        return {}  # rehearsals of lights alone are many
    speed: dict[str, float] = {}
    acceleration: dict[str, float] = {}
    coefficients: dict[int, tuple[int, int]] = {}  # by law, each of which some move keeps alive
    for one in planned_moves(show) if planned is None else tuple(planned):
        move = one.move
        if move.duration_ms <= 0:
            continue
        name, seconds = move.output, move.duration_ms / 1000.0
        way = abs(move.angle_deg - one.from_deg)
        known = coefficients.get(id(move.law))
        if known is None:
            cv, ca, *_ = law_numbers(move.law)
            known = coefficients[id(move.law)] = (cv, ca or law_numbers(MINIMUM_JERK).ca)
        v = known[0] * way / seconds / COEFFICIENT_ONE
        a = known[1] * way / seconds**2 / COEFFICIENT_ONE
        if v > speed.get(name, 0.0):
            speed[name] = v
        if a > acceleration.get(name, 0.0):
            acceleration[name] = a
    for follow in show.rig.follows:
        v, a = _quickest(follow)
        speed[follow.output] = max(v, speed.get(follow.output, 0.0))
        acceleration[follow.output] = max(a, acceleration.get(follow.output, 0.0))
    return {
        servo.name: (
            _limit(speed.get(servo.name, 0.0)),
            _limit(servo.accel_deg_s2 or acceleration.get(servo.name, 0.0)),
        )
        for servo in show.rig.outputs
        if isinstance(servo, Servo)
    }


def follow_limits(follow: Follow, limits: tuple[int, int]) -> tuple[int, int]:
    """Speed (deg/s) and acceleration (deg/s2) with which a servo follows its source at most.

    `limits`: the servo's own, which it never exceeds.
    """
    v, a = (max(1, floor(most)) for most in _quickest(follow))
    return min(v, limits[0]), min(a, limits[1])


def _quickest(follow: Follow) -> tuple[float, float]:
    """The peaks of a minimum-jerk move from one end to the other in the time of its way."""
    seconds = follow.way_ms / 1000.0
    way = abs(follow.target_to - follow.target_from)
    cv, ca, *_ = law_numbers(MINIMUM_JERK)
    return cv * way / seconds / COEFFICIENT_ONE, ca * way / seconds**2 / COEFFICIENT_ONE


def _limit(peak: float) -> int:
    return min(LARGEST_LIMIT, ceil(peak) + 1)
