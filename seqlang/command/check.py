"""`bellcrank check`: every finding about a show, and how hard it works the rig."""

from __future__ import annotations

import sys

import click

from seqlang.command import SHOW_HAS_ERRORS
from seqlang.command._show import read_and_check
from seqlang.render import as_json, summary, text, wants_colour


@click.command(name="check")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="For a person, or for a program.",
)
def command(file: str, form: str) -> int:
    """Find what is wrong with a show, and say how hard it works servos and supply."""
    loaded, checked = read_and_check(file)
    status = SHOW_HAS_ERRORS if checked.failed else 0
    if form == "json":
        click.echo(as_json(checked.findings, loaded.sources, passed=not checked.failed))
        return status
    colour = wants_colour(sys.stdout)
    if checked.findings:
        click.echo(text(checked.findings, loaded.sources, colour=colour), color=colour)
    click.echo(f"{file}: {summary(checked.findings)}")
    return status
