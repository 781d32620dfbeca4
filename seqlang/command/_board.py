"""What every command that talks to a board shares: port options, the greeting, failures.

Ports are shared: one process owns them, and serves all commands (`firmware_gen/link/owner`).
Where it cannot run, a command opens the port for itself and says so.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn, TypeVar

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import BAUD, NO_ADDRESS, ReportedMode, Status
from seqlang.command import BoardFailed, WrongUse

if TYPE_CHECKING:
    from fractions import Fraction

    from firmware_gen.board.virtual import Server
    from firmware_gen.chips import Chip
    from firmware_gen.link.awaiting import Reply
    from firmware_gen.link.board_link import BoardLink
    from firmware_gen.link.owner.client import OwnerConnection
    from firmware_gen.link.protocol import Hello, State
    from firmware_gen.table.records import Table

VIRTUAL: Final = "virtual"

_WRONG_USE: Final = frozenset({"several-ports", "board-unclear"})
_STARTING_S: Final = 20.0
_POLL_S: Final = 0.05
_LENT_S: Final = 6.0
"""Another command that looks for boards has a port no longer than this."""
_LENT_AGAIN_S: Final = 0.2

F = TypeVar("F", bound=Callable[..., Any])


def port_options(command: F) -> F:
    """`--port` and `--baud`, the same for all."""
    command = click.option(
        "--baud",
        type=click.IntRange(300, 4_000_000),
        default=BAUD,
        show_default=True,
        help="Rate of the line. It must be the firmware's rate.",
    )(command)
    return click.option(
        "--port",
        metavar="PORT",
        help="Serial port (COM3, /dev/ttyUSB0), socket://HOST:NUMBER, or `virtual` for a virtual "
        "board that this command starts (`virtual:CHIP` chooses its chip). "
        "Without this option: the only USB serial port.",
    )(command)


@contextmanager
def connected(
    port: str | None, baud: int, *, virtual_speed: float = 1.0
) -> Iterator[tuple[BoardLink, Hello]]:
    """A link to the greeted board behind a port; its failures end the command in words.

    `virtual_speed`: how much faster than real time the board of `--port virtual` runs.
    """
    with ExitStack() as stack:
        try:
            kind, _, chip = (port or "").partition(":")
            if kind == VIRTUAL:
                server = stack.enter_context(virtual_board(virtual_speed, chip))
                link = _alone(stack, server.url, baud)
            else:
                link = _shared(stack, port, baud)
            yield link, link.greet()
        except LinkFailure as failure:
            end(failure)


def _alone(stack: ExitStack, port: str, baud: int) -> BoardLink:
    """The board behind a port that nobody else uses meanwhile."""
    from firmware_gen.link.host import HostLink
    from firmware_gen.link.ports import open_port

    opened = open_port(port, baud)
    stack.callback(opened.close)
    return HostLink(opened)


def _shared(stack: ExitStack, port: str | None, baud: int) -> BoardLink:
    """The board behind a port that all commands share; without a name: the only port there is."""
    from firmware_gen.link.ports import find_port

    owner = owner_of_ports()
    if owner is None:
        return _alone(stack, port or find_port(), baud)
    stack.enter_context(owner)
    return owner.board(port if port is not None else the_port(owner), baud)


def owner_of_ports() -> OwnerConnection | None:
    """The process that owns the ports; None, in words, where it cannot run."""
    from firmware_gen.link.owner.client import connect

    try:
        return connect(this_command())
    except LinkFailure as failure:
        if failure.reason != "owner-not-ours":
            raise
        click.echo(f"note: this command has the port for itself: {failure.message}", err=True)
        return None


@contextmanager
def lent(port: str) -> Iterator[None]:
    """No command uses a port meanwhile, so that the uploader may open it.

    A command that only looks for boards there is waited for.
    """
    end_s = time.monotonic() + _LENT_S
    try:
        owner = owner_of_ports()
        with ExitStack() as stack:
            if owner:
                stack.enter_context(owner)
            while owner:
                try:
                    stack.enter_context(owner.lent(port))
                    break
                except LinkFailure as failure:
                    if failure.reason != "port-busy" or time.monotonic() >= end_s:
                        raise
                    time.sleep(_LENT_AGAIN_S)
            yield
    except LinkFailure as failure:
        end(failure)


def this_command() -> str:
    """Its name, as others are told who uses a port."""
    context = click.get_current_context(silent=True)
    return (context and context.info_name) or "bellcrank"


def the_port(owner: OwnerConnection) -> str:
    """The only USB serial port; without any, the only port that other commands use."""
    from firmware_gen.link.ports import find_port

    try:
        return find_port()
    except LinkFailure as failure:
        in_use = [each["port"] for each in owner.ports()] if failure.reason == "no-port" else []
        if len(in_use) != 1:
            raise
        return str(in_use[0])


def virtual_board(speed: float, name: str = "") -> Server:
    """The virtual board of `--port virtual`: it remembers its show from command to command.

    `name`: its chip; left out: the first there is. Each chip's board has a memory of its own.
    """
    from firmware_gen.board.virtual import Server, VirtualBoard, stored_eeprom
    from firmware_gen.chips import FIRST

    chip = chip_named(name or FIRST.name)
    folder = Path(click.get_app_dir("bellcrank"))
    which = "" if chip is FIRST else f"-{chip.name}"
    store: Path | None = folder / f"virtual-board{which}.bin"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        eeprom = stored_eeprom(store, chip)
    except (OSError, LinkFailure):
        store, eeprom = None, stored_eeprom(None, chip)
    return Server(VirtualBoard(eeprom, chip), speed=speed, store=store, troubled=_not_kept)


def _not_kept(error: OSError) -> None:
    why = (error.strerror or str(error)).lower()
    click.echo(
        f"note: the virtual board cannot keep its show in `{error.filename}`: {why}", err=True
    )


def chips_like(_: click.Context, __: click.Parameter, begun: str) -> list[str]:
    """For the shell: chips that start like what was typed."""
    from firmware_gen.chips import CHIPS

    return [name for name in sorted(CHIPS) if name.startswith(begun)]


def chip_named(name: str) -> Chip:
    """The chip of that name; an unknown one is wrong usage."""
    from firmware_gen.chips import CHIPS

    if name not in CHIPS:
        raise WrongUse(f"there is no chip `{name}`; there is {', '.join(sorted(CHIPS))}")
    return CHIPS[name]


def end(failure: LinkFailure) -> NoReturn:
    """Say what failed and what helps, and end the command with the right status."""
    told(failure)
    raise (WrongUse if failure.reason in _WRONG_USE else BoardFailed)("")


def told(failure: LinkFailure) -> None:
    """Say what failed and what helps."""
    from seqlang.text.render import broken, columns_of, wants_colour

    colour, columns = wants_colour(sys.stderr), columns_of(sys.stderr)
    title, name = click.style("error:", fg="red", bold=True), click.style(failure.reason, fg="cyan")
    head = broken(f"error: {failure.message}  ({failure.reason})", columns, 4)
    before, after = head.removeprefix("error:").rsplit(failure.reason, 1)
    click.echo(f"{title}{before}{name}{after}", err=True, color=colour)
    if failure.help:
        help = broken(f"  try   {failure.help}", columns, 8).removeprefix("  try")
        click.echo(f"  {click.style('try', fg='green')}{help}", err=True, color=colour)


def named(link: BoardLink) -> str:
    """The board as messages call it."""
    if link.address == NO_ADDRESS:
        return f"the blank board on {link.name}"
    return f"board {link.address} on {link.name}"


def wait_until_ready(link: BoardLink, mode: int) -> None:
    """Wait while the board enables its servos one after another; LinkFailure in other modes."""
    deadline = link.now() + _STARTING_S
    while mode == ReportedMode.STARTING and link.now() < deadline:
        link.pause(_POLL_S)
        mode = link.state().mode
    if mode != ReportedMode.READY:
        raise not_ready(mode)


def wait_for_limp(link: BoardLink, longest_s: float, poll_s: float = _POLL_S) -> State:
    """Wait until a stop has ended in limp; the last state read."""
    deadline = link.now() + longest_s
    while True:
        state = link.state()
        if state.mode == ReportedMode.LIMP or link.now() >= deadline:
            return state
        link.pause(poll_s)


def not_ready(mode: int) -> LinkFailure:
    known: dict[int, tuple[str, str | None]] = {
        ReportedMode.BLANK: ("holds no show", "put one on it with `bellcrank flash FILE`"),
        ReportedMode.STARTING: ("is still starting", "repeat in a few seconds"),
        ReportedMode.STOPPING: (
            "is stopping: it moves to its safe pose",
            "`bellcrank standby` gets it ready again once it is limp",
        ),
        ReportedMode.READY: (
            "follows the board that leads, which alone decides what starts",
            "ask that board: give its port; stop and limp work on this one, too",
        ),
        ReportedMode.LIMP: (
            "is limp: its servos get no pulses",
            "keep clear of the parts, then get it ready with `bellcrank standby`",
        ),
    }
    words, help = known.get(mode, (f"is in mode {mode}", None))
    return LinkFailure("refused", f"the board {words}", help)


def must(link: BoardLink, what: str, reply: Reply) -> None:
    """Raise LinkFailure in words if the board did not do what it was asked."""
    from firmware_gen.link.board_link import refused

    if reply.done:
        return
    if reply.status == Status.NOT_IN_THIS_MODE:
        raise not_ready(link.state().mode)
    if reply.status == Status.NO_SUCH_CUE:
        raise LinkFailure(
            "refused",
            f"the show on {named(link)} has no cue `{what}`",
            "cues have the names that `bellcrank compile` lists; if the board has an older show, "
            "`bellcrank flash` puts the new one there",
        )
    raise refused(what, reply)


def seconds(text: str, option: str) -> Fraction:
    """A duration as the cue language writes it; WrongUse with the units it could have."""
    from seqlang.text.units import TIME, parse_quantity, units_of

    try:
        quantity = parse_quantity(text.strip())
    except (ValueError, KeyError, ZeroDivisionError):
        quantity = None
    if quantity is None or quantity.dimension != TIME or quantity.value <= 0:
        raise WrongUse(
            f"{option} wants a duration with its unit ({', '.join(units_of(TIME))}), such as "
            f"`2 s`; found `{text}`"
        )
    return quantity.value


def table_of(link: BoardLink) -> Table:
    """The table that a board plays. LinkFailure if it has none."""
    from firmware_gen.table.decode import decode
    from firmware_gen.table.layout import TableError

    data = link.table()
    if not data:
        raise not_ready(ReportedMode.BLANK)
    try:
        return decode(data)
    except TableError as error:
        raise LinkFailure("refused", f"the board's table cannot be read: {error}") from None
