"""Boards that are reached through the one that leads them: what each says, and their tables.

A board that leads knows from its table which boards have a wire back to it (LINK.md 7.1). Where it
has none, or its show is not on it, nobody is asked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from firmware_gen.link.failures import LinkFailure
from seqlang.command import WrongUse
from seqlang.command._all_ports import FoundBoard

if TYPE_CHECKING:
    from collections.abc import Iterator

    from firmware_gen.compiler.show import CompiledShow
    from firmware_gen.link.board_link import BoardLink
    from firmware_gen.link.owner.client import OwnerConnection
    from seqlang.command._all_ports import PluggedPort


def answering(table: bytes) -> tuple[int, ...]:
    """Addresses of the boards that answer the board with this table; none if it leads none."""
    from firmware_gen.table.decode import decode
    from firmware_gen.table.layout import LEADS, TableError
    from firmware_gen.table.records import AnswersRecord

    try:
        read = decode(table) if table else None
    except TableError:
        return ()
    if read is None or read.role != LEADS:
        return ()
    return tuple(one.address for one in read.senses if isinstance(one, AnswersRecord))


def boards_led(
    link: BoardLink, table: bytes
) -> Iterator[tuple[int, BoardLink, FoundBoard | LinkFailure]]:
    """The boards that answer the one behind a link, which has this table: address, the way there,
    and what each says or why it does not."""
    for address in answering(table):
        way = link.through(address)
        found: FoundBoard | LinkFailure
        try:
            hello = way.greet()
            found = FoundBoard(address, hello, way.state(), way.table())
        except LinkFailure as failure:
            if failure.reason != "no-answer":
                raise
            found = failure
        yield address, way, found


def led_behind(
    owner: OwnerConnection, port: PluggedPort, first: FoundBoard | LinkFailure
) -> Iterator[tuple[int, BoardLink, FoundBoard | LinkFailure]]:
    """The same for the board behind a port, of which this is known."""
    if isinstance(first, FoundBoard) and answering(first.table):
        link = owner.board(port.port, port.baud)
        link.greet()
        yield from boards_led(link, first.table)


def way_to(
    link: BoardLink, table: bytes, wanted: str, show: CompiledShow | None = None
) -> BoardLink:
    """The way to the board of an address, or of a name in a show: the one behind a link, which has
    this table, or one of those that answer it."""
    names = {one.name: one.board.address for one in show.boards} if show else {}
    reached = (link.address, *answering(table))
    address = names.get(wanted)
    if address is None and wanted.isdecimal():
        address = int(wanted)
    if address not in reached:
        raise WrongUse(_not_reached(wanted, reached, names))
    return link if address == link.address else link.through(address)


def _not_reached(wanted: str, reached: tuple[int, ...], names: dict[str, int]) -> str:
    """Why a board cannot be asked, and which can."""
    called = {address: f" (`{name}`)" for name, address in names.items()}
    here = ", ".join(f"{address}{called.get(address, '')}" for address in reached)
    if wanted in names:
        return f"`{wanted}` is board {names[wanted]}, which does not answer here; these do: {here}"
    how = "its address" if names else "its address; with `--show` it has a name"
    return f"`--board` wants a board that is reached here, by {how}: {here}; found `{wanted}`"
