"""Findings of one mistake become one, and only changes that pass are proposed.

A change is tried: the text is read again with it. Where another error then stands on the same
line, its change is added, or, if it has none, nothing is proposed and the help alone remains.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from seqlang.text.findings import Finding, Fix, Span, applied
from seqlang.text.source import Source

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

MOST_TRIED_TEXT: Final = 300_000
"""Characters of a text that is read again for its changes; longer ones come as they are."""

_ROUNDS: Final = 4
_SHOWN: Final = 3
_UNITS: Final = ("missing-unit", "unit-mismatch")


# -- one mistake, one finding ----------------------------------------------------------------------


def merged(findings: Iterable[Finding], source: Source) -> list[Finding]:
    """Findings in the order of the text; those that one mistake gives are one.

    The same words with the same change in several places; several amounts of one line without
    their unit.
    """
    ordered = sorted(findings, key=lambda finding: (finding.span.start, finding.name))
    groups: dict[object, list[Finding]] = {}
    for number, finding in enumerate(ordered):
        groups.setdefault(_mistake(finding, source) or number, []).append(finding)
    return [group[0] if len(group) == 1 else _one(group) for group in groups.values()]


def _mistake(finding: Finding, source: Source) -> object:
    """What findings of the same mistake have in common; None for one that stands for itself."""
    if finding.name in _UNITS:
        return finding.name, source.line_number(finding.span.start)
    fix = finding.fix
    merges = finding.name in ("syntax", "unknown-name", "unknown-unit")
    telling = "`" in finding.message or (fix is not None and not fix.text.strip())
    if fix is not None and merges and telling and len(fix.text) <= _WORDS:
        return finding.name, finding.message, fix.text
    return None


_WORDS: Final = 40
"""A longer change is of one line alone."""


def _one(group: Sequence[Finding]) -> Finding:
    first, *others = group
    spans = [finding.span for finding in others if finding.span != first.span]
    related = (*first.related, *((span, "and here") for span in spans[:_SHOWN]))
    more = len(spans) - _SHOWN
    places = "place" if more == 1 else "places"
    notes = (*first.notes, f"and {more} more {places}") if more > 0 else first.notes
    return replace(first, related=related, notes=notes, fix=_all([f.fix for f in group]))


def _all(fixes: Sequence[Fix | None]) -> Fix | None:
    """The changes of all, if each has one and none is in another's way."""
    found: dict[tuple[int, int], tuple[Span, str]] = {}
    for fix in fixes:
        if fix is None:
            return None
        for span, text in fix.places:
            if found.setdefault((span.start, span.end), (span, text))[1] != text:
                return None
    return _fix(found[key] for key in sorted(found))


def _fix(places: Iterable[tuple[Span, str]]) -> Fix | None:
    (span, text), *more = places
    ends = [span.end, *(other.end for other, _ in more)]
    if any(other.start < end for (other, _), end in zip(more, ends, strict=False)):
        return None
    return Fix(span, text, tuple(more))


# -- trying ----------------------------------------------------------------------------------------


def tried(
    findings: Sequence[Finding], source: Source, read: Callable[[str], Sequence[Finding]]
) -> list[Finding]:
    """The findings with changes after which their lines have no error left.

    `read`: what reading a text finds.
    """
    if len(source.text) > MOST_TRIED_TEXT or not any(f.fix for f in findings):
        return list(findings)
    fixes = {n: f.fix for n, f in enumerate(findings) if f.fix is not None}
    _drop_overlapping(fixes)
    before = {(finding.name, finding.message) for finding in findings}
    helps = {n: finding.help for n, finding in enumerate(findings)}
    for _ in range(_ROUNDS):
        bad = _failing(fixes, findings, source, read, before)
        if not bad:
            break
        for number, error in bad.items():
            longer = None if error is None else _extended(fixes[number], error, source)
            wrong_unit = findings[number].name == "unknown-unit"
            if error is not None and wrong_unit and error.name == "unit-mismatch":
                helps[number] = error.help  # a unit of another kind is no answer
            if longer is None:
                del fixes[number]
            else:
                fixes[number] = longer
    else:
        for number in _failing(fixes, findings, source, read, before):
            del fixes[number]
    return [replace(finding, fix=fixes.get(n), help=helps[n]) for n, finding in enumerate(findings)]


