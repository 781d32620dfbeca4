"""The canonical layout of a show's text: spaces, indentation, blank lines, columns.

No word changes. It works on the grammar's tokens, so a new statement needs nothing here. The rules:

- a block stands four spaces further in than its header; a comment on a line of its own stands
  as the statement below it, or in the block that it ends
- one space between words, none before `,` `:` `)` and after `(`, one between a number and its unit
- in the blocks of the rig, what a line says begins in one column; so do the `=` of constants
  and the comments behind statements on adjoining lines of a block
- one blank line above and below a block at the left margin; elsewhere blank lines stay, but never
  two of them, none at either end of the file and none below a header

Comments stay as they are, only spaces at their ends go.
"""

from __future__ import annotations

import re
from itertools import groupby
from typing import TYPE_CHECKING, Final, NamedTuple

from seqlang.text.findings import Finding, Span
from seqlang.text.grammar import Indentation, parser
from seqlang.text.indentation import MOST_IN_LINE, faults
from seqlang.text.parse import parse
from seqlang.text.render import width
from seqlang.text.source import Source

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from lark import Token

INDENT: Final = "    "
COLUMN: Final = 12
"""Characters of a rig line's first words; what the line says begins behind them."""

_SHEETS: Final = frozenset({"WEARER", "SUPPLY", "BOARD", "SERVO", "LAMP", "STRIP", "SWITCH"})
"""First tokens of blocks whose lines are entries of a sheet; those of others are sentences."""

_NUMBER_AND_UNIT: Final = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?) *(?![0-9.])")


class Formatted(NamedTuple):
    """The text in its canonical layout, or why it has none."""

    text: str
    findings: tuple[Finding, ...]


class _LaidLine(NamedTuple):
    """A line of the file: its tokens, its comment, or (neither) nothing."""

    depth: int
    tokens: tuple[Token, ...] = ()
    comment: str = ""

    @property
    def is_blank(self) -> bool:
        return not self.tokens and not self.comment

    @property
    def first(self) -> str:
        """The type of its first token."""
        return self.tokens[0].type if self.tokens else ""


def formatted(source: Source) -> Formatted:
    """The text laid out, or unchanged with findings if it does not parse.

    What comes out has the same tokens and comments in the same order, and laid out again it stays
    as it is: both are verified before it is returned.
    """
    wrong = faults(source) or tuple(parse(source).findings)
    if wrong:
        return Formatted(source.text, wrong)
    rows = _rows(source.text)
    text = _written(rows)
    too_long = _too_long(source, text)
    if too_long is not None:
        return Formatted(source.text, (too_long,))
    again = _rows(text)
    if _said(again) != _said(rows) or _written(again) != text:
        raise AssertionError("laying out the text would have changed it")
    return Formatted(text, ())


def _too_long(source: Source, text: str) -> Finding | None:
    """A line that would be longer than a line may be, or a text that would be too large."""
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > MOST_IN_LINE:
            return Finding(
                "error",
                "line-too-long",
                f"laid out, line {number} would be {len(line)} characters long, at most "
                f"{MOST_IN_LINE} are allowed",
                Span(source.path, 0, 0),
                help="give parts of its sums names with `given`, or shorten its comment",
                asked=len(line),
                limit=MOST_IN_LINE,
            )
    return next(iter(faults(Source(source.path, text))), None)


def _said(rows: Iterable[_LaidLine]) -> list[tuple[int, str, str]]:
    """What a text says whatever its layout: words with their depths, comments, their order."""
    words: list[tuple[int, str, str]] = []
    for row in rows:
        words += ((row.depth, token.type, _spelling(token)) for token in row.tokens)
        words += [(0, "comment", row.comment)] if row.comment else []
    return words


# -- text to rows ------------------------------------------------------------------------------


def _rows(text: str) -> list[_LaidLine]:
    """The lines of a text that parses."""
    reader = _LineReader(text)
    for token in parser().parse_interactive(text).exhaust_lexer():
        reader.take(token)
    return reader.end()


class _LineReader:
    def __init__(self, text: str) -> None:
        self._text = text
        self._rows: list[_LaidLine] = []
        self._tokens: list[Token] = []
        self._between: list[tuple[int, str]] = []
        """Blank lines and comments since the last statement, with their indentation."""
        self._widths = [0]
        """Indentation of the open blocks."""
        self._before = [0]
        """The same at the last statement."""
        self._end = 0

    def take(self, token: Token) -> None:
        if token.type == Indentation.INDENT_type:
            self._widths.append(_indent_width(token))
        elif token.type == Indentation.DEDENT_type:
            self._widths.pop()
        elif token.type == Indentation.NL_type:
            self._finish_line(token)
        else:
            if not self._tokens:
                self._settle()
            self._tokens.append(token)
            self._end = token.end_pos or 0

    def end(self) -> list[_LaidLine]:
        self._settle()
        return self._rows

    def _finish_line(self, line_end: Token) -> None:
        comment = self._text[self._end : line_end.start_pos].strip(" \t")
        self._end = line_end.end_pos or 0
        if self._tokens:
            self._rows.append(_LaidLine(len(self._widths) - 1, tuple(self._tokens), comment))
        else:  # the first line of the file
            self._between.append((0, comment))
        self._before = list(self._widths)
        self._tokens = []
        for line in line_end.split("\n")[1:-1]:
            self._between.append((_indent_width(line), line.strip(" \t")))
        last = line_end.rpartition("\n")[2]
        if last.strip(" \t"):  # a comment that the file ends with
            self._between.append((_indent_width(last), last.strip(" \t")))

    def _settle(self) -> None:
        """Give blank lines and comments their depths, now that the next one is known."""
        after = len(self._widths) - 1
        for indent, comment in self._between:
            ended = range(len(self._before) - 1, after, -1)
            fits = (depth for depth in ended if self._before[depth] <= indent)
            self._rows.append(_LaidLine(next(fits, after) if comment else after, (), comment))
        self._between = []


