"""A stop through the owner of the ports, on the chip: the pulses end although a transfer runs."""

from __future__ import annotations

import pytest

from firmware_gen.crc import cue_tag
from firmware_gen.link.awaiting import Reply
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.owner.arbiter import Arbiter
from firmware_gen.link.protocol import DATA, OPEN, TRIGGER, RequestKind
from tests.emulator.emulated import CLOCK_HZ, EmulatedBoard
from tests.emulator.emulated_port import EmulatedPort
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import WIRINGS, in_slot, load_table, one_move_table

STOP_S = 0.050
FLASHING, STATUS, STOPPING = 1, 2, 3


class ChipLine:
    """An arbiter with the emulated chip behind it, by the chip's own clock."""

    def __init__(self, board: EmulatedBoard) -> None:
        self.port = EmulatedPort(board)
        self.arbiter = Arbiter("emulated", self.port.baud)
        self.answers: dict[int, object] = {}
        self._number = 0
        self.arbiter.opened(self.port.now())

    def ask(self, client: int, kind: RequestKind, payload: bytes = b"") -> int:
        self._number += 1
        self.arbiter.ask(client, self._number, kind, payload, self.port.now())
        return self._number

    def run(self, seconds: float) -> None:
        end_s = self.port.now() + seconds
        while self.port.now() < end_s:
            for frame in self.arbiter.output:
                self.port.write(frame)
            self.arbiter.output.clear()
            data = self.port.read(0.0005)
            if data:
                self.arbiter.hear(data, self.port.now())
            self.arbiter.tick(self.port.now())
            self.answers |= {each.number: each.outcome for each in self.arbiter.answers}
            self.arbiter.answers.clear()


@pytest.mark.parametrize("after_s", [0.0, 0.013, 0.11, 0.4])
def test_pulses_end_within_50_ms_of_a_limp_in_mid_transfer(
    firmware: Firmware, after_s: float
) -> None:
    chip = firmware.chip
    table, pins = load_table(chip=chip), WIRINGS[chip.name].servos
    with firmware.board(in_slot(one_move_table(chip=chip))) as board:
        line = ChipLine(board)
        line.run(2.5)
        started = line.ask(STATUS, RequestKind.TRIGGER, TRIGGER.pack(cue_tag("go")))
        opening = OPEN.pack(len(table), int.from_bytes(table[-2:], "little"), 0)
        opened = line.ask(FLASHING, RequestKind.OPEN, opening)
        line.run(0.05)
        assert line.answers[started] == line.answers[opened] == Reply(0)
        data = [
            line.ask(FLASHING, RequestKind.DATA, DATA.pack(at) + table[at : at + chip.chunk_bytes])
            for at in range(0, len(table), chip.chunk_bytes)
        ]
        line.run(after_s)
        assert data[-1] not in line.answers
        asked = line.ask(STATUS, RequestKind.STATUS)
        pressed = board.cycle
        stopped = line.ask(STOPPING, RequestKind.LIMP)
        line.run(0.3)
        assert line.answers[stopped] == Reply(0)
        assert isinstance(line.answers[asked], Reply)
        assert isinstance(line.answers[data[-1]], LinkFailure)
        last = max(int(board.pulses(pin)[0][-1]) for pin in pins)
        assert last - pressed < STOP_S * CLOCK_HZ
        line.run(0.3)
        assert max(int(board.pulses(pin)[0][-1]) for pin in pins) == last
