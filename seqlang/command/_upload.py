"""What the commands that write program memory share: which board, which way, and the uploader.

Firmware goes the same way for all of them: look which boot loader answers and on which chip, write
and verify with the uploader, greet the board that has started.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from firmware_gen.build.uploader import (
    UPLOADER,
    UploaderWords,
    UploadStoppedError,
    UploadTrouble,
    UploadWay,
    run,
    uploader_path,
    uploads,
)
from firmware_gen.link.failures import FailureReason, LinkFailure
from firmware_gen.link.protocol import FIRMWARE_VERSION, NO_ADDRESS
from seqlang.command import WrongUse
from seqlang.command._board import lent, owner_of_ports
from seqlang.command._form import say
from seqlang.command._progress import Bar

if TYPE_CHECKING:
    from pathlib import Path

    from firmware_gen.build.uploader import Upload
    from firmware_gen.checked_table import CheckedTable
    from firmware_gen.chips import Chip
    from firmware_gen.compiler.show import CompiledBoard
    from firmware_gen.link.boot_loader import FoundLoader
    from firmware_gen.link.protocol import Hello
    from seqlang.check import CheckedShow
    from seqlang.command._all_ports import FoundBoard

F = TypeVar("F", bound=Callable[..., Any])

BOOT_LOADERS: Final[tuple[UploadWay, ...]] = ("serial", "urclock")
_STARTS_S: Final = 12.0
"""A board that has just got its firmware may take longer to answer than one that only slept."""

CAUTION = (
    "take the servos' supply off the board first: while the firmware is written, and until a show "
    "is on the board, its pins float and servos may twitch"
)


def boot_options(*, isp: bool = False) -> Callable[[F], F]:
    """`--way` and `--boot-baud`, the same for all. `isp`: a programmer is a way, too."""
    programmer = " `isp`: by a programmer on the six-pin header." if isp else ""

    def decorated(command: F) -> F:
        command = click.option(
            "--boot-baud",
            type=click.IntRange(min=1),
            help="Rate of the boot loader. Without this option the usual ones are tried.",
        )(command)
        return click.option(
            "--way",
            type=click.Choice([*BOOT_LOADERS, *(["isp"] if isp else [])]),
            help="How firmware reaches the board. Without this option the boot loader is asked. "
            f"`serial`: the usual one; `urclock`: the newer one.{programmer}",
        )(command)

    return decorated


def chosen(show: CheckedShow, name: str | None) -> CompiledBoard:
    """The board of that name, or the only one there is."""
    boards = show.compiled.boards
    names = ", ".join(f"`{board.name}`" for board in boards)
    if name is None and len(boards) == 1:
        return boards[0]
    for board in boards:
        if board.name == name:
            return board
    if not boards:
        raise WrongUse("the show has no board: add one, `board NAME: ...`")
    if name is None:
        raise WrongUse(f"the show has boards {names}; say which one with `--board`")
    raise WrongUse(f"the show has no board `{name}`; it has {names}")


def write_merged(table: CheckedTable, path: Path, *, boot_loader: bool) -> int:
    """Write the chip's image with a board's table behind the firmware; its size in bytes.

    `boot_loader`: leave room for one. Raises ImageError where the table has no room.
    """
    from firmware_gen.build import image as images
    from firmware_gen.files import write_whole

    memory = images.read_hex(images.shipped(table.chip).read_text("ascii"))
    whole = images.merge(memory, table, boot_loader=boot_loader)
    write_whole(path, images.write_hex(whole).encode("ascii"))
    return len(whole)


def port_for_firmware(port: str | None, baud: int) -> str:
    """The port that is named, else the only one there is. With several it says what is on each.

    Nothing is guessed: a port on which nothing answers may be a board without firmware, or another
    device altogether, and what answers may be the board that works.

    Raises:
        LinkFailure: no-port, several-ports.
    """
    from firmware_gen.link.ports import find_port

    if port is not None:
        return port
    try:
        return find_port()
    except LinkFailure as failure:
        if failure.reason == "no-port":
            raise LinkFailure(
                failure.reason,
                failure.message,
                "plug the board in with a cable that carries data, or name its port with `--port`; "
                "a virtual board needs no firmware",
            ) from None
        if failure.reason != "several-ports":
            raise
    found = on_all_ports(baud)
    names = [each.port for each in found]
    if sys.stdin.isatty() and sys.stdout.isatty():
        for each in found:
            say(f"{each.port}: {each.words}")
        return str(click.prompt("which port gets the firmware", type=click.Choice(names)))
    listed = "; ".join(f"{each.port}: {each.words}" for each in found)
    raise LinkFailure(
        "several-ports",
        f"{len(names)} USB serial ports: {listed}",
        f"say which one with `--port`, for example `--port {names[0]}`",
    )


@dataclass(frozen=True, slots=True)
class OnPort:
    """A port and, in words, what is on it. `hello`: what a board of ours says there."""

    port: str
    words: str
    hello: Hello | None


def on_all_ports(baud: int, only: str | None = None) -> list[OnPort]:
    """Who answers on each USB serial port. `only`: a port, whatever it is, and no other.

    Raises:
        LinkFailure: the owner of the ports cannot run.
    """
    from seqlang.command._all_ports import PluggedPort, all_ports, asked

    owner = owner_of_ports()
    if owner is None:
        raise LinkFailure(
            "owner-not-ours", "only the process that owns the ports can look on all of them"
        )
    with owner:
        ports = all_ports(owner, baud) if only is None else [PluggedPort(only, "", baud, ())]
        return [_on(port.port, port.description, found) for port, found in asked(owner, ports)]


def _on(port: str, description: str, found: FoundBoard | LinkFailure) -> OnPort:
    named = f", {description}" if description else ""
    if isinstance(found, LinkFailure):
        silent = found.reason in ("no-answer", "garbage", "wrong-version")
        why = "no firmware of ours answers" if silent else found.message
        return OnPort(port, why + named, None)
    who = "a blank board" if found.address == NO_ADDRESS else f"board {found.address}"
    is_same = (found.hello.firmware_major, found.hello.firmware_minor) == FIRMWARE_VERSION
    which = "this firmware" if is_same else "another version's firmware"
    return OnPort(port, f"{who} answers, with {which}{named}", found.hello)


def must_have_uploader() -> None:
    if uploader_path() is None:
        raise LinkFailure(
            "no-uploader",
            f"the uploader `{UPLOADER}` is not installed",
            f"install it (Debian and Ubuntu: apt install {UPLOADER}; macOS: brew install "
            f"{UPLOADER}; Windows: from its releases page), then repeat",
        )


@dataclass(frozen=True, slots=True)
class Destination:
    """Where firmware goes, and how.

    `chip`: the one that is expected; None: the boot loader says. `way`, `boot_baud`: None: they are
    found out. `baud`: of the link, once the firmware runs.
    """

    port: str
    baud: int
    chip: Chip | None = None
    way: UploadWay | None = None
    boot_baud: int | None = None


def put_firmware(to: Destination, image_of: Callable[[Chip], Path]) -> Chip:
    """Write an image by the boot loader, verified, and see that the firmware answers; the chip.

    Raises:
        LinkFailure: no-uploader, no-boot-loader, wrong-chip, half-written, or the port's own.
    """
    must_have_uploader()
    with lent(to.port):
        found = _looked_for(to)
        chip, way, baud = _fitting(to, found)
        name = "the newer boot loader" if way == "urclock" else "a boot loader"
        rate = "" if baud is None else f" at {baud} baud"
        say(f"{name} answers on {to.port}{rate}; the chip is an {chip.title}")
        steps = uploads(chip.name, image_of(chip), way, to.port, baud=baud)
        install(steps, to.port)
    _must_run(to, chip)
    return chip


def _looked_for(to: Destination) -> FoundLoader | None:
    """The boot loader that answers; None if the user says that it is the newer one."""
    from firmware_gen.link.boot_loader import find_boot_loader, usual_ways

    if to.way == "urclock" and to.chip is not None:
        return None
    say(
        f"looking for a boot loader on {to.port}; if nothing happens for some seconds, press "
        "the board's reset button"
    )
    return find_boot_loader(to.port, usual_ways(to.chip, to.boot_baud))


def _fitting(to: Destination, found: FoundLoader | None) -> tuple[Chip, UploadWay, int | None]:
    """Chip, way and rate. Raises LinkFailure where the chip is not the one that is expected."""
    if found is None:
        assert to.chip is not None
        return to.chip, "urclock", to.boot_baud
    if found.signature and found.chip is None:
        raise LinkFailure(
            "wrong-chip",
            f"the chip on {to.port} has the signature {found.signature.hex(' ').upper()}, and "
            "there is no firmware for it",
            "name another port with `--port`; `bellcrank ports` says what is on each",
        )
    if found.chip and to.chip and found.chip is not to.chip:
        raise LinkFailure(
            "wrong-chip",
            f"the chip on {to.port} is an {found.chip.title}, not an {to.chip.title}",
            "plug in the right board, or change the chip that was asked for",
        )
    chip = found.chip or to.chip
    if chip is None:
        raise LinkFailure(
            "board-unclear",
            f"the boot loader on {to.port} does not say which chip it is on",
            "read it off the chip, and say it with `--chip`",
        )
    way: UploadWay = to.way or ("urclock" if found.is_newer else "serial")
    return chip, way, found.way.baud


_WHY: Final[dict[UploadTrouble, tuple[FailureReason, str, str]]] = {
    "no-answer": (
        "half-written",
        "the boot loader stopped answering",
        "look at the cable and the board's power, then repeat",
    ),
    "differs": (
        "half-written",
        "what was read back differs from what was written",
        "repeat; if it fails again the chip's program memory is worn out: use another board",
    ),
    "wrong-chip": (
        "wrong-chip",
        "the board has another chip than the firmware is for",
        "plug in the right board, or say the chip with `--chip`",
    ),
    "port-busy": (
        "port-busy",
        "another program has the port",
        "close it (a serial monitor), then repeat",
    ),
    "no-permission": (
        "no-permission",
        "this user may not open the port",
        "join the group that owns it, log in anew, then repeat",
    ),
    "unclear": (
        "half-written",
        "the uploader gave up",
        "look at what it said, at the cable and at the port, then repeat",
    ),
}
_HALF: Final = (
    "the board may hold half a firmware now; then it plays nothing until this is repeated. Its "
    "boot loader and the shows in its slots are not touched"
)


def install(steps: Sequence[Upload], port: str = "") -> None:
    """Call the uploader for each step, and show how far it is.

    Raises:
        LinkFailure: why it came to no good end, with the uploader's last words.
    """
    must_have_uploader()
    for step in steps:
        say(step.purpose)
        with Bar("%") as bar:
            words = UploaderWords(bar.show)
            try:
                status = run(step.words, words)
            except (KeyboardInterrupt, UploadStoppedError) as stopped:
                is_ours = isinstance(stopped, KeyboardInterrupt)
                why = "interrupted" if is_ours else str(stopped)
                raise LinkFailure(
                    "half-written", f"{why}: {_HALF}", "look at the cable, and repeat the command"
                ) from None
        if status:
            reason, why, help = _WHY[words.trouble]
            half = f"; {_HALF}" if reason == "half-written" else ""
            said = "".join(f"\n  {UPLOADER}: {line}" for line in words.last)
            where = f"on {port} " if port else ""
            raise LinkFailure(reason, f"{where}{why}{half}", f"{help}{said}")
        say("written, read back and compared")


def _must_run(to: Destination, chip: Chip) -> None:
    """What was written answers, and says that it is this firmware on this chip."""
    hello = _greeted(to)
    version = ".".join(str(number) for number in FIRMWARE_VERSION)
    if (hello.firmware_major, hello.firmware_minor) != FIRMWARE_VERSION:
        raise LinkFailure(
            "wrong-version",
            f"the board on {to.port} still answers with firmware "
            f"{hello.firmware_major}.{hello.firmware_minor}, not {version}",
            "is another board on this port? Repeat the command",
        )
    if hello.chip_id != chip.chip_id:
        raise LinkFailure("wrong-chip", f"another chip than {chip.title} answers on {to.port}")
    say(f"firmware {version} runs on the board on {to.port}")


def _greeted(to: Destination) -> Hello:
    """Greet the board that has just started; LinkFailure if it stays silent."""
    owner = owner_of_ports()
    if owner is None:
        from firmware_gen.link.host import HostLink
        from firmware_gen.link.ports import open_port

        opened = open_port(to.port, to.baud)
        try:
            return HostLink(opened).greet()
        finally:
            opened.close()
    with owner:
        end_s = time.monotonic() + _STARTS_S
        while time.monotonic() < end_s:
            with suppress(LinkFailure):
                return owner.board(to.port, to.baud).greet()
        return owner.board(to.port, to.baud).greet()
