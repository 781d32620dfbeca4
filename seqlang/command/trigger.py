"""`bellcrank trigger`: start a cue on a board, as the remote would."""

from __future__ import annotations

from re import fullmatch
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.link.failures import LinkFailure
from seqlang.command import WrongUse
from seqlang.command._board import (
    connected,
    must,
    named,
    pause,
    port_options,
    seconds,
    wait_until_ready,
)
from sim.rulebook import FRAME_S

if TYPE_CHECKING:
    from firmware_gen.link.host import HostLink

_NAME: Final = r"[^\W\d]\w*"
"""As `NAME` in the cue language's grammar."""
_TWO_FRAMES_S: Final = 2.5 * FRAME_S
"""Two frames and a little more."""
_BEACON_S: Final = 0.2


@click.command(name="trigger")
@click.argument("cue")
@port_options
@click.option(
    "--held",
    metavar="DURATION",
    help="Hold the cue's button down for this time, such as `2 s`.",
)
def command(cue: str, port: str | None, baud: int, held: str | None) -> None:
    """Start a cue on the connected board.

    Parts move: keep clear of them. Waits while the board is still enabling its servos.
    """
    if not fullmatch(_NAME, cue):
        raise WrongUse(
            "a cue's name has letters, digits and `_`, and starts with a letter or `_`; "
            f"found `{cue}`"
        )
    held_s = None if held is None else float(seconds(held, "--held"))
    with connected(port, baud) as (link, hello):
        wait_until_ready(link, hello.mode)
        if held_s is None:
            start(link, cue)
            click.echo(f"cue `{cue}` started on {named(link)}")
        else:
            hold(link, cue, held_s)
            click.echo(f"cue `{cue}` held for {held} on {named(link)}")


def start(link: HostLink, cue: str) -> None:
    """Start a cue by its name, once, and see that no running cue kept it from starting.

    Raises:
        LinkFailure: refused, with what kept it; or the link's own.
    """
    from firmware_gen.crc import cue_tag

    before = link.state().refused
    must(link, cue, link.trigger(cue_tag(cue)))
    pause(link, _TWO_FRAMES_S)
    if link.state().refused != before:
        raise LinkFailure(
            "refused",
            f"cue `{cue}` did not start: the cues that run leave it no room",
            "wait until they have ended, or stop them with `bellcrank stop`",
        )


def hold(link: HostLink, cue: str, held_s: float) -> None:
    """Hold down the button to which a cue is bound; it is let go whatever happens.

    Raises:
        LinkFailure: refused if no button is bound to the cue; or the link's own.
    """
    button = _button_of(link, cue)
    must(link, cue, link.button(button, True))
    end_s = link.port.now() + held_s
    try:
        while (left := end_s - link.port.now()) > 0:
            pause(link, min(left, _BEACON_S))
            link.beacon()
    finally:
        must(link, cue, link.button(button, False))


def _button_of(link: HostLink, cue: str) -> int:
    """The button of a cue, one that repeats it while held first, from the board's own table."""
    from firmware_gen.crc import cue_tag
    from firmware_gen.table.records import TableError, decode

    try:
        table = decode(link.table())
    except TableError as error:
        raise LinkFailure("refused", f"the board's table cannot be read: {error}") from None
    tags = [each.tag for each in table.cues]
    if cue_tag(cue) not in tags:
        raise LinkFailure(
            "refused",
            f"the show on {named(link)} has no cue `{cue}`",
            "cues are called by their name in the show",
        )
    bound = [each for each in table.bindings if each.cue == tags.index(cue_tag(cue))]
    if not bound:
        raise LinkFailure(
            "refused",
            f"no button starts cue `{cue}`, so none can be held",
            "leave `--held` out, or bind the cue to a button in the show's `remote`",
        )
    return max(bound, key=lambda each: each.while_held).button
