"""`bellcrank check`: every finding about a show, and how hard it works the rig."""

from __future__ import annotations

import sys
from dataclasses import asdict

import click

from seqlang.command import SHOW_HAS_ERRORS
from seqlang.command._form import format_option
from seqlang.command._show import read_and_check
from seqlang.command._summary import summary_text
from seqlang.text.render import as_json, columns_of, summary, text, wants_colour


@click.command(name="check")
@click.argument("file", type=click.Path(dir_okay=False))
@format_option
def command(file: str, form: str) -> int:
    """Find what is wrong with a show, and say what would pass.

    Errors come first, the usual cautions last. A table shows how much is asked of servos and
    supplies. Exit status 0: no errors; 1: the show has errors.
    """
    loaded, checked = read_and_check(file)
    status = SHOW_HAS_ERRORS if checked.failed else 0
    if form == "json":
        worked = None if checked.summary is None else asdict(checked.summary)
        click.echo(
            as_json(checked.findings, loaded.sources, passed=not checked.failed, summary=worked)
        )
        return status
    colour = wants_colour(sys.stdout)
    if checked.findings:
        shown = text(
            checked.findings, loaded.sources, colour=colour, columns=columns_of(sys.stdout)
        )
        click.echo(shown, color=colour)
    worked_text = "" if checked.summary is None else summary_text(checked.summary)
    if worked_text:
        click.echo(worked_text + "\n")
    tail = f"{file}: {summary(checked.findings)}"
    click.secho(tail, fg="red" if checked.failed else "green", bold=True, color=colour)
    return status
