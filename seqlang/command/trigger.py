"""`bellcrank trigger`: start a cue on a board, as the remote would."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from re import fullmatch
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import ReportedMode
from seqlang.command import WrongUse
from seqlang.command._board import (
    connected,
    must,
    named,
    port_options,
    seconds,
    table_of,
    wait_until_ready,
)
from seqlang.command._cue_names import cue_names
from seqlang.command._form import format_option
from seqlang.command._show import passed
from sim.rulebook import FRAME_S

if TYPE_CHECKING:
    from firmware_gen.link.board_link import BoardLink
    from seqlang.check import CheckedShow

_NAME: Final = r"[^\W\d]\w*"
"""As `NAME` in the cue language's grammar."""
_TWO_FRAMES_S: Final = 2.5 * FRAME_S
"""Two frames and a little more."""
_BEACON_S: Final = 0.2


@click.command(name="trigger")
@click.argument("cue", required=False, shell_complete=cue_names)
@port_options
@click.option(
    "--held",
    metavar="DURATION",
    help="Hold the cue's button down for this time, such as `2 s`.",
)
@click.option("--list", "listed", is_flag=True, help="Only say which cues the board has.")
@click.option(
    "--show",
    "file",
    type=click.Path(dir_okay=False),
    help="With --list: call cues by their names in this show; boards keep only check sums of them.",
)
@format_option
def command(
    cue: str | None,
    port: str | None,
    baud: int,
    held: str | None,
    listed: bool,
    file: str | None,
    form: str,
) -> None:
    """Start a cue on the connected board, or list its cues.

    Parts move: keep clear of them. Waits while the board is still enabling its servos.

    Example: bellcrank trigger wave --port virtual

    Example: bellcrank trigger --list --port virtual
    """
    if listed:
        if cue is not None or held is not None:
            raise WrongUse("`--list` starts nothing: leave out the cue and `--held`")
        _list(port, baud, file, form)
        return
    if cue is None:
        raise WrongUse("say which cue, or `--list` them")
    if file is not None or form != "text":
        raise WrongUse("`--show` and `--format` go with `--list`")
    if not fullmatch(_NAME, cue):
        raise WrongUse(
            "a cue's name has letters, digits and `_`, and starts with a letter or `_`; "
            f"found `{cue}`"
        )
    held_s = None if held is None else float(seconds(held, "--held"))
    with connected(port, baud) as (link, hello):
        wait_until_ready(link, hello.mode)
        _warn_of_mixed(hello.show)
        if held_s is None:
            start(link, cue)
            click.echo(f"cue `{cue}` started on {named(link)}")
        else:
            hold(link, cue, held_s)
            click.echo(f"cue `{cue}` held for {held} on {named(link)}")


def _warn_of_mixed(number: int) -> None:
    """Say that other boards of this show will not follow. It starts all the same: what is
    remembered may be out of date, and a board of another version stays as it is by itself."""
    from seqlang.command._board import told
    from seqlang.command._set_of_boards import mixed_with

    mixed = mixed_with(number)
    if mixed is not None:
        told(mixed)


@dataclass(frozen=True, slots=True)
class _ListedCue:
    """A cue of a board; its name if a show tells it, and what the link calls it by."""

    cue: str | None
    number: int
    tag: str
    buttons: tuple[int, ...]
    running: bool


def _list(port: str | None, baud: int, file: str | None, form: str) -> None:
    """The cues of the connected board, from its own table."""
    shown = None if file is None else passed(file, quiet=True)
    with connected(port, baud) as (link, _):
        table = table_of(link)
        running = link.state().running_cues
        known = {} if shown is None else _names(shown, link.table())
    rows = [
        _ListedCue(
            known.get(each.tag),
            number,
            f"{each.tag:04X}",
            tuple(bound.button for bound in table.bindings if bound.cue == number),
            bool(running >> number & 1),
        )
        for number, each in enumerate(table.cues)
    ]
    if form == "json":
        click.echo(json.dumps([asdict(row) for row in rows], indent=2))
        return
    for row in rows:
        buttons = ", ".join(map(str, row.buttons)) or "none"
        name = row.cue or f"cue {row.number}, check sum {row.tag}"
        click.echo(f"{name}: buttons {buttons}" + (", running" if row.running else ""))
    if shown is not None and not known:
        click.echo("the board has another show than this file: its cues have no names here")


def _names(shown: CheckedShow, data: bytes) -> dict[int, str]:
    """Names of cues by their check sums, if the board plays this show."""
    from firmware_gen.crc import cue_tag

    for board in shown.compiled.boards:
        if board.data == data:
            return {cue_tag(cue.name): cue.name for cue in board.cues}
    return {}


def start(link: BoardLink, cue: str) -> None:
    """Start a cue by its name, once, and see that no running cue kept it from starting.

    Raises:
        LinkFailure: refused, with what kept it; or the link's own.
    """
    from firmware_gen.crc import cue_tag

    before = link.state().refused
    must(link, cue, link.trigger(cue_tag(cue)))
    link.pause(_TWO_FRAMES_S)
    if link.state().refused != before:
        raise LinkFailure(
            "refused",
            f"cue `{cue}` did not start: the cues that run leave it no room",
            "wait until they have ended, or stop them with `bellcrank stop`",
        )


def hold(link: BoardLink, cue: str, held_s: float) -> None:
    """Hold down the button to which a cue is bound; it is let go whatever happens.

    Raises:
        LinkFailure: refused if no button is bound to the cue; or the link's own.
    """
    button = _button_of(link, cue)
    must(link, cue, link.button(button, True))
    end_s = link.now() + held_s
    try:
        while (left := end_s - link.now()) > 0:
            link.pause(min(left, _BEACON_S))
            link.beacon()
            if link.state().mode != ReportedMode.READY:
                raise LinkFailure(
                    "overtaken",
                    f"the board was stopped while `{cue}` was held",
                    "`bellcrank standby` gets it ready again once it is limp",
                )
    finally:
        must(link, cue, link.button(button, False))


def _button_of(link: BoardLink, cue: str) -> int:
    """The button of a cue, one that repeats it while held first, from the board's own table."""
    from firmware_gen.crc import cue_tag

    table = table_of(link)
    tags = [each.tag for each in table.cues]
    if cue_tag(cue) not in tags:
        raise LinkFailure(
            "refused",
            f"the show on {named(link)} has no cue `{cue}`",
            "cues are called by their name in the show",
        )
    number = tags.index(cue_tag(cue))
    bound = [each for each in table.bindings if each.cue == number and each.is_plain]
    if not bound:
        raise LinkFailure(
            "refused",
            f"no button starts cue `{cue}`, so none can be held",
            "leave out `--held`, or bind the cue to a button in the show's `remote`",
        )
    return max(bound, key=lambda each: each.while_held).button
