"""Findings as a person reads them on a terminal, and as a program reads them (JSON)."""

from __future__ import annotations

import json
import math
import textwrap
import unicodedata
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Final, TextIO

from seqlang.cautions import DEFER

if TYPE_CHECKING:
    from seqlang.text.findings import Finding, Fix, Span
    from seqlang.text.source import Source

TAB: Final = 4
"""A tab in a shown line goes to the next column that this divides."""

WIDEST: Final = 100
"""Columns of a text that goes to no terminal; a longer source line is shown in part."""

NARROWEST: Final = 40
"""A narrower terminal gets lines of this many columns, which it breaks itself."""

FEWEST_LINES: Final = 24
"""Lines that a terminal is taken to have at least (80 by 24: common practice, no source)."""

_CAUTION: Final = "caution-"
_ORDER: Final = ("advice", "warning", "error")
_PLURALS: Final = {
    "error": "errors",
    "warning": "warnings",
    "advice": "advice",
    "caution": "cautions",
}
_COLOURS: Final = {
    "error": "31;1",
    "warning": "33;1",
    "advice": "36",
    "frame": "34",
    "help": "32",
    "strong": "1",
}


def wants_colour(stream: TextIO) -> bool:
    """Colour only on a terminal that can show it, and not where NO_COLOR is set (no-color.org)."""
    import os

    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return stream.isatty() and not plain


def columns_of(stream: TextIO) -> int | None:
    """Columns of the terminal behind a stream (COLUMNS, where set, rules); None if it is none."""
    return _size(stream)[0] if stream.isatty() else None


def lines_of(stream: TextIO) -> int:
    """Lines of the terminal behind a stream (LINES, where set, rules); `FEWEST_LINES` else."""
    return max(FEWEST_LINES, _size(stream)[1]) if stream.isatty() else FEWEST_LINES


def _size(stream: TextIO) -> tuple[int, int]:
    """Columns and lines of this very stream: another one may be a file."""
    import os
    import shutil

    usual = shutil.get_terminal_size((WIDEST, FEWEST_LINES))
    if "COLUMNS" in os.environ or "LINES" in os.environ:
        return usual
    try:
        found = os.get_terminal_size(stream.fileno())
    except (OSError, ValueError):
        return usual
    return (found.columns or usual.columns, found.lines or usual.lines)


def broken(words: str, columns: int | None, hang: int = 2) -> str:
    """Lines broken at spaces to fit a terminal; what goes on stands `hang` columns in.

    `columns` None: no terminal, nothing is broken.
    """
    if columns is None:
        return words
    most = max(columns, NARROWEST)
    return "\n".join(
        part
        for line in words.split("\n")
        for part in textwrap.wrap(
            line,
            most,
            subsequent_indent=" " * hang,
            break_long_words=False,
            break_on_hyphens=False,
        )
        or [""]
    )


def text(
    findings: Iterable[Finding],
    sources: Mapping[str, Source],
    *,
    colour: bool = False,
    columns: int | None = None,
) -> str:
    """All findings in full with their source lines, one blank line between them.

    The cautions open the text together; then come advice, warnings and, last, the errors, each in
    the order given: what must be mended first stands where a terminal is read. Lines are broken at
    `columns`; without it notes are broken at `WIDEST` and what names a file, line and finding stays
    on one line, for programs that look for it.
    """
    printer = _Printer(sources, colour, columns)
    found = list(findings)
    cautions = [finding for finding in found if is_caution(finding)]
    parts = [printer.cautions(cautions)] if cautions else []
    parts += [printer.finding(finding) for finding in in_order(found)]
    return "\n".join(parts)


def heads(
    findings: Iterable[Finding],
    sources: Mapping[str, Source],
    *,
    colour: bool = False,
    columns: int | None = None,
) -> str:
    """Place, message and name of each finding, without its source line, in the order given.

    Of a caution, only its message and name: no line of the show mends it.
    """
    printer = _Printer(sources, colour, columns)
    return "".join(
        line + "\n" for finding in findings for line in printer.head(finding, is_caution(finding))
    )


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    """Advice, warnings, errors, each in the order given; no cautions."""
    others = [finding for finding in findings if not is_caution(finding)]
    return sorted(others, key=lambda finding: _ORDER.index(finding.severity))


def is_caution(finding: Finding) -> bool:
    """Whether a finding is one of the usual cautions, which nothing in a show can mend."""
    return finding.name.startswith(_CAUTION)


