"""Outputs that follow a channel or a sensor: `follows SOURCE from A to B, C to D`."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, cast

from lark import Token

from seqlang.meaning.entry import options, without
from seqlang.meaning.notes import Fault
from seqlang.meaning.pose import angle
from seqlang.meaning.shine import tells_of_a_move
from seqlang.meaning.sources import CHANNEL, SENSOR, SourceMeasure, changed_places, shares_of_travel
from seqlang.meaning.sources import value as value_of
from seqlang.text.units import DURATION, PERCENT
from sim.model import Follow
from sim.rulebook import FOLLOW_MS, FRAME_MS, LONGEST_DURATION_MS

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from seqlang.meaning.pose import OutputKind
    from seqlang.meaning.values import Reading
    from seqlang.text.syntax import Amount, Line
    from sim.model import Rig


class _Way(NamedTuple):
    """One end of what a line says: a value of the source, and where the output is then."""

    value: float
    target: float
    value_node: Amount
    target_node: Amount


def follows(
    reading: Reading,
    entries: Sequence[Line],
    rig: Rig,
    outputs: Mapping[str, tuple[OutputKind, Token]],
    sources: Collection[str],
) -> tuple[Follow, ...]:
    """What each servo and each lamp of the rig follows; `sources` are all that are declared.

    The second of two lines of one output has its finding already, and is left out.
    """
    known = dict.fromkeys((one.name for one in rig.channels), CHANNEL)
    known |= dict.fromkeys((one.name for one in rig.sensors), SENSOR)
    there = {one.name for one in rig.outputs}
    parts = (one for one, (kind, _) in outputs.items() if kind == "servo")
    for_lamps = dict.fromkeys((*sources, *parts))
    made: dict[str, Follow] = {}
    for entry in entries:
        name = str(entry.items[1])
        among = for_lamps if entry.kind == "lamp" else sources
        for line in _lines(entry):
            if tells_of_a_move(entry, line, outputs) and str(line.items[1]) not in sources:
                continue
            one = reading.on_its_way(
                entry, _follow, reading, line, name, outputs[name][0], known, among, _travel(entry)
            )
            if one is not None and name in there:
                made.setdefault(name, one)
    return tuple(made.values())


def followed(entries: Sequence[Line]) -> frozenset[str]:
    """The names of all that some output follows, or shall follow."""
    return frozenset(str(line.items[1]) for entry in entries for line in _lines(entry))


def _travel(entry: Line) -> tuple[Amount, Amount] | None:
    """Both ends of a servo's travel as they are written."""
    line = next((line for line in entry.lines() if line.kind == "travel"), None)
    return None if line is None else (line.amount(1), line.amount(2))


def _lines(entry: Line) -> Iterator[Line]:
    return (line for line in entry.lines() if line.kind == "follow")


def _follow(
    reading: Reading,
    line: Line,
    name: str,
    kind: OutputKind,
    known: Mapping[str, SourceMeasure],
    sources: Collection[str],
    travel: tuple[Amount, Amount] | None,
) -> Follow:
    """One line. Raises Fault."""
    token = line.token(1)
    if str(token) not in sources:
        what = "channel, sensor or servo" if kind == "lamp" else "channel or sensor"
        reading.unknown(token, what, sources)
    more = options(reading, line)
    way, mixed = cast("Line | None", more.get("way")), more.get("mixed")
    way_ms = FOLLOW_MS if way is None else reading.tried(_way_ms, reading, way)
    if mixed is not None and kind == "lamp":
        _tell_of_mixed_lamp(reading, name, mixed)
        raise Fault
    ends = _both_ends(reading, line, name, kind, known.get(str(token)), travel)
    if ends is None or way_ms is None:
        raise Fault
    first, last = _in_order(reading, token, name, *ends)
    return Follow(
        *(name, str(token), first.value, last.value, first.target, last.target),
        way_ms=way_ms,
        mixed=mixed is not None,
        mark=reading.origins.mark(
            *(line, line),
            ("source", token),
            ("value from", first.value_node),
            ("value to", last.value_node),
            ("target from", first.target_node),
            ("target to", last.target_node),
            ("duration", way and way.items[1]),
            ("mixed", mixed),
        ),
    )


def _tell_of_mixed_lamp(reading: Reading, name: str, mixed: Line | Token) -> None:
    reading.error(
        "wrong-kind",
        f"`{name}` is a lamp, and only a part can be mixed with idle",
        mixed,
        help="leave out `mixed with idle`: while the lamp follows, it shows that alone",
        fix=without(reading, mixed),
    )


def _both_ends(
    reading: Reading,
    line: Line,
    name: str,
    kind: OutputKind,
    source: SourceMeasure | None,
    travel: tuple[Amount, Amount] | None,
) -> tuple[_Way, _Way] | None:
    """Both ends as they are written; None where one, or the source, is not known."""
    if source is not None:
        targets = PERCENT if kind == "lamp" else reading.motion(name).place.dimension
        said = f"the values of `{line.token(1)}` come first, then where `{name}` is at each"
        changed_places(reading, line, source.measure.dimension, targets, said)
        shares_of_travel(reading, line, name, travel)
    first, last = (reading.tried(_end, reading, line, n, name, kind, source) for n in (0, 1))
    return None if source is None or first is None or last is None else (first, last)


def _in_order(
    reading: Reading, source: Token, name: str, first: _Way, last: _Way
) -> tuple[_Way, _Way]:
    """The end of the lesser value, then the other. Raises Fault where they are one."""
    if first.value == last.value:
        reading.error(
            "number-out-of-range",
            f"`{source}` would turn `{name}` at one value only: it goes from "
            f"`{reading.text(first.value_node)}` to `{reading.text(last.value_node)}`",
            last.value_node,
            help="state two different values, and where the output is at each",
        )
        raise Fault
    return (first, last) if first.value < last.value else (last, first)


def _way_ms(reading: Reading, way: Line) -> int:
    what = "the way from one end to the other"
    return round(reading.within(way.amount(1), DURATION, what, FRAME_MS, LONGEST_DURATION_MS))


def _end(
    reading: Reading,
    line: Line,
    number: int,
    name: str,
    kind: OutputKind,
    source: SourceMeasure | None,
) -> _Way:
    """An end by its number, 0 or 1. Raises Fault."""
    value_node, target_node = line.amount(3 + number), line.amount(5 + number)
    value = None
    if source is not None:
        value = reading.tried(value_of, reading, value_node, source)
    if kind == "lamp":
        target = reading.tried(reading.percent, target_node, "a level")
    else:
        target = reading.tried(angle, reading, target_node, name)
    if value is None or target is None:
        raise Fault
    return _Way(value, target, value_node, target_node)
