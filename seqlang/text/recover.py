"""Parsing on after a syntax error, so that one run reports them all.

The text is cut at its top-level lines. In a piece that does not parse, the line at fault is
replaced by a stand-in of the same length that the grammar takes for a broken line, and the piece
is parsed again; offsets stay what they were.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Final, NamedTuple, cast

from lark import TextSlice, UnexpectedInput, UnexpectedToken

from seqlang.text.findings import Finding, Fix, Span, applied
from seqlang.text.indentation import is_content, width
from seqlang.text.names import MOST_IN_ROW, NAMELESS, OF_ANY_SIDE, nearest
from seqlang.text.pieces import ReadPieces, pieces_of
from seqlang.text.slips.gestures import HEADER, parameters
from seqlang.text.slips.words import means_block
from seqlang.text.slips.written import BLOCKS, HEADS, Asked, Surroundings, Written
from seqlang.text.source import Source
from seqlang.text.syntax_errors import explain
from seqlang.text.tokens import due
from sim.rig.regions import REGIONS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lark import Lark

    from seqlang.text.syntax import TopLine

MOST_ERRORS: Final = 20
MOST_RETRIED: Final = 400_000
"""Characters that are parsed again before the search for further errors ends."""

_MOST_BODY: Final = 4000
"""Characters from a header on in which the uses of a gesture's parameters are looked for."""

_REPEATING: Final = ("mirror", "row")
"""Headers of what exists several times."""

STAND_IN: Final = "\x00"
_BLOCK: Final = "in turn"
_WORDS: Final = re.compile(r"[^\W\d]\w*")
_FIRST_WORD: Final = re.compile(r"[^\W\d]\w*")
_DECLARED: Final = re.compile(
    r"^(servo|lamp|strip|switch|supply|board|channel|sensor|cue|gesture|pose|safe +pose|given)"
    r" +([^\W\d][\w-]*)",
    re.MULTILINE,
)
_TWO_WORDS: Final = re.compile(
    r"^(servo|lamp|strip|switch|board) +([^\W\d]\w*) +([^\W\d]\w*) *:", re.MULTILINE
)
_REPEATED: Final = re.compile(
    r"^[ \t]+(?:(servo|lamp|strip|switch|supply|board|cue|gesture) +([^\W\d]\w*)"
    r"|(?:safe +)?(pose) +([^\W\d]\w*) *$)",
    re.MULTILINE,
)
"""What is declared below such a header."""

_NAMED: Final = re.compile(r"[ \t]*(?:safe +)?\w+ +[^\W\d]")
"""A header behind whose first word stands something that may be its name."""

_KINDS: Final = {
    **{kind: (kind, "output") for kind in ("servo", "lamp", "strip", "switch")},
    **{kind: (kind,) for kind in ("supply", "board", "channel", "sensor", "pose")},
    **dict.fromkeys(("cue", "gesture"), ("cue", "gesture")),
    "given": ("constant",),
}
"""What messages call that which a header declares, by its first word."""

_MIRROR: Final = re.compile(
    r"(?:mirror\w*|sides?|both\W+sides)[^\w\n]+([^\W\d]\w*)(?:[^\w\n]+and\b)?[^\w\n]+"
    r"([^\W\d]\w*)"
)
_ROW: Final = re.compile(r"^[ \t]*rows?\b(?: +of +([0-9]{1,4})\b)?", re.MULTILINE)
_PARAMETER: Final = re.compile(r"[:,] *([^\W\d]\w*) +(\w*)")
_GESTURE: Final = re.compile(r"^([ \t]*)gesture +([^\W\d]\w*).*$", re.MULTILINE)
_SCORED: Final = ("cue", "gesture")
_CUE: Final = re.compile(r"cue +[^\W\d]\w*")


class Recovered(NamedTuple):
    items: list[TopLine]
    findings: list[Finding]
    lost_names: set[str]
    """Names that the broken lines would have declared."""


def recovered(source: Source, parser: Lark, known: ReadPieces | None = None) -> Recovered:
    """Everything that can be read of a text with syntax errors; `known`: of its last version."""
    result = Recovered([], [], set())
    work = _Work(source, parser, known or ReadPieces())
    stretches = pieces_of(source.text)
    skipped: set[int] = set()
    above: int | None = None
    for start, end in stretches:
        if start in skipped:
            continue
        body = work.body_at_margin(start, end, stretches)
        if body:
            result.findings.append(_not_indented(source, start, body))
            result.lost_names.update(_WORDS.findall(source.text, start, end))
            skipped.update(body)
            continue
        if above is not None and work.reads_in(above, start):
            result.findings.append(_not_indented(source, above, [start]))
            continue
        above = start
        result.items.extend(work.piece(start, end, result))
        if len(result.findings) >= MOST_ERRORS or work.retried > MOST_RETRIED:
            if end < len(source.text):
                result.findings.append(
                    Finding(
                        "error",
                        "too-many-errors",
                        "the text below this line was not read",
                        _last_line(source, end),
                        help="correct the errors above first",
                    )
                )
            break
    return result


