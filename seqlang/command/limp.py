"""`bellcrank limp`: end all pulses at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firmware_gen.link.protocol import ReportedMode
from seqlang.command._board import named, port_options, wait_for_limp
from seqlang.command._press import press_and_see

if TYPE_CHECKING:
    from firmware_gen.link.board_link import BoardLink


@click.command(name="limp")
@port_options
def command(port: str | None, baud: int) -> None:
    """End the servos' pulses at once: parts may drop.

    They can then be pushed by hand; support them first. It goes before whatever other commands ask
    of the board, and ends a transfer. Without --port: every board that commands use, those of other
    users of this computer too. This is not an emergency stop: keep a switch in the supply's lead
    within reach.

    Example: bellcrank limp --port virtual
    """
    press_and_see("limp", port, baud, _seen)


def _seen(link: BoardLink) -> str:
    state = wait_for_limp(link, 1.0)
    if state.mode == ReportedMode.LIMP:
        return f"{named(link)} is limp: pulses off"
    return f"{named(link)} has taken it, and is not limp yet"
