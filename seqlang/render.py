"""Findings as a person reads them on a terminal, and as a program reads them (JSON)."""

from __future__ import annotations

import json
import math
import unicodedata
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Final, TextIO

if TYPE_CHECKING:
    from seqlang.diagnostics import Finding, Span
    from seqlang.source import Source

TAB: Final = 4
"""A tab in a shown line goes to the next column that this divides."""

WIDEST: Final = 100
"""A longer source line is shown in part."""

_COLOURS: Final = {"error": "31;1", "warning": "33;1", "advice": "36", "frame": "34", "help": "32"}


def wants_colour(stream: TextIO) -> bool:
    """Colour only on a terminal, and not where NO_COLOR is set (no-color.org)."""
    import os

    return stream.isatty() and not os.environ.get("NO_COLOR")


def text(
    findings: Iterable[Finding], sources: Mapping[str, Source], *, colour: bool = False
) -> str:
    """All findings with their source lines, one blank line between them."""
    return "\n".join(_Printer(sources, colour).finding(finding) for finding in findings)


class _Printer:
    def __init__(self, sources: Mapping[str, Source], colour: bool) -> None:
        self._sources = sources
        self._colour = colour

    def _paint(self, words: str, kind: str) -> str:
        return f"\x1b[{_COLOURS[kind]}m{words}\x1b[0m" if self._colour and words else words

    def finding(self, finding: Finding) -> str:
        what = self._paint(f"{finding.severity}:", finding.severity)
        name = self._paint(f"({finding.name})", "frame")
        lines = [f"{self._place(finding.span)}{what} {_printable(finding.message)}  {name}"]
        spots = [(finding.span, finding.label, True)]
        spots += [(span, label, False) for span, label in finding.related]
        numbers = [self._sources[s.path].line_number(s.start) for s, _, _ in spots if self._has(s)]
        margin = max(4, len(str(max(numbers, default=0)))) + 1
        for span, label, main in spots:
            lines += self._spot(span, label, main, margin, finding.severity)
        for words in finding.notes:
            lines.append(f"{self._paint('note'.rjust(margin), 'frame')}   {_printable(words)}")
        for words in filter(None, [finding.help, self._change(finding)]):
            lines.append(f"{self._paint('try'.rjust(margin), 'help')}   {_printable(words)}")
        return "\n".join(lines) + "\n"

    def _place(self, span: Span) -> str:
        """`file:line:column: `, as editors and terminals understand it."""
        if not self._has(span):
            return f"{span.path}: " if span.path else ""
        source = self._sources[span.path]
        return f"{span.path}:{source.line_number(span.start)}:{source.column_number(span.start)}: "

    def _has(self, span: Span) -> bool:
        return span.path in self._sources

    def _change(self, finding: Finding) -> str | None:
        """The fix in words, where the help does not already hold its text."""
        fix = finding.fix
        if fix is None or f"`{fix.text}`" in (finding.help or "") or not self._has(fix.span):
            return None
        source = self._sources[fix.span.path]
        old = source.text[fix.span.start : fix.span.end]
        if "\n" in fix.text.strip() or "\n" in old:
            return None
        return f"write `{fix.text.strip()}`" + (f" instead of `{old}`" if old.strip() else "")

    def _spot(self, span: Span, label: str, main: bool, margin: int, severity: str) -> list[str]:
        """The source line of one span with a marker under it."""
        if not self._has(span):
            return []
        source = self._sources[span.path]
        number, column = source.line_number(span.start), source.column_number(span.start)
        shown, before, under = _marked(source.line_text(number), column - 1, span.end - span.start)
        if not shown.strip():
            return []
        kind = severity if main else "frame"
        mark = self._paint(("^" if main else "~") * under, kind)
        words = self._paint(f" {_printable(label)}", kind) if label else ""
        return [
            f"{self._paint(str(number).rjust(margin), 'frame')} | {shown}",
            f"{' ' * margin} : {' ' * before}{mark}{words}",
        ]


def _marked(line: str, start: int, length: int) -> tuple[str, int, int]:
    """A source line as shown, the columns before the marker, and the marker's width."""
    length = min(length, len(line) - start)
    if len(line) > WIDEST:
        cut = max(0, min(start - WIDEST // 3, len(line) - WIDEST))
        line, start = line[cut : cut + WIDEST], start - cut
        length = min(length, len(line) - start)
        if cut:
            line, start = "..." + line, start + 3
    before = _expanded(line[:start])
    marked = _expanded(line[:start] + line[start : start + max(length, 0)])
    return _expanded(line), width(before), max(1, width(marked) - width(before))


def _expanded(words: str) -> str:
    """Tabs as spaces, and what cannot be shown as a question mark."""
    shown, column = [], 0
    for letter in words:
        if letter == "\t":
            letter = " " * (TAB - column % TAB)
        elif not letter.isprintable():
            letter = "?"
        shown.append(letter)
        column += width(letter)
    return "".join(shown)


def _printable(words: str) -> str:
    """Words without anything that would steer a terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in words)


def width(words: str) -> int:
    """Columns of a terminal that text takes (Unicode TR 11: wide and fullwidth take two)."""
    return sum(
        0 if unicodedata.combining(letter) else 2 if _is_wide(letter) else 1 for letter in words
    )


def _is_wide(letter: str) -> bool:
    return unicodedata.east_asian_width(letter) in "WF"


def summary(findings: Iterable[Finding]) -> str:
    """`2 errors, 1 warning`, or `no findings`."""
    found = list(findings)
    counts = []
    for severity, plural in (("error", "errors"), ("warning", "warnings"), ("advice", "advice")):
        count = sum(finding.severity == severity for finding in found)
        if count:
            counts.append(f"{count} {severity if count == 1 else plural}")
    return ", ".join(counts) or "no findings"


# -- JSON --------------------------------------------------------------------------------------


def as_json(findings: Iterable[Finding], sources: Mapping[str, Source], **more: object) -> str:
    """Findings (and whatever else is named) as one JSON object.

    Offsets count characters from the start of the file; lines and columns count from 1.
    """
    records = [_record(finding, sources) for finding in findings]
    return json.dumps(_finite({"findings": records, **more}), indent=2, allow_nan=False)


def _finite(value: object) -> object:
    """JSON has no infinity: numbers beyond all bounds become null."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {name: _finite(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value


def _record(finding: Finding, sources: Mapping[str, Source]) -> dict[str, object]:
    fix = finding.fix
    return {
        "severity": finding.severity,
        "name": finding.name,
        "message": finding.message,
        "span": _place(finding.span, sources),
        "label": finding.label,
        "related": [{"span": _place(s, sources), "label": label} for s, label in finding.related],
        "notes": list(finding.notes),
        "help": finding.help,
        "fix": None if fix is None else {"span": _place(fix.span, sources), "text": fix.text},
        "asked": finding.asked,
        "limit": finding.limit,
        "unit": finding.unit,
    }


def _place(span: Span, sources: Mapping[str, Source]) -> dict[str, object]:
    place: dict[str, object] = {"path": span.path, "start": span.start, "end": span.end}
    source = sources.get(span.path)
    if source is not None:
        place["line"] = source.line_number(span.start)
        place["column"] = source.column_number(span.start)
        place["end_line"] = source.line_number(span.end)
        place["end_column"] = source.column_number(span.end)
    return place
