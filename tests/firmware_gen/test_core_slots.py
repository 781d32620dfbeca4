"""Tables on the core: slots, power that fails during any write, a table merged into flash."""

from __future__ import annotations

import struct
from dataclasses import replace
from random import Random

import pytest

from firmware_gen.board.slots import MARKS
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import Hello, ReportedMode, RequestKind, Status
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode as table_bytes
from tests.firmware_gen.host.core import Core, PowerCutError, available, library
from tests.firmware_gen.small_tables import NEW, NOD, OLD, small_table

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

CHUNK = ATMEGA328P.chunk_bytes
MERGED_SLOT = 254
TORN = (-1, 0x00, 0xFF, 0x5A)
"""What the cell whose write is cut may hold: its old value (-1), or anything."""


class Host:
    """Says what a host says, one request after another, seq by seq."""

    def __init__(self, core: Core) -> None:
        self.core = core
        self._seq = 0

    def ask(self, kind: RequestKind, payload: bytes = b"") -> bytes:
        """Payload of the reply."""
        self._seq = (self._seq + 1) & 0xFF
        answered = self.core.exchange(encode(LinkFrame(0, kind, self._seq, payload)))
        (reply,) = Receiver().feed(answered)
        assert (reply.kind, reply.seq) == (kind | 0x80, self._seq)
        return reply.payload

    def hello(self) -> Hello:
        payload = self.ask(RequestKind.HELLO, b"\1\0")
        assert payload[0] == Status.DONE
        return Hello.unpack(payload[1:])

    def transfer(self, table: bytes) -> None:
        self.hello()
        opening = struct.pack("<H", len(table)) + table[-2:] + b"\0"
        assert self.ask(RequestKind.OPEN, opening) == bytes([Status.DONE])
        for at in range(0, len(table), CHUNK):
            piece = struct.pack("<H", at) + table[at : at + CHUNK]
            assert self.ask(RequestKind.DATA, piece) == bytes([Status.DONE])
        assert self.ask(RequestKind.VERIFY)[0] == Status.DONE
        assert self.ask(RequestKind.COMMIT) == bytes([Status.DONE])

    def table(self) -> bytes:
        """The table that plays; empty if none does."""
        found = b""
        while True:
            reply = self.ask(RequestKind.READ, struct.pack("<HB", len(found), CHUNK))
            if reply[0] != Status.DONE:
                return b""
            found += reply[1:]
            if len(reply) == 1:
                return found


def writes_of(core: Core, table: bytes) -> int:
    library().host_writes()
    Host(core).transfer(table)
    return int(library().host_writes())


def cut_everywhere(cells: bytes, merged: bytes, new: bytes, old: bytes) -> int:
    """Cut the power at every write of a transfer, tearing its cell in every way; the writes."""
    core = Core(cells=cells)
    core.merged[: len(merged)] = merged
    core.start()
    assert Host(core).table() == old
    total = writes_of(core, new)
    assert Host(core).table() == new
    seen = set()
    for cut in range(total):
        for torn in TORN:
            core = Core(cells=cells)
            core.merged[: len(merged)] = merged
            core.start()
            library().host_cut(cut, torn)
            with pytest.raises(PowerCutError):
                Host(core).transfer(new)
            library().host_cut(-1, -1)
            core.start()
            found = Host(core).table()
            assert found in (old, new), (cut, torn)
            seen.add(found == new)
            Host(core).transfer(new)
            assert Host(core).table() == new, (cut, torn)
    assert False in seen
    return total


def cells_with(*tables: bytes, mark: int = MARKS[0]) -> bytes:
    return bytes(Core(*tables, mark=mark).cells)


def test_the_power_may_fail_at_every_write_of_a_transfer() -> None:
    assert cut_everywhere(cells_with(OLD), b"", NEW, OLD) > len(NEW) - 10


@pytest.mark.parametrize("cut", range(1, 40, 3))
def test_a_board_that_starts_anew_writes_nothing_of_what_was_on_its_way(cut: int) -> None:
    core = Core(cells=cells_with(OLD))
    core.start()
    library().host_cut(cut, -1)
    with pytest.raises(PowerCutError):
        Host(core).transfer(NEW)
    library().host_cut(-1, -1)
    left = bytes(core.cells)
    core.start()
    core.settle()
    assert bytes(core.cells) == left


def test_the_power_may_fail_at_every_write_of_a_transfer_that_fills_a_slot() -> None:
    base = decode(NEW)
    large = table_bytes(replace(base, threads=(base.threads[0] * 68, *base.threads[1:])))
    assert 480 < len(large) <= ATMEGA328P.slot_bytes
    assert cut_everywhere(cells_with(OLD), b"", large, OLD) >= 480


def test_the_power_may_fail_at_every_write_over_another_table() -> None:
    cells = cells_with(small_table(safe=300), OLD, mark=MARKS[1])
    assert cut_everywhere(cells, b"", NEW, OLD) < 40


def test_the_power_may_fail_at_every_write_when_the_mark_names_a_bad_slot() -> None:
    cells = cells_with(b"\xbc" + OLD[1:40] + bytes(30), OLD, mark=MARKS[0])
    assert cut_everywhere(cells, b"", NEW, OLD) > len(NEW) // 2


def test_the_power_may_fail_at_every_write_on_a_blank_board() -> None:
    assert cut_everywhere(cells_with(), b"", NEW, b"") > len(NEW) - 10


def test_the_power_may_fail_at_every_write_of_the_first_transfer_after_merging() -> None:
    older = small_table(safe=700)
    # Few, for a byte that is there already is not written again.
    differing = sum(a != b for a, b in zip(older, NEW, strict=False))
    writes = cut_everywhere(cells_with(older), OLD + b"\x12\x34", NEW, OLD)
    assert differing <= writes < len(NEW)


