"""For the shell: the cues of a show, read off its lines without reading the whole of it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    import click
    from click.shell_completion import CompletionItem

_CUE: Final = re.compile(r'^cue +([^\W\d]\w*)(?: +"([^"\n]*)")?', re.MULTILINE)
_MOST_BYTES: Final = 1_000_000
"""Of a file; more would make the shell wait."""
_MOST_FILES: Final = 20


def cue_names(context: click.Context, _: click.Parameter, begun: str) -> list[CompletionItem]:
    """Cues that start like what was typed, with their titles.

    They are those of the show that the line names; if it names none, of the shows in this folder.
    """
    from click.shell_completion import CompletionItem

    titles: dict[str, str] = {}
    for path in _shows(context):
        for name, title in _CUE.findall(_start_of(path)):
            titles.setdefault(name, title)
    return [
        CompletionItem(name, help=title or None)
        for name, title in titles.items()
        if name.startswith(begun)
    ]


def _shows(context: click.Context) -> Iterator[Path]:
    named = context.params.get("file")
    # an option that still waits for its value keeps click from reading the arguments before it
    words = [named] if isinstance(named, str) else context.args
    shows = [path for path in map(Path, words) if path.is_file()]
    if not shows:
        shows = sorted(path for path in Path().glob("*.cues") if path.is_file())
    yield from shows[:_MOST_FILES]


def _start_of(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return file.read(_MOST_BYTES).decode("utf-8", "replace")
    except OSError:
        return ""
