"""Reading a show: file to text, text to syntax, syntax to Rig and Score."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from seqlang.meaning.elaborate import elaborate
from seqlang.text.indentation import decoded, faults, read
from seqlang.text.parse import parse
from seqlang.text.remedies import merged, tried
from seqlang.text.source import Source

if TYPE_CHECKING:
    from seqlang.meaning.elaborate import Elaborated
    from seqlang.text.findings import Finding, Origin
    from seqlang.text.pieces import ReadPieces
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
    """The syntax of the text, as far as it could be read."""


def load(path: str | Path) -> Loaded:
    """Read the show in a file. What is wrong with it is among the findings, never raised.

    Raises OSError if the file cannot be opened.
    """
    return _loaded(*read(Path(path)), str(path))


def load_string(text: str, name: str) -> Loaded:
    """Read a show from any text as if a file of this name held it."""
    return _loaded(*decoded(text.encode("utf-8", "surrogatepass"), name), name)


def _loaded(text: str, finding: Finding | None, path: str) -> Loaded:
    source = Source(path, text if text.endswith("\n") else text + "\n")
    if finding is not None:
        return Loaded(None, {}, {}, {source.path: source}, (finding,))
    return load_text(source)


def load_text(source: Source) -> Loaded:
    """Read a show from text as `seqlang.text.indentation.decoded` gives it."""
    return with_fixes_tried(read_text(source), source)


def read_text(source: Source, pieces: ReadPieces | None = None) -> Loaded:
    """`load_text` at once: no change that a finding proposes has been tried yet.

    `pieces`: what was read of an earlier version of the text, see `seqlang.text.parse`.
    """
    sources = {source.path: source}
    wrong = faults(source)
    if wrong:
        return Loaded(None, {}, {}, sources, wrong)
    items, made, found = _read(source, pieces)
    return Loaded(made.show, made.origins, made.places, sources, tuple(found), items)


def with_fixes_tried(loaded: Loaded, source: Source, pieces: ReadPieces | None = None) -> Loaded:
    """What `read_text` gave, with only those proposed changes that pass."""
    found = tried(loaded.findings, source, lambda text: _found(Source(source.path, text), pieces))
    return replace(loaded, findings=tuple(found))


def _read(
    source: Source, pieces: ReadPieces | None
) -> tuple[Sequence[TopLine], Elaborated, list[Finding]]:
    """What a text with a sound layout says, and what is wrong with it."""
    parsed = parse(source, pieces)
    made = elaborate(parsed.items, source, parsed.lost_names)
    return parsed.items, made, merged((*parsed.findings, *made.findings), source)


def _found(source: Source, pieces: ReadPieces | None) -> Sequence[Finding]:
    return faults(source) or _read(source, pieces)[2]
