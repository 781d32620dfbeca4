"""`bellcrank limp`: end all pulses at once."""

from __future__ import annotations

import click

from seqlang.command._board import connected, must, named, port_options, wait_for_limp


@click.command(name="limp")
@port_options
def command(port: str | None, baud: int) -> None:
    """End the servos' pulses at once: parts may drop.

    They can then be pushed by hand; support them first. This is not an emergency stop: keep a
    switch in the supply's lead within reach.

    Example: bellcrank limp --port virtual
    """
    with connected(port, baud) as (link, _):
        must(link, "limp", link.limp())
        wait_for_limp(link, 1.0)
        click.echo(f"{named(link)} is limp: pulses off")
