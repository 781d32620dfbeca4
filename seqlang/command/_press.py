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
    mishap: LinkFailure | None = None
    found: dict[str, Reply | LinkFailure] = {}
    try:  # this user's own come first, and wait for no other user
        found = _press_own(what, port, baud, opens=False)
    except LinkFailure as failure:
        mishap = failure
    failed, others = _press_elsewhere(what, port)
    if not found and mishap is None and (port or not others):
        # no command of this user has it; that another user has it is no more than a claim, and
        # where it is true the port cannot be had
        try:
            found = _press_own(what, port, baud, opens=True)
        except LinkFailure as failure:
            mishap = failure
        taken = {name for name, outcome in found.items() if others and _is_taken(outcome)}
        found = {name: found[name] for name in found.keys() - taken}
    if mishap is not None and not (others and port):
        if mishap.reason != "owner-not-ours":
            end(_with_the_switch(mishap))
        _press_alone(what, port, baud, see)
    # all others were asked before one that takes nothing, or is slow to show it, is told of
    if failed + _tell(what, found, baud, see):
        raise BoardFailed("")


def _is_taken(outcome: Reply | LinkFailure) -> bool:
    """Whether another process has the port."""
    return isinstance(outcome, LinkFailure) and outcome.reason in ("port-busy", "no-permission")


def _press_alone(
    what: Pressed, port: str | None, baud: int, see: Callable[[BoardLink], str]
) -> None:
    with connected(port, baud) as (link, _):
        must(link, what, link.stop() if what == "stop" else link.limp())
        click.echo(see(link))


def _press_own(
    what: Pressed, port: str | None, baud: int, *, opens: bool
) -> dict[str, Reply | LinkFailure]:
    """What came of it. Without `opens`, only where a command of this user has the port open."""
    from firmware_gen.link.owner.client import press
    from firmware_gen.link.ports import find_port

    name = this_command()
    if opens:
        return press(what, [port or find_port()], baud, name=name)
    if port is None:
        return press(what, [], baud, everywhere=True, name=name)
    return press(what, [port], baud, opens=False, name=name)


def _tell(
    what: Pressed,
    found: dict[str, Reply | LinkFailure],
    baud: int,
    see: Callable[[BoardLink], str],
) -> int:
    """Say what came of it on each port; how many failed."""
    failed = 0
    for name, outcome in found.items():
        if isinstance(outcome, LinkFailure):
            told(_with_the_switch(outcome))
            failed += 1
        else:
            with connected(name, baud) as (link, _):
                must(link, what, outcome)
                click.echo(see(link))
    return failed


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
    # an owner that hangs, or says more than it was asked, has no board of these
    return failed, any(each.port in ports if ports else each.port for each in found)


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
