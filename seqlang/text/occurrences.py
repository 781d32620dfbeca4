"""Where names stand in a syntax tree, and what they name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal, NamedTuple, TypeAlias

from lark import Token

from seqlang.text.names import PARAMETER_KINDS
from seqlang.text.syntax import (
    ActText,
    Along,
    Block,
    Broken,
    Choice,
    CueText,
    Cut,
    EffectText,
    GestureText,
    LightText,
    Line,
    Play,
    Spot,
    Strike,
    Through,
    ThrowText,
)
from sim.rulebook import CUES

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

Named: TypeAlias = Literal[
    "supply",
    "board",
    "output",
    "pose",
    "cue",
    "gesture",
    "parameter",
    "constant",
    "side",
    "along",
    "colour",
    "value",
    "kind",
    "region",
    "chip",
    "pin",
    "channel",
    "sensor",
    "source",
]
"""What a name can be the name of; `along`: of a row, or of a side. A `value` is given for a
parameter: an output, a constant or a colour, whichever has the name. A `source` is followed: a
channel or a sensor."""

OWN: Final = frozenset(
    {
        "supply",
        "board",
        "output",
        "pose",
        "cue",
        "gesture",
        "parameter",
        "constant",
        "side",
        "channel",
        "sensor",
    }
)
"""What a show itself gives names to."""

SOURCES: Final[tuple[Named, ...]] = ("channel", "sensor")
"""What an output can follow."""

OUTPUT_KINDS: Final = ("servo", "lamp", "strip", "switch")

_OUTPUT: Final[dict[int, tuple[Named, bool]]] = {
    1: ("output", True),
    2: ("board", False),
    3: ("pin", False),
}
_PLACES: Final[dict[str, dict[int, tuple[Named, bool]]]] = {
    **dict.fromkeys(OUTPUT_KINDS, _OUTPUT),
    "given": {1: ("constant", True), 2: ("colour", False)},
    "supply": {1: ("supply", True)},
    "board": {1: ("board", True), 2: ("chip", False)},
    "feed": {1: ("supply", False)},
    "watch": {1: ("pin", False)},
    "mount": {1: ("output", False)},
    "ride": {1: ("output", False)},
    "shows": {1: ("output", False)},
    "follow": {1: ("source", False)},
    "scaling": {1: ("source", False)},
    "near": {1: ("region", False)},
    "colour": {1: ("colour", False)},
    "input": {2: ("board", False), 3: ("pin", False)},
    "radio_channel": {1: ("channel", True), 2: ("board", False), 3: ("pin", False)},
    "sensor": {1: ("sensor", True), 2: ("board", False), 3: ("pin", False)},
    "idle": dict.fromkeys(range(1, CUES + 1), ("cue", False)),
    "button": {2: ("cue", False), 3: ("cue", False)},
    "next_of": dict.fromkeys(range(1, CUES + 1), ("cue", False)),
    "lost": {2: ("cue", False)},
    "low_battery": {2: ("cue", False)},
    "rate": {0: ("cue", False)},
    "breathing": {0: ("output", False)},
    "mirror": {1: ("side", True), 2: ("side", True)},
}
"""What the names in a line name, by grammar rule and place, and whether they are declared there.

Any other name is that of a constant.
"""


def places_in(line: Line) -> Mapping[int, tuple[Named, bool]]:
    """What the items of a line name, and whether they are declared there, by their index."""
    if line.kind == "pose":
        return {line.items.index(line.tokens()[-1]): ("pose", True)}
    return _PLACES.get(line.kind, {})


class Occurrence(NamedTuple):
    """One place of a name."""

    named: Named
    name: str
    start: int
    end: int
    declares: bool
    scope: str = ""
    """Of a parameter, the name of its gesture."""


def occurrences(items: Iterable[object]) -> Iterator[Occurrence]:
    """Every name of a syntax tree, in no order."""
    pending: list[tuple[object, Named]] = [(item, "constant") for item in items]
    while pending:
        node, named = pending.pop()
        if isinstance(node, Token):
            if node.type == "NAME":
                yield _at(node, named)
        elif isinstance(node, Line):
            yield from _of_line(node, pending)
        elif isinstance(node, Choice):
            pending += [(node.side, "side"), (node.value, named)]
        elif isinstance(node, CueText):
            yield _at(node.name, "cue", declares=True)
            pending += ((one, "constant") for one in (node.scaling, *node.body))
        elif isinstance(node, Strike):
            yield _at(node.pose, "pose")
            pending += [(node.pace.amounts, "constant"), (node.law, "constant")]
            pending.append((node.swing, "constant"))
        elif isinstance(node, GestureText):
            yield from _of_gesture(node)
        elif isinstance(node, Play):
            yield _at(node.cue, "cue")
            for line in node.arguments:
                yield _at(line.token(0), "parameter", scope=str(node.cue))
                pending.append((line.items[1], _of_value(line.items[1])))
        elif isinstance(node, LightText):
            pending += [(node.head, "colour"), (node.level, "constant")]
        elif isinstance(node, ActText):
            for target in node.targets:
                pending += [(target.names, "output"), (target.value, "constant")]
            pending += [(node.pace.amounts, "constant"), (node.law, "constant")]
            pending.append((node.swing, "constant"))
        elif isinstance(node, Spot | Cut | ThrowText | EffectText):
            pending.append((node.names, "output"))
            pending += ((one, "constant") for one in node[1:])
        elif isinstance(node, Along):
            pending += ((name, "along") for name in node.names)
        elif isinstance(node, Through):
            pending += ((token, named) for token in node)
        elif isinstance(node, Block):
            pending += ((one, "constant") for one in (*node.head, *node.body))
        elif isinstance(node, tuple) and not isinstance(node, Broken):
            pending += ((one, named) for one in node)


def _of_gesture(gesture: GestureText) -> Iterator[Occurrence]:
    """The names in a gesture: what is a parameter's name is that in all of its statements."""
    scope = str(gesture.name)
    yield _at(gesture.name, "gesture", declares=True)
    for line in gesture.parameters:
        yield _at(line.token(0), "parameter", declares=True, scope=scope)
        value = line.items[1]
        if isinstance(value, Token) and value.type == "NAME":
            yield _at(value, "kind" if str(value) in PARAMETER_KINDS else "value")
        else:
            yield from occurrences([value])
    own = {str(line.items[0]) for line in gesture.parameters}
    for one in occurrences(gesture.body):
        inside = one.name in own and one.named in ("constant", "output", "colour", "value")
        yield one._replace(named="parameter", scope=scope) if inside else one


def _of_value(value: object) -> Named:
    """What a name by itself is for a parameter; in a sum it is a constant."""
    return "value" if isinstance(value, Token) else "constant"


def _of_line(line: Line, pending: list[tuple[object, Named]]) -> Iterator[Occurrence]:
    places = places_in(line)
    for number, item in enumerate(line.items):
        named, declares = places.get(number, ("constant", False))
        if declares and isinstance(item, Token) and item.type == "NAME":
            yield _at(item, named, declares=True)
        else:
            pending.append((item, named))


def _at(token: Token, named: Named, *, declares: bool = False, scope: str = "") -> Occurrence:
    start, end = token.start_pos or 0, token.end_pos or 0
    return Occurrence(named, str(token), start, end, declares, scope)
