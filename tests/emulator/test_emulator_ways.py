"""Every way between the modes of a board on the emulated chips, also in mid-transfer.

The ways are those of the table in TABLE.md section 2.10. Those of a board that hears its leader
stand in `test_emulator_states.py`, those of an empty battery in `test_emulator_voltages.py`.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

import pytest

import firmware_gen
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import (
    EVERYBODY,
    ONE_WAY,
    REPLY,
    ReportedMode,
    RequestKind,
    State,
    Status,
)
from firmware_gen.player.hub_state import pack
from firmware_gen.table.encode import encode as encode_table
from firmware_gen.table.layout import ALONE, FOLLOWS, LEADS
from firmware_gen.table.ops import ActOp
from firmware_gen.table.records import CueRecord, InputRecord, LawRecord, Table
from sim.rehearsal.leading import HubState
from tests.emulator.emulated import BROWN_OUT, EXTERNAL, POWER_ON, WATCHDOG, EmulatedBoard
from tests.emulator.firmware import Firmware
from tests.emulator.led_boards import HUB, last_servo, led, starts
from tests.emulator.load_show import in_slot, servo
from tests.firmware_gen.test_following import on_the_line

PAGE = Path(firmware_gen.__file__).parent / "TABLE.md"
SHOW = 77
STOP_BUTTON, STOP_PIN = 3, "PD2"
START_FRAMES = 25
"""Until a board is ready."""
LOST_MS = 1000
"""Of silence until the lost cue starts; also after that time a board follows no longer."""
LOST_CUE_RUNS = "ready, the lost cue runs"
READY = HubState(0, "ready", False, frozenset(), 0, None)
ROLES = {"alone": ALONE, "leads": LEADS, "follows": FOLLOWS}


def table_of(firmware: Firmware, role: int, slow_start: bool) -> Table:
    """A servo, a stop button on a pin, a lost cue, a stop that takes five seconds."""
    return Table(
        firmware.chip.chip_id,
        1,
        outputs=(servo(firmware.servos[0]),),
        laws=(LawRecord(5),),
        inputs=(InputRecord(firmware.chip.pin(STOP_PIN), STOP_BUTTON, True),),
        cues=(CueRecord(0x1234, 1, 0, 1, 0),),
        threads=((ActOp(0, 6000, 3000, wait=True),),),
        lost=0,
        lost_time=LOST_MS // 100,
        stop_button=STOP_BUTTON,
        stop_time=255,
        enable_interval=255 if slow_start else START_FRAMES,
        show=SHOW,
        role=role,
    )


class ChipAlone:
    """A board on the emulated chip: what happens to it, and where it is."""

    def __init__(self, firmware: Firmware, board: EmulatedBoard) -> None:
        self.board = board
        self.servo, self.button = firmware.servos[0], firmware.chip.pin(STOP_PIN)
        self._seq = 0
        board.press(self.button, 1)
        board.run(ms=120)  # the check of its slots, and the first frames

    def ask(self, kind: int, payload: bytes = b"") -> bytes:
        """The payload of its reply."""
        self._seq += 1
        self.board.forget()
        self.board.send(encode(LinkFrame(EVERYBODY, kind, self._seq, payload)))
        self.board.run(ms=45)
        answers = [
            one.payload
            for one in Receiver().feed(self.board.sent())
            if one.kind == kind | REPLY and one.seq == self._seq
        ]
        return answers[0] if answers else b""

    def say(self, kind: RequestKind) -> None:
        self.ask(kind | ONE_WAY)

    def tell(self) -> None:
        """The board that leads is there, and ready."""
        self.board.hear(on_the_line(pack(SHOW, READY), 1))
        self.board.run(ms=45)

    def push_stop(self) -> None:
        for level in (0, 1):
            self.board.press(self.button, level, self.board.cycle + 100)
            self.board.run(ms=80)

    def fall_silent(self) -> None:
        self.board.run(ms=LOST_MS + 100)

    def reset(self, cause: int) -> None:
        self.board.reset(cause)
        self.board.run(ms=150)

    @property
    def state(self) -> State:
        return State.unpack(self.ask(RequestKind.STATUS)[1:])

    def where(self) -> str:
        state = self.state
        if state.mode == ReportedMode.READY and state.running_cues:
            return LOST_CUE_RUNS
        return ReportedMode(state.mode).name.lower()

    def begin_transfer(self, address: int) -> None:
        """A table is on its way, and bytes are being stored."""
        assert self.ask(RequestKind.HELLO, struct.pack("<H", 9))[0] == Status.DONE
        opening = struct.pack("<HHB", 200, 0, address)
        assert self.ask(RequestKind.OPEN, opening)[0] == Status.DONE
        self.send_data(0)

    def send_data(self, offset: int) -> None:
        data = struct.pack("<H", offset) + bytes(range(1, 17))
        assert self.ask(RequestKind.DATA, data)[0] == Status.DONE


EVENTS: dict[str, tuple[Callable[[ChipAlone], None], ...]] = {
    "stop, stop button": (lambda hand: hand.say(RequestKind.STOP), ChipAlone.push_stop),
    "limp": (lambda hand: hand.say(RequestKind.LIMP),),
    "standby": (lambda hand: hand.say(RequestKind.STANDBY),),
    "the remote falls silent": (ChipAlone.fall_silent,),
    "power-on, reset pin": (lambda hand: hand.reset(POWER_ON), lambda hand: hand.reset(EXTERNAL)),
    "brown-out, watchdog": (lambda hand: hand.reset(BROWN_OUT), lambda hand: hand.reset(WATCHDOG)),
}
RESETS = ("power-on, reset pin", "brown-out, watchdog")


def stated_ways() -> list[tuple[str, str, str]]:
    """The table of ways in TABLE.md: where a board is, what happens, and where it is then."""
    section = PAGE.read_text("utf-8").split("### 2.10 Ways between modes")[1].split("\n## ")[0]
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in section.splitlines()
        if line.startswith("|") and not line.startswith("| ---")
    ]
    head, *stated = rows
    assert [row[0] for row in stated] == [mode.name.lower() for mode in ReportedMode]
    assert head[1:] == list(EVENTS)
    return [
        (here, column, wanted)
        for here, *ways in stated
        for column, wanted in zip(head[1:], ways, strict=True)
    ]


def bring_into(hand: ChipAlone, here: str, role: int) -> None:
    if here not in ("blank", "starting"):
        hand.board.run(ms=20 * START_FRAMES)
    if role == FOLLOWS:
        hand.tell()
    if here == "stopping":
        hand.say(RequestKind.STOP)
    elif here == "limp":
        hand.say(RequestKind.LIMP)
    assert hand.where() == here


def assert_goes(firmware: Firmware, role: int, way: tuple[str, str, str], transfers: bool) -> None:
    here, column, wanted = way
    cells = in_slot(encode_table(table_of(firmware, role, slow_start=here == "starting")))
    for event in EVENTS[column]:
        with firmware.board(b"" if here == "blank" else cells) as board:
            hand = ChipAlone(firmware, board)
            bring_into(hand, here, role)
            if transfers:
                hand.begin_transfer(0 if here == "blank" else 1)
            board.forget()
            event(hand)
            pulses = len(board.pulses(hand.servo)[0])
            assert hand.where() == wanted
            if column in RESETS:
                assert hand.ask(RequestKind.HELLO, struct.pack("<H", 9))[0] == Status.DONE
                if here == "limp" and wanted == "limp":
                    assert pulses == 0, "something moved"
            elif transfers:
                hand.send_data(16)


@pytest.mark.parametrize("transfers", [False, True], ids=["", "in a transfer"])
@pytest.mark.parametrize("way", stated_ways(), ids=lambda way: f"{way[0]}: {way[1]}")
@pytest.mark.parametrize("role", ROLES)
def test_the_chip_goes_every_way_between_modes(
    firmware: Firmware, role: str, way: tuple[str, str, str], transfers: bool
) -> None:
    if role == "leads" and not firmware.chip.leads:
        pytest.skip(f"{firmware.chip.title} cannot lead")
    if way[0] == "blank" and role != "alone":
        pytest.skip("a blank board has no role")
    assert_goes(firmware, ROLES[role], way, transfers)


@pytest.mark.parametrize("cause", [BROWN_OUT, WATCHDOG])
@pytest.mark.parametrize("here", ["stopping", "limp"])
def test_a_board_that_stays_limp_over_a_reset_starts_when_it_is_asked_to(
    firmware: Firmware, here: str, cause: int
) -> None:
    with firmware.board(in_slot(encode_table(table_of(firmware, ALONE, False)))) as board:
        hand = ChipAlone(firmware, board)
        bring_into(hand, here, ALONE)
        for _ in range(2):  # also over two in a row
            hand.reset(cause)
        board.run(ms=3000)
        assert hand.where() == "limp"
        hand.say(RequestKind.STANDBY)
        board.run(ms=20 * START_FRAMES)
        assert hand.where() == "ready"
        hand.reset(cause)
        board.run(ms=20 * START_FRAMES)
        assert hand.where() == "ready", "the stop is over"


def test_a_watchdog_that_bites_in_limp_leaves_the_board_limp(firmware: Firmware) -> None:
    with firmware.board(in_slot(encode_table(table_of(firmware, ALONE, False)))) as board:
        hand = ChipAlone(firmware, board)
        bring_into(hand, "limp", ALONE)
        board.poke(0x6F, 0)  # TIMSK1: no ticks any more, so no frame is played
        board.run(ms=600)
        state = hand.state
        assert (state.mode, state.watchdog_resets) == (ReportedMode.LIMP, 1)


@pytest.mark.parametrize("cause", [BROWN_OUT, WATCHDOG])
def test_a_leader_that_stays_limp_over_a_reset_keeps_the_others_limp(cause: int) -> None:
    with ExitStack() as stack:
        boards = led(stack, (HUB, HUB), loaded=False)
        boards.run(1.0)
        boards.limp()
        boards.run(0.1)
        boards.hub.reset(cause)
        for board in boards.boards:
            board.forget()
        boards.run(2.0)
        assert not any(_pulses(board) for board in boards.boards)
        boards.standby()
        boards.run(1.0)
        assert all(_pulses(board) for board in boards.boards)


@pytest.mark.parametrize("cause", [POWER_ON, EXTERNAL, BROWN_OUT, WATCHDOG])
def test_a_leader_that_starts_anew_in_a_show_takes_nobody_out_of_it(cause: int) -> None:
    with ExitStack() as stack:
        boards = led(stack, (HUB, HUB), loaded=False)
        boards.run(1.0)
        (node,) = boards.nodes
        boards.hub.reset(cause)
        for board in boards.boards:
            board.forget()
        boards.run(1.5)
        assert _pulses(node) > 70, "its servos never lost their pulses"
        assert _pulses(boards.hub)
        boards.trigger("go")
        boards.run(0.4)
        for board in boards.boards:
            assert len(starts(board)) == 1


def _pulses(board: EmulatedBoard) -> int:
    return len(board.pulses(last_servo(board))[0])
