"""Files that a show includes: found, read, and put together to one text.

A path counts from the folder of the file that names it and never leaves the show's folder, the
one in which the main file lies: neither by `..` nor by a link. So a show is moved and given away
as one folder, and a show from somebody else reads nothing beside its own.
"""

from __future__ import annotations

import errno
import os
import re
import stat
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

from seqlang.text.findings import Finding, Fix, Passage, Span
from seqlang.text.indentation import (
    MOST_BYTES,
    MOST_CHARACTERS,
    MOST_CONTENT,
    MOST_INCLUDED,
    MOST_INCLUDED_DEEP,
    content_of,
    decoded,
    faults,
    is_content,
    width,
)
from seqlang.text.names import nearest
from seqlang.text.source import Source
from seqlang.text.whole import FileStretch, WholeText

if TYPE_CHECKING:
    from collections.abc import Iterator

ReadFile: TypeAlias = Callable[[Path], bytes]
"""Reads the file behind a path, which leads through no link. Raises OSError."""

INCLUDE: Final = re.compile(r'^include[ \t]*"([^"\n]*)"[ \t]*(?:#.*)?$', re.MULTILINE)
"""A whole line that includes a file. The grammar reads the same lines."""

SUFFIX: Final = ".cues"

_MOST_LISTED: Final = 2000
"""Files of a folder among which one with a name like the missing one is looked for."""

_ABSOLUTE: Final = re.compile(r"[/\\]|[A-Za-z]:")
_OF_A_DRIVE: Final = re.compile(r"[A-Za-z]:")
_SIGNS: Final = re.compile(r"[\x00-\x1f\x7f:*?<>|]")
"""Signs that some system does not take in a file's name."""

_DEVICE: Final = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?", re.IGNORECASE)
"""Names that are devices on some systems, whatever the suffix (Microsoft, "Naming Files, Paths, and
Namespaces"; from memory)."""


class Gathered(NamedTuple):
    """The whole text, and what is wrong with its files. A file at fault is not in the text."""

    whole: WholeText
    findings: tuple[Finding, ...]


def gathered(source: Source, read: ReadFile | None = None) -> Gathered:
    """A main file with all that it includes. The main file has no faults of layout.

    `read`: `plain_file` where it is not given.
    """
    if INCLUDE.search(source.text) is None:
        return Gathered(WholeText.of_one(source), ())
    gatherer = _Gatherer(source, read or plain_file)
    gatherer.take(source, ())
    whole = Source(source.path, "".join(gatherer.parts))
    return Gathered(
        WholeText(whole, gatherer.files, tuple(gatherer.stretches)), tuple(gatherer.findings)
    )


def plain_file(path: Path) -> bytes:
    """A file's bytes, one more than a file may have at most. Raises OSError.

    No device and no pipe is opened: reading one may wait for ever, or do something.
    """
    _demand_plain(path.stat())
    with path.open("rb") as file:
        _demand_plain(os.fstat(file.fileno()))
        return file.read(MOST_BYTES + 1)


def _demand_plain(status: os.stat_result) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise IsADirectoryError(errno.EISDIR, "this is a folder")
    if not stat.S_ISREG(status.st_mode):
        raise OSError(errno.ENODEV, "this is a device, no file")


def real_path(path: str | Path) -> Path:
    """A path without links, whether there is a file or not."""
    return Path(os.path.realpath(path))


def beside(folder: Path) -> Iterator[str]:
    """Names of the shows' files in a folder; none where it cannot be read."""
    try:
        with os.scandir(folder) as entries:
            for entry, _ in zip(entries, range(_MOST_LISTED), strict=False):
                if entry.name.endswith(SUFFIX) and entry.is_file():
                    yield entry.name
    except OSError:
        return


class _PathUnfit(Exception):  # noqa: N818 (reads as what it is where it is raised)
    """A path that is not taken; the finding is noted."""


