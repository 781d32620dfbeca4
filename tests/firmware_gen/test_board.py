"""The board's side of the link: every request, every status, nothing done twice."""

from __future__ import annotations

import random
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tables import BUTTON, GLOW, NEW, NOD, OLD, small_table

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.slots import Slots
from firmware_gen.board.storage import Eeprom
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import (
    HELD_FRAMES,
    NO_ADDRESS,
    ONE_WAY,
    REPLY,
    SENSED,
    Hello,
    ReportedMode,
    RequestKind,
    State,
    Status,
)

CHUNK = ATMEGA328P.chunk_bytes


class Bench:
    """A board and a hand at the keyboard."""

    def __init__(self, table: bytes = b"", greet: bool = True) -> None:
        self.board = ReferenceBoard(Eeprom())
        self.seq = 0
        if table:
            self.put(table)
        self.board = ReferenceBoard(self.board_storage())
        if greet:
            self.ask(RequestKind.HELLO, b"\x01\x00")

    def board_storage(self) -> Eeprom:
        storage = self.board.slots._storage
        assert isinstance(storage, Eeprom)
        return storage

    def put(self, table: bytes, address: int | None = None) -> None:
        self.ask(RequestKind.HELLO, b"\x09\x00")
        assert self.open(table, address) == Status.DONE
        for offset in range(0, len(table), CHUNK):
            assert self.data(table, offset) == Status.DONE
            self.run()
        assert self.ask(RequestKind.VERIFY)[0] == Status.DONE
        assert self.ask(RequestKind.COMMIT)[0] == Status.DONE

    def open(self, table: bytes, address: int | None = None) -> int:
        wanted = table[5] if address is None else address
        return self.ask(
            RequestKind.OPEN, struct.pack("<H", len(table)) + table[-2:] + bytes([wanted])
        )[0]

    def data(self, table: bytes, offset: int) -> int:
        return self.ask(
            RequestKind.DATA, struct.pack("<H", offset) + table[offset : offset + CHUNK]
        )[0]

    def run(self) -> None:
        while self.board.storing:
            self.board.work()

    def say(
        self, kind: int, payload: bytes = b"", seq: int | None = None, to: int = 0
    ) -> list[LinkFrame]:
        """Send one frame; whatever comes back once all is stored."""
        if seq is None:
            self.seq = (self.seq + 1) & 0xFF
            seq = self.seq
        self.board.receive(encode(LinkFrame(to, kind, seq, payload)))
        self.run()
        return Receiver().feed(self.board.take_output())

    def ask(self, kind: int, payload: bytes = b"", seq: int | None = None) -> bytes:
        (reply,) = self.say(kind, payload, seq)
        assert reply.kind == kind | REPLY
        return reply.payload

    def frames(self, count: int) -> None:
        for _ in range(count):
            self.board.frame()

    def until(self, mode: ReportedMode) -> None:
        for _ in range(500):
            if self.board.mode == mode:
                return
            self.board.frame()
        raise AssertionError(f"never {mode.name}")

    def state(self) -> State:
        return State.unpack(self.ask(RequestKind.STATUS)[1:])


@pytest.fixture
def ready() -> Bench:
    bench = Bench(OLD)
    bench.until(ReportedMode.READY)
    return bench


def tag(number: int) -> bytes:
    return struct.pack("<H", number)


# -- greeting and addresses --------------------------------------------------------------------


def test_hello_tells_what_the_board_is() -> None:
    bench = Bench(small_table(address=7))
    (reply,) = bench.say(RequestKind.HELLO, b"\x05\x00", seq=77)
    assert (reply.to, reply.kind, reply.seq) == (7, RequestKind.HELLO | REPLY, 77)
    hello = Hello.unpack(reply.payload[1:])
    assert (hello.protocol, hello.chip_id, hello.slots, hello.slot_bytes) == (1, 1, 2, 500)
    assert (hello.mode, hello.current_slot, hello.refusal) == (ReportedMode.STARTING, 0, 0)
    assert hello.show == int.from_bytes(small_table(address=7)[6:10], "little")


