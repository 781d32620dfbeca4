"""What must be right about a file before it can be parsed: text, line lengths, indentation."""

from __future__ import annotations

import codecs
import unicodedata
from collections import Counter
from pathlib import Path
from typing import Final

from seqlang.text.findings import Finding, Fix, Span
from seqlang.text.grammar import failure
from seqlang.text.source import Source

MOST_BYTES: Final = 32_000_000
"""A file larger than this is not even read."""

MOST_CHARACTERS: Final = 4_000_000
MOST_CONTENT: Final = 700_000
"""Characters besides comments, indentation and empty lines: so many are read in seconds."""

MOST_IN_LINE: Final = 1000
MOST_NESTED: Final = 24
"""Blocks within blocks."""

MOST_BRACKETS: Final = 16
"""Brackets within brackets."""

MOST_INCLUDED: Final = 50
"""Files that a show includes."""

MOST_INCLUDED_DEEP: Final = 8
"""Files that include files."""

_SHOWN: Final = 20
"""Lines of one kind of fault that are listed."""


def read(path: Path) -> tuple[str, Finding | None]:
    """The text of a file with `\\n` line ends, or a finding that says why it is none.

    Raises OSError if the file cannot be opened.
    """
    with path.open("rb") as file:
        return decoded(file.read(MOST_BYTES + 1), str(path))


