"""`bellcrank calibrate`: measured points into a servo's `pulse` line."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from seqlang.command import SHOW_HAS_ERRORS, WrongUse
from seqlang.command._recalibrated import (
    change_words,
    demand_read,
    moved_words,
    tell_findings,
    write_points,
)
from seqlang.command._report import Screen
from seqlang.command._show import read_and_check
from seqlang.text.render import summary


@click.command(name="calibrate")
@click.argument("file", type=click.Path(dir_okay=False))
@click.argument("servo")
@click.argument("points", nargs=-1, required=True)
@click.option("--write", is_flag=True, help="Change the file; without it only say what changes.")
def command(file: str, servo: str, points: tuple[str, ...], write: bool) -> int:
    """Put measured points into a servo's `pulse` line.

    POINTS: the pulse that the servo gets, and where its part stands with it. Only these numbers of
    the text change. A trim stays, and is taken off the pulses that are written. A number that like
    parts share becomes one for each. Boards play the old points until the next `bellcrank flash`.
    Exit status 1: the show has errors.

    Example: bellcrank calibrate first.cues flap "1 ms at 0 deg, 2 ms at 88 deg"
    """
    from seqlang.calibration import CalibrationRefusedError, read_points, recalibrated
    from seqlang.check import check

    try:
        measured = read_points(points)
        raw = {file: Path(file).read_bytes()}
        loaded, checked = read_and_check(file)
        demand_read(file, loaded)
        made = recalibrated(loaded, servo, measured)
    except CalibrationRefusedError as refused:
        raise WrongUse(str(refused)) from None
    if made.fix is None:
        click.echo(f"{file}: `{servo}` has these points already")
        return SHOW_HAS_ERRORS if checked.failed else 0
    click.echo(change_words(made, loaded))
    after = check(made.loaded)
    if write:
        write_points(made, loaded, raw)
    click.echo(moved_words(made))
    tell_findings(checked.findings, loaded.sources, after.findings, made.loaded.sources)
    done = "written" if write else "nothing written, `--write` does that"
    screen = Screen.of(sys.stdout)
    tail = f"{file}: {done}; {summary(after.findings)}"
    click.secho(tail, fg="red" if after.failed else "green", bold=True, color=screen.colour)
    return SHOW_HAS_ERRORS if after.failed else 0
