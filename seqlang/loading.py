"""Reading a show: files to text, text to syntax, syntax to Rig and Score."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from seqlang.meaning.alike.told import ALL_ONCE, Likes
from seqlang.meaning.elaborate import elaborate
from seqlang.text.indentation import decoded, faults, read
from seqlang.text.parse import parse
from seqlang.text.remedies import merged, tried
from seqlang.text.source import Source
from seqlang.text.whole import WholeText

if TYPE_CHECKING:
    from seqlang.meaning.elaborate import Elaborated
    from seqlang.text.findings import Finding, Origin
    from seqlang.text.included import ReadFile
    from seqlang.text.syntax import TopLine
    from sim.model import Show


@dataclass(frozen=True, slots=True)
class Loaded:
    """A show as far as it could be read.

    `show` holds whatever could be built, so that one run finds as much as it can; None if nothing
    could. With an error among `findings` it is good for further checks, for nothing else, and
    parts of it may be missing. `origins` and `places` say where values stand in `sources` (the
    files by path, in the order of reading); their part names are listed in
    `seqlang.meaning.elaborate`.
    """

    show: Show | None
    origins: Mapping[int, Origin]
    places: Mapping[str, Origin]
    sources: Mapping[str, Source]
    findings: tuple[Finding, ...]
    items: Sequence[TopLine] = ()
    """The syntax of the text, as far as it could be read: its offsets are those of `whole`."""
    whole: WholeText | None = None
    """All files as one text; None if nothing could be read."""
    found: tuple[Finding, ...] = ()
    """The findings as reading gave them, in the places of `whole`."""
    told: Likes = ALL_ONCE
    """Which names stand for things that the text describes once."""


class ReadBefore:
    """What was read of a text's last version; reading the next one brings it up to date."""

    def __init__(self) -> None:
        from seqlang.meaning.kept_cues import KeptCues
        from seqlang.text.pieces import ReadPieces

        self.pieces = ReadPieces()
        self.cues = KeptCues()


def load(path: str | Path, before: ReadBefore | None = None) -> Loaded:
    """Read the show in a file. What is wrong with it is among the findings, never raised.

    `before`: what was read of an earlier version of it. Raises OSError if the file cannot be
    opened.
    """
    return _loaded(*read(Path(path)), str(path), before)


def load_string(text: str, name: str) -> Loaded:
    """Read a show from any text as if a file of this name held it."""
    return _loaded(*decoded(text.encode("utf-8", "surrogatepass"), name), name)


def _loaded(
    text: str, finding: Finding | None, path: str, before: ReadBefore | None = None
) -> Loaded:
    source = Source(path, text if text.endswith("\n") else text + "\n")
    if finding is not None:
        return Loaded(None, {}, {}, {source.path: source}, (finding,))
    return with_fixes_tried(read_text(source, before), before)


def load_text(source: Source, read_file: ReadFile | None = None) -> Loaded:
    """Read a show from text as `seqlang.text.indentation.decoded` gives it.

    `read_file` reads what the text includes; without it that is read from the disk.
    """
    return with_fixes_tried(read_text(source, None, read_file))


def read_text(
    source: Source, before: ReadBefore | None = None, read_file: ReadFile | None = None
) -> Loaded:
    """`load_text` at once: no change that a finding proposes has been tried yet.

    `before`: what was read of an earlier version of the text.
    """
    wrong = faults(source)
    if wrong:
        return Loaded(None, {}, {}, {source.path: source}, wrong)
    whole = WholeText.of_one(source)
    missing: tuple[Finding, ...] = ()
    if "include" in source.text:
        from seqlang.text.included import gathered

        whole, missing = gathered(source, read_file)
    told = None if missing else _told(whole, before)
    if told is None or any(finding.name in _MAY_BE_MISSING for finding in told.findings):
        missing += _not_included(whole, read_file, told)
    if told is None or missing:  # what it would say is not there: nothing is said of the rest
        pieces = None if before is None else before.pieces
        items = parse(whole.source, pieces).items if told is None else told.items
        return Loaded(None, {}, {}, whole.files, missing, items, whole)
    return told


_MAY_BE_MISSING: Final = ("syntax", "unknown-name")
"""Findings of a text that may lack a file."""


def _not_included(
    whole: WholeText, read_file: ReadFile | None, told: Loaded | None
) -> tuple[Finding, ...]:
    """What is wrong with lines that were meant to include a file."""
    from seqlang.text.include_slips import commented, not_included

    files = whole.files.values()
    found = [one for file in files for one in not_included(file, read_file)]
    if told is not None and any(one.name == "unknown-name" for one in told.findings):
        found += (one for file in files for one in commented(file, read_file))
    return tuple(found)


def read_changed(whole: WholeText, text: str) -> Loaded:
    """The show with another whole text: what it includes is in it and is not read again."""
    changed = replace(whole, source=Source(whole.source.path, text))
    wrong = faults(changed.source, whole.is_one_file)
    if wrong:
        return Loaded(None, {}, {}, whole.files, wrong)
    return _told(changed, None)


def _told(whole: WholeText, before: ReadBefore | None) -> Loaded:
    """What a whole text says, in the places of its files."""
    items, made, noted = _read(whole.source, before)
    places = {name: whole.located_origin(origin) for name, origin in made.places.items()}

    def located(place: tuple[int, int]) -> tuple[int, int]:
        span = whole.span(*place)
        return span.start, span.end

    return Loaded(
        made.show,
        whole.located_origins(made.origins),
        places,
        whole.files,
        whole.located_findings(noted),
        items,
        whole,
        tuple(noted),
        replace(made.told, stepped=frozenset(map(located, made.told.stepped))),
    )


def with_fixes_tried(loaded: Loaded, before: ReadBefore | None = None) -> Loaded:
    """What `read_text` gave, with only those proposed changes that pass."""
    whole = loaded.whole
    if whole is None or loaded.show is None:
        return loaded
    of_one, path = whole.is_one_file, whole.source.path

    def found_in(text: str) -> Sequence[Finding]:
        source = Source(path, text)
        return faults(source, of_one) or _read(source, before)[2]

    found = tuple(tried(loaded.found, whole.source, found_in))
    return replace(loaded, findings=whole.located_findings(found), found=found)


def _read(
    source: Source, before: ReadBefore | None
) -> tuple[Sequence[TopLine], Elaborated, list[Finding]]:
    """What a text with a sound layout says, and what is wrong with it."""
    pieces, cues = (None, None) if before is None else (before.pieces, before.cues)
    parsed = parse(source, pieces)
    made = elaborate(parsed.items, source, parsed.lost_names, cues)
    unread = {source.line_number(one.span.start) for one in parsed.findings}
    found = [
        one
        for one in made.told.once(made.findings)
        if not unread
        or (
            source.line_number(one.span.start) not in unread
            and one.name != "gesture-unplayed"  # a line that cannot be read may play it
        )
    ]
    return parsed.items, made, merged((*parsed.findings, *found), source)