def _drop_overlapping(fixes: dict[int, Fix]) -> None:
    taken: list[tuple[int, int]] = []
    for number in list(fixes):
        spans = [(span.start, span.end) for span, _ in fixes[number].places]
        if any(start < end_ and start_ < end for start, end in spans for start_, end_ in taken):
            del fixes[number]
        else:
            taken += spans


def _failing(
    fixes: dict[int, Fix],
    findings: Sequence[Finding],
    source: Source,
    read: Callable[[str], Sequence[Finding]],
    before: set[tuple[str, str]],
) -> dict[int, Finding | None]:
    """The changes that leave an error, with that error moved to the text as it was.

    None for an error that the change itself brought about somewhere else.
    """
    if not fixes:
        return {}
    places = sorted(
        (span.start, span.end, text, number)
        for number, fix in fixes.items()
        for span, text in fix.places
    )
    text, regions = _changed(source.text, places)
    changed = Source(source.path, text)
    bad: dict[int, Finding | None] = {}
    for error in read(text):
        if error.severity != "error":
            continue
        line = changed.line_number(error.span.start)
        known = (error.name, error.message) in before
        for start, end, number in regions:
            lines = range(changed.line_number(start), changed.line_number(end) + 1)
            own = findings[number]
            same = known and (error.name, error.message) != (own.name, own.message)
            if line in lines and not same and number not in bad and not _of_others(error):
                bad[number] = _moved(error, changed, source, regions, places)
            elif not known and (
                _UNFIT.search(error.message) or _lost(error, fixes[number], source)
            ):
                bad[number] = None
    return bad


_OTHERS: Final = re.compile(
    r"there is no (?:output|cue|pose|board|supply|chip) |this line needs an indented block"
)


_UNFIT: Final = re.compile(r"^the gesture `\w+` (?:needs|has no parameter) ")
"""What is wrong where a gesture is played if its header is changed to another one."""


def _of_others(error: Finding) -> bool:
    """Whether an error that comes to light has its cause in other lines."""
    return error.name == "missing-line" or (
        error.fix is None and _OTHERS.match(error.message) is not None
    )


def _changed(
    text: str, places: Sequence[tuple[int, int, str, int]]
) -> tuple[str, list[tuple[int, int, int]]]:
    """The text with all changes, and where each of them stands in it."""
    parts, regions = [], []
    at = length = 0
    for start, end, instead, number in places:
        parts += [text[at:start], instead]
        length += start - at
        regions.append((length, length + len(instead), number))
        length += len(instead)
        at = end
    return "".join([*parts, text[at:]]), regions


def _moved(
    error: Finding,
    changed: Source,
    source: Source,
    regions: Sequence[tuple[int, int, int]],
    places: Sequence[tuple[int, int, str, int]],
) -> Finding | None:
    """An error of the changed text with the whole of its mended line as its change, if any."""
    if error.fix is None:
        return error
    span = error.fix.span
    number = changed.line_number(span.start)
    if any(changed.line_number(one.start) != number for one, _ in error.fix.places):
        return None
    start = changed.line_starts[number - 1]
    line = changed.line_text(number)
    mended = applied(changed.text, error.fix)[start:].partition("\n")[0]
    mended = mended if "\n" not in error.fix.text else ""
    shift = sum(
        (end - begin) - (new_end - new_begin)
        for (begin, end, _, _), (new_begin, new_end, _) in zip(places, regions, strict=True)
        if new_end < start
    )
    old = source.line_number(start + shift)
    if not mended or not line.strip():
        return None
    first, text = source.line_starts[old - 1], source.line_text(old)
    inset = len(text) - len(text.lstrip())
    span = Span(source.path, first + inset, first + len(text.rstrip()))
    return replace(error, fix=Fix(span, mended.strip()))


def _lost(error: Finding, fix: Fix, source: Source) -> bool:
    """Whether a change took a name away that is used elsewhere."""
    if error.name != "unknown-name":
        return False
    gone: set[str] = set()
    for span, text in fix.places:
        gone |= set(re.findall(r"\w+", source.text[span.start : span.end]))
        gone -= set(re.findall(r"\w+", text))
    return bool(gone & set(re.findall(r"`(\w+)`", error.message)))


def _extended(fix: Fix, error: Finding, source: Source) -> Fix | None:
    """A change of one line, with what its next error needs."""
    if error.fix is None:
        return None
    line = source.line_number(error.fix.span.start)
    if any(source.line_number(span.start) != line or "\n" in text for span, text in fix.places):
        return None
    return error.fix
