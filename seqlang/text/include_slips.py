"""Lines that were meant to include a file, and do not.

What such a file would say is missing, so nothing but these lines is told of: every name that
could come from the file would look unknown.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

from seqlang.text.findings import Finding, Fix
from seqlang.text.included import INCLUDE, SUFFIX, plain_file, real_path
from seqlang.text.names import nearest

if TYPE_CHECKING:
    from seqlang.text.included import ReadFile
    from seqlang.text.source import Source

_MEANT: Final = re.compile(r"^([^\W\d]\w*)\b[ \t]*[:=(]?[ \t]*(\S.*?)?[ \t]*$", re.MULTILINE)
_PLAIN: Final = re.compile(r"[\w. -]+(?:/[\w. -]+)*")
_QUOTED: Final = re.compile(r"\"([^\"]+)\"|'([^']+)'|<([^>]+)>|\u201c([^\u201d]+)\u201d")
_BARE: Final = re.compile(r"(?:(?:the +)?file +)?([\w./\\-]+)\)?;?$")
_CHOSEN: Final = re.compile(r"([\w./\\-]+) +import\b")
"""`from rig import jaw`: all of a file is included."""
_LOADING: Final = ("import", "load", "require", "insert", "read", "from", "use", "uses", "source")
"""Words that bring a file in elsewhere."""

_COMMENTED: Final = re.compile(
    r"^#[ \t]*include[ \t]*(?:\"([^\"\n]+)\"|<([^>\n]+)>)[ \t;]*$", re.MULTILINE
)


def not_included(source: Source, read: ReadFile | None) -> tuple[Finding, ...]:
    """A finding for each line that names a file in another way than `include "FILE"`."""
    readable = {line.start() for line in INCLUDE.finditer(source.text)}
    found = []
    for line in _MEANT.finditer(source.text):
        if line.start() in readable:
            continue
        paths = _paths(line[1], line[2] or "")
        if paths is not None:
            made = [_completed(source, path, read) for path in paths]
            if made and made[:1] == (line[2] or "").split()[:1] and "." not in made[0]:
                made = []  # a word without quotes that is no file
            found.append(_finding(source, line, made, read))
    return tuple(found)


def _paths(word: str, rest: str) -> list[str] | None:
    """The files that a line names; None if it is no such line."""
    loads = word in _LOADING
    if not loads and word != "include" and nearest(word, ("include",)) is None:
        return None
    quoted = [next(filter(None, groups)) for groups in _QUOTED.findall(rest)]
    if quoted:
        return quoted
    chosen = _CHOSEN.match(rest) if word == "from" else None
    if chosen is not None:
        return [chosen[1]]
    bare = _BARE.match(rest)
    if bare is None or (loads and word != "import" and not bare[1].endswith(SUFFIX)):
        return [] if word == "include" else None
    return [bare[1]]


def _completed(source: Source, path: str, read: ReadFile | None) -> str:
    """The path with the suffix of shows, where only that names a file."""
    if path.endswith(SUFFIX) or not _opens(source, path + SUFFIX, read):
        return path
    return path + SUFFIX


def _opens(source: Source, path: str, read: ReadFile | None) -> bool:
    """Whether a path that stays below the file's own folder leads to a file."""
    if _PLAIN.fullmatch(path) is None or ".." in path:
        return False
    folder = real_path(Path(source.path).parent)
    file = real_path(folder / path)
    if folder not in file.parents:
        return False
    try:
        (read or plain_file)(file)
    except OSError:
        return False
    return True


def _finding(
    source: Source, line: re.Match[str], paths: list[str], read: ReadFile | None
) -> Finding:
    made = "\n".join(f'include "{path}"' for path in paths)
    start, end = line.start(), max(line.end(1), line.end(2))
    opens = bool(paths) and all(_opens(source, path, read) for path in paths)
    if line[1] == "include":
        message, stop = "`include` needs the path of a file, in quotes", end
        begin = line.start(2) if line[2] else start
    else:
        message, begin, stop = f"`{line[1]}` does not start a statement", start, line.end(1)
    return Finding(
        "error",
        "syntax",
        message,
        source.span(begin, stop),
        help="write `" + made.replace("\n", "` and, on a line of its own, `") + "`"
        if made
        else 'such as `include "rig.cues"`',
        fix=Fix(source.span(start, end), made) if opens else None,
    )


def commented(source: Source, read: ReadFile | None) -> tuple[Finding, ...]:
    """A finding for each `#include "FILE"`: the `#` makes a comment of it.

    Worth saying only where names are missing: a maker may have taken the line out on purpose.
    """
    included = {line[1] for line in INCLUDE.finditer(source.text)}
    found = []
    for line in _COMMENTED.finditer(source.text):
        path = line[1] or line[2]
        if path in included or not _opens(source, path, read):
            continue
        made = f'include "{path}"'
        found.append(
            Finding(
                "error",
                "syntax",
                f"`#` makes a comment of this line: nothing of `{path}` is in the show",
                source.span(*line.span()),
                help=f"write `{made}`",
                fix=Fix(source.span(*line.span()), made),
            )
        )
    return tuple(found)
