"""Stop and limp: asked for before everything else, on one board or on all that are in use."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firmware_gen.link.failures import LinkFailure
from seqlang.command import BoardFailed
from seqlang.command._board import VIRTUAL, connected, end, must, this_command, told

if TYPE_CHECKING:
    from collections.abc import Callable

    from firmware_gen.link.awaiting import Reply
    from firmware_gen.link.board_link import BoardLink
    from firmware_gen.link.owner.client import Pressed


def press_and_see(
    what: Pressed, port: str | None, baud: int, see: Callable[[BoardLink], str]
) -> None:
    """Press on the board behind a port, then say what `see` found there.

    Without a port: on every board that commands use; if none is in use, on the only one there is.
    """
    if (port or "").partition(":")[0] == VIRTUAL:
        _press_alone(what, port, baud, see)
        return
    try:
        found = _pressed(what, port, baud)
    except LinkFailure as failure:
        if failure.reason != "owner-not-ours":
            end(failure)
        _press_alone(what, port, baud, see)
        return
    failed = 0
    for name, outcome in found.items():
        if isinstance(outcome, LinkFailure):
            told(outcome)
            failed += 1
        else:
            with connected(name, baud) as (link, _):
                must(link, what, outcome)
                click.echo(see(link))
    if failed:
        raise BoardFailed("")


def _press_alone(
    what: Pressed, port: str | None, baud: int, see: Callable[[BoardLink], str]
) -> None:
    with connected(port, baud) as (link, _):
        must(link, what, link.stop() if what == "stop" else link.limp())
        click.echo(see(link))


def _pressed(what: Pressed, port: str | None, baud: int) -> dict[str, Reply | LinkFailure]:
    from firmware_gen.link.owner.client import press
    from firmware_gen.link.ports import find_port

    name = this_command()
    if port is not None:
        return press(what, [port], baud, name=name)
    found = press(what, [], baud, everywhere=True, name=name)
    return found or press(what, [find_port()], baud, name=name)