def test_a_blank_board_has_no_address_and_answers_to_255_and_everybody() -> None:
    bench = Bench()
    for to in (0, NO_ADDRESS):
        (reply,) = bench.say(RequestKind.STATUS, to=to)
        assert reply.to == NO_ADDRESS
    assert bench.say(RequestKind.STATUS, to=1) == []


def test_frames_to_other_boards_and_replies_of_others_are_not_answered() -> None:
    bench = Bench(small_table(address=7))
    assert bench.say(RequestKind.STATUS, to=8) == []
    assert bench.say(RequestKind.STATUS, to=NO_ADDRESS) == []
    assert bench.say(RequestKind.STATUS | REPLY, to=7) == []
    assert len(bench.say(RequestKind.STATUS, to=7)) == 1


def test_all_kinds_are_tried_but_those_of_chips_with_senses() -> None:
    assert set(LENGTHS) == set(RequestKind) - SENSED


def test_an_unknown_kind_says_so() -> None:
    bench = Bench()
    for kind in (0x00, 0x07, 0x19, 0x3F):
        assert bench.ask(kind) == bytes([Status.UNKNOWN_KIND])


LENGTHS = {
    RequestKind.HELLO: (0, 1, 3),
    RequestKind.OPEN: (0, 4, 6),
    RequestKind.DATA: (0, 1, 2, CHUNK + 3, 66),
    RequestKind.VERIFY: (1,),
    RequestKind.COMMIT: (1,),
    RequestKind.READ: (0, 2, 4),
    RequestKind.TRIGGER: (0, 1, 3),
    RequestKind.BUTTON: (0, 1, 3),
    RequestKind.STOP: (1,),
    RequestKind.LIMP: (1,),
    RequestKind.STANDBY: (1,),
    RequestKind.STATUS: (1,),
    RequestKind.BEACON: (1,),
    RequestKind.JOG: (0, 2, 4),
    RequestKind.PULSE: (0, 2),
}
"""Of kinds that the first chip knows."""


@pytest.mark.parametrize("kind", LENGTHS)
def test_a_payload_of_the_wrong_length_is_malformed(kind: RequestKind, ready: Bench) -> None:
    if kind == RequestKind.DATA:
        ready.open(NEW)
    for length in LENGTHS[kind]:
        assert ready.ask(kind, bytes([1] * length))[0] == Status.MALFORMED


# -- order: nothing happens twice --------------------------------------------------------------


def test_a_retried_trigger_starts_its_cue_once_and_gets_the_same_reply(ready: Bench) -> None:
    first = ready.say(RequestKind.TRIGGER, tag(NOD), seq=50)
    ready.frames(1)
    assert ready.state().live_runs == 1
    ready.frames(100)
    assert ready.state().live_runs == 0
    assert ready.say(RequestKind.TRIGGER, tag(NOD), seq=50) == first
    ready.frames(1)
    assert ready.state().live_runs == 0


def test_a_late_copy_of_an_earlier_trigger_does_nothing(ready: Bench) -> None:
    ready.ask(RequestKind.TRIGGER, tag(NOD), seq=50)
    ready.ask(RequestKind.TRIGGER, tag(GLOW), seq=51)
    ready.frames(100)
    assert ready.ask(RequestKind.TRIGGER, tag(NOD), seq=50) == bytes([Status.OUT_OF_ORDER])
    ready.frames(1)
    assert ready.state().live_runs == 0
    assert ready.ask(RequestKind.TRIGGER, tag(NOD), seq=52) == bytes([Status.DONE])


def test_a_stop_sent_twice_with_one_seq_does_not_go_limp_at_once(ready: Bench) -> None:
    ready.ask(RequestKind.TRIGGER, tag(NOD))
    ready.frames(10)
    for _ in range(2):
        assert ready.ask(RequestKind.STOP, seq=90) == bytes([Status.DONE])
        ready.frames(1)
    assert ready.board.mode == ReportedMode.STOPPING


