"""Every way between the states of a board that follows, on the emulated chip, also in mid-transfer.

The ways are those of the table in TABLE.md section 7.
"""

from __future__ import annotations

import struct
from dataclasses import replace

import pytest

from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import EVERYBODY, ONE_WAY, ReportedMode, RequestKind
from firmware_gen.player.hub_state import pack
from firmware_gen.table.encode import encode as encode_table
from sim.rehearsal.leading import HubState
from tests.emulator.emulated import EmulatedBoard
from tests.emulator.firmware import shipped_for
from tests.emulator.led_boards import HUB
from tests.emulator.load_show import in_slot
from tests.firmware_gen.test_following import STOPPED_HERE, boards, on_the_line, stated_ways

SHOW = 77
STATE = HubState(0, "ready", False, frozenset(), 0, None)
LOCAL = {
    "local stop": RequestKind.STOP,
    "local limp": RequestKind.LIMP,
    "local standby": RequestKind.STANDBY,
}
TOLD = {
    "the leader is ready or starting": replace(STATE, mode="ready"),
    "stopping": replace(STATE, mode="stopping"),
    "limp after a stop": replace(STATE, mode="limp"),
    "limp at once": replace(STATE, mode="limp", limp_asked=True),
}
WAYS = [
    pytest.param(here, column, wanted, id=f"{here}: {column}")
    for here, column, wanted in stated_ways()
]


class ChipInHand:
    """A board on the emulated chip, with the line and the link in a test's hands."""

    def __init__(self, board: EmulatedBoard) -> None:
        self.board = board
        self._seq = 0
        board.run(ms=120)  # the check of its slots, and the first frames

    def tell(self, state: HubState) -> None:
        self.board.hear(on_the_line(pack(SHOW, state), 1))
        self.board.run(ms=50)

    def ask(self, kind: int, payload: bytes = b"") -> list[LinkFrame]:
        """What it answers."""
        self._seq += 1
        self.board.forget()
        self.board.send(encode(LinkFrame(EVERYBODY, kind, self._seq, payload)))
        self.board.run(ms=50)
        return Receiver().feed(self.board.sent())

    def begin_transfer(self) -> None:
        """A table is on its way, and bytes are being stored."""
        self.ask(RequestKind.HELLO, struct.pack("<H", 9))
        assert self.ask(RequestKind.OPEN, struct.pack("<HHB", 200, 0, 2))[0].payload[0] == 0
        data = struct.pack("<H", HUB.chunk_bytes) + bytes(range(1, HUB.chunk_bytes + 1))
        assert self.ask(RequestKind.DATA, data)[0].payload[0] == 0

    @property
    def mode(self) -> ReportedMode:
        (answer,) = self.ask(RequestKind.STATUS)
        return ReportedMode(answer.payload[1])

    def bring_into(self, here: str) -> None:
        if here == "starting":
            return
        self.board.run(ms=600)
        assert self.mode == ReportedMode.READY
        if here == STOPPED_HERE:
            self.ask(RequestKind.LIMP | ONE_WAY)
        elif here == "limp":
            self.tell(TOLD["limp at once"])
        elif here == "stopping":
            self.tell(TOLD["stopping"])

    def where(self, here: str) -> str:
        mode = self.mode
        if mode == ReportedMode.LIMP and here == STOPPED_HERE:
            self.tell(STATE)
            return STOPPED_HERE if self.mode == ReportedMode.LIMP else "limp"
        return mode.name.lower()


@pytest.mark.parametrize("transfers", [False, True], ids=["", "in a transfer"])
@pytest.mark.parametrize(("here", "column", "wanted"), WAYS)
def test_the_chip_goes_every_way_between_states(
    here: str, column: str, wanted: str, transfers: bool
) -> None:
    _, (table,) = boards(2)
    table = replace(table, stop_time=255, enable_interval=25)
    with shipped_for(HUB).board(in_slot(encode_table(table))) as board:
        follower = ChipInHand(board)
        follower.bring_into(here)
        if transfers:
            follower.begin_transfer()
        if column in LOCAL:
            follower.ask(LOCAL[column] | ONE_WAY)
        else:
            follower.tell(TOLD[column])
        assert follower.where(here) == wanted
