"""`bellcrank board`: a virtual board in the foreground, for a host in another terminal."""

from __future__ import annotations

from pathlib import Path

import click

from firmware_gen.chips import FIRST
from seqlang.command import WrongUse
from seqlang.command._board import chip_named, chips_like


@click.command(name="board")
@click.argument("file", required=False, type=click.Path(dir_okay=False))
@click.option(
    "--number",
    type=click.IntRange(0, 65535),
    default=0,
    help="Number of the loopback socket. Without this option: any free one. With FILE it is the "
    "first board's; the others get the next ones.",
)
@click.option("--pty", "pseudo_terminal", is_flag=True, help="Offer a pseudo-terminal instead.")
@click.option(
    "--store",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Keep shows in this file, as a real board keeps them without power.",
)
@click.option(
    "--speed",
    type=click.FloatRange(0.1, 100.0),
    default=1.0,
    show_default=True,
    help="How many times faster than real time the board plays.",
)
@click.option(
    "--chip",
    default=FIRST.name,
    show_default=True,
    shell_complete=chips_like,
    help="Chip of the virtual board.",
)
@click.option(
    "--loss",
    type=click.FloatRange(0, 100),
    metavar="PERCENT",
    help="With FILE: how many of the leader's frames are lost on their way to each board.",
)
@click.option(
    "--noise",
    type=click.FloatRange(0, 100),
    metavar="PERCENT",
    help="With FILE: how many of the bytes on the line between boards are spoilt.",
)
def command(
    file: str | None,
    number: int,
    pseudo_terminal: bool,
    store: Path | None,
    speed: float,
    chip: str,
    loss: float | None,
    noise: float | None,
) -> None:
    """Run a virtual board until Ctrl-C and print its port.

    It speaks the same link and plays with the same arithmetic as a real one. It knows no names of
    the show that is sent to it, so a channel of a radio is put somewhere by its number, from 0:
    type `channel 0 1700` (us) or `channel 0 none`; a sensor: `sensor 0 40` (percent of the chip's
    supply).

    With FILE it runs all boards of that show, with the show on them and a port each. If one of
    them leads, the line from it to the others is wired: press there, and all play. While they run,
    type `unplug NAME` to take a part off (feed and signal), `plug NAME` to put it on again, `cut
    NAME` and `mend NAME` for its signal wire alone, `loss 30` and `noise 1` for a bad line. A
    channel of a radio is put somewhere by its name: `stick 1700` (us), and `stick none` for no
    pulses. It has none at first. A sensor: `voice 40` (percent of the chip's supply); 0 at first.
    The battery of a board that watches one: `battery NAME 6.3` (volts); it is full at first.

    Example: bellcrank board --speed 10
    """
    if file is not None:
        from seqlang.command._wired import run_wired

        if store is not None or chip != FIRST.name:
            raise WrongUse(
                "`--store` and `--chip` are for one board: a show says what its boards are"
            )
        run_wired(file, number, pseudo_terminal, speed, loss or 0.0, noise or 0.0)
        return
    if loss is not None or noise is not None:
        raise WrongUse("`--loss` and `--noise` are for the boards of a show: name its file")
    from seqlang.command._one_board import run_one

    run_one(number, pseudo_terminal, store, speed, chip_named(chip))
