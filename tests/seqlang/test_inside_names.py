"""No message that the program can give shows a name from inside it.

The tables of mistakes hold the answers to what they list. Here the text of every module is read
for whatever else could be said, and the page of findings for what is said of each example.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest

from seqlang.explain import explanations
from tests.seqlang.inside_names import ROOMS, ROOT, modules, of_classes, of_the_grammar, shown_in

INSIDE = of_the_grammar() | of_classes()

OWN_MISTAKE = frozenset(
    {
        "seqlang/editor/server.py",
        "seqlang/command/__init__.py",
        "firmware_gen/checked_table.py",  # which only code of ours can call with something else
    }
)
"""Where a mistake of the program itself is named, for whoever reports it."""


def messages(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Line and words of each string of several words that is neither documentation nor a type."""
    left_out = {id(node) for node in map(_without_words, ast.walk(tree)) if node is not None}
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or id(node) in left_out:
            continue
        text = node.value
        if isinstance(text, str) and " " in text.strip() and not _is_pattern(text):
            yield node.lineno, text


def _without_words(node: ast.AST) -> ast.expr | None:
    """What of a node is a docstring, or a type that is written as a string."""
    match node:
        case ast.Expr(value=value):
            return value
        case ast.Call(func=ast.Name(id="cast"), args=[kind, *_]):
            return kind
        case ast.AnnAssign(annotation=ast.Name(id="TypeAlias"), value=value):
            return value
    return None


def _is_pattern(text: str) -> bool:
    """Regular expressions, and lists of names for the program itself."""
    return "\\" in text or "(?" in text or "[" in text


def test_no_message_of_any_module_shows_a_name_from_inside() -> None:
    assert {"COLOUR", "_NL", "LightText"} <= INSIDE
    found = [
        f"{path.relative_to(ROOT)}:{line}: {inside}"
        for path in modules()
        for line, words in messages(ast.parse(path.read_text(encoding="utf-8")))
        if (inside := shown_in(words) & INSIDE)
    ]
    assert found == []


@pytest.mark.parametrize("room", ROOMS)
def test_no_message_is_filled_in_with_the_name_of_a_token_or_a_class(room: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in modules()
        if path.relative_to(ROOT).parts[0] == room
        and path.relative_to(ROOT).as_posix() not in OWN_MISTAKE
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FormattedValue) and _names_a_type(node.value)
    ]
    assert found == []


def _names_a_type(node: ast.expr) -> bool:
    """`token.type`, `type(x).__name__`: names that only the program knows."""
    return isinstance(node, ast.Attribute) and node.attr in ("type", "__name__", "__qualname__")


def test_a_name_from_inside_would_be_noticed() -> None:
    tree = ast.parse('"""A COLOUR."""\nx = f"a COLOUR is due behind {token.type} here"\n')
    assert [shown_in(words) & INSIDE for _, words in messages(tree)] == [{"COLOUR"}]
    filled = [node for node in ast.walk(tree) if isinstance(node, ast.FormattedValue)]
    assert [_names_a_type(node.value) for node in filled] == [True]


def test_what_is_said_of_each_findings_example_shows_none() -> None:
    for name, one in explanations().items():
        said = [line for line in one.finding.splitlines() if not line[:5].strip().isdigit()]
        words = " ".join([one.title, one.what, one.why, one.remedy, *said])
        assert not shown_in(words) & INSIDE, name
