"""`bellcrank stop`: end all cues, move to the safe pose, then end the pulses."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firmware_gen.link.protocol import ReportedMode
from seqlang.command._board import named, port_options, wait_for_limp
from seqlang.command._press import press_and_see

if TYPE_CHECKING:
    from firmware_gen.link.board_link import BoardLink

_LONGEST_S = 12.0
"""A stop takes at most 255 times 20 ms, and twice that where moves are stretched."""


@click.command(name="stop")
@port_options
def command(port: str | None, baud: int) -> None:
    """Stop the show: a controlled move to the safe pose, then limp.

    It goes before whatever other commands ask of the board, and ends a transfer. A second stop
    during the move ends the pulses at once. Without --port: every board that commands use, those of
    other users of this computer too. This is not an emergency stop: keep a switch in the supply's
    lead within reach.

    Example: bellcrank stop --port virtual
    """
    press_and_see("stop", port, baud, _seen)


def _seen(link: BoardLink) -> str:
    state = wait_for_limp(link, _LONGEST_S)
    if state.mode == ReportedMode.LIMP:
        return f"{named(link)} has stopped: safe pose, pulses off"
    return f"{named(link)} is stopping; it is not limp yet"
