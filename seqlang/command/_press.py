"""Stop and limp: asked for before everything else, on one board or on all that are in use."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import Status
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
    failed, others = _press_elsewhere(what, port)
    try:
        found = _pressed(what, port, baud, others)
    except LinkFailure as failure:
        if failure.reason != "owner-not-ours":
            end(_with_the_switch(failure))
        _press_alone(what, port, baud, see)
        return
    for name, outcome in found.items():
        if isinstance(outcome, LinkFailure):
            told(_with_the_switch(outcome))
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


def _press_elsewhere(what: Pressed, port: str | None) -> tuple[int, bool]:
    """On boards that other users of this computer have: how many failed, and whether any is."""
    from firmware_gen.link.owner.client import press_elsewhere, same_name

    ports = [] if port is None else [same_name(port)]
    found = press_elsewhere(what, ports, everywhere=port is None, name=this_command())
    failed = 0
    for each in found:
        if isinstance(each.outcome, LinkFailure):
            told(_with_the_switch(each.outcome))
        elif not each.outcome.done:
            told(_with_the_switch(_refused(what, each.port, each.user, each.outcome.status)))
        else:
            click.echo(f"the board on {each.port} has taken `{what}`; the user {each.user} has it")
            continue
        failed += 1
    return failed, bool(found)


def _refused(what: Pressed, port: str, user: str, status: int) -> LinkFailure:
    """Why a board of another user's did not take it."""
    why = f"(status {status})"
    if status == Status.NOT_IN_THIS_MODE:
        why = "because it has no show, and so nothing that moves"
    words = f"the board on {port}, which the user {user} has, did not take `{what}` {why}"
    return LinkFailure("refused", words)


def _with_the_switch(failure: LinkFailure) -> LinkFailure:
    """A stop that did not arrive is told with what stops instead."""
    if "switch in the supply" in (failure.help or ""):
        return failure
    now = "to stop now, use the switch in the supply's lead"
    return LinkFailure(failure.reason, failure.message, f"{now}; {failure.help or 'then repeat'}")


def _pressed(
    what: Pressed, port: str | None, baud: int, others: bool
) -> dict[str, Reply | LinkFailure]:
    """`others`: boards of other users have it already; then none is looked for on other ports."""
    from firmware_gen.link.owner.client import press
    from firmware_gen.link.ports import find_port

    name = this_command()
    if port is not None:
        return {} if others else press(what, [port], baud, name=name)
    found = press(what, [], baud, everywhere=True, name=name)
    return found or ({} if others else press(what, [find_port()], baud, name=name))
