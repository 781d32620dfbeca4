"""Buttons and receivers on input pins: debounced, bound to cues, heard, stopping."""

from __future__ import annotations

import struct
from dataclasses import replace

import pytest

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import ReportedMode, RequestKind, State
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode as table_bytes
from firmware_gen.table.records import InputRecord
from tests.firmware_gen.host.core import Core, available, library
from tests.firmware_gen.small_tables import BUTTON, NEW

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

LOOKS = 4
"""Looks that must agree before a new level counts."""
GO, STOP = 2, 3
"""Bits of port C: the button that starts `nod` (active low), the stop button (active high)."""
AT_REST = 1 << GO


def unstarted() -> Core:
    table = replace(
        decode(NEW),
        inputs=(
            InputRecord(ATMEGA328P.pin(f"PC{GO}"), BUTTON, True),
            InputRecord(ATMEGA328P.pin(f"PC{STOP}"), 9, False),
        ),
        stop_button=9,
    )
    core = Core(table_bytes(table))
    library().host_port(1, AT_REST)
    return core


def board() -> Core:
    core = unstarted()
    core.start()
    for _ in range(20):
        look(core, AT_REST, 1)
        core.frame()
    assert core.mode == ReportedMode.READY
    return core


def look(core: Core, levels: int, times: int) -> None:
    library().host_port(1, levels)
    for _ in range(times):
        library().host_sample_inputs()


def running(core: Core) -> int:
    return core.end[2]


def test_inputs_are_given_to_the_chip_with_their_pull_ups() -> None:
    board()
    assert library().host_inputs() == 1 << ATMEGA328P.pin(f"PC{GO}") | 1 << ATMEGA328P.pin(
        f"PC{STOP}"
    )
    assert library().host_pulled_up() == 1 << ATMEGA328P.pin(f"PC{GO}")


def test_four_looks_in_a_row_make_a_press() -> None:
    core = board()
    look(core, 0, LOOKS - 1)
    core.frame()
    assert running(core) == 0
    look(core, 0, 1)
    core.frame()
    assert running(core) == 1


def test_a_bounce_or_a_spike_is_no_press() -> None:
    core = board()
    for _ in range(50):
        look(core, 0, LOOKS - 1)
        look(core, AT_REST, 1)
    core.frame()
    assert running(core) == 0


def test_looks_from_before_a_new_table_do_not_count() -> None:
    """Three of four looks that agree, then the board starts anew, and the pin is looked at once."""
    look(board(), 0, LOOKS - 1)
    core = unstarted()
    core.start()
    for _ in range(20):
        core.frame()
    assert core.mode == ReportedMode.READY
    look(core, 0, 1)
    core.frame()
    assert running(core) == 0
    look(core, 0, LOOKS - 1)
    core.frame()
    assert running(core) == 1


def test_a_contact_that_bounces_presses_once() -> None:
    core = board()
    for level in (0, AT_REST, 0, 0, AT_REST, 0, AT_REST):
        look(core, level, 1)
    look(core, 0, 40)
    for level in (AT_REST, 0, AT_REST, 0, 0):
        look(core, level, 1)
    look(core, AT_REST, 40)
    player = Player(replace(decode(NEW)))
    for _ in range(20):
        player.frame()
    player.button(BUTTON, True)
    player.button(BUTTON, False)
    for _ in range(100):
        assert core.frame() == player.frame().raw


def test_a_held_button_repeats_its_cue_until_it_is_let_go() -> None:
    core = board()
    look(core, 0, LOOKS)
    for _ in range(100):
        core.frame()
    assert running(core) == 1
    look(core, AT_REST, LOOKS)
    for _ in range(60):
        core.frame()
    assert running(core) == 0


def test_the_stop_button_stops_and_then_makes_limp() -> None:
    core = board()
    look(core, 0, LOOKS)
    core.frame()
    look(core, 1 << STOP, LOOKS)
    core.frame()
    assert core.mode == ReportedMode.STOPPING
    look(core, 0, LOOKS)
    look(core, 1 << STOP, LOOKS)
    assert core.frame()[:2] == b"\0\0"
    assert core.mode == ReportedMode.LIMP


def test_more_presses_than_a_frame_can_take_wait_and_are_not_lost() -> None:
    core = board()
    for _ in range(40):
        look(core, 0, LOOKS)
        look(core, AT_REST, LOOKS)
    look(core, 0, 3 * LOOKS)
    core.frame()
    look(core, 0, 2 * LOOKS)
    core.frame()
    for _ in range(80):
        core.frame()
    assert running(core) == 1


def test_a_stop_over_the_link_finds_room_when_triggers_have_filled_the_queue() -> None:
    core = board()
    seq = 0

    def ask(kind: RequestKind, payload: bytes = b"") -> int:
        nonlocal seq
        seq = (seq + 1) & 0xFF
        (reply,) = Receiver().feed(core.exchange(encode(LinkFrame(0, kind, seq, payload))))
        return reply.payload[0]

    assert ask(RequestKind.HELLO, b"\5\5") == 0
    tag = decode(NEW).cues[0].tag
    answers = [ask(RequestKind.TRIGGER, struct.pack("<H", tag)) for _ in range(30)]
    assert answers == [0] * 12 + [3] * 18
    assert ask(RequestKind.STOP) == 0
    core.frame()
    assert core.mode == ReportedMode.STOPPING
    (reply,) = Receiver().feed(core.exchange(encode(LinkFrame(0, RequestKind.STATUS, 1))))
    assert State.unpack(reply.payload[1:]).refused == 0


def test_a_wired_button_is_heard_so_that_its_silence_is_a_lost_remote() -> None:
    """Until something is heard nothing can be lost; each press or release begins silence anew."""
    loose = InputRecord(ATMEGA328P.pin(f"PC{GO}"), 7, True)
    table = replace(decode(NEW), inputs=(loose,), lost=1, lost_time=2)
    core = Core(table_bytes(table))
    library().host_port(1, AT_REST)
    core.start()

    def frames_until_lost(levels: int, most: int) -> int:
        for count in range(most):
            look(core, levels, LOOKS)
            core.frame()
            if running(core):
                return count
        return most

    assert frames_until_lost(AT_REST, 60) == 60
    # pressed, and let go half-way through the 200 ms
    assert frames_until_lost(0, 6) == 6
    assert frames_until_lost(AT_REST, 60) in (9, 10)


def test_a_stop_that_comes_while_the_board_still_answers_is_obeyed_without_a_word() -> None:
    """The answer under way goes out whole, and nothing after it; the host asks again (LINK.md)."""
    core = board()
    core.exchange(encode(LinkFrame(0, RequestKind.HELLO, 1, b"\5\5")))
    asked = encode(LinkFrame(0, RequestKind.STATUS, 9)) + encode(LinkFrame(0, RequestKind.STOP, 2))
    library().host_slow_line(40, 200)
    answered = core.exchange(asked)
    library().host_slow_line(0, 0)
    (reply,) = Receiver().feed(answered)
    assert reply.seq == 9
    assert encode(reply) == answered
    core.frame()
    assert core.mode == ReportedMode.STOPPING
