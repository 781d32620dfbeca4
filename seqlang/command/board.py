"""`bellcrank board`: a virtual board in the foreground, for a host in another terminal."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from firmware_gen.board.board import Witness
from firmware_gen.chips import FIRST
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import ReportedMode
from seqlang.command import WrongUse, say_error
from seqlang.command._board import chip_named, chips_like, end
from seqlang.command._outlet import nobody_reads
from sim.rulebook import CUES

if TYPE_CHECKING:
    from firmware_gen.board.virtual import VirtualBoard
    from firmware_gen.player.outputs import Frame


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

    It speaks the same link and plays with the same arithmetic as a real one.

    With FILE it runs all boards of that show, with the show on them and a port each. If one of
    them leads, the line from it to the others is wired: press there, and all play. While they run,
    type `unplug NAME` to take a part off (feed and signal), `plug NAME` to put it on again, `cut
    NAME` and `mend NAME` for its signal wire alone, `loss 30` and `noise 1` for a bad line. A
    channel of a radio is put somewhere by its name: `stick 1700` (us), and `stick none` for no
    pulses. It has none at first. A sensor: `voice 40` (percent of the chip's supply); 0 at first.

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
    from firmware_gen.board.virtual import Server, VirtualBoard, stored_eeprom

    made_for = chip_named(chip)
    watch = _Watch()
    try:
        virtual = VirtualBoard(stored_eeprom(store, made_for), made_for, witness=watch)
        watch.virtual = virtual
        server = Server(
            virtual,
            tcp_port=number,
            pseudo_terminal=pseudo_terminal,
            speed=speed,
            store=store,
            troubled=_not_stored,
        )
    except LinkFailure as failure:
        end(failure)
    click.echo(f"virtual board on {server.url} (Ctrl-C ends it)")
    watch.played(None)
    try:
        server.serve()
    except KeyboardInterrupt:
        click.echo("\nended")


def _not_stored(error: OSError) -> None:
    why = (error.strerror or str(error)).lower()
    say_error(
        f"`{error.filename}` cannot be written: {why}; the board plays on, and tries again. Unless "
        "there is room when it ends, its last show is lost then"
    )


class _Watch(Witness):
    """Says when the board's mode or the running cues change."""

    virtual: VirtualBoard

    def __init__(self) -> None:
        self._mode: ReportedMode | None = None
        self._show = b""
        self._running = 0

    def played(self, frame: Frame | None) -> None:
        board = self.virtual.board
        if board.slots.table != self._show:
            self._show = board.slots.table
            self._mode = None
            self._say(f"plays a table of {len(self._show)} bytes as board {board.address}")
        if board.mode != self._mode:
            self._mode = board.mode
            self._say(board.mode.name.lower())
        running = board.player.running_cues if board.player else 0
        for number in range(CUES):
            if (running ^ self._running) >> number & 1:
                self._say(f"cue {number} {'starts' if running >> number & 1 else 'ends'}")
        self._running = running

    def _say(self, words: str) -> None:
        click.echo(f"{self.virtual.time_s:9.2f} s  {words}")
        if nobody_reads(sys.stdout):  # a board that tells nobody what it plays would run unseen
            raise BrokenPipeError
