"""`bellcrank plot FILE`: pictures of motion, torque, current and light."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

import click

from seqlang.command import WrongUse
from seqlang.command._cue_names import cue_names
from seqlang.command._form import format_option
from seqlang.command._progress import working
from seqlang.command._show import passed

if TYPE_CHECKING:
    from sim.model import Show
    from sim.rehearsal.trajectories import Trajectories


@click.command("plot")
@click.argument("file", type=click.Path())
@click.option("--out", type=click.Path(file_okay=False), help="Folder to fill [FILE-plots].")
@click.option(
    "--kind",
    type=click.Choice(["png", "svg"]),
    default="png",
    show_default=True,
    help="Kind of picture.",
)
@click.option(
    "--cue",
    "cues",
    multiple=True,
    metavar="NAME",
    shell_complete=cue_names,
    help="Only this cue; may repeat.",
)
@click.option(
    "--press",
    "presses",
    multiple=True,
    metavar="WHAT",
    help='What is pressed and when, as in "1 at 2 s", "2 at 5 s for 900 ms", "lure at 8 s" or '
    '"stop at 9 s"; or where a channel or a sensor stands from then on, as in "stick 1700 us at '
    '4 s", "stick none at 9 s" or "voice 40 % at 5 s". Can be given several times. Times count '
    "from power-up.",
)
@format_option
def command(
    file: str,
    out: str | None,
    kind: str,
    cues: tuple[str, ...],
    presses: tuple[str, ...],
    form: str,
) -> None:
    """Draw a show: motion, speed, torque, current and light.

    Without --cue and --press, every cue is played once, as its buttons would start it. One picture
    shows the whole rehearsal. Two more show each servo: over time, and on its torque-speed line.

    Example: bellcrank plot first.cues --press "1 at 2 s" --press "stop at 4 s"
    """
    from firmware_gen.files import write_whole
    from sim.pictures.plots import pictures

    show = passed(file, quiet=form == "json").show
    trajectories = _rehearsed(show, cues, presses)
    for refusal in trajectories.refusals:
        at = f"{refusal.at_ms / 1000:g} s"
        click.echo(f"note: board `{refusal.board}` refuses cue `{refusal.cue}` at {at}", err=True)
    folder = Path(out) if out else Path(file).with_name(f"{Path(file).stem}-plots")
    drawn = pictures(trajectories, cast(Literal["png", "svg"], kind))
    written: list[str] = []
    while True:
        with working("drawing"):
            name, content = next(drawn, ("", b""))
        if not name:
            break
        write_whole(folder / name, content)
        written.append(str(folder / name))
        if form == "text":
            click.echo(f"wrote  {folder / name}")
    if form == "json":
        refused = [asdict(refusal) for refusal in trajectories.refusals]
        click.echo(json.dumps({"files": written, "refused": refused}, indent=2))


def _rehearsed(show: Show, cues: tuple[str, ...], presses: tuple[str, ...]) -> Trajectories:
    """The whole show, some of its cues, or the presses that were written, as they play."""
    from seqlang.presses import parse_press
    from seqlang.text.names import nearest
    from sim.rehearsal.run_through import LongRehearsalError, played_out, run_through
    from sim.score.tree import named_cues

    if cues and presses:
        raise WrongUse("--cue and --press do not go together; name cues with --press")
    if presses:
        try:
            pressed = [parse_press(text, show) for text in presses]
        except ValueError as error:
            raise WrongUse(str(error)) from None
        try:
            return played_out(show, pressed)
        except LongRehearsalError as error:
            raise WrongUse(f'{error}, as in --press "stop at 60 s"') from None
    known = [cue.name for cue in named_cues(show.score)]
    for name in cues:
        if name not in known:
            near = nearest(name, known)
            hint = f"did you mean `{near}`?" if near else f"the show has {', '.join(known)}"
            raise WrongUse(f"there is no cue `{name}`; {hint}")
    try:
        return run_through(show, cues or None)
    except LongRehearsalError as error:
        raise WrongUse(f"{error}; see --cue and --press") from None
