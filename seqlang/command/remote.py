"""`bellcrank remote FILE`: the show's remote as a page, for a helper's phone."""

from __future__ import annotations

from contextlib import ExitStack, suppress

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import BAUD
from seqlang.command import BoardFailed
from seqlang.command._board import VIRTUAL, end, owner_of_ports, seconds, told, virtual_board
from seqlang.command._form import say
from seqlang.command._phones import host_of, phone_options, serve_phones
from seqlang.command._set_of_boards import SetOfBoards
from seqlang.command._show import passed
from seqlang.command._show_on import ended_in_words


@click.command(name="remote")
@click.argument("file", type=click.Path())
@click.option(
    "--port",
    "ports",
    metavar="PORT",
    multiple=True,
    help="Port of a board; give it once for each board. `virtual` is a virtual board that this "
    "command starts. Without this option: USB serial ports, and those that commands use.",
)
@click.option(
    "--baud",
    type=click.IntRange(300, 4_000_000),
    default=BAUD,
    show_default=True,
    help="Rate of the line. It must be the firmware's rate.",
)
@phone_options
def command(
    file: str,
    ports: tuple[str, ...],
    baud: int,
    opened: bool,
    address: str | None,
    number: int,
    duration: str | None,
) -> None:
    """Put the show's remote on a page for phones, until Ctrl-C.

    Each button of the remote can be pressed and held there. The page says how each board is, and
    what to do. Stop and limp are always on the screen. A phone that falls silent lets go of its
    buttons within a second.

    The page is for this computer only, unless you say --open or --address. Phones need the code
    that is printed. Whoever listens in the network can read it too: use a network of your own.

    A phone is not an emergency stop: keep a switch in the supply's lead within reach.

    Example: bellcrank remote first.cues --port virtual --for "1 s"
    """
    from seqlang.phone.controls import RemoteControls

    show = passed(file, quiet=True).compiled
    until_s = None if duration is None else float(seconds(duration, "--for"))
    host = host_of(opened, address)
    with ExitStack() as stack, suppress(KeyboardInterrupt), ended_in_words():
        names = [_port(stack, name) for name in ports]
        _must_have_an_owner()
        mixed = None if ports == (VIRTUAL,) else SetOfBoards(file, show).mixed()
        if mixed is not None:
            told(mixed)
        notes = () if mixed is None else (f"{mixed.message}: those do not follow",)
        serve_phones(RemoteControls(show, names, baud, notes), host, number, until_s)
    say("the page has ended; boards go on as their show says")


def _port(stack: ExitStack, name: str) -> str:
    kind, _, chip = name.partition(":")
    if kind != VIRTUAL:
        return name
    try:
        return stack.enter_context(virtual_board(1.0, chip)).url
    except LinkFailure as failure:
        end(failure)


def _must_have_an_owner() -> None:
    try:
        owner = owner_of_ports()
    except LinkFailure as failure:
        end(failure)
    if owner is None:
        raise BoardFailed("only the process that owns the ports can serve several phones")
    owner.close()