def _last_line(source: Source, end: int) -> Span:
    """The last line with words above an offset."""
    stop = len(source.text[:end].rstrip())
    return Span(source.path, source.text.rfind("\n", 0, stop) + 1, stop)


def _not_indented(source: Source, header: int, body: list[int]) -> Finding:
    """One finding for a whole body that stands at the left margin."""
    numbers = [source.line_number(start) for start in body]
    indent = "\t" if "\n\t" in source.text else "    "
    places = [(Span(source.path, start, start), indent) for start in body]
    first = source.line_text(numbers[0])
    head = source.line_text(source.line_number(header)).rstrip(" :{")
    return Finding(
        "error",
        "syntax",
        f"this line belongs to `{head}` above it and is not indented",
        Span(source.path, body[0], body[0] + max(1, len(first.rstrip()))),
        related=((Span(source.path, header, header + len(head)), "its header"),),
        help="what belongs to a header stands below it, each line with four spaces in front",
        fix=Fix(*places[0], tuple(places[1:])),
    )


class _Work:
    def __init__(self, source: Source, parser: Lark, known: ReadPieces) -> None:
        self._known = known
        self._source = source
        self._parser = parser
        self._text = source.text
        self.retried = 0

    def body_at_margin(self, start: int, end: int, pieces: list[tuple[int, int]]) -> list[int]:
        """Starts of the lines behind a header without a block that read like its block."""
        text = self._text
        found = _FIRST_WORD.match(text, start)
        kind = "" if found is None else found[0]
        lines = self._lines(start, end)
        if kind not in HEADS or any(is_content(line) for _, line in lines[1:]):
            return []
        behind = [one for one in pieces if one[0] >= end]
        body: list[int] = []
        for at, until in behind:
            for begin, line in self._lines(at, until):
                if not is_content(line):
                    continue
                inside = Written(line.strip(), Surroundings(kind, False, self._names))
                alone = Written(line.strip(), Surroundings(None, True, self._names))
                deeper = bool(body) and width(line) > 0
                if not deeper and (inside.halt is not None or alone.halt is None):
                    return body
                body.append(begin)
        return body

    def reads_in(self, header: int, line: int) -> bool:
        """Whether a line at the margin can only be one of the block of the header above it."""
        kind = _FIRST_WORD.match(self._text, header)
        if kind is None or kind[0] not in HEADS:
            return False
        end = self._text.find("\n", line)
        words = self._text[line : None if end < 0 else end].strip()
        inside = Written(words, Surroundings(kind[0], False, self._names))
        alone = Written(words, Surroundings(None, True, self._names))
        return alone.halt is not None and inside.halt is None and inside.makes_sense

    def piece(self, start: int, end: int, result: Recovered) -> list[TopLine]:
        """The items of one piece; its errors are added to the result."""
        mended: set[int] = set()
        while True:
            try:
                if not mended:
                    return self._known.piece(self._parser, self._text, start, end)
                piece = TextSlice(self._text, start, end)
                return cast("list[TopLine]", self._parser.parse(piece))
            except UnexpectedInput as error:
                line = self._line_at_fault(error, start, end)
                self.retried += end - start
                repeated = line in mended
                header = None
                if not repeated:
                    around = self._surroundings(line, start, end)
                    finding = explain(error, self._source, line, around)
                    chooses = self._text.startswith("one of", line + width(self._text[line:end]))
                    if finding.fix is None and not chooses and _lacks_body(error):
                        finding = replace(finding, fix=self._only_body(line, end))
                    header = self._mended_header(line, finding.fix)
                    result.findings.append(finding)
                    mended.add(line)
                if repeated or len(result.findings) >= MOST_ERRORS or self.retried > MOST_RETRIED:
                    self._note_name(start, start, result)
                    return []
                self._mend(error, line, start, end, result, header)

    def _line_at_fault(self, error: UnexpectedInput, start: int, end: int) -> int:
        """Offset of the start of the line that must change."""
        at = min(max(start, _position(error)), end - 1)
        line = self._text.rfind("\n", 0, at) + 1
        if not isinstance(error, UnexpectedToken):
            return line
        if _needs_block(error):
            if error.token.type in ("$END", "_DEDENT", "_NL"):
                return line
            above = [at for at, text in self._lines(start, line) if is_content(text)]
            return above[-1] if above else line
        if error.token.type == "_INDENT":
            if self._text.startswith(_SCORED, start) and line > start and self._means_block(line):
                return line
            below = (at for at, text in self._lines(at + 1, end) if is_content(text))
            return next(below, line)
        return line

    def _means_block(self, line: int) -> bool:
        """Whether a line that has been read as another statement was meant to carry a block."""
        end = self._text.find("\n", line)
        return means_block(self._text[line : None if end < 0 else end])

    def _only_body(self, line: int, end: int) -> Fix | None:
        """Indenting what stands below a block's header, if that is a single line.

        Of several lines nobody knows how many belong to the block.
        """
        (_, header), *below = self._lines(line, end)
        inset = width(header)
        body = [(at, text) for at, text in below if is_content(text) and width(text) >= inset]
        if len(body) != 1 or width(body[0][1]) != inset:
            return None
        indent = "\t" if body[0][1].startswith("\t") else "    "
        return Fix(Span(self._source.path, body[0][0], body[0][0]), indent)

    def _surroundings(self, line: int, start: int, end: int) -> Surroundings:
        """What is known of the line at fault."""
        kind = self._head_of(line, start)
        (_, text), *below = self._lines(line, end)
        following = next((other for _, other in below if is_content(other)), "")
        if kind and kind not in HEADS:
            kind = nearest(kind, HEADS) or kind
        names = self._names
        if kind == "gesture":  # whose statements are those of a cue
            kind, names = "cue", self._names_in_gesture(start, line)
        body = ""
        if kind is None and HEADER.match(text) is not None:
            body = self._source.text[line + len(text) : min(end, line + _MOST_BODY)]
        block = width(following) > width(text)
        return Surroundings(kind, block, names, self._gestures, body)

    @cached_property
    def _gestures(self) -> dict[str, dict[str, Asked]]:
        """The file's gestures with their parameters."""
        found: dict[str, dict[str, Asked]] = {}
        for start, end in pieces_of(self._source.text):
            repeats = _repeats(self._source.text, start)
            for line in _GESTURE.finditer(self._source.text, start, end):
                if repeats or not line[1]:
                    called = self._called(line[2], start) if repeats else (line[2],)
                    found.update(dict.fromkeys(called, parameters(line[0].strip())))
        return found

    def _names_in_gesture(self, start: int, line: int) -> dict[str, frozenset[str]]:
        """What the file declares, with the parameters of the gesture above a line among it."""
        header = self._source.line_text(self._source.line_number(start))
        if _repeats(self._source.text, start):
            above = [one[0] for one in _GESTURE.finditer(self._source.text, start, line)]
            header = above[-1] if above else ""
        found = {kind: set(names) for kind, names in self._names.items()}
        for name, kind in _PARAMETER.findall(header):
            for one in {"light": ("lamp", "strip")}.get(kind, (kind,)):
                known = one if one in ("servo", "lamp", "strip", "switch") else "given"
                found.setdefault(known, set()).add(name)
        return {kind: frozenset(names) for kind, names in found.items()}

    def _head_of(self, line: int, start: int) -> str | None:
        """The kind of statement in whose block a line stands; None for one that is in no block.

        What stands directly below `mirror` or `row` is like what stands at the left margin.
        """
        text = self._source.text
        end = text.find("\n", line)
        inset = width(text[line : None if end < 0 else end])
        found: list[str] = []
        for _, above in reversed(_lines_of(text, start, line)):
            if is_content(above) and width(above) < inset:
                inset = width(above)
                word = _FIRST_WORD.match(above.strip())
                found.append("" if word is None else word[0])
        while found and _repeats(found[-1], 0):
            found.pop()
        return found[-1] if found else None

    @cached_property
    def _names(self) -> dict[str, frozenset[str]]:
        """What the file declares, also in lines that cannot be read."""
        found: dict[str, set[str]] = {"region": set(REGIONS)}
        for kind, name in _DECLARED.findall(self._source.text):
            found.setdefault(kind.split()[-1], set()).add(name.replace("-", "_"))
        for kind, *two in _TWO_WORDS.findall(self._source.text):
            found.setdefault(kind, set()).add("_".join(two))
        for start, end in pieces_of(self._source.text):
            if _repeats(self._source.text, start):
                sides = _MIRROR.match(self._source.text, start)
                found.setdefault("side", set()).update(() if sides is None else sides.groups())
                for kind, name, pose, posed in _REPEATED.findall(self._source.text[start:end]):
                    found.setdefault(kind or pose, set()).update(self._called(name or posed, start))
        return {kind: frozenset(names) for kind, names in found.items()}

    def _called(self, name: str, start: int) -> Iterator[str]:
        """The names of what exists several times: with those of the sides, and numbers."""
        text = self._source.text
        sides = _WORDS.findall(text, start, text.find("\n", start))
        row = _ROW.search(text, start)
        count = MOST_IN_ROW if row is None or row[1] is None else min(int(row[1]), MOST_IN_ROW)
        things = () if row is None else range(1, count + 1)
        for front in ("", *(f"{side}_" for side in sides)):
            yield front + name
            yield from (f"{front}{name}_{number}" for number in things)

    def _lines(self, start: int, end: int) -> list[tuple[int, str]]:
        return _lines_of(self._text, start, end)

    def _mended_header(self, line: int, fix: Fix | None) -> str | None:
        """A block's header with its change, if that is no longer than the line: its block is then
        read as it is meant."""
        end = self._source.text.find("\n", line)
        if fix is None or any(not line <= span.start <= span.end <= end for span, _ in fix.places):
            return None
        text = applied(self._source.text[:end], fix)[line:].strip()
        room = end - line - width(self._source.text[line:end])
        return text if BLOCKS.match(text) and "\n" not in text and len(text) <= room else None

    def _mend(
        self,
        error: UnexpectedInput,
        line: int,
        start: int,
        end: int,
        result: Recovered,
        header: str | None,
    ) -> None:
        """Put a stand-in where the line stood, and keep its block if the stand-in can carry it."""
        (_, text), *below = self._lines(line, end)
        inset = width(text)
        block = []
        for at, other in below:
            if is_content(other) and width(other) <= inset:
                break
            block.append((at, other))
        has_block = any(is_content(other) for _, other in block)
        needless = isinstance(error, UnexpectedToken) and error.token.type == "_INDENT"
        if needless and not self._means_block(line):
            self._blank(line, text, "")
            for at, other in block:
                self._blank(at, other, "")
            for at, other in below[len(block) :]:
                if is_content(other) and width(other) < inset:
                    break
                self._blank(at, other, "")
            return
        stand_in = STAND_IN
        head = self._head_of(line, start)
        if head is None:
            self._note_name(line, start, result)
            if _repeats(text.lstrip(), 0):
                for at, _ in block:
                    self._note_name(at, start, result)
        if has_block:
            cue = _CUE.match(text.lstrip())
            if head is None and cue is not None:
                stand_in = cue[0]
            elif head in _SCORED and header is not None:
                stand_in = header
            elif head in _SCORED and len(text) - inset >= len(_BLOCK):
                stand_in = _BLOCK
            else:
                for at, other in block:
                    self._blank(at, other, "")
        self._blank(line, text, text[:inset] + stand_in)

    def _blank(self, at: int, text: str, stand_in: str) -> None:
        new = stand_in.ljust(len(text))
        self._text = self._text[:at] + new + self._text[at + len(text) :]

    def _note_name(self, line: int, start: int, result: Recovered) -> None:
        """Any word of a header that cannot be read may be what it declares."""
        text = self._source.text
        words = _WORDS.findall(text, line, text.find("\n", line))
        result.lost_names.update(words)
        if words and not _NAMED.match(text, line):
            result.lost_names.update(f"{NAMELESS}{kind}" for kind in _KINDS.get(words[0], ()))
        if _repeats(text, start):
            sides = _MIRROR.match(text, start)
            for word in words:
                result.lost_names.update(self._called(word, start))
                if sides is None:
                    result.lost_names.add(f"{OF_ANY_SIDE}{word}")


def _repeats(text: str, start: int) -> bool:
    """Whether a header says that what stands below it exists several times."""
    word = _FIRST_WORD.match(text, start)
    if word is None or word[0] in HEADS:
        return False
    if word[0] in ("side", "sides", "both"):
        return True
    return nearest(word[0], _REPEATING) is not None


def _lines_of(text: str, start: int, end: int) -> list[tuple[int, str]]:
    """The lines between two offsets, with where they start."""
    found = []
    while start < end:
        stop = text.find("\n", start)
        stop = end if stop < 0 else min(stop, end)
        found.append((start, text[start:stop]))
        start = stop + 1
    return found


def _position(error: UnexpectedInput) -> int:
    return error.pos_in_stream or 0


def _lacks_body(error: UnexpectedInput) -> bool:
    return isinstance(error, UnexpectedToken) and _needs_block(error)


def _needs_block(error: UnexpectedToken) -> bool:
    return due(error) == {"_INDENT"}
