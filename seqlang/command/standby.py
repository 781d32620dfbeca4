"""`bellcrank standby`: get a limp board ready again."""

from __future__ import annotations

import click

from firmware_gen.link.protocol import ReportedMode
from seqlang.command._board import connected, must, named, port_options, wait_until_ready


@click.command(name="standby")
@port_options
def command(port: str | None, baud: int) -> None:
    """Get a limp board ready again.

    Servos are enabled one after another. Parts jump to the safe pose from wherever they were
    pushed: keep clear of them.

    Example: bellcrank standby --port virtual
    """
    with connected(port, baud) as (link, hello):
        mode = hello.mode
        if mode == ReportedMode.LIMP:
            must(link, "standby", link.standby())
            mode = ReportedMode.STARTING
        wait_until_ready(link, mode)
        click.echo(f"{named(link)} is ready")
