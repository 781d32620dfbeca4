"""What every command does first: read a show, check it, and say what was found."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from seqlang.command import ShowFailed
from seqlang.command._progress import working
from seqlang.command._report import Screen, report
from seqlang.text.render import summary, text

if TYPE_CHECKING:
    from seqlang.check import Checked, CheckedShow
    from seqlang.loading import Loaded


def read_and_check(path: str) -> tuple[Loaded, Checked]:
    """The show in a file with every finding about it."""
    from seqlang.check import check
    from seqlang.loading import load

    with working(f"checking {Path(path).name}"):
        loaded = load(path)
        return loaded, check(loaded)


def passed(path: str, *, quiet: bool = False) -> CheckedShow:
    """A show without errors. Otherwise shows its findings and raises `ShowFailed`.

    `quiet`: warnings of a show that passes are not shown.
    """
    loaded, checked = read_and_check(path)
    return demanded(path, loaded, checked, quiet=quiet)


def demanded(path: str, loaded: Loaded, checked: Checked, *, quiet: bool = False) -> CheckedShow:
    """As `passed`, of a file that was read and checked already."""
    screen = Screen.of(sys.stderr)
    if checked.show is None:
        click.echo(report(loaded, checked, "usual", screen), err=True, color=screen.colour)
        raise ShowFailed(f"{path}: {summary(checked.findings)}")
    warnings = [finding for finding in checked.findings if finding.severity == "warning"]
    if warnings and not quiet:
        shown = text(warnings, loaded.sources, colour=screen.colour, columns=screen.columns)
        click.echo(shown, err=True, color=screen.colour)
    return checked.show
