"""Boards that are reached through the one that leads them: what each says, and their tables.

A board that leads knows from its table which boards have a wire back to it (LINK.md 7.1). Where it
has none, or its show is not on it, nobody is asked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from firmware_gen.link.failures import LinkFailure
from seqlang.command._all_ports import FoundBoard

if TYPE_CHECKING:
    from collections.abc import Iterator

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