def test_any_number_of_polls_between_two_ordered_requests_does_not_age_them(ready: Bench) -> None:
    ready.ask(RequestKind.TRIGGER, tag(NOD), seq=1)
    for _ in range(300):
        ready.ask(RequestKind.STATUS)
    assert ready.ask(RequestKind.TRIGGER, tag(NOD), seq=2) == bytes([Status.DONE])


def test_a_seq_counts_round_the_corner(ready: Bench) -> None:
    for seq in range(250, 265):
        assert ready.ask(RequestKind.BUTTON, bytes((9, 0)), seq=seq & 0xFF) == bytes([Status.DONE])


def test_the_same_seq_with_another_kind_is_out_of_order(ready: Bench) -> None:
    ready.ask(RequestKind.STOP, seq=4)
    assert ready.ask(RequestKind.LIMP, seq=4) == bytes([Status.OUT_OF_ORDER])


def test_a_board_that_was_reset_asks_for_a_greeting_before_it_does_anything() -> None:
    bench = Bench(OLD, greet=False)
    bench.until(ReportedMode.READY)
    for kind, payload in (
        (RequestKind.TRIGGER, tag(NOD)),
        (RequestKind.STOP, b""),
        (RequestKind.OPEN, b"12345"),
    ):
        assert bench.ask(kind, payload) == bytes([Status.NOT_GREETED])
    bench.frames(1)
    assert bench.state().live_runs == 0
    assert bench.board.mode == ReportedMode.READY
    bench.ask(RequestKind.HELLO, b"\x02\x00")
    assert bench.ask(RequestKind.TRIGGER, tag(NOD), seq=200) == bytes([Status.DONE])


def test_a_late_hello_of_the_same_session_does_not_make_a_trigger_start_twice(
    ready: Bench,
) -> None:
    ready.ask(RequestKind.HELLO, b"\x44\x00")
    ready.ask(RequestKind.TRIGGER, tag(NOD), seq=50)
    ready.frames(100)
    ready.ask(RequestKind.HELLO, b"\x44\x00")
    ready.ask(RequestKind.TRIGGER, tag(NOD), seq=50)
    ready.frames(1)
    assert ready.state().live_runs == 0


def test_a_new_session_may_start_with_any_seq(ready: Bench) -> None:
    ready.ask(RequestKind.TRIGGER, tag(NOD), seq=50)
    ready.ask(RequestKind.HELLO, b"\x99\x00")
    ready.frames(100)
    assert ready.ask(RequestKind.TRIGGER, tag(NOD), seq=50) == bytes([Status.DONE])
    ready.frames(1)
    assert ready.state().live_runs == 1


# -- modes -------------------------------------------------------------------------------------


def test_a_blank_board_refuses_to_do_anything_but_take_a_table() -> None:
    bench = Bench()
    for kind, payload in (
        (RequestKind.TRIGGER, tag(NOD)),
        (RequestKind.BUTTON, b"\x01\x01"),
        (RequestKind.STOP, b""),
        (RequestKind.LIMP, b""),
        (RequestKind.STANDBY, b""),
        (RequestKind.READ, b"\x00\x00\x01"),
    ):
        assert bench.ask(kind, payload) == bytes([Status.NOT_IN_THIS_MODE]), kind
    assert bench.state().mode == ReportedMode.BLANK


def test_triggers_wait_for_ready_and_stop_does_not() -> None:
    bench = Bench(OLD)
    assert bench.board.mode == ReportedMode.STARTING
    assert bench.ask(RequestKind.TRIGGER, tag(NOD))[0] == Status.NOT_IN_THIS_MODE
    assert bench.ask(RequestKind.BUTTON, bytes((BUTTON, 1)))[0] == Status.NOT_IN_THIS_MODE
    assert bench.ask(RequestKind.STANDBY)[0] == Status.NOT_IN_THIS_MODE
    assert bench.ask(RequestKind.STOP)[0] == Status.DONE
    bench.frames(1)
    assert bench.board.mode == ReportedMode.LIMP


