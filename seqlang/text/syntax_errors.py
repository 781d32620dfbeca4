"""Syntax errors in plain words.

A line that cannot be read is first held against the slips of a hurried hand
(`seqlang.text.slips`): if undoing one, or several, makes it readable, that is proposed. What is
said of it then comes from the slip, or from the table of examples: each entry of `EXAMPLES` pairs
wrong texts with what to say about them. An error is explained by the first entry one of whose texts
fails after the same keywords of its line, where the same tokens could come next, at the same kind
of token; if there is none, the last and then the middle of these conditions falls. What no entry
knows is explained from the tokens that could come next.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Final, TypeAlias

from seqlang.text import idle_blocks
from seqlang.text.findings import Finding, Fix, Span
from seqlang.text.grammar import failure
from seqlang.text.indentation import is_content, width
from seqlang.text.slips.mending import mended
from seqlang.text.slips.words import means_block
from seqlang.text.slips.written import WORD, Surroundings, Written
from seqlang.text.source import Source
from seqlang.text.syntax_examples import BLOCK_DUE, EXAMPLES, LAW_DUE, Example
from seqlang.text.tokens import HIDDEN, KINDS, due, kind, literals, words_of

if TYPE_CHECKING:
    from lark import UnexpectedInput

    from seqlang.text.slips.mending import Mended
    from seqlang.text.slips.written import Slip

MOST_MENDED: Final = 300
"""Characters of a line that is held against the slips; nobody writes a longer one by hand."""


def explain(error: UnexpectedInput, source: Source, line: int, around: Surroundings) -> Finding:
    """The finding for a syntax error; `line` is the offset where the line at fault starts."""
    at = _At(error, source, line)
    text = source.text[at.first : at.line_end]
    indent = at.kind == "_INDENT" and not text.startswith("idle")
    idle = idle_blocks.found_at(source, line, around.names, indent)
    if idle is not None:
        return idle
    if at.kind == "_INDENT" and not (around.has_block and means_block(text)):
        return _needless_indent(at)
    if at.due == {"_INDENT"}:
        return at.finding(BLOCK_DUE.due, (at.first, at.line_end), help=BLOCK_DUE.help)
    found = mended(Written(text, around)) if len(text) <= MOST_MENDED else None
    if found is not None:
        return _of_slip(at, found)
    return _next_statement(at, around) or _by_example(at) or _by_tokens(at)


class _At:
    """Where an error stands, what was found there and what could have come."""

    def __init__(self, error: UnexpectedInput, source: Source, line: int) -> None:
        text = source.text
        self.source = source
        self.due = due(error)
        self.kind = kind(error)
        end = text.find("\n", line)
        self.line_end = end = len(text) if end < 0 else end
        self.first = line + len(text[line:end]) - len(text[line:end].lstrip(" \t"))
        """Where the line's own text starts."""
        start = error.pos_in_stream or 0
        self.start = start if line <= start <= end else self.first
        if self.kind in ("_NL", "$END", "_INDENT", "_DEDENT"):
            self.start = line + len(text[line:end].rstrip())
        self.word = "" if self.start >= end else WORD.match(text, self.start)[0]  # type: ignore[index]

    def finding(self, message: str, span: tuple[int, int] | None = None, **more: object) -> Finding:
        start, end = span or (self.start, self.start + max(1, len(self.word)))
        name = str(more.pop("name", "syntax"))
        if span is None and self.start >= self.line_end:  # what is missing at the end of the line
            start, end = self.first, self.line_end
        return Finding(
            "error",
            name,
            message,
            Span(self.source.path, start, end),
            **more,  # type: ignore[arg-type]  # by the names of the fields
        )


def _needless_indent(at: _At) -> Finding:
    return at.finding(
        "this line is indented, but the line above it has no block",
        (at.first, max(at.first + 1, at.line_end)),
        help="indent it like the line above, or add the header that it belongs to",
        fix=_moved_out(at),
    )


def _moved_out(at: _At) -> Fix | None:
    """The line, and what is indented like it or more below it, moved to the line above."""
    source = at.source
    number = source.line_number(at.first)
    lines = source.text.split("\n")
    inset = width(lines[number - 1])
    above = next((line for line in reversed(lines[: number - 1]) if is_content(line)), "")
    places = []
    for index in range(number - 1, len(lines)):
        if not is_content(lines[index]):
            continue
        if width(lines[index]) < inset:
            break
        start = source.line_starts[index] + width(above)
        places.append((Span(source.path, start, source.line_starts[index] + inset), ""))
    if not places or width(above) >= inset:
        return None
    return Fix(*places[0], tuple(places[1:]))


