"""How much slower the moves of a show must be for a supply to bear them, and in which times.

What a supply has to give at the worst hangs on the greatest speed and acceleration of each servo
(`sim.strain.hardest_torque`). So both are brought down, for all servos of the supply alike: speed
by a factor, acceleration by its square, as if all that is quick took so much longer. Only moves
that go beyond that get more time, and a stated acceleration is lowered with them. The least factor
that passes is found by halving.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import ceil, sqrt
from typing import TYPE_CHECKING, Final, TypeAlias

from seqlang.checks.figures import figure
from seqlang.checks.motion.failing_moves import pace_span, slower
from seqlang.checks.rewrite import measures, rewritten
from seqlang.checks.supply.sagging import chip_v, resets
from seqlang.text.findings import Fix, Span
from sim.model import MINIMUM_JERK, Move, Servo, Show, Step
from sim.rig.supply import at_chip_v
from sim.rulebook import COEFFICIENT_ONE
from sim.score.law_numbers import law_numbers
from sim.score.planned_moves import PlannedMove
from sim.score.tree import swapped
from sim.strain.hardest_torque import hardest_torques
from sim.strain.sag import Sag, sags_at
from sim.strain.soundness import sound_moves, sound_show

if TYPE_CHECKING:
    from seqlang.checks.context import Context
    from sim.model import Supply

MOST: Final = 16.0
"""No greater factor is tried: a show in which it is needed is another show (own limit)."""

NEAR: Final = 0.004
"""The factor is found to this share of itself."""

WrittenAt: TypeAlias = tuple[str, int, int]
"""Where a pace is written: path, start and end."""


@dataclass(frozen=True, slots=True)
class SlowEnough:
    """What the supply bears: `factor` at most, and the change of the text that brings it about.

    `named`: the slower moves in words, those that are slowed down most first; `stated`: the lower
    accelerations.
    """

    factor: float
    fix: Fix
    named: tuple[str, ...]
    stated: tuple[str, ...]

    @property
    def words(self) -> str:
        """What to write instead, as the end of a sentence."""
        some = ", ".join(self.named[:_NAMED])
        left = len(self.named) - _NAMED
        others = f", and {left} more" if left > 0 else ""
        lower = f", with `acceleration {self.stated[0]}`" if self.stated else ""
        times = f"up to {figure(self.factor)} times as long"
        return f"let moves take {times}: {some}{others}{lower}" if some else lower[2:]


_NAMED: Final = 3


@dataclass(frozen=True, slots=True)
class NoSlower:
    """That no slower move helps, and why."""

    words: str


HOLDS_TOO_MUCH: Final = NoSlower("no slower move helps")
RUNS_TOO_MUCH: Final = NoSlower(
    "let fewer parts move at once; slower moves do not help, because motors take their running "
    "current at any speed"
)
NOTHING_MOVES: Final = NoSlower("let fewer parts move at once")


def holding(show: Show, supply: Supply) -> list[Sag]:
    """The worst instant of each board of a supply in a show in which nothing moves."""
    still = sags_at(show, hardest_torques(show, (), {}))
    return [sag for sag in still if sag.supply == supply.name]


def slow_enough(context: Context, supply: Supply) -> SlowEnough | NoSlower:
    """The least that the moves at a supply must be slowed down for it, if that helps."""
    slowing = _Slowing(context, supply)
    if not slowing.moves:
        return NOTHING_MOVES
    if not slowing.holds:
        return HOLDS_TOO_MUCH
    if slowing.passes(1.0):  # what is too low is so in a show without moves, too
        return HOLDS_TOO_MUCH
    if not slowing.passes(MOST):
        return RUNS_TOO_MUCH
    low, high = 1.0, MOST
    while high - low > NEAR * low:
        middle = sqrt(low * high)
        low, high = (low, middle) if slowing.passes(middle) else (middle, high)
    return slowing.found(high)


class _Slowing:
    """The moves at one supply, and the show with them slower."""

    def __init__(self, context: Context, supply: Supply) -> None:
        self._context = context
        self._supply = supply
        fed = {board.name for board in context.show.rig.boards if board.supply == supply.name}
        self._servos = {
            o.name: o
            for o in context.sound_show.rig.outputs
            if isinstance(o, Servo) and o.board in fed
        }
        written = {id(step) for step in context.steps}  # a strand also glides back, in other times
        self.moves = [
            one
            for one in context.planned
            if one.move.output in self._servos
            and one.move.duration_ms > 0
            and id(one.move) in written
        ]
        self._asked = [(one.move, *_peaks(one)) for one in self.moves]
        """Each move, with its planned speed (deg/s) and acceleration (deg/s2)."""
        self._peaks = self._of_servos()
        self._paces: dict[int, WrittenAt] = {}
        still = holding(context.sound_show, supply)
        self.holds = not any(sag.collapsed or resets(context, sag) for sag in still)
        """Whether the supply bears a show in which nothing moves."""
        self._limits = {sag.board: self._limit_v(sag) for sag in still}

    def _limit_v(self, sag: Sag) -> float:
        """What the chip of a board must be left with: where it can, what it needs at its clock."""
        chip = self._context.boards[sag.board].electrics
        kept = chip_v(self._context, sag) >= chip.clock_v
        return chip.clock_v if kept else chip.brown_out_v

    def _of_servos(self) -> dict[str, tuple[float, float]]:
        """The greatest planned speed (deg/s) and acceleration (deg/s2) by servo."""
        peaks: dict[str, list[tuple[float, float]]] = {}
        for move, v, a in self._asked:
            peaks.setdefault(move.output, []).append((v, a))
        return {
            name: (max(v for v, _ in those), max(a for _, a in those))
            for name, those in peaks.items()
        }

    def _durations(self, factor: float) -> dict[WrittenAt, tuple[Move, int]]:
        """By place of its pace, the longest time that a move there must take, where it is more."""
        found: dict[WrittenAt, tuple[Move, int]] = {}
        for move, v, a in self._asked:
            most_v, most_a = self._peaks[move.output]
            if v <= 0.0:
                continue
            share = max(factor * v / most_v, factor * sqrt(a / most_a))
            lasts = ceil(move.duration_ms * share - 1e-6)
            if lasts <= move.duration_ms:
                continue
            place = self._pace(move)
            known = found.get(place)
            if known is None or lasts > known[1]:
                found[place] = move, lasts
        return found

    def _pace(self, move: Move) -> WrittenAt:
        """Where its pace is written. It is asked for again with every factor that is tried."""
        found = self._paces.get(move.mark)
        if found is None:
            found = self._paces[move.mark] = _place(pace_span(self._context, move))
        return found

    def _stated(self, factor: float) -> dict[str, float]:
        """The lower accelerations of servos whose own line states one."""
        return {
            name: servo.accel_deg_s2 / factor**2
            for name, servo in self._servos.items()
            if servo.accel_deg_s2 is not None and name in self._peaks
        }

    def passes(self, factor: float) -> bool:
        """Whether the supply bears the show with moves slower by a factor."""
        places = {place: ms for place, (_, ms) in self._durations(factor).items()}
        show = _slowed(self._context.show, self._change(places), self._stated(factor))
        sound = sound_show(show)
        asked = sags_at(sound, hardest_torques(sound, sound_moves(show), {}))
        own = [sag for sag in asked if sag.supply == self._supply.name]
        return not any(
            sag.collapsed
            or at_chip_v(sound.rig, self._context.boards[sag.board], sag.voltage_v)
            < self._limits[sag.board]
            for sag in own
        )

    def _change(self, places: Mapping[WrittenAt, int]) -> Callable[[Step], Step]:
        def change(step: Step) -> Step:
            if not isinstance(step, Move):
                return step
            lasts = places.get(self._pace(step), 0)
            return replace(step, duration_ms=max(lasts, step.duration_ms))

        return change

    def found(self, factor: float) -> SlowEnough | NoSlower:
        """What is to be written, the move that is slowed down most first."""
        rows = sorted(
            self._durations(factor).values(), key=lambda row: -row[1] / row[0].duration_ms
        )
        times = [slower(self._context, move, lasts) for move, lasts in rows]
        lower = []
        for name, accel in self._stated(factor).items():
            servo = self._servos[name]
            if self._context.has_part(servo.mark, "acceleration"):
                span = self._context.span(servo.mark, "acceleration")
                measure = measures(servo).acceleration
                lower.append(rewritten(self._context, span, accel, measure, "down"))
        unique = {_place(one.span): one for one in (*times, *lower)}
        if not unique:
            return NOTHING_MOVES
        first, *others = unique.values()
        named = tuple(
            f"`{self._context.text(self._context.span(move.mark))}` as `{fix.text}`"
            for (move, _), fix in zip(rows, times, strict=True)
        )
        fix = replace(first, more=tuple((one.span, one.text) for one in others))
        stated = tuple(dict.fromkeys(one.text for one in lower))
        return SlowEnough(factor, fix, named, stated)


def _peaks(one: PlannedMove) -> tuple[float, float]:
    """Speed and acceleration of a planned move, as its table's limits count them."""
    numbers = law_numbers(one.move.law)
    accel = numbers.ca or law_numbers(MINIMUM_JERK).ca
    seconds = one.move.duration_ms / 1000.0
    way = abs(one.move.angle_deg - one.from_deg) / COEFFICIENT_ONE
    return numbers.cv * way / seconds, accel * way / seconds**2


def _slowed(show: Show, change: Callable[[Step], Step], stated: Mapping[str, float]) -> Show:
    cues = tuple(replace(cue, body=swapped(cue.body, change)) for cue in show.score.cues)
    outputs = tuple(
        replace(o, accel_deg_s2=stated[o.name]) if isinstance(o, Servo) and o.name in stated else o
        for o in show.rig.outputs
    )
    return replace(
        show, rig=replace(show.rig, outputs=outputs), score=replace(show.score, cues=cues)
    )


def _place(span: Span) -> WrittenAt:
    return span.path, span.start, span.end