def test_limp_hears_only_standby(ready: Bench) -> None:
    ready.ask(RequestKind.LIMP)
    ready.frames(1)
    assert ready.state().mode == ReportedMode.LIMP
    assert ready.ask(RequestKind.TRIGGER, tag(NOD))[0] == Status.NOT_IN_THIS_MODE
    assert ready.ask(RequestKind.STANDBY)[0] == Status.DONE
    ready.frames(1)
    assert ready.state().mode == ReportedMode.STARTING
    ready.until(ReportedMode.READY)


def test_an_unknown_cue_is_told(ready: Bench) -> None:
    assert ready.ask(RequestKind.TRIGGER, tag(NOD ^ 1))[0] == Status.NO_SUCH_CUE


# -- a button held over the link ---------------------------------------------------------------


def test_a_button_held_over_the_link_repeats_its_cue_until_it_is_let_go(ready: Bench) -> None:
    ready.ask(RequestKind.BUTTON, bytes((BUTTON, 1)))
    for _ in range(10):
        ready.frames(20)
        ready.ask(RequestKind.BEACON)
        assert ready.state().running_cues == 1
    ready.ask(RequestKind.BUTTON, bytes((BUTTON, 0)))
    ready.frames(60)
    assert ready.state().running_cues == 0


def test_a_host_that_dies_does_not_hold_its_button_for_ever(ready: Bench) -> None:
    ready.ask(RequestKind.BUTTON, bytes((BUTTON, 1)))
    ready.frames(HELD_FRAMES + 80)
    assert ready.state().running_cues == 0


# -- one-way -----------------------------------------------------------------------------------


def test_a_one_way_frame_acts_once_without_greeting_and_is_never_answered() -> None:
    bench = Bench(OLD, greet=False)
    bench.until(ReportedMode.READY)
    for _ in range(3):
        assert bench.say(RequestKind.TRIGGER | ONE_WAY, tag(NOD), seq=9) == []
        bench.frames(1)
    assert bench.state().live_runs == 1
    bench.frames(100)
    assert bench.say(RequestKind.TRIGGER | ONE_WAY, tag(NOD), seq=9) == []
    bench.frames(1)
    assert bench.state().live_runs == 0
    bench.say(RequestKind.TRIGGER | ONE_WAY, tag(NOD), seq=10)
    bench.frames(1)
    assert bench.state().live_runs == 1


def test_a_table_cannot_be_put_one_way() -> None:
    bench = Bench(OLD)
    opened = struct.pack("<H", len(NEW)) + NEW[-2:] + bytes([NEW[5]])
    assert bench.say(RequestKind.OPEN | ONE_WAY, opened) == []
    assert bench.data(NEW, 0) == Status.OUT_OF_ORDER


# -- transfer ----------------------------------------------------------------------------------


def test_the_new_show_starts_quietly_and_the_old_one_plays_until_commit(ready: Bench) -> None:
    ready.open(NEW)
    for offset in range(0, len(NEW), CHUNK):
        ready.data(NEW, offset)
    assert ready.ask(RequestKind.VERIFY)[0] == Status.DONE
    assert ready.board.mode == ReportedMode.READY
    assert ready.board.slots.table == OLD
    assert ready.ask(RequestKind.COMMIT)[0] == Status.DONE
    assert ready.board.mode == ReportedMode.STARTING
    assert ready.board.slots.table == NEW


def test_data_may_come_in_any_order_and_twice(ready: Bench) -> None:
    offsets = [*range(0, len(NEW), CHUNK)] * 2
    random.Random(5).shuffle(offsets)
    ready.open(NEW)
    for offset in offsets:
        assert ready.data(NEW, offset) == Status.DONE
    assert ready.ask(RequestKind.VERIFY)[0] == Status.DONE


