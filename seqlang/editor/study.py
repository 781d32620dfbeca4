"""What is known of an open text: the show that it belongs to, and where the show's words stand.

A text may be the main file of a show or one that a show includes. Offsets of the show's names are
those of its whole text (`seqlang.text.whole`); the editor speaks of lines in files.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from seqlang.editor.document import Document
from seqlang.editor.naming import ShowNames
from seqlang.loading import load_text, read_text
from seqlang.text.included import INCLUDE, beside, gathered, plain_file, real_path
from seqlang.text.indentation import decoded
from seqlang.text.occurrences import Occurrence
from seqlang.text.source import Source
from seqlang.text.syntax import Line, place
from seqlang.text.whole import WholeText

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from seqlang.check import Checked
    from seqlang.loading import Loaded, ReadBefore
    from seqlang.text.findings import Finding, Span

FOLDERS_ABOVE: Final = 2
"""Folders above a file's own in which a show that includes it is looked for."""


class OpenText(NamedTuple):
    """A text that is open in the editor, under the editor's own name for it."""

    uri: str
    document: Document


@dataclass(frozen=True)
class OpenTexts:
    """The texts that were open at one moment, by their paths without links."""

    by_path: Mapping[Path, OpenText]

    def read(self, path: Path) -> bytes:
        """A file as it is in the editor, or else on the disk. Raises OSError."""
        found = self.by_path.get(path)
        if found is None:
            return plain_file(path)
        return found.document.source.text.encode("utf-8", "surrogatepass")

    def show_of(self, own: Path, near: Iterable[Path]) -> Source | None:
        """The main file of the show that a file belongs to; None if that is the file itself.

        It is one that is open, or one of those `near`.
        """
        for path in (*self.by_path, *near):
            if path != own and self._includes(path, own):
                return self._source(path)
        return None

    def _source(self, path: Path) -> Source:
        found = self.by_path.get(path)
        if found is not None:
            return Source(str(path), found.document.source.text)
        text, _ = decoded(self.read(path), str(path))
        return Source(str(path), text if text.endswith("\n") else text + "\n")

    def _includes(self, path: Path, other: Path) -> bool:
        """Whether a show includes a file, itself or by what it includes."""
        try:
            source = self._source(path)
        except OSError:
            return False
        if INCLUDE.search(source.text) is None:
            return False
        return any(real_path(name) == other for name in gathered(source, self.read).whole.files)


def around(own: Path) -> Iterator[Path]:
    """Shows near a file: those of its folder and of the folders above it."""
    for folder in list(own.parents)[: FOLDERS_ABOVE + 1]:
        yield from (folder / name for name in sorted(beside(folder)))


@dataclass(frozen=True)
class Study:
    """A version of a text with what was found out about its show."""

    uri: str
    document: Document
    path: str
    """The text's own path, as the show's files go by."""
    loaded: Loaded
    checked: Checked | None
    open: OpenTexts

    @property
    def whole(self) -> WholeText:
        return self.loaded.whole or WholeText.of_one(self.document.source)

    @cached_property
    def names(self) -> ShowNames:
        """All names of the show, in the places of its whole text."""
        return ShowNames(self.loaded.items)

    @property
    def is_main(self) -> bool:
        return self.path == self.whole.source.path

    def findings(self, path: str | None = None) -> list[Finding]:
        """What was found in one of the files, without `path` in the text itself."""
        found = self.loaded.findings if self.checked is None else self.checked.findings
        return [one for one in found if one.span.path == (path or self.path)]

    @property
    def closed_files(self) -> dict[str, str]:
        """Files of the show that are not open: their names for the editor, and their paths."""
        paths = [path for path in self.whole.files if path != self.path]
        closed = [path for path in paths if real_path(path) not in self.open.by_path]
        return {self.text(path).uri: path for path in closed}

    # -- places -----------------------------------------------------------------------------

    def text(self, path: str) -> OpenText:
        """A file of the show as the editor knows it."""
        if path == self.path:
            return OpenText(self.uri, self.document)
        real = real_path(path)
        found = self.open.by_path.get(real)
        if found is not None:
            return found
        source = self.whole.files.get(path)
        document = Document.of(path, source.text if source else "", 0, self.document.encoding)
        return OpenText(real.as_uri(), document)

    def offset(self, own: int) -> int:
        """A place of the text in the whole text."""
        found = self.whole.offset(self.path, own)
        return own if found is None else found

    def span(self, start: int, end: int) -> Span:
        """A stretch of the whole text in its file."""
        return self.whole.span(start, end)

    def own(self, start: int, end: int) -> tuple[int, int] | None:
        """A stretch of the whole text in the text itself; None if it stands in another file."""
        span = self.span(start, end)
        return (span.start, span.end) if span.path == self.path else None

    @cached_property
    def own_names(self) -> list[Occurrence]:
        """The names in the text itself, by its own offsets."""
        found = ((one, self.own(one.start, one.end)) for one in self.names.all)
        return [one._replace(start=at[0], end=at[1]) for one, at in found if at is not None]

    def included_at(self, own: int) -> str | None:
        """The path of the file that the line at a place includes."""
        for item in self.loaded.items:
            if not isinstance(item, Line) or item.kind != "include":
                continue
            start, end = place(item)
            at = self.own(start, end)
            if at is not None and at[0] <= own <= at[1]:
                behind = self.whole.source.text.index("\n", end) + 1
                path = self.span(behind, behind).path
                return None if path == self.path else path
        return None

    def read(self, text: str) -> Loaded:
        """The show with another text instead of this one."""
        source = Source(self.path, text)
        if self.is_main:
            return load_text(source, self.open.read)
        real = real_path(self.path)
        changed = OpenTexts({**self.open.by_path, real: _open_with(self, text)})
        return load_text(self.whole.files[self.whole.source.path], changed.read)


def _open_with(study: Study, text: str) -> OpenText:
    return OpenText(study.uri, Document.of(study.path, text, 0, study.document.encoding))


def studied(
    text: OpenText, texts: OpenTexts, near: Iterable[Path], before: ReadBefore
) -> tuple[Study, Path | None]:
    """A text read with its show, before any check, and the show's main file if that is another.

    `near`: files that may be the show's main file, besides those that are open.
    """
    own = real_path(text.document.path)
    source = texts.show_of(own, near)
    if source is not None:
        loaded = read_text(source, before, texts.read)
        path = _path_in(loaded.sources, own)
        if path is not None:
            return Study(*text, path, loaded, None, texts), Path(source.path)
    loaded = read_text(text.document.source, before, texts.read)
    return Study(*text, text.document.path, loaded, None, texts), None


def _path_in(paths: Mapping[str, Source], own: Path) -> str | None:
    return next((path for path in paths if real_path(path) == own), None)


def near_files(document: Document) -> Sequence[str]:
    """The shows' files in a text's folder and the folders below, as an `include` names them."""
    folder = Path(document.path).parent
    here = [name for name in beside(folder) if name != Path(document.path).name]
    try:
        below = sorted(one for one in folder.iterdir() if one.is_dir() and not one.is_symlink())
    except OSError:
        below = []
    deeper = [f"{one.name}/{name}" for one in below[:_MOST_FOLDERS] for name in sorted(beside(one))]
    return [*sorted(here), *deeper]


_MOST_FOLDERS: Final = 50
