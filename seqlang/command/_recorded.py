"""What was recorded by hand, as a gesture in a show's file: told, tried, written, checked anew."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from seqlang.command import SHOW_HAS_ERRORS, WRONG_USAGE, WrongUse
from seqlang.command._recalibrated import demand_read, tell_findings
from seqlang.command._report import Screen
from seqlang.command._show import read_and_check
from seqlang.text.render import heads, summary

if TYPE_CHECKING:
    from collections.abc import Mapping

    from seqlang.loading import Loaded
    from seqlang.recording import FittedPart, Take, TriedGesture
    from sim.model import Rig, Servo


def demand_name(name: str, loaded: Loaded) -> None:
    """Raise WrongUse if a new gesture of this show cannot have this name."""
    from seqlang.recording import why_no_name

    why = why_no_name(name, loaded)
    if why:
        raise WrongUse(f"`--record {name}`: {why}")


def tolerance_of(servo: Servo, within: str | None) -> float:
    """What `--within` allows this servo, in the unit of its part. Raises WrongUse."""
    from seqlang.calibration import CalibrationRefusedError, read_points
    from seqlang.recording import usual_tolerance
    from sim.rig.slide import of_part

    if within is None:
        return usual_tolerance(servo)
    unit = of_part(servo).place
    try:
        (point,) = read_points([f"1500 us at {within}"])
    except (CalibrationRefusedError, ValueError):
        raise WrongUse(
            f"`--within {within}` is not a distance, such as `2 deg` or `1 mm`"
        ) from None
    if point.unit != unit or point.place <= 0:
        raise WrongUse(
            f"`--within {within}`: `{servo.name}` is measured in {unit}, and it must be over 0"
        )
    return float(point.place)


def take_over(
    file: str,
    takes: Mapping[str, Take],
    name: str | None,
    within: str | None,
    write: bool,
    rig: Rig,
) -> int:
    """Put what was recorded into the text, if that is wanted, and check the show anew.

    The gesture is told before the file is read again, so that nothing that goes wrong there loses
    it; `rig` is what the show was when it was recorded.
    """
    from seqlang.recording import free_name, gesture_lines, tried

    parts = _fitted(rig, takes, within)
    if not parts:
        return WRONG_USAGE
    click.echo("recorded:")
    click.echo("\n".join(gesture_lines(name or "by_hand", parts, rig)))
    loaded, checked = read_and_check(file)
    demand_read(file, loaded)
    name = name or free_name(loaded)
    demand_name(name, loaded)
    made = tried(loaded, name, gesture_lines(name, parts, rig))
    _tell_tried(made, loaded)
    done = "nothing written"
    after, now = checked, loaded
    if write or click.confirm(f"write this gesture into {file}?", default=True):
        now = _written(file, made, loaded)
        from seqlang.check import check

        after = check(now)
        tell_findings(checked.findings, loaded.sources, after.findings, now.sources)
        done = f"written; a cue plays it with `play {name}`"
    screen = Screen.of(sys.stdout)
    failed = after.failed or bool(made.wrong)
    tail = f"{file}: {done}; {summary(after.findings)}"
    click.secho(tail, fg="red" if failed else "green", bold=True, color=screen.colour)
    return SHOW_HAS_ERRORS if failed else 0


def _fitted(rig: Rig, takes: Mapping[str, Take], within: str | None) -> list[FittedPart]:
    from seqlang.recording import fitted_part, takes_in_order
    from sim.score.fitting import NotFittedError

    parts: list[FittedPart] = []
    for servo, take in takes_in_order(takes, rig):
        try:
            part = fitted_part(rig, servo, take, tolerance_of(servo, within))
        except NotFittedError as why:
            click.echo(f"`{servo.name}`: {why}; a larger `--within` may do", err=True)
            continue
        parts.append(part)
        click.echo(_fit_words(part))
        for words in part.told:
            click.echo(f"  {words}")
    return parts


def _fit_words(part: FittedPart) -> str:
    from sim.rig.slide import of_part

    unit, motion = of_part(part.servo).place, part.motion
    moves = "1 move" if motion.moves == 1 else f"{motion.moves} moves"
    stands = len(motion.stretches) - motion.moves
    standing = f" and {stands} hold{'s' if stands > 1 else ''}" if stands else ""
    return (
        f"{part.servo.name}: {moves}{standing} for {part.samples} samples; the worst miss is "
        f"{motion.worst_miss:.2f} {unit} (at {motion.worst_s:.1f} s), and {part.tolerance:g} "
        f"{unit} is allowed"
    )


def _tell_tried(made: TriedGesture, loaded: Loaded) -> None:
    """What trying it in a copy of the show has changed, and what is wrong with it for all that."""
    from seqlang.command._fix import printable
    from seqlang.recording import tried_source

    for before, after in made.longer:
        click.echo(printable(["too much for the part in this show:", f"  - {before}"]))
        click.echo(printable([f"  + {after}"]))
    if made.wrong:
        screen = Screen.of(sys.stderr)
        path = next(iter(loaded.sources))
        sources = {**loaded.sources, path: tried_source(loaded, made)}
        shown = heads(made.wrong, sources, colour=screen.colour, columns=screen.columns)
        click.echo(f"played by a cue, it has errors:\n{shown}", err=True, nl=False)


def _written(file: str, made: TriedGesture, loaded: Loaded) -> Loaded:
    """The file with the gesture behind its text, whole or not at all, and how it reads then."""
    from firmware_gen.files import write_whole
    from seqlang.calibration import reread
    from seqlang.command._fix import changed_meanwhile, demand_writable
    from seqlang.recording import with_gesture
    from seqlang.text.indentation import decoded

    path, read = Path(file), loaded.sources[file].text
    demand_writable(path)
    raw = path.read_bytes()
    text = decoded(raw, file)[0]
    if text.removesuffix("\n") != read.removesuffix("\n"):
        raise changed_meanwhile(file)
    new = with_gesture(read, made.lines)
    more = new.removeprefix(read.removesuffix("\n"))
    if raw.endswith((b"\n", b"\r")):
        more = more.removeprefix("\n")
    if raw.count(b"\r\n") * 2 > raw.count(b"\n"):
        more = more.replace("\n", "\r\n")
    write_whole(path, raw + more.encode("utf-8"))
    return reread(file, loaded.sources, {file: new})