def test_unchanged_bytes_are_not_written_again() -> None:
    core = Core(OLD, NEW)
    core.start()
    assert writes_of(core, NEW) == 3
    assert Host(core).table() == NEW


def test_a_bad_slot_falls_back_to_the_other() -> None:
    spoilt = bytearray(NEW)
    spoilt[30] ^= 4
    core = Core(bytes(spoilt), OLD)
    core.start()
    hello = Host(core).hello()
    assert (hello.current_slot, hello.refusal) == (1, 0)
    assert Host(core).table() == OLD


def test_both_slots_bad_is_safe_silent_and_reachable() -> None:
    spoilt = NEW[:-1] + bytes([NEW[-1] ^ 1])
    core = Core(spoilt, b"\0" * 30)
    core.start()
    for _ in range(100):
        core.frame()
    hello = Host(core).hello()
    assert core.mode == ReportedMode.BLANK
    assert (hello.current_slot, hello.refusal, hello.mode) == (255, 4, ReportedMode.BLANK)
    assert core.raw() == b""
    assert library().host_inputs() == 0
    Host(core).transfer(NEW)
    assert Host(core).table() == NEW


def test_a_merged_table_plays_where_no_slot_holds_one() -> None:
    core = Core()
    core.merged[: len(NEW)] = NEW
    core.start()
    assert Host(core).hello().current_slot == MERGED_SLOT
    assert Host(core).table() == NEW


def test_a_table_merged_anew_plays_before_older_slots_and_after_newer_ones() -> None:
    core = Core(OLD)
    core.merged[: len(NEW) + 2] = NEW + b"\1\0"
    core.start()
    assert Host(core).table() == NEW
    third = small_table(safe=2000)
    Host(core).transfer(third)
    assert Host(core).table() == third
    core.start()
    assert Host(core).table() == third
    core.merged[: len(OLD) + 2] = OLD + b"\2\0"
    core.start()
    assert Host(core).table() == OLD


def test_a_merged_table_may_be_larger_than_a_slot() -> None:
    base = decode(NEW)
    table = table_bytes(replace(base, threads=(base.threads[0] * 400, *base.threads[1:])))
    assert len(table) > 2000
    core = Core()
    core.merged[: len(table)] = table
    core.start()
    assert Host(core).table() == table
    player = Player(table)
    host = Host(core)
    host.hello()
    for number in range(600):
        if number == 100:
            assert host.ask(RequestKind.TRIGGER, struct.pack("<H", NOD)) == bytes([Status.DONE])
            player.trigger(NOD)
        assert core.frame() == player.frame().raw


def test_slow_cells_and_a_slow_line_lose_nothing() -> None:
    dice = Random(1)
    core = Core(OLD)
    core.start()
    library().host_slow(60)
    library().host_slow_line(25, 3)
    host = Host(core)
    host.hello()
    assert host.ask(RequestKind.OPEN, struct.pack("<H", len(NEW)) + NEW[-2:] + b"\1") == b"\0"
    waiting = list(range(0, len(NEW), CHUNK))
    seq = 0
    while waiting:
        at = waiting.pop(dice.randrange(len(waiting)))
        seq = (seq + 1) & 0xFF
        frame = LinkFrame(0, RequestKind.DATA, seq, struct.pack("<H", at) + NEW[at : at + CHUNK])
        core.feed(encode(frame))
        replies: list[LinkFrame] = []
        while not replies:
            core.service()
            core.frame()
            replies = Receiver().feed(core.take())
        if replies[0].payload == bytes([Status.BUSY]):
            waiting.append(at)
            for _ in range(40):
                core.service()
    core.settle()
    core.take()
    assert host.ask(RequestKind.VERIFY)[0] == Status.DONE
    assert host.ask(RequestKind.COMMIT)[0] == Status.DONE
    assert host.table() == NEW


def test_the_show_goes_on_and_obeys_while_a_table_is_checked() -> None:
    core, quiet = Core(OLD), Player(OLD)
    core.start()
    host = Host(core)
    host.hello()
    for _ in range(30):
        assert core.frame() == quiet.frame().raw
    large = table_bytes(replace(decode(NEW), threads=(decode(NEW).threads[0] * 30,) * 2))
    opening = struct.pack("<H", len(large)) + large[-2:] + b"\1"
    assert host.ask(RequestKind.OPEN, opening) == b"\0"
    for at in range(0, len(large), CHUNK):
        host.ask(RequestKind.DATA, struct.pack("<H", at) + large[at : at + CHUNK])
    library().host_play_in_pauses(7)
    before = library().host_played()
    trigger = LinkFrame(0, RequestKind.TRIGGER, 78, struct.pack("<H", NOD))
    answered = core.exchange(encode(LinkFrame(0, RequestKind.VERIFY, 77)) + encode(trigger))
    replies = Receiver().feed(answered)
    assert [(reply.kind & 0x7F, reply.payload[0]) for reply in replies] == [
        (RequestKind.TRIGGER, Status.DONE),
        (RequestKind.VERIFY, Status.DONE),
    ]
    played = library().host_played() - before
    assert played > 5
    library().host_play_in_pauses(0)
    shown = {core.frame()[:2] for _ in range(30)}
    assert len(shown) > 1
    commit = LinkFrame(0, RequestKind.COMMIT, 79)
    (reply,) = Receiver().feed(core.exchange(encode(commit)))
    assert reply.payload == bytes([Status.DONE])
    assert host.table() == large
