"""A page for phones, served by a command until it ends: options, the socket, and where it is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from seqlang.command import WrongUse
from seqlang.command._form import say
from seqlang.command._listening import LOOPBACK, must_be_own, no_socket, own_addresses

if TYPE_CHECKING:
    from collections.abc import Callable

    from seqlang.phone.controls import Controls

EVERYWHERE: Final = "0.0.0.0"

F = TypeVar("F", bound="Callable[..., Any]")


def phone_options(command: F) -> F:
    """`--open`, `--address`, `--number` and `--for`, the same for all pages for phones."""
    for option in (
        click.option("--for", "duration", metavar="DURATION", help="End after it, such as `4 h`."),
        click.option(
            "--number",
            type=click.IntRange(0, 65535),
            default=0,
            help="Number of the page's socket. Without this option: any free one.",
        ),
        click.option(
            "--address",
            metavar="ADDRESS",
            help="Let phones come only over the network in which this computer has that address.",
        ),
        click.option(
            "--open", "opened", is_flag=True, help="Let phones come over this computer's networks."
        ),
    ):
        command = option(command)
    return command


def host_of(opened: bool, address: str | None) -> str:
    """The address to listen at."""
    if address is not None:
        if opened:
            raise WrongUse("--open is for all networks, --address for one: give one of them")
        must_be_own(address)
    return address or (EVERYWHERE if opened else LOOPBACK)


def serve_phones(
    controls: Controls,
    host: str,
    number: int,
    until_s: float | None,
    begun: Callable[[Callable[[], None]], None] = lambda _: None,
) -> None:
    """Serve until the time is over, or KeyboardInterrupt.

    `begun`: given first what ends it, from any thread.
    """
    import asyncio

    from seqlang.phone.pairing import Pairing, new_code
    from seqlang.phone.serving import PhoneServer

    code = new_code()
    server = PhoneServer(controls, Pairing(code), say)

    async def run() -> None:
        over, loop = asyncio.Event(), asyncio.get_running_loop()
        begun(lambda: _end(loop, over))
        if until_s is not None:
            loop.call_later(until_s, over.set)
        await server.run(host, number, lambda socket: _tell(host, socket, code), over)

    try:
        asyncio.run(run())
    except OSError as error:
        raise no_socket(error, host, number) from None


def _end(loop: Any, over: Any) -> None:
    from contextlib import suppress

    with suppress(RuntimeError):  # it has ended already
        loop.call_soon_threadsafe(over.set)


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
        say("whoever listens in this network can read the code: use a network of your own")
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
