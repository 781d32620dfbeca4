"""`idle:` with a block below it: idle has none, it names cues.

What stands in such a block is either a list of cues, which then goes behind `idle: go`, or
statements, which become a cue of their own.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple

from seqlang.text.findings import Finding, Fix, Span
from seqlang.text.grammar import failure
from seqlang.text.indentation import is_content, width

if TYPE_CHECKING:
    from collections.abc import Mapping

    from seqlang.text.source import Source

_HEADER: Final = re.compile(r"(idle\b)[ \t]*:?[ \t]*([^#\n]*)")
_NAMES: Final = re.compile(
    r"(?:[-*] *)?(?:(go|play|cue)\b *)?([^\W\d]\w*(?: *(?:,|\band\b|&) *[^\W\d]\w*)*) *,?"
)
_BACK: Final = re.compile(r"(.*?)(?:^|[ ,]) *(back +in +[0-9.]+ *m?s) *", re.DOTALL)
_OWN: Final = "at_rest"
"""What the new cue is called, if that is free."""


class _IdleBlock(NamedTuple):
    header: int
    """Line of `idle`, counted from 0."""
    lines: tuple[int, ...]
    """Lines below it with words, counted from 0."""
    behind: str
    """What comes after `idle:` on its line."""


def found_at(
    source: Source, line: int, names: Mapping[str, frozenset[str]], indent: bool
) -> Finding | None:
    """The finding if the line at offset `line` is `idle` with a block, or is the first of it.

    `indent`: the line at fault is one that is indented below a line that carries no block.
    """
    block = _block(source, source.line_number(line) - 1, indent)
    if block is None:
        return None
    text = source.text.split("\n")
    at = block.lines[0] if indent else block.header
    start = source.line_starts[at] + width(text[at])
    listed = _listed(source, block, names)
    name = _free(names)
    help_ = f"put statements below a cue, such as `cue {name}`, and write `idle: go {name}`"
    return Finding(
        "error",
        "syntax",
        "`idle` has no block: it names cues on its own line",
        Span(source.path, start, source.line_starts[at] + len(text[at].split("#")[0].rstrip())),
        help=help_ if listed is None else f"write `{listed.text}`",
        fix=listed or _cue_of_its_own(source, block, names),
    )


def _block(source: Source, number: int, indent: bool) -> _IdleBlock | None:
    lines = source.text.split("\n")
    if indent:
        above = (one for one in range(number - 1, -1, -1) if is_content(lines[one]))
        number = next(above, number)
    found = _HEADER.match(lines[number])
    if found is None:
        return None
    below = []
    for one in range(number + 1, len(lines)):
        if is_content(lines[one]):
            if not width(lines[one]):
                break
            below.append(one)
    return _IdleBlock(number, tuple(below), found[2].strip()) if below else None


def _listed(source: Source, block: _IdleBlock, names: Mapping[str, frozenset[str]]) -> Fix | None:
    """`idle: go CUE, CUE, back in TIME` on one line, if the block only names cues."""
    last = block.lines[-1]
    start = source.line_starts[block.header]
    end = source.line_starts[last] + len(source.line_text(last + 1).rstrip())
    written = source.text[start:end]
    if "#" in written:  # a comment would be lost
        return None
    cues: list[str] = []
    back: list[str] = []
    ordered = 0
    for part in (block.behind, *(source.line_text(one + 1).strip() for one in block.lines)):
        rest, way = _without_back(part)
        back += way
        if rest in ("", "go"):
            continue
        found = _NAMES.fullmatch(rest)
        if found is None:
            return None
        ordered += found[1] == "play"
        cues += re.split(r" *(?:,|\band\b|&) *", found[2])
    known = names.get("cue", frozenset())
    if not cues or len(set(cues)) < len(cues) or len(back) > 1 or ordered > 1:
        return None  # cues that are played behind one another do not go on side by side
    if not known.issuperset(cues):
        return None
    return Fix(Span(source.path, start, end), f"idle: go {', '.join([*cues, *back])}")


def _cue_of_its_own(
    source: Source, block: _IdleBlock, names: Mapping[str, frozenset[str]]
) -> Fix | None:
    """The block as that of a cue, which `idle` names; None where it cannot be read as one."""
    back: list[str] = []
    taken_out: list[tuple[Span, str]] = []
    kept = []
    for one in block.lines:
        words = source.line_text(one + 1)
        rest, way = _without_back(words.strip())
        if not way or rest:
            kept.append(words)
            continue
        back += way
        begin = source.line_starts[one]
        taken_out.append((Span(source.path, begin - 1, begin + len(words)), ""))
    name = _free(names)
    cue = f"cue {name}"
    if block.behind or len(back) > 1 or failure("\n".join([cue, *kept, ""])) is not None:
        return None
    start = source.line_starts[block.header]
    header = _HEADER.match(source.line_text(block.header + 1))
    assert header is not None
    instead = f"idle: go {', '.join([name, *back])}\n\n{cue}"
    end = start + len(header[0].rstrip())
    return Fix(Span(source.path, start, end), instead, tuple(taken_out))


def _without_back(part: str) -> tuple[str, list[str]]:
    found = _BACK.fullmatch(part)
    return (part, []) if found is None else (found[1].rstrip(" ,"), [found[2]])


def _free(names: Mapping[str, frozenset[str]]) -> str:
    taken = frozenset[str]().union(*names.values())
    number = 1
    name = _OWN
    while name in taken:
        number += 1
        name = f"{_OWN}_{number}"
    return name
