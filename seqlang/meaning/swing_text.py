"""Drawing back, going too far and breathing as they are written in a show."""

from __future__ import annotations

from math import ceil, floor
from typing import TYPE_CHECKING, cast

from lark import Token

from seqlang.meaning.notes import Fault
from seqlang.meaning.swing import (
    ANTICIPATION,
    BREATH_MS,
    MOST,
    OVERSHOOT,
    SHORTEST_BREATH_MS,
    SHORTEST_BREATHING_MS,
    SwingMove,
    breaths,
    least_ms,
    pieces,
)
from seqlang.meaning.values import Reading
from seqlang.text.syntax import ActText, HoldText, Line, Strike
from seqlang.text.units import DURATION, PERCENT
from sim.rulebook import LONGEST_DURATION_MS, MOST_TIMES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from seqlang.meaning.durations import Pacer, PartWay, Timing
    from seqlang.text.syntax import Amount


def _each_once(reading: Reading, stated: Sequence[Line]) -> dict[str, Line]:
    """The lines by their kind. Raises Fault where one is stated twice."""
    lines: dict[str, Line] = {}
    for line in stated:
        if line.kind in lines:
            reading.error(
                "duplicate-line",
                f"`{line.items[0]}` is stated twice",
                line,
                related=((lines[line.kind], "first stated here"),),
            )
            raise Fault
        lines[line.kind] = line
    return lines


def swung(
    reading: Reading,
    pacer: Pacer,
    statement: ActText | Strike,
    ways: Sequence[PartWay],
    timing: Timing,
    lost: bool = False,
) -> dict[str, tuple[SwingMove, ...]]:
    """By output, what each part's move consists of; empty for plain moves. Raises Fault.

    `lost`: a statement before could not be read, and may have brought the parts anywhere.
    """
    if not statement.swing:
        return {}
    if statement.pace.kind != "in":
        reading.error(
            "wrong-kind",
            "`anticipation` and `overshoot` need the time of the whole move",
            statement.pace,
            help="such as `in 800 ms`",
        )
        raise Fault
    lines = _each_once(reading, statement.swing)
    shares = {"anticipation": 0.0, "overshoot": 0.0}
    shares |= {kind: _share(reading, line) for kind, line in lines.items()}
    found = {}
    for way in ways:
        start = _start(reading, way, lines, lost)
        for kind, line in lines.items():
            _within_travel(reading, pacer, way, start, line, shares[kind])
        back, beyond = shares["anticipation"], shares["overshoot"]
        try:
            found[way.output] = pieces(start, way.to_deg, timing.duration_ms, back, beyond)
        except ValueError:
            least = least_ms(start, way.to_deg, back, beyond)
            reading.error(
                "number-out-of-range",
                f"`{way.output}` has no time for it in {timing.duration_ms} ms",
                statement.pace,
                help=f"at least `in {least} ms`",
                fix=f"in {least} ms",
                asked=timing.duration_ms,
                limit=least,
                unit="ms",
            )
            raise Fault from None
    return found


def _share(reading: Reading, line: Line) -> float:
    """How far, as a share of the way."""
    usual = ANTICIPATION if line.kind == "anticipation" else OVERSHOOT
    if len(line.items) < 2:
        return usual
    share = reading.share(line.amount(1))
    if not 0.0 < share <= MOST:
        reading.error(
            "number-out-of-range",
            f"`{line.kind}` is a share of the way, more than 0 and at most {MOST:.0%}",
            line.amount(1),
            help="a move that goes farther than that is a statement of its own",
            fix=_within_most(reading, line.amount(1), share),
            asked=100 * share,
            limit=100 * MOST,
            unit="%",
        )
        raise Fault
    return share


def _within_most(reading: Reading, amount: Amount, share: float) -> str | None:
    """A share that passes: a bare figure from 1 to 50 was meant in percent."""
    if reading.quantity(amount).dimension != PERCENT and 1.0 <= share <= 100.0 * MOST:
        return f"{share:g} %"
    return f"{100 * MOST:g} %" if share > MOST else None


def _start(reading: Reading, way: PartWay, lines: Mapping[str, Line], lost: bool) -> float:
    """Where the part starts: it must be known which way it goes, and to draw back, from where.

    Of several places the farthest.
    """
    places = sorted(set(way.from_deg))
    sides = {place < way.to_deg for place in places if place != way.to_deg}
    if len(sides) > 1 or ("anticipation" in lines and len(places) > 1):
        if lost:
            raise Fault
        reading.error(
            "wrong-kind",
            f"where `{way.output}` starts is not known here, because another cue may have moved it",
            next(iter(lines.values())),
            help=f"bring `{way.output}` to its start first",
        )
        raise Fault
    return max(places, key=lambda place: abs(way.to_deg - place))


