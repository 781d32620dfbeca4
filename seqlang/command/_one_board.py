"""`bellcrank board`: one virtual board, and what it says while it runs."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import Server, VirtualBoard, stored_eeprom
from firmware_gen.link.failures import LinkFailure
from seqlang.command import say_error
from seqlang.command._board import end
from seqlang.command._outlet import nobody_reads
from sim.rulebook import CUES

if TYPE_CHECKING:
    from pathlib import Path

    from firmware_gen.chips import Chip
    from firmware_gen.link.protocol import ReportedMode
    from firmware_gen.player.outputs import Frame


def run_one(
    number: int, pseudo_terminal: bool, store: Path | None, speed: float, chip: Chip
) -> None:
    """Run it until Ctrl-C. `number`: its TCP port, 0 for a free one; `store`: keeps its memory."""
    watch = _Watch()
    try:
        virtual = VirtualBoard(stored_eeprom(store, chip), chip, witness=watch)
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