class _Gatherer:
    def __init__(self, source: Source, read: ReadFile) -> None:
        self._read = read
        self._root = Path(source.path).parent
        self._real_root = real_path(self._root)
        self._main = source.path
        self._open = [real_path(source.path)]
        """The files that are being read, the innermost last."""
        self._where: dict[Path, Span | None] = {self._open[0]: None}
        """Where each file is included, by its real path."""
        self._content = content_of(source.text)
        self._length = len(source.text)
        self.files = {source.path: source}
        self.parts: list[str] = []
        self.stretches: list[FileStretch] = []
        self.findings: list[Finding] = []
        self._end = 0

    def take(self, source: Source, inside: tuple[str, ...]) -> None:
        """A file with what it includes; `inside`: the folders below the show's in which it lies."""
        at = 0
        for line in INCLUDE.finditer(source.text):
            end = line.end() + 1
            self._put(source, at, end)
            at = end
            self._nothing_below(source, end)
            quotes = 0 if line[1] else 1  # of no path at all they are what can be shown
            span = source.span(line.start(1) - quotes, line.end(1) + quotes)
            whole_line = source.span(line.start(), end)
            try:
                path = self._inside(line[1], inside, span)
                inner = self._opened(path, span, whole_line)
            except _PathUnfit:
                continue
            self.take(inner, path.parts[:-1])
            self._open.pop()
        self._put(source, at, len(source.text))

    def _put(self, source: Source, start: int, end: int) -> None:
        if end > start:
            length = end - start
            self.stretches.append(FileStretch(self._end, self._end + length, source.path, start))
            self.parts.append(source.text[start:end])
            self._end += length

    def _nothing_below(self, source: Source, at: int) -> None:
        """The line behind an include, and the first one of a file, stand at the left margin."""
        while at < len(source.text):
            end = source.text.index("\n", at)
            line = source.text[at:end]
            if is_content(line):
                inset = width(line)
                if inset:
                    span = source.span(at, at + inset)
                    self._fault(
                        "uneven-indent",
                        "this line is indented, but belongs to nothing above it",
                        span,
                        help="let it begin at the left margin",
                        fix=Fix(span, ""),
                        trail=self._trail(),
                    )
                return
            at = end + 1

    # -- the path -------------------------------------------------------------------------------

    def _inside(self, written: str, inside: tuple[str, ...], span: Span) -> PurePosixPath:
        """The path from the show's folder. Raises _PathUnfit."""
        if _ABSOLUTE.match(written):
            self._outside(
                f"`{written}` is a path from the top of a disk: it is another one on the next "
                "computer",
                span,
                self._from_here(written, inside),
            )
        if "\\" in written:
            slashed = written.replace("\\", "/")
            help_ = f"write `{slashed}`"
            self._unfit("folders are joined by `/`, not by `\\`", span, help_, slashed)
        found = _SIGNS.search(written)
        if found is not None:
            sign = found[0] if found[0].isprintable() else "an invisible character"
            self._unfit(f"`{sign}` is not allowed in file names on every computer", span)
        parts = list(inside)
        for part in written.split("/"):
            if part == "..":
                if not parts:
                    self._outside(f"`{written}` leads out of the show's folder", span)
                parts.pop()
            elif part not in ("", "."):
                self._name(part, span)
                parts.append(part)
        if not written.strip() or written.endswith(("/", ".", "..")) or not parts:
            self._unfit("this names no file", span)
        return PurePosixPath(*parts)

    def _name(self, part: str, span: Span) -> None:
        if _DEVICE.fullmatch(part):
            self._unfit(f"`{part}` is a device on some computers, not a file", span)
        if part.endswith((" ", ".")) or part.startswith(" "):
            self._unfit(
                f"`{part}` begins or ends with a space or a dot, which some computers drop", span
            )

    def _from_here(self, written: str, inside: tuple[str, ...]) -> str | None:
        """An absolute path as it is written from the including file's folder, if it lies there."""
        here = self._real_root.joinpath(*inside)
        if _OF_A_DRIVE.match(written) and not PureWindowsPath(here).drive:
            return None  # a drive of another computer
        path = real_path(written.replace("\\", "/"))
        return path.relative_to(here).as_posix() if here in path.parents else None

    def _unfit(
        self, message: str, span: Span, help: str | None = None, fix: str | None = None
    ) -> None:
        self._fault(
            "include-path",
            message,
            span,
            help=help or 'write the path as in `include "parts/creature.cues"`',
            fix=None if fix is None else Fix(span, fix),
        )
        raise _PathUnfit

    def _outside(self, message: str, span: Span, instead: str | None = None) -> None:
        self._fault(
            "include-outside",
            message,
            span,
            help=f"write `{instead}`"
            if instead
            else "put the file into the show's folder, or below it, and write the path from "
            "this file's folder",
            fix=None if instead is None else Fix(span, instead),
        )
        raise _PathUnfit

    # -- the file -------------------------------------------------------------------------------

    def _opened(self, path: PurePosixPath, span: Span, line: Span) -> Source:
        """The text of a file, which is being read from now on. Raises _PathUnfit."""
        real = real_path(self._root / path)
        if self._real_root not in real.parents:
            self._outside(f"`{path.name}` is a link that leads out of the show's folder", span)
        self._demand_first(real, path, span, line)
        self._demand_room(span)
        name = str(self._root / path)
        try:
            data = self._read(real)
        except OSError as error:
            self._not_read(error, path, span)
            raise _PathUnfit from None
        self._open.append(real)
        self._where[real] = span
        text, wrong = decoded(data, name)
        source = Source(name, text if text.endswith("\n") else text + "\n")
        self.files[name] = source
        trail = (Passage("included here", span),)
        found = list(faults(source)) if wrong is None else [wrong]
        self.findings += (replace(one, span=replace(one.span, trail=trail)) for one in found)
        if found:
            self._open.pop()
            raise _PathUnfit
        self._demand_size(source, span)
        self._nothing_below(source, 0)
        return source

    def _demand_first(self, real: Path, path: PurePosixPath, span: Span, line: Span) -> None:
        """That the file is not in the show already. Raises _PathUnfit."""
        if real not in self._where:
            return
        first = self._where[real]
        related: tuple[tuple[Span, str], ...] = ()
        if first is not None:
            related = ((first, "included here before"),)
        help_ = "take this line out: what one file has is known in all files of the show"
        fix = Fix(line, "")
        if real in self._open:
            what = "the show itself" if first is None else "being read"
            message = f"`{path.name}` is {what}: it would include itself"
            self._fault("include-circle", message, span, related=related, help=help_, fix=fix)
        else:
            message = f"`{path.name}` is included already"
            self._fault("included-twice", message, span, related=related, help=help_, fix=fix)
        raise _PathUnfit

    def _demand_room(self, span: Span) -> None:
        """That one more file may be included here. Raises _PathUnfit."""
        if len(self._where) > MOST_INCLUDED:
            asked, limit = len(self._where), MOST_INCLUDED
            words = f"a show includes at most {limit} files, and this is one more"
            help_ = "put some of them together"
        elif len(self._open) > MOST_INCLUDED_DEEP:
            asked, limit = len(self._open), MOST_INCLUDED_DEEP
            words = f"files include one another at most {limit} deep, and this is one deeper"
            help_ = "include it in the main file"
        else:
            return
        self._fault("too-many-includes", words, span, help=help_, asked=asked, limit=limit)
        raise _PathUnfit

    def _demand_size(self, source: Source, span: Span) -> None:
        """That all files together are no larger than one may be. Raises _PathUnfit."""
        self._content += content_of(source.text)
        self._length += len(source.text)
        if self._content <= MOST_CONTENT and self._length <= MOST_CHARACTERS:
            return
        over = self._content > MOST_CONTENT
        self._fault(
            "file-too-large",
            f"with this file the statements of the show have {self._content} characters, at most "
            f"{MOST_CONTENT} are allowed"
            if over
            else f"with this file the show has {self._length} characters, at most "
            f"{MOST_CHARACTERS} are allowed",
            span,
            help="comments, indentation and empty lines do not count" if over else None,
        )
        self._open.pop()
        raise _PathUnfit

    def _not_read(self, error: OSError, path: PurePosixPath, span: Span) -> None:
        if isinstance(error, FileNotFoundError | NotADirectoryError):
            here = self._root.joinpath(*path.parts[:-1])
            names = [one for one in beside(here) if one != Path(self._main).name]
            whole_name = path.name + SUFFIX
            near = whole_name if whole_name in names else nearest(path.name, names)
            written = self.files[span.path].text[span.start : span.end]
            instead = None if near is None else written[: len(written) - len(path.name)] + near
            self._fault(
                "include-missing",
                f"there is no file `{path}` in the show's folder",
                span,
                help=f"did you mean `{instead}`?"
                if instead
                else f"files of a show end in `{SUFFIX}`: write `{path}{SUFFIX}`, or what the file "
                "is called"
                if not path.suffix
                else "the path counts from the folder of the file in which it stands",
                fix=None if instead is None else Fix(span, instead),
            )
        elif error.errno in (errno.EISDIR, errno.ENODEV):
            what = "a folder" if error.errno == errno.EISDIR else "a device"
            self._fault("include-path", f"`{path}` is {what}, not a file", span)
        else:
            why = (error.strerror or str(error)).lower()
            self._fault("include-missing", f"`{path}` cannot be opened: {why}", span)

    # -- findings -------------------------------------------------------------------------------

    def _trail(self) -> tuple[Passage, ...]:
        """How the file that is being read got into the show."""
        where = self._where[self._open[-1]]
        return () if where is None else (Passage("included here", where),)

    def _fault(
        self,
        name: str,
        message: str,
        span: Span,
        *,
        related: tuple[tuple[Span, str], ...] = (),
        help: str | None = None,
        fix: Fix | None = None,
        trail: tuple[Passage, ...] = (),
        asked: float | None = None,
        limit: float | None = None,
    ) -> None:
        self.findings.append(
            Finding(
                "error",
                name,
                message,
                replace(span, trail=trail),
                related=related,
                help=help,
                fix=fix,
                asked=asked,
                limit=limit,
            )
        )
