"""The syntax tree: what a show says, before anybody asks whether it makes sense.

Leaves are lark tokens, which know their offsets. Statements of cues have types of their own;
the lines of the rig, which differ in their words only, are `Line`s named after their grammar rule.
`Varied`, `Through` and `Along` may stand in the tree of a text. `seqlang.meaning.alike` writes out
what is described once, and leaves none of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple, TypeAlias

from lark import Token

from seqlang.text.source import Place


class Sum(NamedTuple):
    """An arithmetic term in brackets: operands with operators between them, not yet ordered."""

    opening: Token
    items: tuple[Token | Sum | Negative, ...]
    closing: Token


class Negative(NamedTuple):
    """A minus sign before a name or a bracket."""

    sign: Token
    operand: Token | Sum


class Choice(NamedTuple):
    """One of several values, with the side that it is for where the text names one."""

    side: Token | None
    value: Amount


class Varied(NamedTuple):
    """What differs among things described once: a value for each, or a first one and a step."""

    opening: Token
    choices: tuple[Choice, ...]
    step: Amount | None
    closing: Token


class Through(NamedTuple):
    """Things of a row, from one to another."""

    first: Token
    last: Token


class Along(NamedTuple):
    """What a block is done along: a row or sides, in an order."""

    keyword: Token
    names: tuple[Token | Through, ...]
    order: Token | None


Amount: TypeAlias = "Token | Sum"
"""A quantity, a number, a constant's name, or a sum. Where something may be drawn a `Ranged` may
stand in its place."""


class Ranged(NamedTuple):
    """`A .. B`: drawn anew between both."""

    least: Amount
    dots: Token
    most: Amount


class Line(NamedTuple):
    """A line of the rig, or a marked part of one, by the name of its grammar rule."""

    kind: str
    items: tuple[Node, ...]

    def token(self, index: int) -> Token:
        found = self.items[index]
        assert isinstance(found, Token)
        return found

    def amount(self, index: int) -> Amount:
        found = self.items[index]
        assert isinstance(found, Token | Sum)
        return found

    def lines(self) -> tuple[Line, ...]:
        """The lines and marked parts inside."""
        return tuple(item for item in self.items if isinstance(item, Line))

    def tokens(self) -> tuple[Token, ...]:
        return tuple(item for item in self.items if isinstance(item, Token))

    def amounts(self) -> tuple[Amount, ...]:
        """Everything written as a quantity, number, or sum (names and keywords left out)."""
        return tuple(
            item
            for item in self.items
            if isinstance(item, Sum)
            or (isinstance(item, Token) and item.type in ("QUANTITY", "NUMBER"))
        )


class LightText(NamedTuple):
    """`off`, a colour with or without a level, a level, levels to draw from, or a name (colour or
    constant)."""

    head: Amount
    level: Amount | None


class Spot(NamedTuple):
    """Where a pose puts some outputs: an amount or light, or `on`."""

    names: tuple[Token, ...]
    value: LightText | Token


class Target(NamedTuple):
    """What some outputs are brought to: an angle, or (`fade`) a light."""

    names: tuple[Token, ...]
    value: Amount | LightText


class Pace(NamedTuple):
    """How long a motion takes: `in`, `at` a speed, as fast `as` it can, `within` limits."""

    kind: Literal["in", "at", "as", "within"]
    keyword: Token
    amounts: tuple[Amount, ...]


class LawText(NamedTuple):
    """A motion law: its name, its shares, and where in its duration it is fastest, if written."""

    name: Token | None
    shares: tuple[Amount, ...]
    peak: Amount | None = None


class ActText(NamedTuple):
    """Targets that start and end together."""

    targets: tuple[Target, ...]
    pace: Pace
    law: LawText | None
    swing: tuple[Line, ...] = ()
    """`anticipation` and `overshoot`, as written."""


class Strike(NamedTuple):
    """Taking a pose."""

    keyword: Token
    pose: Token
    pace: Pace
    law: LawText | None
    swing: tuple[Line, ...] = ()
    """`anticipation` and `overshoot`, as written."""


class Cut(NamedTuple):
    """A light that changes at once."""

    names: tuple[Token, ...]
    keyword: Token
    light: LightText


class ThrowText(NamedTuple):
    """`on` or `off`."""

    names: tuple[Token, ...]
    state: Token


class EffectText(NamedTuple):
    names: tuple[Token, ...]
    effect: Token
    options: tuple[Line, ...]


class HoldText(NamedTuple):
    keyword: Token
    duration: Amount
    breathing: Line | None = None


class ClockText(NamedTuple):
    """Waiting until the cue has run for a time."""

    keyword: Token
    time: Amount


class Play(NamedTuple):
    """Another cue's steps in this place, or those of a gesture with values for its parameters."""

    keyword: Token
    cue: Token
    arguments: tuple[Line, ...] = ()
    """Of each, the parameter's name and its value."""


BlockKind: TypeAlias = Literal["together", "in turn", "stagger", "one of", "repeat", "when let go"]


class Block(NamedTuple):
    """`together`, `in turn`, `stagger` (with its interval), `one of`, `repeat` (with its count) or
    `when let go`."""

    kind: BlockKind
    head: tuple[Amount, ...]
    """The header's tokens and amounts, keyword first; in a text an `Along` may be the last."""
    body: tuple[StatementText, ...]


class Broken(NamedTuple):
    """A line that could not be read; its finding is already made."""

    token: Token


class CueText(NamedTuple):
    keyword: Token
    name: Token
    title: Token | None
    busy: Token | None
    seed: Token | None
    scaling: Line | None
    body: tuple[StatementText, ...]
    """Last, as its place in the text is."""


class GestureText(NamedTuple):
    """Statements with parameters: of each its name, and its default or the word for its kind."""

    keyword: Token
    name: Token
    parameters: tuple[Line, ...]
    body: tuple[StatementText, ...]


StatementText: TypeAlias = (
    "ActText | Strike | Cut | ThrowText | EffectText | HoldText | ClockText | Play | Block | Broken"
)
TopLine: TypeAlias = "Line | CueText | GestureText | Broken"
Node: TypeAlias = "Token | Sum | Negative | Ranged | Line | LightText | Spot | CueText | Broken"


def start_of(node: object) -> int:
    """Offset of the first character of a node."""
    while not isinstance(node, Token):
        assert isinstance(node, tuple)
        node = next(item for item in node if isinstance(item, tuple | Token) and item != ())
    start = node.start_pos
    assert start is not None
    return start


def end_of(node: object) -> int:
    """Offset just after the last character of a node."""
    while not isinstance(node, Token):
        assert isinstance(node, tuple)
        node = next(
            item for item in reversed(node) if isinstance(item, tuple | Token) and item != ()
        )
    end = node.end_pos
    assert end is not None
    return end


def place(node: object) -> Place:
    """Where a node stands, from its first token to its last."""
    return Place(start_of(node), end_of(node))


def head_place(first: object, last: object) -> Place:
    """From one node to another: a header line without its block."""
    return Place(start_of(first), end_of(last))


def names_in(tree: object) -> Iterator[Token]:
    """Every name in a syntax tree, wherever it stands, in the order of the text."""
    if isinstance(tree, Token):
        if tree.type == "NAME":
            yield tree
    elif isinstance(tree, tuple | list):
        for part in tree:
            yield from names_in(part)
