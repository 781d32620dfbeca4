"""What every command does first: read a show, check it, and say what was found."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from seqlang.check import Checked, CheckedShow, check
from seqlang.command import ShowFailed
from seqlang.load import load
from seqlang.text.render import columns_of, summary, text, wants_colour

if TYPE_CHECKING:
    from seqlang.load import Loaded


def read_and_check(path: str) -> tuple[Loaded, Checked]:
    """The show in a file with every finding about it."""
    loaded = load(path)
    return loaded, check(loaded)


def passed(path: str, *, quiet: bool = False) -> CheckedShow:
    """A show without errors. Otherwise shows its findings and raises `ShowFailed`.

    `quiet`: warnings and advice of a show that passes are not shown.
    """
    import sys

    loaded, checked = read_and_check(path)
    if checked.show is not None and quiet:
        return checked.show
    shown = [f for f in checked.findings if checked.show is None or f.severity == "warning"]
    if shown:
        colour = wants_colour(sys.stderr)
        columns = columns_of(sys.stderr)
        click.echo(
            text(shown, loaded.sources, colour=colour, columns=columns), err=True, color=colour
        )
    if checked.show is None:
        raise ShowFailed(f"{path}: {summary(checked.findings)}")
    return checked.show
