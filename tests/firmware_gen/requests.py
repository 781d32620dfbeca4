"""Requests written down, and a player that follows them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from firmware_gen.player.outputs import Frame
from firmware_gen.player.player import Player
from tests.firmware_gen.random_tables import Request


def replay(player: Player, requests: Iterable[Request], frames: int) -> list[Frame]:
    """All frames of a player that gets each request before the frame of its number."""
    return list(replaying(player, requests, frames))


def replaying(player: Player, requests: Iterable[Request], frames: int) -> Iterator[Frame]:
    """The same, one frame at a time."""
    waiting = sorted(requests, key=lambda request: request[0])
    at = 0
    for number in range(frames):
        while at < len(waiting) and waiting[at][0] == number:
            _, kind, first, second = waiting[at]
            at += 1
            match kind:
                case "trigger":
                    player.trigger(first)
                case "button":
                    player.button(first, bool(second))
                case "jog":
                    player.jog(first, second)
                case _:
                    getattr(player, kind)()
        yield player.frame()