def _within_travel(
    reading: Reading, pacer: Pacer, way: PartWay, start: float, line: Line, share: float
) -> None:
    """Raises Fault where a part would leave its travel."""
    kind, travel = line.kind, pacer.travel_deg(way.output)
    whole = way.to_deg - start
    if travel is None or whole == 0.0 or not travel[0] <= way.to_deg <= travel[1]:
        return  # a check says so
    end = start - share * whole if kind == "anticipation" else way.to_deg + share * whole
    if travel[0] <= end <= travel[1]:
        return
    limit = travel[end > travel[1]]
    room = abs(limit - (start if kind == "anticipation" else way.to_deg)) / abs(whole)
    fits = floor(1000.0 * room) / 10.0
    unit = reading.motion(way.output).place.unit
    reading.error(
        "number-out-of-range",
        f"`{kind}` brings `{way.output}` to {end:.4g} {unit}, and its travel ends at "
        f"{limit:g} {unit}",
        line,
        help=f"at most `{kind} {fits:g} %`" if fits else "leave it out, or stay off the end",
        fix=f"{kind} {fits:g} %" if fits else None,
        asked=end,
        limit=limit,
        unit=unit,
    )
    raise Fault


def breath_times(
    reading: Reading, hold: HoldText, line: Line, duration_ms: int
) -> tuple[int, int, int]:
    """How many breaths a hold takes, and the ms in and out of each. Raises Fault."""
    period = BREATH_MS
    every = cast("Line", line.items[3]).amount(1) if len(line.items) > 3 else None
    if every is not None:
        period = round(reading.within(every, DURATION, "a breath", SHORTEST_BREATHING_MS))
    count, into, out = breaths(duration_ms, period)
    if duration_ms < SHORTEST_BREATH_MS:
        reading.error(
            "number-out-of-range",
            f"a hold of {duration_ms} ms is too short to breathe",
            hold.duration,
            help=f"at least `{SHORTEST_BREATH_MS} ms`",
            fix=f"{SHORTEST_BREATH_MS} ms",
            asked=duration_ms,
            limit=SHORTEST_BREATH_MS,
            unit="ms",
        )
        raise Fault
    if every is not None and (out > LONGEST_DURATION_MS or count > MOST_TIMES):
        _no_such_breaths(reading, every, duration_ms, out)
    if every is not None and period > 2 * duration_ms:
        _too_quick_breath(reading, every, duration_ms, period)
    return count, into, out


def _too_quick_breath(reading: Reading, every: Amount, hold_ms: int, period_ms: int) -> None:
    """One whole breath would fill the hold at more than twice the pace stated. Raises Fault."""
    fits_ms = max(hold_ms, SHORTEST_BREATHING_MS)
    reading.error(
        "number-out-of-range",
        f"a breath takes `{reading.text(every)}`, and the hold {hold_ms} ms: the part would "
        "breathe more than twice as quickly as the line says",
        every,
        help=f"hold for longer, or write `every {fits_ms} ms`",
        fix=f"{fits_ms} ms",
        asked=period_ms,
        limit=2 * hold_ms,
        unit="ms",
    )
    raise Fault


def _no_such_breaths(reading: Reading, every: Amount, hold_ms: int, out_ms: int) -> None:
    """A board cannot move so slowly, or repeat so often. Raises Fault."""
    if out_ms > LONGEST_DURATION_MS:
        words, bound, limit = "at most", "longer than a board can make it", LONGEST_DURATION_MS
    else:
        words, bound = "at least", f"so short that {hold_ms / 1000:g} s hold too many"
        limit = 10 * ceil(hold_ms / MOST_TIMES / 10)
    reading.error(
        "number-out-of-range",
        f"a breath is {bound}",
        every,
        help=f"{words} `{limit} ms`",
        fix=f"{limit} ms",
        limit=limit,
        unit="ms",
    )
    raise Fault


def breath_of(
    reading: Reading,
    pacer: Pacer,
    name: Token,
    line: Line,
    places: Sequence[float],
    lost: bool = False,
) -> tuple[float, float]:
    """Where a part stands, and where it breathes to. Raises Fault.

    `places`: where it may stand; empty if the cue has not moved it. `lost`: as for `swung`.
    """
    by = reading.value(line.amount(2), reading.motion(str(name)).place)
    if len(set(places)) != 1:
        if lost:
            raise Fault
        reading.error(
            "wrong-kind",
            f"where `{name}` stands is not known here",
            name,
            help=f"bring `{name}` to its pose first",
        )
        raise Fault
    at = places[0]
    to = round(at + by, 2)
    travel = pacer.travel_deg(str(name))
    if travel is not None and travel[0] <= at <= travel[1] and not travel[0] <= to <= travel[1]:
        unit = reading.motion(str(name)).place.unit
        room = travel[to > travel[1]] - at
        reading.error(
            "number-out-of-range",
            f"`{name}` would breathe to {to:.4g} {unit}, and its travel ends at "
            f"{travel[to > travel[1]]:g} {unit}",
            line.amount(2),
            help=f"at most `{room:g} {unit}`, or breathe the other way: `{-by:g} {unit}`",
            fix=f"{room:g} {unit}" if room else f"{-by:g} {unit}",
            asked=to,
            limit=travel[to > travel[1]],
            unit=unit,
        )
        raise Fault
    return at, to
