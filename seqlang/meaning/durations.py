"""How long a motion takes: durations as written, from a speed, from limits, or the shortest.

Where a move starts is not always known from the text: then it starts from whichever place is
farthest (or slowest) among those that the show can leave the part at
(`sim.score.planned_moves.rest_angles`).
"""

from __future__ import annotations

import re
from dataclasses import replace
from math import ceil
from typing import TYPE_CHECKING, Final, NamedTuple

from lark import Token

from seqlang.meaning.notes import Fault
from seqlang.meaning.values import Reading
from seqlang.text.findings import Fix, Span
from seqlang.text.syntax import Amount, LawText, Pace, Ranged, names_in, place
from seqlang.text.units import DURATION, PERCENT, PartMeasures
from sim.model import MINIMUM_JERK, UNIFORM, Law, Rig, Servo
from sim.rulebook import FRAME_MS, LONGEST_DURATION_MS, PEAK_SHARES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sim.strain.shortest import Impossible

LEAST_MS: Final = FRAME_MS
"""A duration that is worked out is at least one frame."""

MOST_SEARCHED: Final = 500
"""Different moves `as fast as it can` of a show: each takes a search through its physics."""

_UNEASED: Final = re.compile(r"((?:, *uniform)? *, *)fastest\b")
_SLACK: Final = 1e-9
"""Share of a duration that may be lost to rounding before it counts as a millisecond more."""


class PartWay(NamedTuple):
    """One servo's part in a statement: where to, and the angles it may come from."""

    output: str
    to_deg: float
    from_deg: Sequence[float]


class Timing(NamedTuple):
    """What a statement's pace comes to."""

    duration_ms: int
    move_law: Law
    fade_law: Law
    most_ms: int | None = None
    """The duration is drawn, up to this."""


