"""Names from inside the program, which no message may show."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from seqlang.text.grammar import parser
from seqlang.text.tokens import words_of

ROOMS = ("sim", "firmware_gen", "seqlang")
ROOT = Path(__file__).parents[2]

FILLED_IN = frozenset({"NAME", "RATIO", "BOARD", "PIN", "NUMBER", "SHOW", "SUPPLY", "CUE"})
"""Words in capitals that stand for what the maker fills in."""


def of_the_grammar() -> set[str]:
    """Tokens and rules of the grammar whose names nobody writes into a show."""
    own = {terminal.name for terminal in parser().terminals}
    rules = {str(rule.origin.name) for rule in parser().rules}
    written = {word for name in own for word in words_of(name)}
    inside = {name for name in own if len(name) > 1} - FILLED_IN
    inside |= {rule for rule in rules if "_" in rule and rule not in written}
    return inside | {"soonest", "lpar", "rpar", "double_s", "Token", "None", "_NL"}


def of_classes() -> set[str]:
    """Classes of all rooms whose names are no plain words."""
    return {
        node.name
        for path in modules()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef) and re.search(r"[a-z][A-Z]", node.name)
    }


def modules() -> list[Path]:
    return [path for room in ROOMS for path in sorted((ROOT / room).rglob("*.py"))]


def shown_in(words: str) -> set[str]:
    """The words of a message that are not quoted from the show."""
    return set(re.findall(r"[A-Za-z_]\w*", re.sub(r"`[^`]*`", "", words)))