class _Printer:
    def __init__(self, sources: Mapping[str, Source], colour: bool, columns: int | None) -> None:
        self._sources = sources
        self._colour = colour
        self._heads = None if columns is None else max(columns, NARROWEST)
        self._columns = self._heads or WIDEST

    def _paint(self, words: str, kind: str) -> str:
        return f"\x1b[{_COLOURS[kind]}m{words}\x1b[0m" if self._colour and words else words

    def finding(self, finding: Finding) -> str:
        lines = self.head(finding)
        ways = [(way.span, way.words) for way in reversed(finding.trail)]
        spots: list[tuple[Span | None, str, bool]] = [(finding.span, finding.label, True)]
        spots += [(span, words, False) for span, words in (*ways, *finding.related)]
        numbers = [self._line(span) for span, _, _ in spots]
        margin = max(4, len(str(max(numbers)))) + 1
        file = finding.span.path
        for span, label, main in spots:
            if span is None:
                lines += self._remark("where", "frame", label, margin)
                continue
            if span.path != file and self._has(span):
                lines.append(f"{self._paint('in'.rjust(margin), 'frame')}   {span.path}")
                file = span.path
            lines += self._spot(span, label, main, margin, finding.severity)
        for words in finding.notes:
            lines += self._remark("note", "frame", words, margin)
        for words in filter(None, [finding.help, self._change(finding)]):
            lines += self._remark("try", "help", words, margin)
        if finding.fix is not None and finding.fix.bench:
            lines += self._remark("then", "help", finding.fix.bench, margin)
        return "\n".join(lines) + "\n"

    def cautions(self, findings: Iterable[Finding]) -> str:
        """The cautions as one block; that they defer to the rules of the place is said once."""
        lines = [self._paint("cautions:", "warning")]
        deferring = False
        for finding in findings:
            lines += self.head(finding, True)
            for words in finding.notes:
                if words == DEFER:
                    deferring = True
                else:
                    lines += self._broken(words, "    - ")
        if deferring:
            lines += self._broken(DEFER, "  ", "  ")
        return "\n".join(lines) + "\n"

    def head(self, finding: Finding, caution: bool = False) -> list[str]:
        """The place, what was found, and the finding's name, painted after they were broken."""
        place, severity = self._place(finding.span), f"{finding.severity}: "
        if caution:
            place, severity = "  ", ""
        message, name = _printable(finding.message), f"({finding.name})"
        rest = "    "
        lines = [place + severity + message]
        if self._heads is not None:
            lines = self._broken(message, place + severity, rest)
        split = len(place + severity)
        first, words = lines[0][:split], [lines[0][split:], *(line[4:] for line in lines[1:])]
        kind = "strong" if caution or finding.severity == "error" else None
        painted = [self._paint(line, kind) if kind else line for line in words]
        first = place + (self._paint(first[len(place) :].rstrip(), finding.severity))
        head = [first + (" " if severity else "") + painted[0]]
        head += [rest + line for line in painted[1:]]
        label = self._paint(name, "frame")
        if self._heads is None or width(lines[-1]) + 2 + len(name) <= self._heads:
            return [*head[:-1], f"{head[-1]}  {label}"]
        return head if caution else [*head, rest + label]

    def _remark(self, title: str, kind: str, words: str, margin: int) -> list[str]:
        head = f"{title.rjust(margin)}   "
        first, *more = self._broken(words, head)
        return [f"{self._paint(head.rstrip(), kind)}   {first[len(head) :]}", *more]

    def _broken(self, words: str, head: str, rest: str | None = None) -> list[str]:
        """Words behind a head, broken at spaces; the lines that follow stand under the first."""
        return textwrap.wrap(
            _printable(words),
            self._columns,
            initial_indent=head,
            subsequent_indent=" " * len(head) if rest is None else rest,
            break_long_words=False,
            break_on_hyphens=False,
        ) or [head]

    def _place(self, span: Span) -> str:
        """`file:line:column: `, as editors and terminals understand it."""
        if not self._has(span):
            return f"{span.path}: " if span.path else ""
        source = self._sources[span.path]
        return f"{span.path}:{source.line_number(span.start)}:{source.column_number(span.start)}: "

    def _has(self, span: Span) -> bool:
        return span.path in self._sources

    def _line(self, span: Span | None) -> int:
        """The number of a span's line; 0 where there is none."""
        if span is None or not self._has(span):
            return 0
        return self._sources[span.path].line_number(span.start)

    def _change(self, finding: Finding) -> str | None:
        """The fix in words, where the help does not already hold its text."""
        fix = finding.fix
        if fix is None or f"`{fix.text.strip()}`" in (finding.help or ""):
            return None
        if not self._has(fix.span):
            return None
        source = self._sources[fix.span.path]
        old = source.text[fix.span.start : fix.span.end]
        if "\n" in fix.text.strip() or "\n" in old:
            return None
        places = len(fix.more) + 1
        also = "" if places == 1 else f", in {places} places"
        if any(text != fix.text for _, text in fix.more):
            others = "1 more change" if places == 2 else f"{places - 1} more changes"
            also = f", with {others} that `check --fix` makes"
        if not fix.text.strip():
            said = f"leave out `{old.strip()}`{also}"
            return said if old.strip() and said not in (finding.help or "") else None
        if fix.text.strip() == old.strip():
            return None
        instead = f" instead of `{old.strip()}`" if old.strip() else ""
        return f"write `{fix.text.strip()}`{instead}{also}"

    def _spot(self, span: Span, label: str, main: bool, margin: int, severity: str) -> list[str]:
        """The source line of one span with a marker under it."""
        if not self._has(span):
            return []
        source = self._sources[span.path]
        number, column = source.line_number(span.start), source.column_number(span.start)
        room = min(WIDEST, self._columns - margin - 9) if self._heads else WIDEST
        shown, before, under = _marked(
            source.line_text(number), column - 1, span.end - span.start, room
        )
        if not shown.strip():
            return []
        kind = severity if main else "frame"
        mark = self._paint(("^" if main else "~") * under, kind)
        lines = [
            f"{self._paint(str(number).rjust(margin), 'frame')} | {shown}",
            f"{' ' * margin} : {' ' * before}{mark}",
        ]
        words = _printable(label)
        if self._heads and margin + 3 + before + under + 1 + width(words) > self._heads:
            head = f"{' ' * margin} : {' ' * min(before, room // 2)}"
            below = self._broken(words, head, head) if words else []
            return lines + [head + self._paint(line[len(head) :], kind) for line in below]
        return [lines[0], lines[1] + (self._paint(f" {words}", kind) if words else "")]