class Pacer:
    """Works out timings of one show; remembers what it has worked out."""

    def __init__(self, reading: Reading, rig: Rig, provisional: bool) -> None:
        self._reading = reading
        self._rig = rig
        self._servos = {o.name: o for o in rig.outputs if isinstance(o, Servo)}
        self._provisional = provisional
        """Only `in` counts; all else takes a frame. For finding where parts are left."""
        self._laws: dict[str, Law] = {}
        self._shortest: dict[tuple[str, float, float, Law], int | Impossible] = {}
        self._is_full = False

    def timing(self, pace: Pace, law: LawText | None, ways: Sequence[PartWay]) -> Timing:
        """Duration and laws of a statement. Raises Fault."""
        move_law, fade_law = self._laws_of(law, fades=not ways)
        if pace.kind == "in" and isinstance(pace.amounts[0], Ranged):
            least, most = drawn_times(self._reading, pace.amounts[0], "a duration")
            return Timing(least, move_law, fade_law, most)
        if pace.kind == "in":
            return Timing(
                self._reading.milliseconds(pace.amounts[0], "a duration"), move_law, fade_law
            )
        if not ways:
            self._reading.error(
                "wrong-kind",
                f"`{self._reading.text(pace)}` is for moves; a fade needs a time",
                pace,
                help="such as `in 500 ms`",
                fix="in 500 ms",
            )
            raise Fault
        if self._provisional:
            return Timing(LEAST_MS, move_law, fade_law)
        if pace.kind == "within":
            duration, move_law = self._within(pace, ways)
            return Timing(duration, move_law, fade_law)
        if pace.kind == "at":
            return Timing(self._at(pace, move_law, ways), move_law, fade_law)
        return Timing(self._soonest(pace, move_law, ways), move_law, fade_law)

    def travel_deg(self, output: str) -> tuple[float, float] | None:
        """The travel of a servo, if the rig has it."""
        servo = self._servos.get(output)
        return None if servo is None else servo.travel_deg

    # -- laws -------------------------------------------------------------------------------

    def _laws_of(self, text: LawText | None, *, fades: bool) -> tuple[Law, Law]:
        """The laws of a statement's moves and of its fades. Raises Fault."""
        if text is None:
            return MINIMUM_JERK, UNIFORM
        if text.name is not None:
            law = self.law(text)
            return law, law
        assert text.peak is not None
        peak = self._peak(text.peak, UNIFORM if fades else MINIMUM_JERK)
        return replace(MINIMUM_JERK, peak=peak), UNIFORM

    def law(self, text: LawText) -> Law:
        """The law a statement names. Raises Fault."""
        plain = not text.shares and text.peak is None
        key = str(text.name) if plain else self._reading.text(text)
        known = self._laws.get(key)
        if known is None:
            known = self._new_law(text)
            if not any(names_in((*text.shares, text.peak))):
                self._laws[key] = known
        return known

    def _new_law(self, text: LawText) -> Law:
        law = self._even_law(text)
        return law if text.peak is None else replace(law, peak=self._peak(text.peak, law))

    def _peak(self, amount: Amount, law: Law) -> float:
        value = self._reading.share(amount)
        if law.name == "uniform":
            self._reading.error(
                "wrong-kind",
                "`uniform` is as fast everywhere",
                amount,
                help="name another law, such as `3-4-5, fastest at 30 %`",
                fix=self._with_law(amount),
            )
            raise Fault
        low, high = PEAK_SHARES
        if not low <= value <= high:
            limit = 100.0 * (low if value < low else high)
            if self._reading.quantity(amount).dimension != PERCENT and low <= value / 100.0 <= high:
                limit = value  # a bare figure was meant in percent
            self._reading.error(
                "number-out-of-range",
                f"a move is fastest at {100 * low:g} % to {100 * high:g} % of its time, "
                f"but `{self._reading.text(amount)}` is written",
                amount,
                asked=100.0 * value,
                limit=limit,
                fix=f"{limit:g} %",
                unit="%",
            )
            raise Fault
        return value

    def _with_law(self, amount: Amount) -> Fix | None:
        """`uniform`, or nothing, before `fastest` exchanged for the law of a move."""
        source, end = self._reading.source, place(amount).start
        start = source.line_starts[source.line_number(end) - 1]
        found = _UNEASED.search(source.text, start, end)
        if found is None:
            return None
        return Fix(Span(source.path, *found.span(1)), ", 3-4-5, ")

    def _even_law(self, text: LawText) -> Law:
        assert text.name is not None
        if not text.shares:
            return Law(" ".join(text.name.split()))  # type: ignore[arg-type]  # a LAW token
        shares = [self._share(share) for share in text.shares]
        if text.name.type == "TRAPEZOID":
            return Law("trapezoid", shares[0])
        return Law("double-S", shares[0], shares[1])

    def _share(self, amount: object) -> float:
        assert isinstance(amount, tuple | Token)
        value = self._reading.share(amount)  # type: ignore[arg-type]  # tuple: a Sum
        if not 0.0 < value <= 0.5:
            self._reading.error(
                "number-out-of-range",
                f"the share of a ramp must be more than 0 and at most 1/2, "
                f"but `{self._reading.text(amount)}` is written",
                amount,
                asked=value,
                limit=0.5,
                fix="1/2" if value > 0.5 else None,
            )
            raise Fault
        return value

    # -- durations --------------------------------------------------------------------------

    def _at(self, pace: Pace, law: Law, ways: Sequence[PartWay]) -> int:
        """From the top speed of the part that has farthest to go: T = Cv h / v."""
        from sim.score.laws import coefficients

        measure = self._motion(pace, ways).speed
        speed = self._reading.within(pace.amounts[0], measure, "a speed", above=0)
        way = max(abs(way.to_deg - start) for way in ways for start in way.from_deg)
        return _whole(1000.0 * coefficients(law).cv * way / speed)

    def _within(self, pace: Pace, ways: Sequence[PartWay]) -> tuple[int, Law]:
        """The fastest double-S within the limits, for the part that has farthest to go."""
        from sim.score.laws import double_s

        reading = self._reading
        if any(way.output in reading.spinning for way in ways):
            reading.error(
                "wrong-kind",
                "`within` is for a way, and a part that turns round and round has none",
                pace,
                help="say how steeply its speed rises, such as `at 60 rpm/s`",
            )
            raise Fault
        speed, accel, jerk = (
            reading.tried(reading.within, amount, measure, what, above=0)
            for amount, measure, what in zip(
                pace.amounts,
                self._motion(pace, ways)[1:4],
                ("a speed", "an acceleration", "a jerk"),
                strict=True,
            )
        )
        if speed is None or accel is None or jerk is None:
            raise Fault
        way = max(abs(way.to_deg - start) for way in ways for start in way.from_deg)
        seconds, law = double_s(way, speed, accel, jerk)
        return _whole(1000.0 * seconds), law

    def _motion(self, pace: Pace, ways: Sequence[PartWay]) -> PartMeasures:
        """The measures of the parts of one statement, which must be the same. Raises Fault."""
        reading = self._reading
        kinds = {id(reading.motion(way.output)) for way in ways}
        if len(kinds) > 1:
            reading.error(
                "wrong-kind",
                "parts that turn, parts that move along a line and parts that turn round and "
                "round have no speed in common",
                pace,
                help="give them a time, such as `in 500 ms`, or a statement each",
            )
            raise Fault
        return reading.motion(ways[0].output)

    def _soonest(self, pace: Pace, law: Law, ways: Sequence[PartWay]) -> int:
        """The shortest in which each of the parts can go, from each place it may come from."""
        from sim.strain.envelope import assess

        longest = LEAST_MS
        for way in ways:
            servo = self._servos.get(way.output)
            if servo is None:
                raise Fault
            # The farthest start nearly always needs longest: the others are tried at its time.
            far, *others = sorted(way.from_deg, key=lambda start: -abs(way.to_deg - start))
            longest = max(longest, self._shortest_ms(servo, far, way.to_deg, law, pace))
            starts = [start for start in others if start != way.to_deg]
            if starts:
                passes = assess(self._rig, servo, starts, way.to_deg, longest, law).passes
                volts = self._reading.beside.get(way.output)
                if volts is not None:
                    low = assess(self._rig, servo, starts, way.to_deg, longest, law, volts)
                    passes = passes & low.passes
                for start in (s for s, good in zip(starts, passes, strict=True) if not good):
                    longest = max(longest, self._shortest_ms(servo, start, way.to_deg, law, pace))
        return longest

    def _shortest_ms(self, servo: Servo, start: float, to: float, law: Law, pace: Pace) -> int:
        from sim.strain.shortest import Impossible, shortest_duration_ms

        key = (servo.name, start, to, law)
        if key not in self._shortest:
            if len(self._shortest) == MOST_SEARCHED:
                self._too_many(pace)
            try:
                alone = shortest_duration_ms(self._rig, servo, start, to, law)
            except Impossible as impossible:
                self._shortest[key] = impossible
            else:
                self._shortest[key] = self._reading.fastest[key] = max(
                    alone, self._shortest_beside_ms(servo, start, to, law)
                )
        found = self._shortest[key]
        if isinstance(found, Impossible):
            unit = self._reading.motion(servo.name).place.unit
            self._reading.error(
                "impossible-move",
                f"`{servo.name}` cannot go from {start:g} {unit} to {to:g} {unit} at all: "
                f"{found.reason}",
                pace,
                help=found.remedy,
            )
            raise Fault
        return found

    def _shortest_beside_ms(self, servo: Servo, start: float, to: float, law: Law) -> int:
        """The shortest beside the other parts; 0 where that is not known, or none passes there."""
        from sim.strain.shortest import Impossible, shortest_duration_ms

        volts = self._reading.beside.get(servo.name)
        if volts is None:
            return 0
        try:
            return shortest_duration_ms(self._rig, servo, start, to, law, volts)
        except Impossible:  # that is for `voltage-sag` to say
            return 0

    def _too_many(self, pace: Pace) -> None:
        """Note it once, and raise Fault."""
        if not self._is_full:
            self._is_full = True
            self._reading.error(
                "too-many-searches",
                f"this is one more than the {MOST_SEARCHED} different moves "
                f"`{self._reading.text(pace)}` that are calculated for a show",
                pace,
                help="give the others a time; `bellcrank check` says if it is too short",
                asked=MOST_SEARCHED + 1,
                limit=MOST_SEARCHED,
            )
        raise Fault


def _whole(milliseconds: float) -> int:
    return max(LEAST_MS, ceil(milliseconds * (1.0 - _SLACK)))


def drawn_times(reading: Reading, text: Ranged, what: str) -> tuple[int, int]:
    """The least and the most of a time that is drawn, in ms. Raises Fault."""
    longest = LONGEST_DURATION_MS
    most = reading.within(text.most, DURATION, f"{what} that is drawn", 1, longest)
    least = reading.within(text.least, DURATION, f"{what} that is drawn", 1, longest)
    in_order(reading, text, least, most)
    return round(least), round(most)


def in_order(reading: Reading, text: Ranged, least: float, most: float) -> None:
    """That what is drawn is written from the least to the most. Raises Fault."""
    if least <= most:
        return
    low, high = reading.text(text.least), reading.text(text.most)
    reading.error(
        "number-out-of-range",
        f"what is drawn is written from the least to the most, but `{low}` is more than `{high}`",
        text,
        help=f"write `{high} .. {low}`",
        fix=f"{high} .. {low}",
    )
    raise Fault


def is_derived(pace: Pace) -> bool:
    """Whether a pace needs to know where the parts come from."""
    return pace.kind != "in"
