"""The few shapes of which the book's sheets are made, as HTML."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape
from typing import Final

BLANK: Final = "\0blank"
"""A cell to write in."""

_NAME: Final = re.compile(r"`([^`]+)`")

_LONG: Final = re.compile(r"[^\s<>&;/]{17,}")
"""More letters without a space than a narrow column of a table holds."""

_HASH: Final = re.compile(r"[0-9a-f]{64}")
"""It stays whole, to be searched for: its table breaks it wherever it has to."""

_BREAK_LETTERS: Final = 14
"""A long name is broken after so many letters at the latest."""


def words(text: str) -> str:
    """Words with names between back-quotes, as findings write them."""
    return _NAME.sub(r"<b>\1</b>", escape(text, quote=False))


def sentence(text: str) -> str:
    """As `words`, from a finding's style: a capital first, a full stop last."""
    text = text.strip()
    at = 1 if text[:1].isalpha() else 0
    ended = text if text.endswith((".", "!", "?", ":")) else f"{text}."
    return words(ended[:at].upper() + ended[at:])


def paragraph(text: str, kind: str = "") -> str:
    return f"<p{_class(kind)}>{words(text)}</p>"


def points(lines: Iterable[str], kind: str = "") -> str:
    """A list of sentences; of the kind `ticks` with a box before each."""
    return f"<ul{_class(kind)}>{''.join(f'<li>{sentence(line)}</li>' for line in lines)}</ul>"


def section(name: str, title: str, *content: str) -> str:
    """A part of the book that begins on a new sheet; `name` is its anchor."""
    return f'<section id="{name}"><h2>{words(title)}</h2>{"".join(content)}</section>'


def subtitle(text: str) -> str:
    return f"<h3>{words(text)}</h3>"


def table(head: Sequence[str], rows: Iterable[Sequence[str]], kind: str = "") -> str:
    """A table whose head is repeated on each sheet. Nothing for no rows."""
    body = "".join(f"<tr>{''.join(map(_cell, row))}</tr>" for row in rows)
    if not body:
        return ""
    titles = "".join(f'<th scope="col">{words(title)}</th>' for title in head)
    return f"<table{_class(kind)}><thead><tr>{titles}</tr></thead><tbody>{body}</tbody></table>"


def facts(rows: Iterable[tuple[str, str]]) -> str:
    """Titles with what belongs to them, in two columns."""
    body = "".join(
        f'<tr><th scope="row">{words(title)}</th>{_cell(value)}</tr>' for title, value in rows
    )
    return f'<table class="facts"><tbody>{body}</tbody></table>' if body else ""


def _cell(text: str) -> str:
    return '<td class="blank"></td>' if text == BLANK else f"<td>{breakable(words(text))}</td>"


def breakable(marked: str) -> str:
    """The same HTML, with places in its long names where a line may end: no column grows wider
    than its sheet."""
    return _LONG.sub(lambda found: _with_breaks(found[0]), marked)


def _with_breaks(name: str) -> str:
    """Behind underscores where there are any, else after some letters."""
    if _HASH.fullmatch(name):
        return name
    parts = re.findall(rf"[^_]{{1,{_BREAK_LETTERS}}}_?|_+", name)
    return "<wbr>".join(parts)


def _class(kind: str) -> str:
    return f' class="{kind}"' if kind else ""
