"""`bellcrank board`: one virtual board, and what it says while it runs."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import Server, VirtualBoard, stored_eeprom
from firmware_gen.link.failures import LinkFailure
from firmware_gen.table.records import ChannelRecord, SensorRecord
from seqlang.command import say_error
from seqlang.command._board import end
from seqlang.command._outlet import nobody_reads
from seqlang.command._typed import Typed
from seqlang.sources import NOTHING, pulse_us, share
from seqlang.text.render import broken, columns_of
from sim.rehearsal.channels import pulse_ticks
from sim.rehearsal.sensing import reading_of
from sim.rulebook import CUES

if TYPE_CHECKING:
    from pathlib import Path

    from firmware_gen.chips import Chip
    from firmware_gen.link.protocol import ReportedMode
    from firmware_gen.player.outputs import Frame

ORDERS: Final = (
    f"channel NUMBER MICROSECONDS, channel NUMBER {NOTHING}, sensor NUMBER PERCENT (numbers count "
    "from 0, in the order of the show)"
)


def run_one(
    number: int, pseudo_terminal: bool, store: Path | None, speed: float, chip: Chip
) -> None:
    """Run it until Ctrl-C. `number`: its TCP port, 0 for a free one; `store`: keeps its memory."""
    watch = _ModeWatch()
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
    if chip.senses:
        click.echo(broken(f"Type to try what happens: {ORDERS}", columns_of(sys.stdout), 2))
    watch.played(None)
    typed = Typed()

    def turn() -> None:
        for line in typed.lines():
            click.echo(obey(virtual, line))

    try:
        server.serve(turn)
    except KeyboardInterrupt:
        click.echo("\nended")


def obey(virtual: VirtualBoard, line: str) -> str:
    """Put a channel or a sensor of the board somewhere, as somebody typed it; what came of it.

    They have numbers, as the cues have here: the board knows no names.
    """
    word, _, rest = line.strip().partition(" ")
    number, _, written = rest.strip().partition(" ")
    kinds = {"channel": ChannelRecord, "sensor": SensorRecord}
    if word not in kinds or not (number.isascii() and number.isdecimal()):
        return f"there is no order `{line.strip()}`; there is {ORDERS}"
    which = f"{word} {int(number)}"
    try:
        told = _put(virtual, word, int(number), written.strip())
    except ValueError as error:
        return str(error)
    player = virtual.board.player
    senses = player.table.senses if player else ()
    if int(number) >= sum(isinstance(one, kinds[word]) for one in senses):
        told += f"; the show on the board has no {word} {int(number)}"
    return f"{virtual.time_s:9.2f} s  {which}: {told}"


def _put(virtual: VirtualBoard, word: str, number: int, written: str) -> str:
    which = f"{word} {number}"
    if word == "sensor":
        place = share(written, f"of {which}")
        virtual.readings[number] = reading_of(place)
        return f"gives {100 * place:g} %"
    if written == NOTHING:
        virtual.pulses.pop(number, None)
        return "gives no pulses"
    us = pulse_us(written, f"of {which}", which)
    virtual.pulses[number] = pulse_ticks(us)
    return f"gives {us:g} us"


def _not_stored(error: OSError) -> None:
    why = (error.strerror or str(error)).lower()
    say_error(
        f"`{error.filename}` cannot be written: {why}; the board plays on, and tries again. If "
        "it still cannot when it ends, its last show is lost"
    )


class _ModeWatch(Witness):
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
