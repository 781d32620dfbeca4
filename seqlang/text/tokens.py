"""The grammar's tokens as a person writes them."""

from __future__ import annotations

import re
from functools import cache
from typing import Final

from lark import UnexpectedInput, UnexpectedToken
from lark.lexer import PatternStr

from seqlang.text.grammar import parser

KINDS: Final = {
    "QUANTITY": "a quantity such as `30 deg`",
    "NUMBER": "a number",
    "NAME": "a name",
    "STRING": "a text in quotes",
    "COLOUR": "a colour such as `#ff8000`",
    "LPAR": "a sum in brackets",
    "_NL": "the end of the line",
    "_INDENT": "an indented block",
    "CHEMISTRY": "a kind of cell such as `li-ion`",
    "ORDER_NAME": "an order such as `grb`",
    "EFFECT": "an effect such as `breathe`",
    "LAW": "a motion law",
    "FRACTION": "a fraction such as `1/3`",
    "DOTS": "`..` and the other end of a draw",
    "ADD": "`+`",
    "MULTIPLY": "`*`",
}
"""What tokens without fixed words are called."""

HIDDEN: Final = frozenset({"BROKEN", "_DEDENT", "$END", "MINUS"})
"""Tokens that nobody writes, or that are said with others."""

_CHOICE: Final = re.compile(r"(?:\(\?:)?([\w +|-]+?)\)?\(\?!\\w\)")
"""The pattern of a token that is one of several fixed words."""


_MOST_KEPT: Final = 20_000

_DUE: dict[tuple[object, ...], frozenset[str]] = {}
"""What could come, by the states of a parser: it tries every token, and hangs on nothing else."""


def due(error: UnexpectedInput) -> frozenset[str]:
    """Names of the tokens that could have come."""
    interactive = getattr(error, "interactive_parser", None)
    if interactive is None:
        return frozenset()
    stack = tuple(interactive.parser_state.state_stack)
    known = _DUE.get(stack)
    if known is None:
        if len(_DUE) >= _MOST_KEPT:
            _DUE.clear()
        known = _DUE[stack] = frozenset(interactive.accepts())
    return known


def kind(error: UnexpectedInput) -> str:
    """The kind of token that came instead."""
    return error.token.type if isinstance(error, UnexpectedToken) else "character"


@cache
def literal(terminal: str) -> str | None:
    """The word or sign that a token stands for, if it is only one."""
    if terminal.startswith("$"):
        return None
    try:
        pattern = parser().get_terminal(terminal).pattern
    except KeyError:
        return None
    return pattern.value if isinstance(pattern, PatternStr) else None


@cache
def words_of(terminal: str) -> tuple[str, ...]:
    """The words that a token stands for, each as it is written; none if it has no fixed ones."""
    only = literal(terminal)
    if only is not None:
        return (only,)
    pattern = next((one.pattern for one in parser().terminals if one.name == terminal), None)
    found = None if pattern is None else _CHOICE.fullmatch(pattern.value)
    return () if found is None else tuple(found[1].replace(" +", " ").split("|"))


@cache
def literals() -> frozenset[str]:
    """Every word of the language."""
    plain = {literal(terminal.name) for terminal in parser().terminals}
    return frozenset({word for word in plain if word and word[0].isalpha()} | {"double-S"})
