"""`bellcrank stop`: end all cues, move to the safe pose, then end the pulses."""

from __future__ import annotations

import click

from firmware_gen.link.protocol import ReportedMode
from seqlang.command._board import connected, must, named, port_options, wait_for_limp

_LONGEST_S = 12.0
"""A stop takes at most 255 times 20 ms, and twice that where moves are stretched."""


@click.command(name="stop")
@port_options
def command(port: str | None, baud: int) -> None:
    """Stop the show: a controlled move to the safe pose, then limp.

    A second stop during this move ends the pulses at once. This is not an emergency stop: keep a
    switch in the supply's lead within reach.

    Example: bellcrank stop --port virtual
    """
    with connected(port, baud) as (link, _):
        must(link, "stop", link.stop())
        state = wait_for_limp(link, _LONGEST_S)
        if state.mode == ReportedMode.LIMP:
            click.echo(f"{named(link)} has stopped: safe pose, pulses off")
        else:
            click.echo(f"{named(link)} is stopping; it is not limp yet")
