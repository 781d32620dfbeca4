"""`bellcrank calibrate`: measured points into a servo's `pulse` line."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from seqlang.command import SHOW_HAS_ERRORS, ShowFailed, WrongUse
from seqlang.command._report import Screen
from seqlang.command._show import read_and_check
from seqlang.text.render import heads, is_caution, summary, text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from seqlang.calibration import Recalibrated
    from seqlang.loading import Loaded
    from seqlang.text.findings import Finding
    from seqlang.text.source import Source
    from sim.model import Servo


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
        _demand_read(file, loaded)
        made = recalibrated(loaded, servo, measured)
    except CalibrationRefusedError as refused:
        raise WrongUse(str(refused)) from None
    if made.fix is None:
        click.echo(f"{file}: `{servo}` has these points already")
        return SHOW_HAS_ERRORS if checked.failed else 0
    click.echo(_change(made, loaded))
    after = check(made.loaded)
    if write:
        _write(made, loaded, raw)
    click.echo(_moved(made))
    _tell_findings(checked.findings, loaded.sources, after.findings, made.loaded.sources)
    done = "written" if write else "nothing written, `--write` does that"
    screen = Screen.of(sys.stdout)
    tail = f"{file}: {done}; {summary(after.findings)}"
    click.secho(tail, fg="red" if after.failed else "green", bold=True, color=screen.colour)
    return SHOW_HAS_ERRORS if after.failed else 0


def _demand_read(file: str, loaded: Loaded) -> None:
    """What cannot be read might be another servo with the same line."""
    wrong = [finding for finding in loaded.findings if finding.severity == "error"]
    if not wrong:
        return
    screen = Screen.of(sys.stderr)
    shown = text(wrong, loaded.sources, colour=screen.colour, columns=screen.columns)
    click.echo(shown, err=True, color=screen.colour)
    raise ShowFailed(f"{file}: {summary(wrong)}; mend what cannot be read, then calibrate")


def _change(made: Recalibrated, loaded: Loaded) -> str:
    from seqlang.command._fix import changed_lines, printable
    from seqlang.remedy_rounds import file_change

    assert made.fix is not None
    ((path, part),) = made.fix.by_file.items()
    change = file_change(loaded.sources[path], part)
    return printable([f"{path}:{change.line}: `{made.after.name}`", *changed_lines(change)])


def _write(made: Recalibrated, loaded: Loaded, raw: dict[str, bytes]) -> None:
    """The file is replaced whole, unless it has changed since it was read."""
    from firmware_gen.files import write_whole
    from seqlang.calibration import spliced
    from seqlang.command._fix import changed_meanwhile, demand_writable
    from seqlang.text.indentation import decoded

    assert made.fix is not None
    ((name, part),) = made.fix.by_file.items()
    path = Path(name)
    demand_writable(path)
    is_now = path.read_bytes()
    read = loaded.sources[name].text
    same = decoded(is_now, name)[0].removesuffix("\n") == read.removesuffix("\n")
    if not same or raw.get(name, is_now) != is_now:
        raise changed_meanwhile(name)
    write_whole(path, spliced(is_now, read, part))


def _moved(made: Recalibrated) -> str:
    """The pulses at the ends of travel, before and now: what a board will send."""
    lines = ["pulses at the ends of its travel:"]
    for place in made.after.travel_deg:
        before, now = (_pulse(one, place) for one in (made.before, made.after))
        lines.append(f"  at {place:g} {made.unit}: {now}; before: {before}")
    return "\n".join(lines)


def _pulse(servo: Servo, place: float) -> str:
    from sim.rig.standstill import pulse_us

    if not servo.points[0].angle_deg <= place <= servo.points[-1].angle_deg:
        return "beyond the measured points"
    return f"{float(pulse_us(servo, place)):.1f} us"


def _tell_findings(
    before: Sequence[Finding],
    sources: Mapping[str, Source],
    after: Sequence[Finding],
    sources_after: Mapping[str, Source],
) -> None:
    """What the check finds that it did not find before, and what it finds no longer."""
    were, are = ({(f.name, f.message) for f in each} for each in (before, after))
    came = [f for f in after if (f.name, f.message) not in were and not is_caution(f)]
    gone = [f for f in before if (f.name, f.message) not in are and not is_caution(f)]
    screen = Screen.of(sys.stdout)
    for title, found, places in (
        ("found now:", came, sources_after),
        ("found no longer:", gone, sources),
    ):
        if found:
            shown = heads(found, places, colour=screen.colour, columns=screen.columns)
            click.echo(f"{title}\n{shown}", nl=False, color=screen.colour)
    if not came and not gone:
        click.echo("the check finds the same as before")
