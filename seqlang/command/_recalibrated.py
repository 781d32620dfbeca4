"""Measured points put into a show's file: what changes there, and what the check finds then."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from seqlang.command import ShowFailed
from seqlang.command._report import Screen
from seqlang.text.render import heads, is_caution, summary, text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from seqlang.calibration import Recalibrated
    from seqlang.loading import Loaded
    from seqlang.text.findings import Finding, Fix
    from seqlang.text.source import Source
    from sim.model import Servo


def demand_read(file: str, loaded: Loaded) -> None:
    """What cannot be read might be another servo with the same line."""
    wrong = [finding for finding in loaded.findings if finding.severity == "error"]
    if not wrong:
        return
    screen = Screen.of(sys.stderr)
    shown = text(wrong, loaded.sources, colour=screen.colour, columns=screen.columns)
    click.echo(shown, err=True, color=screen.colour)
    raise ShowFailed(f"{file}: {summary(wrong)}; mend what cannot be read, then calibrate")


def change_words(made: Recalibrated, loaded: Loaded) -> str:
    from seqlang.command._fix import changed_lines, printable
    from seqlang.remedy_rounds import file_change

    assert made.fix is not None
    ((path, part),) = made.fix.by_file.items()
    change = file_change(loaded.sources[path], part)
    return printable([f"{path}:{change.line}: `{made.after.name}`", *changed_lines(change)])


def write_points(made: Recalibrated, loaded: Loaded, raw: dict[str, bytes]) -> None:
    """The file is replaced whole, unless it has changed since it was read."""
    assert made.fix is not None
    write_change(made.fix, loaded, raw)


def write_change(fix: Fix, loaded: Loaded, raw: Mapping[str, bytes]) -> None:
    """Every file of a change is replaced whole; none if one of them has changed since it was read.

    `raw`: what was read, by file, of those of which it is known. Raises WrongUse.
    """
    from firmware_gen.files import write_whole
    from seqlang.calibration import spliced
    from seqlang.command._fix import changed_meanwhile, demand_writable
    from seqlang.text.indentation import decoded

    content: dict[Path, bytes] = {}
    for name, part in fix.by_file.items():
        path = Path(name)
        demand_writable(path)
        is_now = path.read_bytes()
        read = loaded.sources[name].text
        same = decoded(is_now, name)[0].removesuffix("\n") == read.removesuffix("\n")
        if not same or raw.get(name, is_now) != is_now:
            raise changed_meanwhile(name)
        content[path] = spliced(is_now, read, part)
    for path, data in content.items():
        write_whole(path, data)


def moved_words(made: Recalibrated) -> str:
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


def tell_findings(
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
