"""All ports of this computer: what is plugged in, who answers, and what is on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from firmware_gen.link.failures import LinkFailure

if TYPE_CHECKING:
    from collections.abc import Iterator

    from firmware_gen.link.owner.client import OwnerConnection
    from firmware_gen.link.protocol import Hello, State


@dataclass(frozen=True, slots=True)
class PluggedPort:
    """A port, whether a board answers there or not."""

    port: str
    description: str
    """Of the adapter; empty for what is no USB port."""
    baud: int
    in_use: tuple[str, ...]
    """Commands that use it, with their processes."""


@dataclass(frozen=True, slots=True)
class FoundBoard:
    """What a board says of itself."""

    address: int
    hello: Hello
    state: State
    table: bytes


def all_ports(owner: OwnerConnection, baud: int) -> list[PluggedPort]:
    """USB serial ports, and those that commands use; by name."""
    from serial.tools.list_ports import comports

    plugged = {port.device: port.description or "" for port in comports() if port.vid is not None}
    shared = {str(each["port"]): each for each in owner.ports()}
    return [
        PluggedPort(
            name,
            plugged.get(name, ""),
            int(shared[name]["baud"]) if name in shared else baud,
            tuple(
                f"`{each['client']}` (process {each['pid']})"
                for each in shared.get(name, {}).get("clients", ())
            ),
        )
        for name in sorted(plugged.keys() | shared.keys())
    ]


def asked(
    owner: OwnerConnection, ports: list[PluggedPort]
) -> Iterator[tuple[PluggedPort, FoundBoard | LinkFailure]]:
    """Each port with the board that answers there, or why none does. All are greeted at once."""
    from firmware_gen.link.owner import messages

    waiting = {owner.ask("greet", port=each.port, baud=each.baud): each for each in ports}
    greeted: dict[str, LinkFailure | None] = {}
    while len(greeted) < len(ports):
        answer = owner.answer(set(waiting))
        port = waiting.pop(answer["id"])
        try:
            messages.read_outcome(answer)
            greeted[port.port] = None
        except LinkFailure as failure:
            greeted[port.port] = failure
    for port in ports:
        yield port, greeted[port.port] or _board_on(owner, port)


def _board_on(owner: OwnerConnection, port: PluggedPort) -> FoundBoard | LinkFailure:
    link = owner.board(port.port, port.baud)
    try:
        hello = link.greet()
        return FoundBoard(link.address, hello, link.state(), link.table())
    except LinkFailure as failure:
        return failure
