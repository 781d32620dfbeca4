"""`bellcrank check`: every finding about a show, and how hard it works the rig."""

from __future__ import annotations

import sys
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from seqlang.command import SHOW_HAS_ERRORS, WrongUse
from seqlang.command._form import findings_format_option
from seqlang.command._report import Screen, report
from seqlang.command._show import read_and_check
from seqlang.text.render import as_json, summary

if TYPE_CHECKING:
    from seqlang.check import Checked
    from seqlang.command._report import Detail


@click.command(name="check")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--quiet", "detail", flag_value="quiet", help="Only cautions, errors and the count.")
@click.option("--all", "detail", flag_value="all", help="Every finding and every row in full.")
@click.option("--fix", "fixing", is_flag=True, help="Change the file, asking for each remedy.")
@click.option("--yes", is_flag=True, help="With --fix: do not ask. Advice stays as it is.")
@findings_format_option
def command(file: str, detail: Detail | None, fixing: bool, yes: bool, form: str) -> int:
    """Find what is wrong with a show, and say what would pass.

    A show that passes takes one screen: the cautions that it gives reason for, advice, how much is
    asked of servos and supplies, warnings. Errors stand last, in full. Exit status 0: no errors;
    1: the show has errors.

    Example: bellcrank check first.cues
    """
    if detail is not None and form != "text":
        raise WrongUse(f"`--{detail}` goes with the text; the {form} always holds everything")
    if yes and not fixing:
        raise WrongUse("`--yes` goes with `--fix`")
    if fixing:
        from seqlang.command._fix import mend

        if form != "text":
            raise WrongUse(f"`--fix` shows its changes as text; leave out `--format {form}`")
        mend(file, every=yes)
    loaded, checked = read_and_check(file)
    status = SHOW_HAS_ERRORS if checked.failed else 0
    if form == "json":
        worked = None if checked.summary is None else asdict(checked.summary)
        click.echo(
            as_json(checked.findings, loaded.sources, passed=not checked.failed, summary=worked)
        )
        return status
    if form == "sarif":
        from importlib.metadata import version

        from seqlang.text.sarif import as_sarif

        click.echo(as_sarif(checked.findings, loaded.sources, version("bellcrank"), status))
        return status
    screen = Screen.of(sys.stdout)
    shown = report(loaded, checked, detail or "usual", screen)
    if shown:
        click.echo(shown, color=screen.colour)
    worst = _worst(checked)
    if worst is not None and detail != "quiet":
        click.echo(f"`bellcrank explain {worst}` tells more")
    tail = f"{file}: {summary(checked.findings)}"
    click.secho(tail, fg="red" if checked.failed else "green", bold=True, color=screen.colour)
    return status


def _worst(checked: Checked) -> str | None:
    """The finding that stands last: of the errors, or, without any, of the warnings."""
    for severity in ("error", "warning"):
        names = [finding.name for finding in checked.findings if finding.severity == severity]
        if names:
            return names[-1]
    return None