def _indent_width(line: str) -> int:
    """Columns of a line's indentation, as the parser counts them."""
    indent = line.rpartition("\n")[2]
    indent = indent[: len(indent) - len(indent.lstrip(" \t"))]
    return indent.count(" ") + indent.count("\t") * Indentation.tab_len


# -- rows to text ------------------------------------------------------------------------------


def _written(rows: Sequence[_LaidLine]) -> str:
    spaced = list(_spaced_blocks(list(_without_spare_blanks(rows))))
    words = _words(spaced)
    lines: list[str] = []
    for _, group in groupby(zip(spaced, words, strict=True), key=lambda one: _run(one[0])):
        run = list(group)
        column = max((width(text) for row, text in run if row.comment), default=0)
        for row, text in run:
            gap = " " * (column - width(text) + 2) if row.tokens and row.comment else ""
            lines.append((INDENT * row.depth + text + gap + row.comment).rstrip(" "))
    return "".join(f"{line}\n" for line in lines)


def _run(row: _LaidLine) -> tuple[bool, int]:
    """Adjoining lines that are alike in this have their comments in one column."""
    return bool(row.tokens), row.depth


def _without_spare_blanks(rows: Sequence[_LaidLine]) -> Iterator[_LaidLine]:
    """Not two blank lines together, none at the ends of the file, none below a header."""
    last: _LaidLine | None = None
    held = False
    for row in rows:
        if row.is_blank:
            held = True
            continue
        if held and last is not None and not (last.tokens and row.depth > last.depth):
            yield _LaidLine(row.depth)
        held = False
        yield row
        last = row


def _spaced_blocks(rows: list[_LaidLine]) -> Iterator[_LaidLine]:
    """A blank line above and below each block at the left margin, comments above it included."""
    heads = [n for n, row in enumerate(rows) if row.tokens and row.depth == 0]
    wanted: set[int] = set()
    for head, following, end in zip(heads, heads[1:], [*heads[2:], len(rows)], strict=False):
        block = max(n for n in range(head, following) if n == head or rows[n].depth > 0)
        has_blocks = block > head or any(rows[n].depth > 0 for n in range(following, end))
        if has_blocks and not any(row.is_blank for row in rows[block + 1 : following]):
            wanted.add(block + 1)
    for number, row in enumerate(rows):
        if number in wanted:
            yield _LaidLine(0)
        yield row


def _words(rows: Sequence[_LaidLine]) -> list[str]:
    """The words of each row, in columns where it has them; no comments."""
    words: list[str] = []
    headers: list[str] = []
    for kind, group in groupby(rows, key=lambda row: row.first):
        run = list(group)
        before = max((_before_equals(row) for row in run), default=0) if kind == "GIVEN" else 0
        for row in run:
            if row.tokens:
                headers[row.depth :] = [row.first]
            in_sheet = row.depth > 0 and headers[row.depth - 1] in _SHEETS
            words.append(_line(row.tokens, before, COLUMN if in_sheet else 0))
    return words


def _before_equals(row: _LaidLine) -> int:
    return width(_line(row.tokens, 0, 0).partition("=")[0].rstrip())


def _line(tokens: Sequence[Token], equals: int, column: int) -> str:
    """The words of a statement; what comes after its first word begins behind `column`."""
    text = ""
    last: Token | None = None
    for token in tokens:
        if last is not None and _apart(last, token):
            text += " "
            if last is tokens[0] and last.type != "NAME":
                text = text.ljust(column)
        if token.type == "EQUAL":
            text += " " * (equals - width(text.rstrip()))
        text += _spelling(token)
        last = token
    return text


def _apart(left: Token, right: Token) -> bool:
    """Whether a space stands between two words."""
    return right.type not in ("COMMA", "COLON", "RPAR") and left.type not in ("LPAR", "MINUS")


def _spelling(token: Token) -> str:
    if token.type == "STRING":
        return str(token)
    if token.type == "FRACTION":
        return token.replace(" ", "")
    words = re.sub(" +", " ", token)
    return _NUMBER_AND_UNIT.sub(r"\1 ", words, count=1) if token.type == "QUANTITY" else words
