"""`bellcrank remote FILE`: the show's remote as a page, for a helper's phone."""

from __future__ import annotations

from contextlib import ExitStack, suppress
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import BAUD
from seqlang.command import BoardFailed, WrongUse
from seqlang.command._board import VIRTUAL, end, owner_of_ports, seconds, virtual_board
from seqlang.command._form import say
from seqlang.command._listening import LOOPBACK, must_be_own, no_socket, own_addresses
from seqlang.command._show import passed
from seqlang.command._show_on import ended_in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from firmware_gen.compiler.show import CompiledShow

EVERYWHERE: Final = "0.0.0.0"


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
@click.option(
    "--open", "opened", is_flag=True, help="Let phones come over this computer's networks."
)
@click.option(
    "--address",
    metavar="ADDRESS",
    help="Let phones come only over the network in which this computer has that address.",
)
@click.option(
    "--number",
    type=click.IntRange(0, 65535),
    default=0,
    help="Number of the socket. Without this option: any free one.",
)
@click.option("--for", "duration", metavar="DURATION", help="End after this time, such as `4 h`.")
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
    that is printed. Who reads along in the network can read it too: use a network of your own.

    A phone is not an emergency stop: keep a switch in the supply's lead within reach.

    Example: bellcrank remote first.cues --port virtual --for "1 s"
    """
    show = passed(file, quiet=True).compiled
    until_s = None if duration is None else float(seconds(duration, "--for"))
    if address is not None:
        if opened:
            raise WrongUse("--open is for all networks, --address for one: give one of them")
        must_be_own(address)
    host = address or (EVERYWHERE if opened else LOOPBACK)
    with ExitStack() as stack, suppress(KeyboardInterrupt), ended_in_words():
        names = [_port(stack, name) for name in ports]
        _must_have_an_owner()
        _serve(show, names, baud, host, number, until_s)
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


def _serve(
    show: CompiledShow,
    ports: Sequence[str],
    baud: int,
    host: str,
    number: int,
    until_s: float | None,
) -> None:
    """Serve until the time is over, or KeyboardInterrupt."""
    import asyncio

    from seqlang.phone.pairing import Pairing, new_code
    from seqlang.phone.serving import PhoneServer

    code = new_code()
    server = PhoneServer(show, ports, baud, Pairing(code), say)

    async def run() -> None:
        over = asyncio.Event()
        if until_s is not None:
            asyncio.get_running_loop().call_later(until_s, over.set)
        await server.run(host, number, lambda socket: _tell(host, socket, code), over)

    try:
        asyncio.run(run())
    except OSError as error:
        raise no_socket(error, host, number) from None


def _tell(host: str, number: int, code: str) -> None:
    """Where the page is; the code stands behind it, so that whoever opens it has given it."""
    hosts = (own_addresses() or [LOOPBACK]) if host == EVERYWHERE else [host]
    urls = [f"http://{each}:{number}/#{code}" for each in hosts]
    if host != LOOPBACK and urls:
        _draw(urls[0])
    for url in urls:
        say(f"the page is at {url}")
    say(f"the code is {code[:4]} {code[4:]}; until Ctrl-C")
    if host != LOOPBACK:
        say("whoever reads along in this network can read the code: use a network of your own")
        say("a phone is not an emergency stop: keep a switch in the supply's lead within reach")


def _draw(url: str) -> None:
    """The page's place for a camera (QR code, ISO/IEC 18004), where the terminal can show it."""
    import io
    import sys

    import segno

    drawn = io.StringIO()
    segno.make(url, micro=False, error="m").terminal(out=drawn, compact=True, border=2)
    try:
        drawn.getvalue().encode(getattr(sys.stdout, "encoding", None) or "ascii")
    except UnicodeEncodeError:
        return
    if sys.stdout.isatty():
        click.echo(drawn.getvalue())