def test_missing_data_is_found_by_verify_and_cannot_be_committed(ready: Bench) -> None:
    ready.open(NEW)
    for offset in range(CHUNK, len(NEW), CHUNK):
        ready.data(NEW, offset)
    assert ready.ask(RequestKind.VERIFY)[0] == Status.CRC_DIFFERS
    assert ready.ask(RequestKind.COMMIT)[0] == Status.OUT_OF_ORDER
    ready.data(NEW, 0)
    assert ready.ask(RequestKind.VERIFY)[0] == Status.DONE
    assert ready.ask(RequestKind.COMMIT)[0] == Status.DONE


def test_steps_out_of_order_are_refused(ready: Bench) -> None:
    for kind in (RequestKind.VERIFY, RequestKind.COMMIT):
        assert ready.ask(kind)[0] == Status.OUT_OF_ORDER
    assert ready.data(NEW, 0) == Status.OUT_OF_ORDER
    ready.open(NEW)
    assert ready.ask(RequestKind.COMMIT)[0] == Status.OUT_OF_ORDER


def test_data_after_verify_needs_another_verify(ready: Bench) -> None:
    ready.open(NEW)
    for offset in range(0, len(NEW), CHUNK):
        ready.data(NEW, offset)
    ready.ask(RequestKind.VERIFY)
    ready.data(NEW, 0)
    assert ready.ask(RequestKind.COMMIT)[0] == Status.OUT_OF_ORDER
    assert ready.ask(RequestKind.VERIFY)[0] == Status.DONE
    assert ready.ask(RequestKind.COMMIT)[0] == Status.DONE


def test_a_board_refuses_a_table_for_another_address_unless_told_on_purpose() -> None:
    bench = Bench(small_table(address=7))
    other = small_table(address=8)
    assert bench.open(other) == Status.WRONG_ADDRESS
    bench.put(other, address=0)
    assert bench.board.address == 8


def test_a_table_whose_address_is_not_the_stated_one_is_refused() -> None:
    bench = Bench(small_table(address=7))
    other = small_table(address=8)
    assert bench.open(other, address=7) == Status.DONE
    for offset in range(0, len(other), CHUNK):
        bench.data(other, offset)
    assert bench.ask(RequestKind.VERIFY) == bytes([Status.REFUSED]) + other[-2:] + b"\x06"
    assert bench.ask(RequestKind.COMMIT)[0] == Status.OUT_OF_ORDER


def test_too_large_a_table_is_refused_before_any_byte_is_written(ready: Bench) -> None:
    before = ready.board_storage().writes
    assert ready.ask(RequestKind.OPEN, struct.pack("<HHB", 501, 0, 1))[0] == Status.TOO_LARGE
    assert ready.ask(RequestKind.OPEN, struct.pack("<HHB", 25, 0, 1))[0] == Status.MALFORMED
    assert ready.board_storage().writes == before


def test_the_current_table_is_read_back_and_ends_where_it_ends(ready: Bench) -> None:
    read = struct.Struct("<HB")
    last = len(OLD) // CHUNK * CHUNK
    assert ready.ask(RequestKind.READ, read.pack(0, CHUNK))[1:] == OLD[:CHUNK]
    assert ready.ask(RequestKind.READ, read.pack(last, CHUNK))[1:] == OLD[last:]
    assert ready.ask(RequestKind.READ, read.pack(400, CHUNK))[1:] == b""
    for count in (0, CHUNK + 1):
        assert ready.ask(RequestKind.READ, read.pack(0, count))[0] == Status.MALFORMED


