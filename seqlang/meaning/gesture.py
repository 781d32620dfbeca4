"""Gestures: statements with parameters, written once and played in many places.

A parameter stands for an amount, a colour or an output. Its default fixes what it is for; without
one a word of `KINDS` does. What a gesture does is worked out anew for each play of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final, NamedTuple, TypeVar, cast

from lark import Token

from seqlang.meaning.notes import Fault, declared
from seqlang.meaning.pose import OutputKind, colour
from seqlang.meaning.values import Colour, Reading
from seqlang.text.findings import Fix
from seqlang.text.names import KINDS_ELSEWHERE, PARAMETER_KINDS, nearest
from seqlang.text.source import Place
from seqlang.text.syntax import (
    ActText,
    Amount,
    Block,
    Cut,
    EffectText,
    GestureText,
    HoldText,
    Line,
    Play,
    StatementText,
    Target,
    ThrowText,
    end_of,
    place,
)
from seqlang.text.units import (
    ANGLE,
    LENGTH,
    NUMBER,
    PERCENT,
    SPEED,
    TIME,
    Dimension,
    Quantity,
    measure_of,
    title_of,
)
from sim.light.colours import COLOURS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from seqlang.text.units import Measure

T = TypeVar("T")

_DIMENSIONS: Final[dict[str, Dimension]] = {
    "angle": ANGLE,
    "length": LENGTH,
    "time": TIME,
    "speed": SPEED,
    "level": PERCENT,
    "number": NUMBER,
}
_OUTPUTS: Final[dict[str, tuple[OutputKind, ...]]] = {
    "servo": ("servo",),
    "lamp": ("lamp",),
    "strip": ("strip",),
    "light": ("lamp", "strip"),
    "switch": ("switch",),
}
_SUCH: Final = {"time": "400 ms", "angle": "30 deg", "length": "10 mm", "speed": "90 deg/s"}
_SUCH_TOO: Final = {"level": "60 %", "number": "2", "colour": "orange"}
assert {*_DIMENSIONS, *_OUTPUTS, "colour"} == PARAMETER_KINDS


class Parameter(NamedTuple):
    """What a play may state of a gesture."""

    name: Token
    kind: str
    """A word of `PARAMETER_KINDS`, or for other amounts what such an amount is called."""
    dimension: Dimension | None = None
    """Of an amount."""
    default: Amount | None = None
    """As it is written."""
    value: Quantity | Colour | Token | None = None
    """Of the default; a name for an output."""
    is_lost: bool = False
    """Its default could not be read: nothing is said of what is given for it."""

    @property
    def such(self) -> str:
        """An example of a value."""
        return {**_SUCH, **_SUCH_TOO}.get(self.kind) or "NAME"

    @property
    def title(self) -> str:
        """What it is, with its article."""
        if self.dimension is not None:
            return title_of(self.dimension)
        return f"an {self.kind}" if self.kind[0] in "aeio" else f"a {self.kind}"


class Gesture(NamedTuple):
    text: GestureText
    parameters: Mapping[str, Parameter]

    @property
    def name(self) -> str:
        return str(self.text.name)


class Bound(NamedTuple):
    """What the parameters of a gesture are in one play of it."""

    amounts: Mapping[str, tuple[Token, Quantity | Colour]]
    outputs: Mapping[str, str]
    values: tuple[tuple[str, Place, str], ...]
    """Where each value stands, or would come after some words; see `Passage.values`."""


def gesture(
    reading: Reading, text: GestureText, outputs: Mapping[str, tuple[OutputKind, Token]]
) -> Gesture:
    """A gesture with its parameters; what is wrong with their defaults is a finding."""
    parameters = _righted(reading, text.parameters, outputs)
    lines = {id(line.items[0]): line for line in parameters}
    names = declared(reading, "parameter", (line.token(0) for line in parameters))
    made = {
        name: _parameter(reading, token, lines[id(token)].items[1], outputs)
        for name, token in names.items()
    }
    return Gesture(text, made)


def _righted(
    reading: Reading,
    lines: Sequence[Line],
    outputs: Mapping[str, tuple[OutputKind, Token]],
) -> list[Line]:
    """Parameters as they were meant, where their kinds come before their names; that is noted."""
    turned = [line for line in lines if _is_turned(line)]
    known = {*reading.constants, *outputs, *COLOURS}
    if all(str(line.items[1]) in known for line in turned):
        return list(lines)
    written = [f"{line.items[1]} {line.items[0]}" for line in turned]
    places = [(reading.span(line), text) for line, text in zip(turned, written, strict=True)]
    kind, name = turned[0].items[:2]
    reading.error(
        "syntax",
        f"`{kind}` is the kind of `{name}`: a parameter's name comes first",
        turned[0],
        help=f"write `{', '.join(written)}`",
        fix=Fix(*places[0], tuple(places[1:])),
    )
    return [
        Line(line.kind, (line.token(1), line.token(0))) if line in turned else line
        for line in lines
    ]


def _is_turned(line: Line) -> bool:
    """Whether a parameter may be its kind and then its name."""
    kind, name = line.items[:2]
    return (
        str(kind) in PARAMETER_KINDS
        and isinstance(name, Token)
        and name.type == "NAME"
        and str(name) not in PARAMETER_KINDS
    )


def _parameter(
    reading: Reading,
    name: Token,
    value: object,
    outputs: Mapping[str, tuple[OutputKind, Token]],
) -> Parameter:
    amount = cast("Amount", value)
    if isinstance(amount, Token):
        word = str(amount)
        if amount.type == "NAME" and word in PARAMETER_KINDS:
            return Parameter(name, word, _DIMENSIONS.get(word))
        if amount.type == "NAME" and word not in reading.constants and word in outputs:
            return Parameter(name, outputs[word][0], None, amount, amount)
        if amount.type == "COLOUR" or (
            amount.type == "NAME" and word not in reading.constants and word.lower() in COLOURS
        ):
            return Parameter(name, "colour", None, amount, reading.tried(colour, reading, amount))
        known = reading.constants.get(word)
        if known is not None and not isinstance(known[1], Quantity):
            reading.above(amount)
            return Parameter(name, "colour", None, amount, known[1])
        meant = KINDS_ELSEWHERE.get(word)
        if amount.type == "NAME" and known is None and meant is not None:
            reading.error(
                "unknown-name",
                f"there is no kind `{word}`",
                amount,
                help=f"did you mean `{meant}`?",
                fix=meant,
            )
            return Parameter(name, meant, _DIMENSIONS.get(meant), None, None, True)
        if amount.type == "NAME" and known is None and nearest(word, PARAMETER_KINDS):
            reading.unknown(amount, "constant", (*reading.constants, *PARAMETER_KINDS))
            return Parameter(name, "amount", None, amount, None, True)
    found = reading.tried(reading.given, amount)
    if found is None:
        return Parameter(name, "amount", None, amount, None, True)
    kind = next((word for word, one in _DIMENSIONS.items() if one == found.dimension), "amount")
    return Parameter(name, kind, found.dimension, amount, found)


# -- one play ------------------------------------------------------------------------------------


def bound(
    reading: Reading,
    one: Gesture,
    play: Play,
    outputs: Mapping[str, tuple[OutputKind, Token]],
) -> Bound:
    """The parameters of a gesture as a play of it states them. Raises Fault."""
    stated = _stated(reading, one, play)
    amounts: dict[str, tuple[Token, Quantity | Colour]] = {}
    chosen: dict[str, str] = {}
    values: list[tuple[str, Place, str]] = []
    failed = stated is None or not _all_there(reading, one, play, stated)
    for name, parameter in one.parameters.items():
        line = (stated or {}).get(name)
        if line is None:
            value = parameter.value
            end = end_of(play)
            values.append((name, Place(end, end), f", {name} "))
        else:
            value = reading.tried(_value, reading, parameter, line.items[1], outputs)
            values.append((name, place(line.items[1]), ""))
        if value is None:
            failed = True
        elif isinstance(value, Token):
            chosen[name] = str(value)
        else:
            amounts[name] = (parameter.name, value)
    if failed:
        raise Fault
    return Bound(amounts, chosen, tuple(values))


def _stated(reading: Reading, one: Gesture, play: Play) -> dict[str, Line] | None:
    """The values that a play states, by parameter; None if one of them cannot be meant."""
    found: dict[str, Line] = {}
    failed = False
    for line in play.arguments:
        name = line.token(0)
        first = found.setdefault(str(name), line)
        if str(name) not in one.parameters:
            _not_known(reading, one, name)
            failed = True
        elif first is not line:
            reading.error(
                "duplicate-line",
                f"`{name}` is stated twice",
                line,
                related=((first, "first stated here"),),
                help="keep one of the two",
            )
            failed = True
    return None if failed else found


def _not_known(reading: Reading, one: Gesture, name: Token) -> None:
    near = nearest(str(name), one.parameters)
    listed = ", ".join(f"`{known}`" for known in one.parameters)
    help_ = f"it has {listed}" if listed else f"write `play {one.name}`, or name it in the header"
    reading.error(
        "unknown-name",
        f"the gesture `{one.name}` has no parameter `{name}`",
        name,
        related=((one.text.name, "the gesture"),),
        help=f"did you mean `{near}`?" if near else help_,
        fix=near,
    )


def _all_there(reading: Reading, one: Gesture, play: Play, stated: Mapping[str, Line]) -> bool:
    """Whether each parameter has a value; a finding says which are missing."""
    missing = [
        parameter
        for name, parameter in one.parameters.items()
        if name not in stated and parameter.default is None
    ]
    if not missing:
        return True
    words = " and ".join(f"`{one.name}`, {one.title}" for one in missing)
    such = ", ".join(f"{one.name} {one.such}" for one in missing)
    text = reading.text(play)
    reading.error(
        "missing-value",
        f"the gesture `{one.name}` needs {words}",
        play,
        related=tuple((one.name, "has no default") for one in missing),
        help=f"such as `{text}, {such}`",
    )
    return False


def _value(
    reading: Reading,
    parameter: Parameter,
    written: object,
    outputs: Mapping[str, tuple[OutputKind, Token]],
) -> Quantity | Colour | Token:
    """What is given for a parameter, if it is of its kind. Raises Fault."""
    if parameter.is_lost:
        raise Fault
    if parameter.kind in _OUTPUTS:
        return _output(reading, parameter, written, outputs)
    if parameter.kind == "colour":
        if isinstance(written, Token) and written.type in ("NAME", "COLOUR"):
            return colour(reading, written)
        reading.error(
            "wrong-kind",
            f"`{parameter.name}` is a colour, not `{reading.text(written)}`",
            written,
            related=((parameter.name, "a colour"),),
            help="such as `orange` or `#ff8000`",
        )
        raise Fault
    if isinstance(written, Token) and written.type == "COLOUR":
        reading.error(
            "wrong-kind",
            f"`{parameter.name}` is {parameter.title}, not a colour",
            written,
            related=((parameter.name, parameter.title),),
        )
        raise Fault
    assert parameter.dimension is not None
    measure: Measure = measure_of(parameter.dimension)
    return reading.fitting(cast("Amount", written), measure)


def _such_as(outputs: Mapping[str, tuple[OutputKind, Token]], fitting: Sequence[str]) -> str | None:
    """Three of the outputs, none of them of one text: both sides would be shown by one name."""
    described = {outputs[name][1].start_pos: name for name in reversed(fitting)}
    shown = [name for name in fitting if name in described.values()][:3]
    return "such as " + ", ".join(f"`{name}`" for name in shown) if shown else None


def _output(
    reading: Reading,
    parameter: Parameter,
    written: object,
    outputs: Mapping[str, tuple[OutputKind, Token]],
) -> Token:
    due = _OUTPUTS[parameter.kind]
    if not isinstance(written, Token) or written.type != "NAME":
        reading.error(
            "wrong-kind",
            f"`{parameter.name}` is {parameter.title}, not `{reading.text(written)}`",
            written,
            related=((parameter.name, parameter.title),),
            help="write the name of an output",
        )
        raise Fault
    found = outputs.get(str(written))
    fitting = [name for name, (kind, _) in outputs.items() if kind in due]
    if found is None:
        reading.unknown(written, "output", fitting or outputs)
        raise Fault
    if found[0] not in due:
        reading.error(
            "wrong-kind",
            f"`{parameter.name}` is {parameter.title}, and `{written}` is a {found[0]}",
            written,
            related=((parameter.name, parameter.title), (found[1], f"a {found[0]}")),
            help=_such_as(outputs, fitting),
        )
        raise Fault
    return written


# -- what it does --------------------------------------------------------------------------------


def placed(body: Sequence[StatementText], outputs: Mapping[str, str]) -> tuple[StatementText, ...]:
    """The statements with outputs in the place of the parameters that stand for them.

    Each word stays where it stands in the text.
    """
    if not outputs:
        return tuple(body)
    return tuple(_placed(statement, outputs) for statement in body)


def _placed(statement: StatementText, outputs: Mapping[str, str]) -> StatementText:
    if isinstance(statement, ActText):
        targets = (Target(_names(one.names, outputs), one.value) for one in statement.targets)
        return statement._replace(targets=tuple(targets))
    if isinstance(statement, Cut | ThrowText | EffectText):
        return statement._replace(names=_names(statement.names, outputs))
    if isinstance(statement, Block):
        return statement._replace(body=placed(statement.body, outputs))
    if isinstance(statement, HoldText) and statement.breathing is not None:
        names, *rest = statement.breathing.items
        moved = _names(cast("tuple[Token, ...]", names), outputs)
        items = (cast("Token", moved), *rest)
        return statement._replace(breathing=Line(statement.breathing.kind, items))
    if isinstance(statement, Play) and statement.arguments:
        lines = (
            Line(line.kind, (line.items[0], *_values(line.items[1:], outputs)))
            for line in statement.arguments
        )
        return statement._replace(arguments=tuple(lines))
    return statement


def _names(names: Iterable[Token], outputs: Mapping[str, str]) -> tuple[Token, ...]:
    return tuple(_values(names, outputs))


def _values(items: Iterable[T], outputs: Mapping[str, str]) -> Iterable[T]:
    for item in items:
        if isinstance(item, Token) and item.type == "NAME" and str(item) in outputs:
            yield cast("T", item.update(value=outputs[str(item)]))
        else:
            yield item


def plays_in(body: Sequence[StatementText]) -> Iterable[Play]:
    """Every `play` of some statements, wherever it stands in them."""
    for statement in body:
        if isinstance(statement, Play):
            yield statement
        elif isinstance(statement, Block):
            yield from plays_in(statement.body)