def _of_slip(at: _At, found: Mended) -> Finding:
    """What a slip says, or the table of examples where it says it better, with the change."""
    slip = found.slip
    span = (at.first + slip.start, at.first + max(slip.end, slip.start + 1))
    fix = None if found.line is None else _fix(at, slip, found)
    example = _example(at) if slip.by_example else None
    if example is not None:
        return at.finding(example.due, help=example.help, fix=fix)
    help_ = slip.help
    if help_ is None and fix is not None and "\n" not in fix.text:
        help_ = f"write `{fix.text}`"
    if span[0] >= at.line_end:
        span = (at.first, at.line_end)
    return at.finding(slip.message, span, name=slip.name, help=help_, fix=fix)


def _fix(at: _At, slip: Slip, found: Mended) -> Fix:
    """One change as it is, several of them as a whole line."""
    assert found.line is not None
    path = at.source.path
    if not found.several and not slip.whole and "\n" not in found.line.text:
        first, *rest = sorted(slip.edits)
        more = tuple((Span(path, at.first + s, at.first + e), text) for s, e, text in rest)
        return Fix(Span(path, at.first + first[0], at.first + first[1]), first[2], more)
    text = at.source.text
    inset = text[text.rfind("\n", 0, at.first) + 1 : at.first]
    end = at.first + len(text[at.first : at.line_end].rstrip())
    return Fix(Span(path, at.first, end), found.line.text.replace("\n", "\n" + inset))


def _next_statement(at: _At, around: Surroundings) -> Finding | None:
    """`jaw to 30 deg in 1 s, fan on`: behind the time, a comma and what is meant to come next."""
    outputs = (around.names.get(kind, frozenset()) for kind in ("servo", "lamp", "strip", "switch"))
    if not (at.due & _BEHIND_A_LAW and any(at.word in names for names in outputs)):
        return None
    return at.finding(
        f"the time ends this statement: what `{at.word}` does stands on a line of its own",
        help="below `together` both start at once",
    )


def _by_example(at: _At) -> Finding | None:
    example = _example(at)
    return None if example is None else at.finding(example.due, help=example.help)


def _example(at: _At) -> Example | None:
    """The entry of the table that knows such a line."""
    if "LAW" in at.due:
        return LAW_DUE
    if at.due & _BEHIND_A_LAW:
        return None
    keywords = _keywords(at.source.text[at.first : at.start])
    known = _signatures()
    for signature in _narrowing(keywords, at.due, at.kind):
        if signature in known:
            return EXAMPLES[known[signature]]
    return None


_BEHIND_A_LAW: Final = frozenset({"FASTEST", "ANTICIPATION", "OVERSHOOT"})
"""Due only behind the comma of a pace: no other place is like it, whatever stands before."""

_Signature: TypeAlias = tuple[object, ...]


def _narrowing(keywords: _Signature, due: frozenset[str], kind: str) -> tuple[_Signature, ...]:
    """Signatures of an error, the most telling first."""
    return ((keywords, due, kind), (keywords, due), *([(keywords,)] if keywords else []))


def _keywords(before: str) -> _Signature:
    """The keywords before the place of an error in its line, each once."""
    known = literals()
    words = (word for word in re.findall(r"[^\W\d][\w-]*", before) if word in known)
    return tuple(dict.fromkeys(words))


@cache
def _signatures() -> dict[_Signature, int]:
    """Entries of `EXAMPLES` by their signatures, the first entry of each."""
    found: dict[_Signature, int] = {}
    for index, example in enumerate(EXAMPLES):
        for wrong in example.wrong:
            error = failure(wrong)
            if error is None:
                continue
            at = _At(error, Source("", wrong), line_at_fault(error, wrong))
            keywords = _keywords(wrong[at.first : at.start])
            for signature in _narrowing(keywords, at.due, at.kind):
                found.setdefault(signature, index)
    return found


def line_at_fault(error: UnexpectedInput, text: str) -> int:
    """Offset of the start of the line in which an error stands, for errors within a line."""
    at = min(error.pos_in_stream or 0, len(text) - 1)
    return text.rfind("\n", 0, at) + 1


def _by_tokens(at: _At) -> Finding:
    known = sorted(
        said
        for name in at.due - HIDDEN
        for said in ([KINDS[name]] if name in KINDS else [f"`{word}`" for word in words_of(name)])
    )
    due_words = known[0] if known else "nothing more"
    if len(known) > 1:
        due_words = ", ".join(known[:-1]) + " or " + known[-1]
    found = f"`{at.word}` does not fit here" if at.word.strip() else "the line ends too early"
    return at.finding(found, help=f"possible here: {due_words}")
