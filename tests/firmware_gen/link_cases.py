"""What is done to a board over a link with faults: the steps of `vectors/link.json`.

The link loses, doubles, cuts and spoils frames; the board restarts at each step of a transfer; the
power fails at each write.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import crc16
from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.protocol import ONE_WAY, REPLY, RequestKind
from firmware_gen.table.encode import encode as table_bytes
from firmware_gen.table.ops import ActOp, Delay, Loop, LoopBack
from firmware_gen.table.records import BindingRecord, CueRecord, LampRecord, Table
from tests.firmware_gen.malformed_tables import summed
from tests.firmware_gen.second_board import Frame, frame_bytes, stuffed
from tests.firmware_gen.tables_by_hand import FIN, JAW

Steps = list[list[Any]]

CHUNK = ATMEGA328P.chunk_bytes
SLOT_0, SLOT_1, MARK = 4, 504, 1004
MARK_0, MARK_1 = "3c", "c3"
GLOW, SHINE = 0x1234, 0x4321
BUTTON = 3
STOP_BUTTON = 7


def lamp_table(address: int = 1, level: int = 100, rows: int = 1, lost: bool = False) -> bytes:
    """A lamp with two cues; button 3 holds the second. More rows make it longer."""
    glow = (ActOp(0, level, 200, wait=True), Delay(200)) * rows
    shine = (Loop(65535), ActOp(0, 200, 40, True), ActOp(0, 20, 40, True), LoopBack())
    return table_bytes(
        Table(
            ATMEGA328P.chip_id,
            address,
            outputs=(LampRecord(ATMEGA328P.pin("PD6"), 40),),
            cues=(CueRecord(GLOW, 1, 0, 1, 0), CueRecord(SHINE, 1, 0, 1, 1)),
            bindings=(BindingRecord(BUTTON, 1, False),),
            threads=(glow, shine),
            stop_button=STOP_BUTTON,
            stop_time=5,
            lost=0 if lost else None,
            lost_time=20 if lost else 0,
        )
    )


OLD, NEW = lamp_table(), lamp_table(level=160)
ELSEWHERE = lamp_table(address=2)
LARGE = lamp_table(level=70, rows=120)
"""More than a slot holds."""
STAMPED = LARGE + b"\x11\x22"
"""As it lies in program memory when it is merged."""


@dataclass
class Host:
    """Writes down what a host says; its ordered requests count by themselves."""

    steps: Steps = field(default_factory=list)
    seq: int = 0
    how: str = "in"

    def raw(self, data: bytes) -> Host:
        self.steps.append([self.how, data.hex()])
        return self

    def say(self, kind: int, payload: bytes = b"", seq: int | None = None, to: int = 0) -> Host:
        """A frame; without a seq that of the next request."""
        if seq is None:
            self.seq = seq = (self.seq + 1) % 256
        return self.raw(encode(LinkFrame(to, kind, seq, payload)))

    def hello(self, session: int = 1) -> Host:
        return self.say(RequestKind.HELLO, struct.pack("<H", session), 0)

    def open(self, table: bytes, address: int | None = None, **more: int) -> Host:
        stated = table[5] if address is None else address
        length = more.get("length", len(table))
        crc = more.get("crc", int.from_bytes(table[-2:], "little"))
        return self.say(RequestKind.OPEN, struct.pack("<HHB", length, crc, stated))

    def data(self, table: bytes, *offsets: int) -> Host:
        """Pieces of a table; without offsets all of them."""
        for at in offsets or range(0, len(table), CHUNK):
            self.say(RequestKind.DATA, struct.pack("<H", at) + table[at : at + CHUNK])
        return self

    def verify(self) -> Host:
        return self.say(RequestKind.VERIFY)

    def commit(self) -> Host:
        return self.say(RequestKind.COMMIT)

    def transfer(self, table: bytes, address: int | None = None) -> Host:
        return self.open(table, address).data(table).verify().commit()

    def read(self, offset: int = 0, count: int = CHUNK) -> Host:
        return self.say(RequestKind.READ, struct.pack("<HB", offset, count))

    def trigger(self, tag: int = GLOW, seq: int | None = None) -> Host:
        return self.say(RequestKind.TRIGGER, struct.pack("<H", tag), seq)

    def button(self, number: int, down: int) -> Host:
        return self.say(RequestKind.BUTTON, bytes((number, down)))

    def jog(self, servo: int, pulse: int) -> Host:
        return self.say(RequestKind.JOG, struct.pack("<BH", servo, pulse))

    def pulse(self, servo: int) -> Host:
        return self.say(RequestKind.PULSE, bytes((servo,)))

    def status(self) -> Host:
        return self.say(RequestKind.STATUS, b"", 0)

    def frames(self, count: int) -> Host:
        self.steps.append(["frames", count])
        return self

    def stalled(self) -> Host:
        """No write ends from here on."""
        self.how = "stalled"
        return self

    def free(self) -> Host:
        """The writes end."""
        self.how = "in"
        return self.then("free")

    def then(self, *step: Any) -> Host:
        self.steps.append(list(step))
        return self

    def restart(self) -> Host:
        return self.then("restart")

    def cells(self) -> Host:
        return self.then("cells")


def case(
    title: str, host: Host, cells: Iterable[tuple[int, str]] = (), merged: bytes = b""
) -> dict[str, Any]:
    """A case without answers."""
    return {
        "title": title,
        "cells": [list(piece) for piece in cells],
        "merged": merged.hex(),
        "steps": host.steps,
    }


WITH_OLD = ((SLOT_0, OLD.hex()), (MARK, MARK_0))
ALL_PAYLOADS = {
    RequestKind.HELLO: 2,
    RequestKind.OPEN: 5,
    RequestKind.DATA: 3,
    RequestKind.VERIFY: 0,
    RequestKind.COMMIT: 0,
    RequestKind.READ: 3,
    RequestKind.TRIGGER: 2,
    RequestKind.BUTTON: 2,
    RequestKind.STOP: 0,
    RequestKind.LIMP: 0,
    RequestKind.STANDBY: 0,
    RequestKind.STATUS: 0,
    RequestKind.BEACON: 0,
    RequestKind.JOG: 3,
    RequestKind.PULSE: 1,
}


def _beacon(seq: int = 5, to: int = 0, kind: int = RequestKind.BEACON) -> bytes:
    return encode(LinkFrame(to, kind, seq, b""))


def _spoilt(data: bytes, at: int, value: int) -> bytes:
    changed = bytearray(data)
    changed[at] = value
    return bytes(changed)


def frame_cases() -> Iterator[dict[str, Any]]:
    whole = _beacon()
    long = encode(LinkFrame(0, 0x3F, 1, bytes(range(1, 81))))
    host = Host().raw(whole).raw(whole + whole).raw(bytes(9)).raw(whole[:4]).raw(whole[4:])
    host.raw(whole[:5]).raw(whole)  # cut short, cleared by the next one's leading zero
    host.raw(whole[:-1]).raw(b"\0").raw(whole.strip(b"\0") + b"\0").status()
    for at in range(1, len(whole) - 1):
        host.raw(_spoilt(whole, at, whole[at] ^ 0x10 or 1))
    host.status().raw(whole[:3] + whole[4:]).raw(whole[:3] + b"\x07" + whole[3:]).status()
    host.raw(long).raw(long[:-1] + b"\x01\0").status()
    host.raw(b"\x01" * 86 + b"\0").raw(b"\x01" * 87 + b"\0").raw(b"\x05" * 300 + b"\0").raw(whole)
    host.raw(b"\x01\0\x02\x01\0\x03\x01\x01\0\x04\x01\x01\x01\0\x05\x01\x01\x01\x01\0").status()
    host.raw(b"\xff\0\x09\x01\x02\0").status()
    host.raw(frame_bytes(Frame(0, 0x3F, 1, bytes(range(1, 82))))).status()
    host.raw(b"\0" + stuffed(b"\0\x16" + struct.pack("<H", crc16(b"\0\x16"))) + b"\0").status()
    yield case("frames lost, doubled, cut and spoilt", host, WITH_OLD)
    for title, cells in (("", WITH_OLD), (" of a blank board", ())):
        host = Host()
        for to in (0, 1, 2, 254, 255):
            host.raw(_beacon(to=to)).raw(_beacon(kind=RequestKind.BEACON | REPLY, to=to))
            host.raw(_beacon(kind=RequestKind.BEACON | ONE_WAY, to=to))
        host.hello().status()
        for kind in range(256):
            if kind & ~ONE_WAY not in ALL_PAYLOADS and kind % 5 in (0, kind >> 6):
                host.say(kind, b"", 9)
        yield case("addresses and kinds" + title, host.status(), cells)


def request_cases() -> Iterator[dict[str, Any]]:
    host = Host()
    for kind in ALL_PAYLOADS:
        host.say(kind, bytes(ALL_PAYLOADS[kind]))
    host.say(RequestKind.HELLO, b"\1").trigger().hello()
    for kind, length in ALL_PAYLOADS.items():
        for size in {0, length - 1, length + 1, 80} - {-1, length}:
            host.say(kind, b"\1" * size)
    host.status()
    yield case("payloads of the wrong length", host, WITH_OLD)

    host = Host().hello()
    for number in (0, 1, 31, 32, 255):
        for down in (0, 1, 2):
            host.button(number, down)
    for count in (0, 1, 32, 33):
        host.read(0, count)
    for offset in (len(OLD) - 1, len(OLD), 499, 65535):
        host.read(offset)
    host.trigger(0xBEEF).trigger(SHINE)
    host.frames(1).say(RequestKind.STOP).trigger().button(BUTTON, 1).frames(1).status()
    yield case("values out of range, and reads", host.frames(3).status(), WITH_OLD)

    host = Host().hello()
    _every_request(host)
    host.say(RequestKind.STOP).say(RequestKind.LIMP).button(0, 1).button(1, 2).read(0, 0).read(
        0, CHUNK + 1
    )
    host.jog(0, 3000).pulse(0)
    yield case("requests to a blank board", host.status())
    servo = Host().hello()
    for asked in ((), (RequestKind.STOP,), (RequestKind.LIMP,), (RequestKind.STANDBY,)):
        for kind in asked:
            servo.say(kind).frames(1)
        _every_request(servo)
    yield case("requests in each mode", servo.frames(5).status(), WITH_OLD)

    host = (
        Host()
        .hello()
        .frames(1)
        .trigger()
        .frames(3)
        .status()
        .say(RequestKind.STOP)
        .frames(1)
        .status()
    )
    host.trigger().trigger(0xBEEF).button(BUTTON, 1).say(RequestKind.STANDBY).status()
    host.button(BUTTON, 0).say(RequestKind.LIMP).frames(1).trigger().say(
        RequestKind.STANDBY
    ).frames(1).status()
    host.trigger().frames(2).button(STOP_BUTTON, 1).frames(1).status().frames(9).status()
    yield case("a show with stop, limp and standby", host, WITH_OLD)


def _every_request(host: Host) -> None:
    host.trigger().trigger(0xBEEF).button(BUTTON, 1).button(BUTTON, 0)
    host.read().say(RequestKind.STANDBY).frames(1).status()


def order_cases() -> Iterator[dict[str, Any]]:
    host = (
        Host()
        .trigger(GLOW, 9)
        .say(RequestKind.BUTTON, bytes((BUTTON, 1)), 9)
        .say(RequestKind.STOP, b"", 9)
        .say(RequestKind.OPEN, bytes(5), 9)
        .hello()
    )
    host.trigger(GLOW, 200).frames(2).trigger(GLOW, 200).frames(1).status().trigger(SHINE, 200)
    host.say(RequestKind.STOP, b"", 200).trigger(GLOW, 199).trigger(GLOW, 73).trigger(GLOW, 72)
    host.trigger(GLOW, 71).trigger(SHINE, 71).frames(1).status().trigger(GLOW, 198).frames(1)
    host.trigger(0xBEEF, 200).frames(1).trigger(GLOW, 200).say(RequestKind.TRIGGER, b"\1", 202)
    host.trigger(GLOW, 202).trigger(GLOW, 203).hello().trigger(GLOW, 202).trigger(GLOW, 203)
    host.say(RequestKind.OPEN, struct.pack("<HHB", len(NEW), 0, 0), 204).say(
        RequestKind.VERIFY, b"", 203
    )
    host.hello(2).trigger(GLOW, 203).trigger(SHINE, 100).hello(3).trigger(SHINE, 100).frames(2)
    host.say(RequestKind.STATUS, b"", 100).read().say(
        RequestKind.TRIGGER, b"\x34\x12", 100, 2
    ).status()
    yield case("sequence numbers", host, WITH_OLD)
    host = Host().hello().trigger(GLOW, 5).frames(1).restart().trigger(GLOW, 5).hello(1)
    host.trigger(GLOW, 5).frames(2).restart().trigger(SHINE, 6).hello(7).trigger(SHINE, 6).frames(2)
    yield case("a restart between requests", host.status(), WITH_OLD)

    one_way = Host()
    trigger = struct.pack("<H", GLOW)
    for kind, payload in (
        (RequestKind.TRIGGER, trigger),
        (RequestKind.STOP, b""),
        (RequestKind.LIMP, b""),
        (RequestKind.STANDBY, b""),
        (RequestKind.BUTTON, bytes((BUTTON, 1))),
        (RequestKind.BUTTON, bytes((BUTTON, 0))),
        (RequestKind.BEACON, b""),
    ):
        one_way.say(kind | ONE_WAY, payload).frames(2).status()
    for kind in (
        RequestKind.HELLO,
        RequestKind.OPEN,
        RequestKind.DATA,
        RequestKind.VERIFY,
        RequestKind.COMMIT,
        RequestKind.READ,
    ):
        one_way.say(kind | ONE_WAY, bytes(ALL_PAYLOADS[kind])).trigger()
    one_way.say(RequestKind.STATUS | ONE_WAY).say(0x3F | ONE_WAY).status()
    yield case("one-way frames", one_way, WITH_OLD)

    host = Host().frames(1)
    again = RequestKind.TRIGGER | ONE_WAY
    host.say(again, trigger, 8).frames(12).say(again, trigger, 8).frames(1).status().frames(12)
    host.say(again, trigger, 7).frames(1).status().frames(30)
    host.say(RequestKind.BEACON | ONE_WAY, b"", 7).say(again, trigger, 7).frames(1).status().frames(
        30
    )
    host.hello().say(again, trigger, 7).frames(1).status()
    host.say(again, b"\1", 9).say(again, trigger, 9).frames(1).status()
    host.say(RequestKind.TRIGGER, trigger, 11).frames(1).say(again, struct.pack("<H", SHINE), 11)
    host.frames(1).status().restart().frames(1).say(again, trigger, 11).frames(1).status()
    yield case("one-way repetitions", host, WITH_OLD)


def held_cases() -> Iterator[dict[str, Any]]:
    for title, quiet in (("49", 49), ("50", 50)):
        host = Host().hello().frames(1).button(BUTTON, 1).frames(quiet).status().frames(5).status()
        host.raw(_beacon()).frames(9).status()
        yield case(f"a button held over the link, {title} quiet frames", host, WITH_OLD)
    host = Host().hello().frames(1).button(BUTTON, 1)
    for data in (_beacon(), _beacon(to=1), _beacon(kind=RequestKind.BEACON | ONE_WAY)):
        host.frames(40).raw(data).status()
    host.frames(45).raw(_beacon(to=2)).frames(4).raw(_spoilt(_beacon(), 3, 9)).frames(10).status()
    yield case("a button held with beacons, then with frames that are not for it", host, WITH_OLD)
    host = Host().hello().frames(1).button(BUTTON, 1).frames(30).button(BUTTON, 0)
    yield case("a button let go", host.frames(9).status().frames(60).status(), WITH_OLD)
    host = Host().hello().frames(1).button(BUTTON, 1).frames(40)
    host.raw(_beacon(kind=RequestKind.BEACON | REPLY)).frames(16).status()
    yield case("a reply is not heard", host, WITH_OLD)
    host = Host().hello().frames(1).button(BUTTON, 1).frames(40)
    host.raw(_beacon(kind=RequestKind.STATUS | ONE_WAY)).frames(16).status()
    yield case("a one-way frame that is ignored is heard", host, WITH_OLD)
    host = Host().hello().frames(1).button(BUTTON, 1).frames(30).transfer(NEW).frames(60).status()
    yield case("a button held while the show changes", host, WITH_OLD)
    lost = lamp_table(lost=True)
    cells = ((SLOT_0, lost.hex()), (MARK, MARK_0))
    host = Host().hello().frames(2).button(BUTTON, 1).frames(60).status()
    host.raw(_beacon(to=9)).frames(40).status().frames(20).status()
    yield case("letting go is no sign of the remote", host, cells)
    yield case("a board that heard something once", Host().hello().frames(110).status(), cells)
    yield case("a board that never heard anything", Host().frames(250).status(), cells)


def transfer_cases() -> Iterator[dict[str, Any]]:
    other = lamp_table(level=30, rows=9)
    host = Host().hello().verify().commit().data(NEW, 0).open(NEW).verify().data(NEW).commit()
    host.verify().verify().commit().hello().read().verify().data(NEW, 0).commit().status()
    yield case("a transfer with steps out of order", host.cells().restart().hello(), WITH_OLD)
    host = Host().hello().open(other).data(other, 64, 0, 96, 0, 32).verify().data(other)
    host.verify().data(other, 0).commit().verify().commit().cells().hello()
    yield case("pieces in any order, and data after verify", host, WITH_OLD)
    host = Host().hello().transfer(other)
    again = encode(LinkFrame(0, RequestKind.COMMIT, host.seq, b""))
    host.raw(again).frames(3).raw(again).status().trigger().frames(1).raw(again).transfer(NEW)
    yield case("a commit said again", host.cells().hello(), WITH_OLD)
    host = Host().hello()
    for length in (0, 25, 26, 500, 501, 65535):
        for address in (0, 1, 2, 255):
            host.open(OLD, address, length=length)
    yield case("lengths and addresses of open", host.cells(), WITH_OLD)
    host = Host().hello()
    for length in (25, 26, 500, 501):
        for address in (0, 1, 2, 255):
            host.open(OLD, address, length=length)
    yield case("lengths and addresses of open to a blank board", host.cells())
    host = Host().hello().open(ELSEWHERE).transfer(ELSEWHERE, 0).hello().trigger().read()
    host.say(RequestKind.STATUS, b"", 3, 1).say(RequestKind.STATUS, b"", 3, 2).transfer(
        NEW, 0
    ).hello()
    yield case("another address on purpose", host, WITH_OLD)
    host = Host().hello().transfer(ELSEWHERE, 1).status()
    host.open(NEW, 1).data(ELSEWHERE).verify()
    host.open(ELSEWHERE, 1).data(ELSEWHERE).verify().commit().hello()
    yield case("a table of another address than stated", host, WITH_OLD)
    wrong = _spoilt(NEW, 5, 0)
    other_end = NEW[:-1] + bytes((NEW[-1] ^ 1,))
    host = (
        Host()
        .hello()
        .open(NEW)
        .data(other_end)
        .verify()
        .transfer(wrong, 0)
        .open(NEW, crc=7)
        .data(NEW)
        .verify()
    )
    host.open(NEW).data(NEW, 32, 64).verify().data(NEW, 0).verify().commit().hello()
    yield case("check sums that differ", host.cells(), WITH_OLD)
    for at, value in ((0, 0), (1, 2), (4, 9), (5, 255), (10, 99), (24, 7), (60, 0x87)):
        bad = summed(_spoilt(NEW, at, value))
        host = Host().hello().open(bad, 0).data(bad).verify().commit().hello()
        yield case(f"a table that is refused, byte {at}", host.cells(), WITH_OLD)
    host = Host().hello().open(NEW)
    for at, size in ((0, 1), (len(NEW) - 1, 1), (len(NEW) - 1, 2), (len(NEW), 1), (0, 0)):
        host.say(RequestKind.DATA, struct.pack("<H", at) + bytes(size))
    host.say(RequestKind.DATA, b"\0\0" + bytes(33)).say(
        RequestKind.DATA, b"\xff\xff" + bytes(1)
    ).cells()
    host.data(NEW).verify().commit().hello()
    yield case("pieces at the end and beyond", host, WITH_OLD)
    host = Host().hello().open(other).data(other, 0, 32).open(NEW).data(NEW, 32, 64).verify()
    host.open(NEW).data(NEW).verify().open(NEW).commit().verify().data(NEW).verify().commit()
    yield case("a second open starts over", host.cells().hello(), WITH_OLD)
    host = Host().hello().transfer(NEW).transfer(other).transfer(NEW).transfer(NEW).hello()
    yield case("one transfer after the other", host.cells(), WITH_OLD)
    host = Host().hello().open(other).data(other)
    host.steps[-2:] = [*host.steps[-2:], host.steps[-1], host.steps[-2]]
    host.raw(_spoilt(bytes.fromhex(host.steps[-1][1]), 9, 1)).verify().commit().status()
    yield case("pieces doubled and spoilt under way", host.cells(), WITH_OLD)
    lost_piece = Host().hello().open(other).data(other)
    del lost_piece.steps[3]
    yield case("a piece lost", lost_piece.verify().commit().data(other, 32).verify(), WITH_OLD)


def stalled_cases() -> Iterator[dict[str, Any]]:
    other = lamp_table(level=30, rows=9)
    host = Host().hello().stalled().open(other).data(other, 0, 32, 64).frames(2).status()
    host.data(other, 64).free().data(other, 64).data(other, 96).verify()
    yield case("more pieces than fit", host, WITH_OLD)
    host = Host().hello().open(other).stalled().data(other, 0, 32).verify()
    host.data(other, 64).commit().verify().trigger().frames(2).hello().read(0, 8).free().status()
    yield case("requests while a verify waits", host.data(other).verify().commit(), WITH_OLD)
    host = Host().hello().open(other).stalled().data(other, 32).verify().open(NEW).free()
    host.data(NEW).verify().commit().hello()
    yield case("an open drops the verify that waits", host, WITH_OLD)
    host = Host().hello().open(other).data(other).verify().stalled().commit()
    host.raw(encode(LinkFrame(0, RequestKind.COMMIT, host.seq, b""))).data(other, 0).verify().open(
        NEW
    )
    refused = bytes.fromhex(host.steps[-1][1])
    host.free().raw(refused).status()
    yield case("a transfer's requests while a commit waits", host.cells(), WITH_OLD)
    host = Host().hello().open(other).data(other).verify().stalled().commit()
    again = encode(LinkFrame(0, RequestKind.COMMIT, host.seq, b""))
    host.raw(again).read(0, 8).read(36, 8).hello().frames(1).trigger().frames(2).status()
    host.raw(again).free().raw(again).read(0, 8).read(36, 8).hello().status()
    yield case("requests and reads while a commit waits", host.cells(), (), STAMPED)
    host = Host().hello().open(other).data(other).verify().read(0, 32).commit().read(32, 32)
    yield case("a read that spans a commit", host.hello(), WITH_OLD)
    host = Host().hello().open(other).data(other).verify().stalled().commit().trigger()
    yield case("another ordered request while a commit waits", host.free().status(), WITH_OLD)
    host = Host().hello().open(other).data(other).verify().stalled().commit().hello(2)
    yield case("another session while a commit waits", host.free().trigger(GLOW, 3), WITH_OLD)


def servo_table(stop_button: int = STOP_BUTTON) -> bytes:
    """Two servos that get their pulses two frames apart, and a cue that moves the first."""
    nod = (ActOp(0, 6000, 300, wait=True), Delay(200))
    return table_bytes(
        Table(
            ATMEGA328P.chip_id,
            1,
            outputs=(JAW, FIN),
            cues=(CueRecord(GLOW, 1, 0, 1, 0),),
            threads=(nod,),
            stop_button=stop_button,
            stop_time=5,
            enable_interval=2,
        )
    )


def jog_cases() -> Iterator[dict[str, Any]]:
    table = servo_table()
    cells = ((SLOT_0, table.hex()), (MARK, MARK_0))
    limp, standby = RequestKind.LIMP, RequestKind.STANDBY
    host = Host().pulse(0).pulse(1).pulse(2).jog(0, 2000).hello().jog(0, 2000).frames(1).jog(0, 9)
    host.pulse(0).say(limp).jog(0, 2000).frames(1).pulse(0).pulse(1).jog(1, 3100).frames(2).pulse(1)
    host.frames(3).jog(0, 2000).frames(1).pulse(0).pulse(1).status()
    yield case("a jog in the quiet start and in limp", host, cells)
    host = Host().hello().frames(5).trigger().frames(9).pulse(0).say(limp).frames(1).pulse(0)
    for pulse in (799, 800, 2600, 5200, 5201, 0, 65535):
        host.jog(0, pulse).frames(1).pulse(0)
    for servo in (1, 2, 15, 255):
        host.jog(servo, 3000).frames(1).pulse(servo)
    yield case("servos and pulses in and out of range", host.frames(2).status(), cells)
    host = Host().hello().frames(5).jog(0, 3000).say(RequestKind.STOP).jog(0, 3000).frames(1)
    host.jog(0, 3000).frames(9).jog(0, 3000).jog(0, 3100).frames(1).status()
    again = encode(LinkFrame(0, RequestKind.JOG, host.seq, struct.pack("<BH", 0, 2400)))
    host.frames(3).raw(again).frames(2).pulse(0).say(standby).jog(0, 2400).frames(1).pulse(0)
    yield case("a jog in each mode, and its copy", host.frames(4).pulse(0).status(), cells)
    for quiet in (48, 49, 50):
        host = Host().hello().frames(5).say(limp).frames(1).jog(0, 5200).frames(quiet).pulse(0)
        host.frames(1).raw(_beacon()).frames(1).jog(1, 2000).frames(20).jog(1, 2000).frames(quiet)
        yield case(f"a jog, {quiet} frames without another", host.frames(1).pulse(1), cells)
    host = Host().hello().frames(5).say(limp).frames(1).jog(0, 5200).frames(30)
    host.raw(_beacon()).frames(25).pulse(0)
    yield case("a beacon does not make a jog last", host, cells)
    enders = {
        "stop": (RequestKind.STOP, b""),
        "limp": (limp, b""),
        "standby": (standby, b""),
        "button up": (RequestKind.BUTTON, bytes((BUTTON, 0))),
    }
    for name, (kind, payload) in enders.items():
        host = Host().hello().frames(5).say(limp).frames(1).jog(0, 4000).frames(3)
        host.say(kind, payload).jog(0, 4000).frames(1).say(limp).frames(1)
        host.jog(0, 4000).frames(50).jog(0, 4000).frames(2).jog(0, 4000).say(kind, payload)
        host.frames(1)
        yield case(f"a {name} before and after a jog", host, cells)
    host = Host().hello().frames(5).say(limp).frames(1).jog(0, 4000).frames(3).say(limp)
    host.frames(1).jog(0, 4100)
    again = encode(LinkFrame(0, RequestKind.JOG, host.seq, struct.pack("<BH", 0, 4200)))
    host.frames(48).jog(0, 9).jog(7, 3000).jog(0, 4100).frames(1).raw(again).frames(1).pulse(0)
    host.jog(0, 4200).frames(1).pulse(0)
    yield case("a jog soon after another was ended", host, cells)
    one_way = Host().hello().frames(5).say(limp).frames(1)
    one_way.say(RequestKind.JOG | ONE_WAY, struct.pack("<BH", 0, 4000)).frames(1)
    one_way.say(RequestKind.PULSE | ONE_WAY, b"\0").jog(0, 4000).frames(2)
    yield case("a jog is not taken one-way", one_way, cells)
    host = Host().hello().frames(5).say(limp).frames(1).jog(0, 4000).frames(3).transfer(table)
    yield case("a commit ends a jog", host.hello().frames(1).pulse(0).pulse(1), cells)


def restart_cases() -> Iterator[dict[str, Any]]:
    count = len(Host().hello().transfer(NEW).steps)
    for step in range(1, count + 1):
        host = Host().hello().transfer(NEW)
        del host.steps[step:]
        host.restart().hello(2).verify().commit().data(NEW, 0).read(36, 8).cells()
        yield case(f"a restart after step {step} of a transfer", host.transfer(NEW), WITH_OLD)


def slot_cases() -> Iterator[dict[str, Any]]:
    old, new = OLD.hex(), NEW.hex()
    bad = _spoilt(OLD, 9, 1).hex()
    long = _spoilt(OLD, 3, 2).hex()
    torn = _spoilt(NEW, 0, 0xFF).hex()
    both = (("two tables", old, new), ("two tables, the other way", new, old))
    for title, one, two in (
        *both,
        ("a bad first", bad, new),
        ("a bad second", old, bad),
        ("both bad", bad, torn),
        ("one too long for a slot", long, torn),
        ("an unfinished second", old, torn),
        ("a table for another chip", _spoilt(OLD, 4, 2).hex(), ""),
    ):
        for mark in (MARK_0, MARK_1, "3d", "00"):
            cells = ((SLOT_0, one), (SLOT_1, two), (MARK, mark))
            host = Host().hello().status().read(36, 8).open(NEW, 0).cells()
            host.data(NEW).verify().commit().cells().restart().hello()
            yield case(f"{title}, mark {mark}", host, cells)


def merged_cases() -> Iterator[dict[str, Any]]:
    for title, cells in (
        ("no slot", ()),
        ("an older slot", WITH_OLD),
        ("a newer slot", (*WITH_OLD, (MARK + 1, "1122"))),
        ("a newer second slot", ((SLOT_1, OLD.hex()), (MARK, MARK_1 + "1122"))),
        ("a witness and no slot", ((MARK, MARK_0 + "1122"),)),
        ("half a witness", (*WITH_OLD, (MARK + 1, "11ff"))),
    ):
        host = Host().hello().status().read(480, 32).read(len(LARGE) - 4).cells()
        host.transfer(NEW).cells().hello().restart().hello().transfer(OLD).cells().hello()
        yield case(f"a merged table and {title}", host, cells, STAMPED)
    spoilt = _spoilt(STAMPED, 30, 9)
    host = Host().hello().transfer(NEW).cells().restart().hello()
    yield case("a merged table that is refused", host, WITH_OLD, spoilt)


def cut_cases() -> Iterator[dict[str, Any]]:
    """The power fails at each write of a transfer, and leaves what it likes in the cell."""
    near = lamp_table(level=110)
    places = (
        ("to a second slot", near, ((SLOT_0, OLD.hex()), (SLOT_1, NEW.hex()), (MARK, MARK_0)), b""),
        (
            "with a mark that names a bad slot",
            near,
            ((SLOT_0, _spoilt(NEW, 9, 3).hex()), (SLOT_1, OLD.hex()), (MARK, MARK_0)),
            b"",
        ),
        ("over a blank board's rest", near, ((SLOT_0, _spoilt(NEW, 0, 0xFF).hex()),), b""),
        ("past a merged table", near, ((SLOT_0, NEW.hex()),), STAMPED),
    )
    for title, table, cells, merged in places:
        rows = [data for _, data in Host().hello().transfer(table).steps]
        after = "".join(data for _, data in Host().hello().read(36, 8).steps)
        cuts = [[write, torn] for write in range(10) for torn in (-1, 0x00, 0xFF, 0x5A)]
        host = Host().then("cuts", rows, after, cuts)
        yield case(f"power cut at each write, {title}", host, cells, merged)


def all_cases() -> Iterator[dict[str, Any]]:
    yield from frame_cases()
    yield from request_cases()
    yield from order_cases()
    yield from held_cases()
    yield from transfer_cases()
    yield from stalled_cases()
    yield from jog_cases()
    yield from restart_cases()
    yield from slot_cases()
    yield from merged_cases()
    yield from cut_cases()