def test_a_board_without_room_says_busy_and_takes_the_same_bytes_later(ready: Bench) -> None:
    ready.open(NEW)

    def data(seq: int, offset: int) -> Status:
        payload = struct.pack("<H", offset) + NEW[offset : offset + CHUNK]
        ready.board.receive(encode(LinkFrame(0, RequestKind.DATA, seq, payload)))
        (reply,) = Receiver().feed(ready.board.take_output())
        return Status(reply.payload[0])

    statuses = [data(10, 0), data(11, CHUNK), data(12, 2 * CHUNK)]
    assert statuses == [Status.DONE, Status.DONE, Status.BUSY]
    ready.run()
    assert data(12, 2 * CHUNK) == Status.DONE


def test_verify_is_answered_only_when_all_is_stored_and_then_once(ready: Bench) -> None:
    ready.open(NEW)
    ready.board.receive(
        encode(LinkFrame(0, RequestKind.DATA, 9, b"\x00\x00" + NEW[:CHUNK]))
        + encode(LinkFrame(0, RequestKind.VERIFY, 10))
        + encode(LinkFrame(0, RequestKind.VERIFY, 10))
        + encode(
            LinkFrame(0, RequestKind.DATA, 11, struct.pack("<H", CHUNK) + NEW[CHUNK : 2 * CHUNK])
        )
    )
    kinds = [(f.kind, f.payload[0]) for f in Receiver().feed(ready.board.take_output())]
    assert kinds == [
        (RequestKind.DATA | REPLY, Status.DONE),
        (RequestKind.DATA | REPLY, Status.BUSY),
    ]
    ready.run()
    (reply,) = Receiver().feed(ready.board.take_output())
    assert (reply.kind, reply.seq) == (RequestKind.VERIFY | REPLY, 10)


def test_a_commit_repeated_while_it_is_stored_is_answered_once(ready: Bench) -> None:
    ready.open(NEW)
    for offset in range(0, len(NEW), CHUNK):
        ready.data(NEW, offset)
    ready.ask(RequestKind.VERIFY)
    commit = encode(LinkFrame(0, RequestKind.COMMIT, 100))
    ready.board.receive(commit + commit)
    assert ready.board.take_output() == b""
    ready.run()
    assert len(Receiver().feed(ready.board.take_output())) == 1
    ready.board.receive(commit)
    assert len(Receiver().feed(ready.board.take_output())) == 1
    assert ready.board.slots.table == NEW


# -- storms ------------------------------------------------------------------------------------


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_no_bytes_at_all_hang_or_change_a_board(seed: int) -> None:
    bench = Bench(OLD)
    bench.until(ReportedMode.READY)
    rng = random.Random(seed)
    writes = bench.board_storage().writes
    for _ in range(60):
        frame = bytearray(
            encode(LinkFrame(rng.choice((0, 1)), rng.choice(list(RequestKind)), 5, b"abc"))
        )
        place = rng.randrange(1, len(frame) - 1)
        if rng.random() < 0.5:
            frame[place] ^= 1 << rng.randrange(8)
        else:
            frame = bytearray(rng.randbytes(rng.randrange(100)))
        bench.board.receive(bytes(frame))
        bench.board.frame()
    bench.board.receive(b"\0")
    bench.board.take_output()
    assert bench.board_storage().writes == writes
    assert bench.state().mode == ReportedMode.READY
    assert bench.state().live_runs == 0


@settings(max_examples=30)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([*RequestKind, 0x00, 0x7F]),
            st.integers(0, 255),
            st.binary(max_size=40),
            st.integers(0, 5),
        ),
        max_size=80,
    )
)
def test_valid_frames_with_any_contents_are_answered_and_never_lose_the_old_show(
    frames: list[tuple[int, int, bytes, int]],
) -> None:
    bench = Bench(OLD)
    for kind, seq, payload, work in frames:
        bench.board.receive(encode(LinkFrame(0, kind, seq, payload)))
        for reply in Receiver().feed(bench.board.take_output()):
            assert reply.kind & REPLY
            assert reply.payload[0] in set(Status)
        for _ in range(work):
            bench.board.work()
        bench.board.frame()
    assert bench.board.slots.table == OLD
    assert Slots(bench.board_storage(), bench.board.chip, lambda table: table != OLD).table == OLD