def decoded(data: bytes, path: str) -> tuple[str, Finding | None]:
    """What `read` gives for a file with this content."""
    here = Span(path, 0, 0)
    if len(data) > MOST_BYTES:
        return "", _fault(
            "file-too-large",
            f"the file holds more than {MOST_BYTES // 1_000_000} MB, and no show needs that much",
            here,
        )
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or _halved(data):
        return "", _fault(
            "not-text",
            "this file is text in UTF-16, which some editors call Unicode",
            here,
            "save it as UTF-8 in your editor",
        )
    if b"\0" in data:
        return "", _fault(
            "not-text",
            "this is not a text file: it has bytes with the value 0",
            here,
            "a show is plain text in UTF-8; is this a table or a picture?",
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        at = len(_plain_ends(data[: error.start].decode("utf-8-sig")))
        # the rest is kept with a mark for each byte that is none, so that the line can be shown
        return _plain_ends(data.decode("utf-8-sig", "replace")), _fault(
            "not-text",
            f"this is not text in UTF-8: byte {error.start + 1}, in line {line}, cannot be read",
            Span(path, at, at + 1),
            "save it as UTF-8 in your editor",
        )
    return _plain_ends(text), None


def _plain_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _halved(data: bytes) -> bool:
    """Whether every second byte is zero, as in UTF-16 of plain letters without its mark."""
    low, high = data[:200:2], data[1:200:2]
    little, big = all(low) and not any(high), all(high) and not any(low)
    return bool(high) and (little or big)


def faults(source: Source, of_one_file: bool = True) -> tuple[Finding, ...]:
    """Everything about a text's layout that keeps it from being parsed.

    Where the text is not `of_one_file`, some of its blocks may be indented with tabs.
    """
    lines = source.text.split("\n")
    found = (
        _too_deep(source, lines)
        or _too_long(source, lines)
        or (of_one_file and _mixed(source, lines))
        or _uneven(source, lines)
    )
    if not found and not any(is_content(line) for line in lines):
        here = Span(source.path, 0, 0)
        return (
            _fault(
                "empty-show",
                "there is no statement in this file",
                here,
                'a show starts like this: `show "My first show"`',
            ),
        )
    return tuple(found)


def _fault(name: str, message: str, span: Span, help: str | None = None) -> Finding:
    return Finding("error", name, message, span, help=help)


def is_content(line: str) -> bool:
    bare = line.lstrip(" \t")
    return bool(bare) and not bare.startswith("#")


def _counted(indent: int, line: str) -> str:
    """So much indentation in words, of what a line is indented with."""
    sign = "tab" if line.startswith("\t") else "space"
    return f"{indent} {sign}{'' if indent == 1 else 's'}"


def width(line: str) -> int:
    """Characters of indentation of a line."""
    return len(line) - len(line.lstrip(" \t"))


def _indent(line: str) -> str:
    return line[: len(line) - len(line.lstrip(" \t"))]


def _line_span(source: Source, number: int) -> Span:
    """The text of a line (counted from 0) without its indentation."""
    start = source.line_starts[number]
    line = source.line_text(number + 1)
    return Span(source.path, start + len(_indent(line)), start + len(line.rstrip()))


def _too_deep(source: Source, lines: list[str]) -> list[Finding]:
    """Blocks or brackets nested beyond what anybody reads."""
    stack = [0]
    for number, line in enumerate(lines):
        if MOST_BRACKETS < len(line) <= MOST_IN_LINE and _brackets(line) > MOST_BRACKETS:
            return [
                _fault(
                    "nested-too-deep",
                    f"brackets nest {_brackets(line)} deep here, at most {MOST_BRACKETS} are "
                    "allowed",
                    Span(source.path, source.line_starts[number], source.line_starts[number] + 1),
                    "give parts of it names: `given pace = ...`",
                )
            ]
        if not line or not is_content(line):
            continue
        indent = width(line)
        while indent < stack[-1]:
            stack.pop()
        if indent > stack[-1]:
            stack.append(indent)
            if len(stack) - 1 > MOST_NESTED:
                start = source.line_starts[number] + indent
                return [
                    Finding(
                        "error",
                        "nested-too-deep",
                        f"blocks nest more than {MOST_NESTED} deep from here on",
                        Span(source.path, start, start + min(40, len(line) - indent)),
                        help="move inner blocks into cues of their own and `play` them",
                        asked=len(stack) - 1,
                        limit=MOST_NESTED,
                    )
                ]
    return []


def _brackets(line: str) -> int:
    if "(" not in line:
        return 0
    deepest = level = 0
    for letter in line:
        if letter == "#":
            break
        level += (letter == "(") - (letter == ")")
        deepest = max(deepest, level)
    return deepest


def _too_long(source: Source, lines: list[str]) -> list[Finding]:
    for number, line in enumerate(lines):
        if len(line) > MOST_IN_LINE:
            start = source.line_starts[number]
            return [
                Finding(
                    "error",
                    "line-too-long",
                    f"line {number + 1} is {len(line)} characters long, at most {MOST_IN_LINE} "
                    "are allowed",
                    Span(source.path, start, start + 1),
                    help="was this file made by an editor? a show has one statement a line",
                    asked=len(line),
                    limit=MOST_IN_LINE,
                )
            ]
    if len(source.text) > MOST_CHARACTERS:
        return [
            _fault(
                "file-too-large",
                f"the text has {len(source.text)} characters, at most {MOST_CHARACTERS}",
                Span(source.path, 0, 0),
            )
        ]
    content = content_of(source.text) if len(source.text) > MOST_CONTENT else 0
    if content > MOST_CONTENT:
        return [
            _fault(
                "file-too-large",
                f"the statements of this file have {content} characters, at most {MOST_CONTENT}",
                Span(source.path, 0, 0),
                "comments, indentation and empty lines do not count",
            )
        ]
    return []


def content_of(text: str) -> int:
    """Characters of a text that count as statements."""
    return sum(map(_content, text.split("\n")))


def _content(line: str) -> int:
    """Characters of a line besides indentation and what may be a comment."""
    bare = line.strip()
    return 0 if bare.startswith("#") else len(bare)


def _mixed(source: Source, lines: list[str]) -> list[Finding]:
    """Tabs and spaces: the first indented line decides which of the two a file uses."""
    first: tuple[str, int] | None = None
    wrong: list[int] = []
    for number, line in enumerate(lines):
        bare = line.lstrip()
        indent = line[: len(line) - len(bare)]
        if not indent or not bare or bare.startswith("#"):
            continue
        if first is None and indent[0] in " \t":
            first = (indent[0], number)
        if indent.strip(first[0] if first else " "):
            wrong.append(number)
    if not wrong:
        return []
    letter, number = first or (" ", wrong[0])
    one = "spaces" if letter == " " else "tabs"
    spans = [_inset_span(source, lines, number) for number in wrong]
    odd = next(c for c in source.text[spans[0].start : spans[0].end] if c != letter)
    other = {"\t": "a tab", " ": "a space"}.get(odd) or unicodedata.name(
        odd, "another sign"
    ).lower()
    other = other if other.startswith("a") else f"a {other}"
    shown = [(span, "and here") for span in spans[1 : _SHOWN + 1]]
    more = len(spans) - 1 - len(shown)
    return [
        Finding(
            "error",
            "mixed-indent",
            f"this line is indented with {other}, but the file uses {one}",
            spans[0],
            related=((_line_span(source, number), f"indented with {one}"), *shown),
            notes=(f"and {more} more lines",) if more > 0 else (),
            help=f"indent with {one} throughout",
            fix=_evened(source, lines, wrong, letter),
        )
    ]


def _inset_span(source: Source, lines: list[str], number: int) -> Span:
    start, line = source.line_starts[number], lines[number]
    return Span(source.path, start, start + len(line) - len(line.lstrip()))


def _evened(source: Source, lines: list[str], wrong: list[int], letter: str) -> Fix | None:
    """The wrong lines indented as the others are, with the size of a tab that makes them fit."""
    for size in (4, 8, 2, 3):
        changed = list(lines)
        places = []
        for number in wrong:
            span = _inset_span(source, lines, number)
            columns = 0
            for sign in source.text[span.start : span.end]:
                columns += size - columns % size if sign == "\t" else 1
            instead = " " * columns if letter == " " else "\t" * (columns // size)
            places.append((span, instead))
            changed[number] = instead + lines[number].lstrip()
        new = Source(source.path, "\n".join(changed))
        if not _uneven(new, changed) and failure(new.text + "\n") is None:
            return Fix(*places[0], tuple(places[1:]))
    return None


def _uneven(source: Source, lines: list[str]) -> list[Finding]:
    """Lines that go back to an indentation that no open block has.

    The first line of a file stands at the margin for the parser, wherever it stands.
    """
    stack = [(0, 0)]
    found: list[Finding] = []
    for number, line in enumerate(lines):
        if not is_content(line) or number == 0:
            continue
        indent = width(line)
        inner = stack[-1]
        while indent < stack[-1][0]:
            inner = stack.pop()
        if indent > stack[-1][0]:
            if inner[0] > indent and len(found) < _SHOWN:
                found.append(_uneven_line(source, lines, number, inner, stack[-1][0]))
            stack.append((indent, number))
    inset = min((width(line) for line in lines if is_content(line)), default=0)
    several = sum(is_content(line) and width(line) == inset for line in lines) > 1
    if inset and (found or several or not is_content(lines[0])):
        return [_all_indented(source, lines, inset)]
    return found


def _all_indented(source: Source, lines: list[str], inset: int) -> Finding:
    """A text that was taken from within another one."""
    starts = [source.line_starts[n] for n, line in enumerate(lines) if is_content(line)]
    places = [(Span(source.path, start, start + inset), "") for start in starts]
    return Finding(
        "error",
        "uneven-indent",
        f"every line of this file is indented, by {inset} or more",
        places[0][0],
        help="what belongs to no block stands at the left margin",
        fix=Fix(*places[0], tuple(places[1:])),
        asked=inset,
    )


def _uneven_line(
    source: Source, lines: list[str], number: int, inner: tuple[int, int], outer: int
) -> Finding:
    """The line that fits no block, or the block's first line, if that is the one too deep."""
    indent, (deep, opened) = width(lines[number]), inner
    above = [n for n in range(opened, number) if is_content(lines[n])]
    below = []
    for n in range(number, len(lines)):
        if is_content(lines[n]):
            if width(lines[n]) < indent:
                break
            below.append(n)
    step = _step(lines)
    is_first_too_deep = indent - outer == step and deep - outer != step
    if is_first_too_deep:
        start = source.line_starts[opened]
        places = [
            (Span(source.path, source.line_starts[n], source.line_starts[n] + deep - indent), "")
            for n in above
        ]
        return Finding(
            "error",
            "uneven-indent",
            f"this line is indented by {_counted(deep, lines[opened])}, and the lines of its block "
            f"below it by {indent}",
            Span(source.path, start, start + deep),
            related=((_line_span(source, number), f"indented by {indent}"),),
            help=f"indent it by {indent}",
            fix=Fix(*places[0], tuple(places[1:])),
            asked=deep,
        )
    start = source.line_starts[number]
    more = lines[number][0] * (deep - indent)
    fits = all(width(lines[n]) >= deep for n in below[1:])
    return Finding(
        "error",
        "uneven-indent",
        f"this line is indented by {_counted(indent, lines[number])}, which fits no block above it",
        Span(source.path, start, start + max(1, indent)),
        help=f"indent it by {outer} or by {deep}",
        fix=Fix(Span(source.path, start, start), more) if fits else None,
        asked=indent,
    )


def _step(lines: list[str]) -> int:
    """How far most blocks of a file are indented."""
    steps: Counter[int] = Counter()
    before = 0
    for line in lines:
        if is_content(line):
            if width(line) > before:
                steps[width(line) - before] += 1
            before = width(line)
    return steps.most_common(1)[0][0] if steps else 4
