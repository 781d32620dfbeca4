"""The grammar at work: tokens of indentation, the tree that a rule makes, and the parser."""

from __future__ import annotations

import contextlib
import hashlib
import io
import sys
from copy import copy
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, cast

import lark
from lark import Lark, Token, UnexpectedInput
from lark.indenter import Indenter

from seqlang.text.syntax import (
    ActText,
    Along,
    Amount,
    Block,
    BlockKind,
    Broken,
    Choice,
    ClockText,
    CueText,
    Cut,
    EffectText,
    GestureText,
    HoldText,
    LawText,
    LightText,
    Line,
    Negative,
    Node,
    Pace,
    Play,
    Ranged,
    Spot,
    StatementText,
    Strike,
    Sum,
    Target,
    Through,
    ThrowText,
    TopLine,
    Varied,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


class Indentation(Indenter):
    """Turns a change of indentation into tokens. `seqlang.text.indentation` has checked it
    before."""

    NL_type = "_NL"
    OPEN_PAREN_types: list[str] = []  # noqa: RUF012 (lark's own interface)
    CLOSE_PAREN_types: list[str] = []  # noqa: RUF012
    INDENT_type = "_INDENT"
    DEDENT_type = "_DEDENT"
    tab_len = 8

    always_accept = ("_NL", "NAME")
    """Tokens the lexer knows in every state. With names known, `servoo` is not `servo` and `o`."""

    def process(self, stream: Iterator[Token]) -> Iterator[Token]:
        """Each text with a count of its own: an editor's texts are read beside one another."""
        return Indenter.process(copy(self), stream)  # type: ignore[no-untyped-call,no-any-return]


class Builder:
    """Makes the syntax tree while the parser reduces.

    A grammar rule with a type of its own has a method here; every other one makes a `Line`.
    """

    def __getattr__(self, rule: str) -> Callable[[list[Any]], Line | Pace]:
        if rule.startswith("_") or not rule.islower():  # lark's own rules, and its tokens
            raise AttributeError(rule)
        # Tables just built name rules by tokens of the grammar, which have no place in a show.
        rule = str(rule)
        if rule in ("in", "at"):
            return partial(_paced, cast("Literal['in', 'at']", rule))
        return partial(_line, rule)

    def start(self, items: list[TopLine]) -> list[TopLine]:
        return items

    def broken(self, items: list[Token]) -> Broken:
        return Broken(items[0])

    def sum(self, items: list[Token | Sum | Negative]) -> Sum:
        return Sum(cast("Token", items[0]), tuple(items[1:-1]), cast("Token", items[-1]))

    def negative(self, items: list[Token]) -> Negative:
        return Negative(items[0], items[1])

    def varied(self, items: list[object]) -> Varied:
        opening, first, *rest, closing = items
        step: object = None
        if isinstance(rest[0], Token):  # `step`
            step, rest = rest[1], []
        return Varied(
            cast("Token", opening),
            cast("tuple[Choice, ...]", (first, *rest)),
            cast("Amount | None", step),
            cast("Token", closing),
        )

    def choice(self, items: list[Amount]) -> Choice:
        side = cast("Token", items[0]) if len(items) > 1 else None
        return Choice(side, items[-1])

    def through(self, items: list[Token]) -> Through:
        return Through(items[0], items[-1])

    def along(self, items: list[object]) -> Along:
        keyword, *names = items
        order = names.pop() if _is_order(names[-1]) else None
        return Along(
            cast("Token", keyword),
            cast("tuple[Token | Through, ...]", tuple(names)),
            cast("Token | None", order),
        )

    def light(self, items: list[Amount]) -> LightText:
        return LightText(items[0], items[1] if len(items) > 1 else None)

    def faint(self, items: list[Amount]) -> LightText:
        return LightText(items[0], None)

    def names(self, items: list[Token]) -> tuple[Token, ...]:
        return tuple(items)

    def place(self, items: list[object]) -> Spot:
        return Spot(*cast("tuple[tuple[Token, ...], LightText | Token]", items))

    def cue(self, items: list[object]) -> CueText:
        keyword, name, *rest = items
        said: dict[str, Token] = {}
        while rest and isinstance(rest[0], Token):
            said[rest[0].type] = rest[0]
            del rest[0]
        scaling = rest.pop(0) if rest and isinstance(rest[0], Line) else None
        return CueText(
            cast("Token", keyword),
            cast("Token", name),
            said.get("STRING"),
            said.get("BUSY"),
            said.get("NUMBER"),
            cast("Line | None", scaling),
            cast("tuple[StatementText, ...]", tuple(rest)),
        )

    def act(self, items: list[object]) -> ActText:
        swing = _swing(items)
        law = _law(items)
        pace = _pace(items.pop())
        return ActText(cast("tuple[Target, ...]", tuple(items)), pace, law, swing)

    def target(self, items: list[object]) -> Target:
        return Target(cast("tuple[Token, ...]", items[0]), cast("Amount | LightText", items[-1]))

    def within(self, items: list[Amount]) -> Pace:
        return Pace("within", cast("Token", items[0]), tuple(items[1:]))

    def law(self, items: list[Amount]) -> LawText:
        return LawText(cast("Token", items[0]), tuple(items[1:]))

    def strike(self, items: list[object]) -> Strike:
        swing = _swing(items)
        law = _law(items)
        keyword, pose, pace = items
        return Strike(cast("Token", keyword), cast("Token", pose), _pace(pace), law, swing)

    def cut(self, items: list[object]) -> Cut:
        return Cut(*cast("tuple[tuple[Token, ...], Token, LightText]", items))

    def throw(self, items: list[object]) -> ThrowText:
        return ThrowText(*cast("tuple[tuple[Token, ...], Token]", items))

    def effect(self, items: list[object]) -> EffectText:
        names, effect, *options = items
        return EffectText(
            cast("tuple[Token, ...]", names),
            cast("Token", effect),
            cast("tuple[Line, ...]", tuple(options)),
        )

    def hold(self, items: list[Amount]) -> HoldText:
        breathing = cast("list[Line]", items[2:])
        lasts = items[1]
        return HoldText(cast("Token", items[0]), lasts, breathing[0] if breathing else None)

    def clock(self, items: list[Amount]) -> ClockText:
        return ClockText(cast("Token", items[0]), items[1])

    def gesture(self, items: list[object]) -> GestureText:
        keyword, name, *rest = items
        parameters: list[Line] = []
        while isinstance(rest[0], Line):
            parameters.append(cast("Line", rest.pop(0)))
        body = cast("tuple[StatementText, ...]", tuple(rest))
        return GestureText(cast("Token", keyword), cast("Token", name), tuple(parameters), body)

    def play(self, items: list[object]) -> Play:
        keyword, name, *arguments = items
        return Play(
            cast("Token", keyword), cast("Token", name), cast("tuple[Line, ...]", tuple(arguments))
        )

    def together(self, items: list[object]) -> Block:
        return _block("together", items, 1)

    def in_turn(self, items: list[object]) -> Block:
        return _block("in turn", items, 1)

    def stagger(self, items: list[object]) -> Block:
        return _block("stagger", items, 2)

    def one_of(self, items: list[object]) -> Block:
        return _block("one of", items, 1)

    def ranged(self, items: list[Amount]) -> Ranged:
        return Ranged(items[0], cast("Token", items[1]), items[2])

    def repeat(self, items: list[object]) -> Block:
        return _block("repeat", items, 2)

    def let_go(self, items: list[object]) -> Block:
        return _block("when let go", items, 1)


def _is_order(item: object) -> bool:
    return isinstance(item, Token) and item.type.startswith("FROM_")


def _swing(items: list[object]) -> tuple[Line, ...]:
    """The anticipation and the overshoot at the end of a statement's parts, taken off them."""
    found: list[Line] = []
    while isinstance(items[-1], Line) and items[-1].kind in ("anticipation", "overshoot"):
        found.append(cast("Line", items.pop()))
    return tuple(reversed(found))


def _law(items: list[object]) -> LawText | None:
    """The law at the end of a statement's parts, and where it is fastest, taken off them."""
    peak = None
    if isinstance(items[-1], Line) and items[-1].kind == "fastest":
        peak = cast("Amount", cast("Line", items.pop()).items[1])  # also one for each side
    if isinstance(items[-1], LawText):
        return cast("LawText", items.pop())._replace(peak=peak)
    return None if peak is None else LawText(None, (), peak)


def _pace(item: object) -> Pace:
    if isinstance(item, Pace):
        return item
    assert isinstance(item, Token)
    return Pace("as", item, ())


def _block(kind: BlockKind, items: list[object], head: int) -> Block:
    head += len(items) > head and isinstance(items[head], Along)
    return Block(
        kind,
        cast("tuple[Amount, ...]", tuple(items[:head])),
        cast("tuple[StatementText, ...]", tuple(items[head:])),
    )


def _line(rule: str, items: list[Node]) -> Line:
    return Line(rule, tuple(items))


def _paced(kind: Literal["in", "at"], items: list[Amount]) -> Pace:
    return Pace(kind, cast("Token", items[0]), tuple(items[1:]))


def grammar_text() -> str:
    """The grammar as it ships."""
    return Path(__file__).with_name("grammar.lark").read_text("utf-8")


@cache
def parser() -> Lark:
    """The parser. Its tables are kept in the user's folder for caches, if they can be."""
    kept = _tables()
    return (kept and _loaded(kept)) or _built(kept)


def _loaded(kept: Path) -> Lark | None:
    try:
        return Lark.load(io.BytesIO(kept.read_bytes()))
    except Exception:  # spoilt tables may fail in any way: they are built again
        return None


def _built(kept: Path | None) -> Lark:
    """The parser made from the grammar, which takes a third of a second. Keeps its tables."""
    from firmware_gen.files import write_whole

    built = Lark(grammar_text(), parser="lalr", postlex=Indentation(), transformer=Builder())
    if kept:
        tables = io.BytesIO()
        built.save(tables)
        with contextlib.suppress(OSError):  # the folder cannot be written, or the disk is full
            write_whole(kept, tables.getvalue())
    return built


def _tables() -> Path | None:
    """Where the parser's tables are kept, or None if the user has no folder for that.

    Not beside the modules: a file that an installer does not know stays when the package goes,
    and what is left of the package's folder hides one that is installed elsewhere. The name
    changes with all that the tables depend on, so versions of this package share the folder.
    """
    from platformdirs import user_cache_path

    made_of = (grammar_text(), lark.__version__, str(sys.version_info[:2]))
    name = hashlib.sha256("\0".join(made_of).encode()).hexdigest()[:16]
    try:
        return user_cache_path("bellcrank", appauthor=False) / f"parser-{name}.tables"
    except RuntimeError:  # no home is known
        return None


def failure(text: str) -> UnexpectedInput | None:
    """The first syntax error of a text."""
    try:
        parser().parse(text)
    except UnexpectedInput as error:
        return error
    return None
