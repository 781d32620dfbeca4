"""The core passes jogs on, refuses them and tells of stops as the reference does."""

from __future__ import annotations

from random import Random

import pytest

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.wired import stored
from firmware_gen.chips.atmega2560 import CHIP as LARGE
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import (
    EVERYBODY,
    HELLO,
    JOG,
    ONE_WAY,
    STOP_TELLINGS,
    ReportedMode,
    RequestKind,
    Status,
)
from firmware_gen.player.hub_state import unpack
from firmware_gen.table.decode import decode
from tests.firmware_gen.answering_boards import ADDRESS, LEAD, OLD, STOP_BUTTON
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.unchecked import unchecked

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

NODE = ADDRESS["part"]


class LeadingTwins:
    """The reference and the core of the board that leads: what is done is done to both."""

    def __init__(self) -> None:
        eeprom = stored(unchecked(OLD[LEAD], LARGE.name), LARGE)
        self.core = ApartPlayer(decode(OLD[LEAD]))
        core, ffi = self.core, self.core._ffi
        ffi.buffer(core.lib.host_cells(), LARGE.memory.eeprom)[:] = bytes(eeprom.cells)
        ffi.buffer(core.lib.host_merged(), 16384)[:] = b"\xff" * 16384
        core.start()
        self.board = ReferenceBoard(eeprom, LARGE)
        self.seq = 0
        self.passed = b""
        """Of the core, since the last frame."""

    def say(self, kind: int, payload: bytes = b"", to: int = EVERYBODY, seq: int = -1) -> None:
        if seq < 0:
            self.seq = seq = (self.seq + 1) & 0xFF
        data = encode(LinkFrame(to, kind, seq, payload))
        self.board.receive(data)
        self.core.lib.host_feed(self.core._ffi.from_buffer(data), len(data))
        assert self.core.lib.host_settle() == 0
        self.passed += self.core.told_bytes()

    def button(self, *, down: bool) -> None:
        assert self.board.player is not None
        self.board.player.button(STOP_BUTTON, down)
        self.core.button(STOP_BUTTON, down)

    def frame(self) -> tuple[list[LinkFrame], list[LinkFrame], ReportedMode]:
        """What went to the host and out on the line, and the mode that it told."""
        self.board.frame()
        passed = self.board.take_line_output()
        said = (self.board.take_output(), passed + self.board.line_output)
        self.core.frame()
        assert self.core.lib.host_settle() == 0
        to_host, on_line = (Receiver().feed(one) for one in said)
        assert Receiver().feed(self.core.answered()) == to_host
        told, self.passed = self.passed + self.core.told_bytes(), b""
        assert Receiver().feed(told) == on_line
        *jogs, state = on_line
        return to_host, jogs, ReportedMode[unpack(state.payload)[1].mode.upper()]

    def jog(self, seq: int = -1) -> tuple[int | None, bool]:
        """The answer if it was refused, and whether it passed."""
        self.say(RequestKind.JOG, JOG.pack(0, 3000), NODE, seq)
        to_host, jogs, _ = self.frame()
        assert [frame.to for frame in (*to_host, *jogs)] == [NODE]
        return (to_host[0].payload[0] if to_host else None), bool(jogs)


def limp_twins() -> LeadingTwins:
    twins = LeadingTwins()
    twins.say(RequestKind.HELLO, HELLO.pack(7))
    twins.say(RequestKind.LIMP | ONE_WAY)
    for _ in range(3):
        twins.frame()
    return twins


def test_it_passes_only_from_a_board_that_is_greeted_and_limp() -> None:
    twins = LeadingTwins()
    assert twins.jog() == (Status.NOT_GREETED, False)
    twins.say(RequestKind.HELLO, HELLO.pack(7))
    twins.frame()
    assert twins.jog() == (Status.NOT_IN_THIS_MODE, False)
    twins.say(RequestKind.LIMP | ONE_WAY)
    twins.frame()
    assert twins.jog() == (None, True)


@pytest.mark.parametrize("what", [RequestKind.STOP, RequestKind.LIMP])
def test_a_stop_that_ends_it_is_told_so_often_and_then_no_more(what: RequestKind) -> None:
    twins = limp_twins()
    assert twins.jog() == (None, True)
    twins.say(what | ONE_WAY)
    modes = [twins.frame()[2] for _ in range(STOP_TELLINGS + 5)]
    assert modes == [ReportedMode.STOPPING] * STOP_TELLINGS + [ReportedMode.LIMP] * 5
    assert twins.jog() == (Status.STOPPED, False)


def test_a_stop_is_told_of_no_more_than_a_second_after_the_last_jog() -> None:
    for frames, told in ((48, ReportedMode.STOPPING), (49, ReportedMode.LIMP)):
        twins = limp_twins()
        twins.jog()
        for _ in range(frames - 1):
            twins.frame()
        twins.say(RequestKind.STOP | ONE_WAY)
        assert twins.frame()[2] == told


@pytest.mark.parametrize("seed", range(6))
def test_whatever_is_pressed_and_asked_core_and_reference_say_the_same(seed: int) -> None:
    dice = Random(seed)
    twins = limp_twins()
    told, answers = set(), set()
    for _ in range(400):
        for _ in range(dice.choice((0, 0, 0, 1, 1, 2))):
            what = dice.choice(("jog", "jog", "jog", "jog", "copy", "press", "hello", "own"))
            if what in ("jog", "copy"):
                payload = JOG.pack(0, 3000) if dice.random() < 0.9 else b"\0"
                seq = twins.seq if what == "copy" else -1
                twins.say(RequestKind.JOG, payload, dice.choice((NODE, ADDRESS["small"])), seq)
            elif what == "own":
                twins.say(RequestKind.JOG, JOG.pack(0, 3000))
            elif what == "hello":
                twins.say(RequestKind.HELLO, HELLO.pack(7), dice.choice((0, NODE)))
            elif dice.random() < 0.3:
                kinds = (RequestKind.STOP, RequestKind.LIMP, RequestKind.STANDBY)
                twins.say(dice.choice(kinds) | ONE_WAY)
            elif dice.random() < 0.3:
                twins.button(down=dice.random() < 0.5)
        to_host, _, mode = twins.frame()
        told.add(mode)
        answers |= {frame.payload[0] for frame in to_host if frame.to == NODE}
    assert {ReportedMode.LIMP, ReportedMode.STOPPING} <= told
    assert Status.STOPPED in answers