def _marked(line: str, start: int, length: int, room: int) -> tuple[str, int, int]:
    """A source line as shown, the columns before the marker, and the marker's width."""
    length = min(length, len(line) - start)
    whole = len(line)
    if whole > room:
        cut = max(0, min(start - room // 3, len(line) - room))
        line, start = line[cut : cut + room], start - cut
        length = min(length, len(line) - start)
        if cut + room < whole:
            line += "..."
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
    """`2 errors, 1 warning, 5 cautions`, or `no findings`."""
    found = list(findings)
    kinds = ["caution" if is_caution(finding) else finding.severity for finding in found]
    counts = []
    for kind, plural in _PLURALS.items():
        count = kinds.count(kind)
        if count:
            counts.append(f"{count} {kind if count == 1 else plural}")
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
        "trail": [
            {
                "words": way.words,
                "span": None if way.span is None else _place(way.span, sources),
            }
            for way in finding.trail
        ],
        "notes": list(finding.notes),
        "help": finding.help,
        "fix": None if fix is None else _fix(fix, sources),
        "asked": finding.asked,
        "limit": finding.limit,
        "unit": finding.unit,
    }


def _fix(fix: Fix, sources: Mapping[str, Source]) -> dict[str, object]:
    """`span` and `text` as they were always; `more` where other places must change with it."""
    record: dict[str, object] = {"span": _place(fix.span, sources), "text": fix.text}
    if fix.more:
        record["more"] = [{"span": _place(s, sources), "text": text} for s, text in fix.more]
    if fix.bench:
        record["bench"] = fix.bench
    return record


def _place(span: Span, sources: Mapping[str, Source]) -> dict[str, object]:
    place: dict[str, object] = {"path": span.path, "start": span.start, "end": span.end}
    source = sources.get(span.path)
    if source is not None:
        place["line"] = source.line_number(span.start)
        place["column"] = source.column_number(span.start)
        place["end_line"] = source.line_number(span.end)
        place["end_column"] = source.column_number(span.end)
    return place
