"""Tables that a board must refuse: each with the code of the reason and the field at fault."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import replace

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import crc16
from firmware_gen.table.encode import encode, encode_with_places
from firmware_gen.table.ops import ActOp, Delay, ForkTo, Loop, LoopBack, Modulate, Turn
from firmware_gen.table.records import (
    BindingRecord,
    CueRecord,
    InputRecord,
    LampRecord,
    LawRecord,
    ServoRecord,
    StripRecord,
    SwitchRecord,
    Table,
)

GOOD = Table(
    chip=ATMEGA328P.chip_id,
    address=7,
    outputs=(
        ServoRecord(ATMEGA328P.pin("PB1"), (200, 5500), 353, 2600, 400, ((0, 1800), (9000, 4200))),
        LampRecord(ATMEGA328P.pin("PD6"), 40),
        StripRecord(ATMEGA328P.pin("PD7"), 30, 2, 49, 1),
        SwitchRecord(ATMEGA328P.pin("PC0"), True, False),
    ),
    colours=((0, 0, 0), (200, 100, 50)),
    laws=(LawRecord(5), LawRecord(9, 20000, 10000)),
    inputs=(InputRecord(ATMEGA328P.pin("PC1"), 3, True),),
    bindings=(BindingRecord(3, 0, False),),
    cues=(CueRecord(0x1234, 0b1111, 0, 2, 0), CueRecord(0x4321, 0b0010, 1, 1, 2)),
    threads=(
        (
            ForkTo(1),
            ActOp(0, 4500, 260, wait=True, law=1),
            Loop(3),
            ActOp(1, 200, 1500, wait=True),
            Modulate(2, 2, 120, 160, 7, 3),
            LoopBack(),
        ),
        (ActOp(2, 1, 400), Delay(700), Turn(3, True)),
        (ActOp(1, 100, 1000),),
    ),
    lost=1,
    lost_time=20,
    stop_button=8,
)
ENCODED = encode_with_places(GOOD)
SERVO, LAMP, STRIP, SWITCH = 24, 45, 48, 55
"""Where the output records start."""
COLOURS, LAWS, INPUTS, BINDINGS, CUES, CODE = (
    ENCODED.sections[name][0] for name in ("colours", "laws", "inputs", "bindings", "cues", "code")
)


def summed(data: bytes) -> bytes:
    """The bytes with a check sum that matches."""
    return data[:-2] + struct.pack("<H", crc16(data[:-2]))


def changed(*changes: tuple[int, int | bytes]) -> bytes:
    """The good table with bytes put in at offsets, and its check sum made good."""
    data = bytearray(ENCODED.data)
    for offset, value in changes:
        new = bytes((value,)) if isinstance(value, int) else value
        data[offset : offset + len(new)] = new
    return summed(bytes(data))


def with_code(code: bytes) -> bytes:
    """The good table with other code, all cues starting at its first byte."""
    head = bytearray(ENCODED.data[:CODE])
    struct.pack_into("<H", head, 2, CODE + len(code) + 2)
    for cue in range(2):
        struct.pack_into("<H", head, CUES + 7 * cue + 5, CODE)
    return summed(bytes(head) + code + bytes(2))


def u16(value: int) -> bytes:
    return struct.pack("<H", value & 0xFFFF)


def op(text: str) -> bytes:
    """Code in hexadecimal, with the end of the thread."""
    return bytes.fromhex(text + "80")


MINIMAL = encode(Table(ATMEGA328P.chip_id, 1, laws=(LawRecord(1),)))
"""A table with nothing but one law."""

Case = tuple[str, bytes, int, str]
_cases: list[Case] = []


def _add(code: int, path: str) -> Callable[[str, bytes], None]:
    return lambda title, data: _cases.append((title, data, code, path))


_length = _add(1, "header")
_length("nothing", b"")
_length("one byte short of the least", ENCODED.data[:25])
_length("cut off", ENCODED.data[:-1])
_length("a byte too many", ENCODED.data + b"\0")
_length("length field one too small", changed((2, u16(len(ENCODED.data) - 1))))
_add(2, "header.magic")("another magic", changed((0, 0xBD)))
_add(3, "header.version")("a later version", changed((1, 3)))
_add(3, "header.version")("an earlier version", changed((1, 1)))
_add(4, "header.crc")("a flipped bit", ENCODED.data[:9] + b"\x55" + ENCODED.data[10:])
_add(4, "header.crc")("a flipped bit of the check sum", ENCODED.data[:-1] + b"\0")
_add(5, "header.chip")("an unknown chip", changed((4, 255)))
_add(6, "header.address")("address 0", changed((5, 0)))
_add(6, "header.address")("address 255", changed((5, 255)))
for _name, _at, _value in (
    ("outputs", 10, 17),
    ("colours", 11, 65),
    ("inputs", 12, 17),
    ("bindings", 13, 32),
    ("cues", 14, 33),
    ("laws", 15, 0),
    ("laws", 15, 17),
    ("lost", 17, 254),
    ("stop button", 19, 32),
    ("stop time", 20, 0),
    ("role", 22, 1),
    ("role", 22, 3),
    ("senses", 23, 1),
):
    _add(7, f"header.{_name}")(f"{_name} {_value}", changed((_at, _value)))
_beyond = _add(7, "")
_beyond("a colour that the table has no room for", summed(MINIMAL[:11] + b"\1" + MINIMAL[12:]))
_beyond("an output that the table has no room for", summed(MINIMAL[:10] + b"\2" + MINIMAL[11:]))
_beyond("more points than the table has room for", changed((SERVO + 2, 255)))

_record = _add(8, "outputs")
_record("kind 0", changed((SERVO, 0)))
_record("kind 5", changed((LAMP, 5)))
_record("one point", changed((SERVO + 2, 1)))
_record("nine points", changed((SERVO + 2, 9)))
_record("travel below the points", changed((SERVO + 3, u16(-1))))
_record("travel above the points", changed((SERVO + 5, u16(9001))))
_record("travel the wrong way round", changed((SERVO + 3, u16(5501))))
_record("speed limit 0", changed((SERVO + 7, u16(0))))
_record("acceleration limit 0", changed((SERVO + 9, u16(0))))
_record("safe angle under the travel", changed((SERVO + 11, u16(199))))
_record("safe angle over the travel", changed((SERVO + 11, u16(5501))))
_record("two points at one angle", changed((SERVO + 17, u16(0))))
_record("two points of one pulse", changed((SERVO + 19, u16(1800))))
_record("a pulse under the least", changed((SERVO + 15, u16(799))))
_record("a pulse over the most", changed((SERVO + 19, u16(5201))))
_record("safe level of a lamp over 200", changed((LAMP + 2, 201)))
_record("no pixels", changed((STRIP + 2, 0)))
_record("101 pixels", changed((STRIP + 2, 101)))
_record("an unknown order", changed((STRIP + 3, 6)))
_record("a safe colour that is not there", changed((STRIP + 6, 2)))
_record("unused flags of a switch", changed((SWITCH + 2, 4)))

_pin = _add(9, "pin")
_pin("a servo on the crystal", changed((SERVO + 1, ATMEGA328P.pin("PB6"))))
_pin("a servo on the reset pin", changed((SERVO + 1, ATMEGA328P.pin("PC6"))))
_pin("a servo on the link", changed((SERVO + 1, ATMEGA328P.pin("PD0"))))
_pin("a lamp without PWM", changed((LAMP + 1, ATMEGA328P.pin("PC2"))))
_pin("a lamp on the servo timer's pin", changed((LAMP + 1, ATMEGA328P.pin("PB2"))))
_pin("a pin beyond the ports", changed((SWITCH + 1, 24)))
_pin("a pin of a port that is not there", changed((SWITCH + 1, 15)))
_pin("a pin used twice", changed((SWITCH + 1, ATMEGA328P.pin("PB1"))))
_pin("an input on an output's pin", changed((INPUTS, ATMEGA328P.pin("PC0"))))

_other = _add(10, "")
_other("a colour over 200", changed((COLOURS + 4, 201)))
_other("law 10", changed((LAWS, 10)))
_other("a uniform law with a peak", changed((LAWS, 0x80)))
_other("law 10 with a peak", changed((LAWS, 0x8A)))
_peaked = encode(replace(GOOD, laws=(LawRecord(5, peak=20000), LawRecord(1))))
for _title, _peak in (("early", 17038), ("late", 48498)):
    _other(
        f"a peak too {_title}",
        summed(_peaked[: LAWS + 1] + u16(_peak) + _peaked[LAWS + 3 :]),
    )
_other("alpha too small", changed((LAWS + 2, u16(63))))
_other("alpha over a half", changed((LAWS + 2, u16(32769))))
_other("beta 0", changed((LAWS + 4, u16(0))))
_other("beta over a half", changed((LAWS + 4, u16(32769))))
_other("button 0 of an input", changed((INPUTS + 1, 0x80)))
_other("button 32 of an input", changed((INPUTS + 1, 32)))
_other("button 0 of a binding", changed((BINDINGS, 0)))
_other("a binding to no cue", changed((BINDINGS + 1, 2)))
_other("one tag twice", changed((CUES + 7, u16(0x1234))))
_other("a cue with an output too many", changed((CUES + 2, u16(0b10000))))
_other("conflict 3", changed((CUES + 4, 0x23)))
_other(
    "a part for letting go that needs more threads",
    changed((CUES + 4, 0x14), (CUES + 11, 0x21)),
)
_other("the last cue lets go", changed((CUES + 11, 0x15)))
_other("a strand of conflict 3", changed((CUES + 4, 0x2B)))
_other("two strands that share an output", changed((CUES + 4, 0x28), (CUES + 11, 0x19)))
_other(
    "strands with eleven threads together",
    changed((CUES + 2, u16(0b1101)), (CUES + 4, 0x58), (CUES + 11, 0x69)),
)
_other("no threads", changed((CUES + 4, 0x00)))
_other("eleven threads", changed((CUES + 4, 0xB0)))

_code = _add(11, "code")
_code("unknown op 8a", with_code(op("8a")))
_code("a draw of nothing", with_code(op("880000006304")))
_code("a draw of nothing before a wait", with_code(op("8800008163")))
_code("a draw before an end", with_code(op("880100")))
_code("a draw before a short wait", with_code(op("880100c563")))
_code("a draw before a draw", with_code(op("88010088010000630463")))
_code("a draw of a wait's target", with_code(op("88000181630a")))
_code("a draw of a wait's time and target", with_code(op("880101816364")))
_code("a drawn wait that ends before it begins", with_code(op("8801008163" + "62")))
_code("a drawn wait up to 65,001 ms", with_code(op("8801008163ffe9fd")))
_code("a drawn duration that ends before it begins", with_code(op("88010000630462")))
_code("a drawn duration up to 65,001 ms", with_code(op("880100006304ffe9fd")))
_code("a drawn target below the least", with_code(op("88000100630403")))
_code("a drawn target over the travel", with_code(op("88000100630438")))
_code("a drawn target under the travel", with_code(op("8800010063ff04")))
_code("a drawn wide target below the least", with_code(op("8800011063" + "91018f01")))
_code("a drawn level over 200", with_code(op("8800010163c8c9")))
_code("a drawn level below the least", with_code(op("88000101630504")))
_code("a drawn colour", with_code(op("88000102630001")))
_code("a drawn switch", with_code(op("88010003")))
_code("a drawn target of a switch", with_code(op("88000103")))
_code("a draw cut off", with_code(bytes.fromhex("880100006304")))
_code("a loop with a drawn wait from nothing on", with_code(op("820200" + "88010081c80063" + "83")))
_code("unknown op 9f", with_code(op("9f")))
_code("a wait of 65,001 ms", with_code(op("81ffe9fd")))
_code("a move of 65,001 ms", with_code(op("00ffe9fd14")))
_add(11, "cues[0].offset")("no code at all", with_code(b""))
_code("no end", with_code(bytes.fromhex("c0")))
_code("an op cut off", with_code(bytes.fromhex("0063")))
_code("a duration cut off", with_code(bytes.fromhex("81ff00")))
_code("an end in the operand of the last op", with_code(bytes.fromhex("8180")))
_code("an output that is not there", with_code(op("040000")))
_code("a target over the travel", with_code(op("006338")))
_code("a target under the travel", with_code(op("0063ff")))
_code("a wide target over the travel", with_code(op("10637d15")))
_code("a wide target of a lamp", with_code(op("116300")))
_code("a level over 200", with_code(op("0163c9")))
_code("a colour that is not there", with_code(op("026302")))
_code("a law that is not there", with_code(op("20630204")))
_code("a switch that waits", with_code(op("43")))
_code("a switch with a law", with_code(op("23")))
_code("a loop that is not closed", with_code(op("820300c0")))
_code("a loop that did not start", with_code(op("c083")))
_code("a loop without a wait", with_code(op("8203000063" + "0483")))
_code("a loop with a wait of nothing", with_code(op("82030081c80083")))
_code("loops four deep", with_code(op("820200" * 4 + "c0" + "83" * 4)))
_code("a fork to itself", with_code(op("84" + u16(CODE).hex())))
_code("a fork back", with_code(op("c0") + op("84" + u16(CODE).hex())))
_code("a fork into an op", with_code(op("84" + u16(CODE + 5).hex()) + op("c0c0")))
_code("a fork to the check sum", with_code(op("84" + u16(CODE + 4).hex())))
_code("a go-on back", with_code(op("c0") + bytes.fromhex("86" + u16(CODE).hex())))
_code("a go-on out of a loop", with_code(op("820200c086" + u16(CODE + 8).hex()) + op("c0")))
_code("a long wait of nothing", with_code(op("870000")))
_code("a long wait cut off", with_code(bytes.fromhex("8701")))
_code("a loop with a long wait cut off", with_code(op("8202008783")))


def call(stated: int, target: int) -> str:
    """A call of the thread that starts so many bytes into the code."""
    return f"{0xA0 | stated:02x}" + u16(CODE + target).hex()


_code(
    "an unknown op that looks like a call",
    with_code(op("98" + u16(CODE + 4).hex()) + op("820200820200c08383")),
)
_code("a call of itself", with_code(op(call(0, 0))))
_code("a call back", with_code(op("c0") + op(call(0x10, 0))))
_code("a call into an op", with_code(op(call(0x10, 5)) + op("81c801")))
_code("a call to the check sum", with_code(op(call(0, 4))))
_code("a call beyond the table", with_code(op("a0ffff")))
_code("a call cut off", with_code(bytes.fromhex("a004")))
_code("a call that states a wait of what has none", with_code(op(call(0x10, 4)) + op("13")))
_code("a call that states no wait of what has one", with_code(op(call(0, 4)) + op("c0")))
_code("a call that states a wait of nothing", with_code(op(call(0x10, 4)) + op("81c800")))
_code("a call that states a loop of what has none", with_code(op(call(0x14, 4)) + op("c0")))
_code("a call that states no loop of one", with_code(op(call(0x10, 4)) + op("820200c083")))
_code(
    "a call that states a loop of two",
    with_code(op(call(0x14, 4)) + op("820200820200c08383")),
)
_code("a call that states a call of what has none", with_code(op(call(0x11, 4)) + op("c0")))
_code(
    "a call that states no call of one",
    with_code(op(call(0x10, 4)) + op(call(0x10, 8)) + op("c0")),
)
_code(
    "a call that leaves out the loop of what is called in its turn",
    with_code(op(call(0x11, 4)) + op(call(0x14, 8)) + op("820200c083")),
)
_code(
    "a call that leaves out the wait of what is called in its turn",
    with_code(op(call(0x01, 4)) + op(call(0x10, 8)) + op("c0")),
)
_code(
    "calls four deep",
    with_code(
        op(call(0x13, 4)) + op(call(0x12, 8)) + op(call(0x11, 12)) + op(call(0x10, 16)) + op("c0")
    ),
)
_code(
    "a call of what goes on elsewhere",
    with_code(op(call(0x10, 4)) + bytes.fromhex("c086" + u16(CODE + 8).hex()) + op("")),
)
_code(
    "a call within three loops of what has one",
    with_code(op("820200" * 3 + call(0x14, 17) + "c0" + "83" * 3) + op("820200c083")),
)
_code("a loop with a call that does not wait", with_code(op("820200" + call(0, 8) + "83") + op("")))
_code("a call that leaves a loop open", with_code(op(call(0x14, 4)) + op("820200c0")))


def choice(key: int, last: int, *calls: str) -> bytes:
    """A thread with nothing but a choice, as it stands in the code."""
    return op(f"89{key:02x}{last:02x}" + "".join(calls))


_code("a choice without a key", with_code(choice(0, 1, *[call(0x10, 10)] * 2) + op("c0")))
_code("a choice from one", with_code(choice(1, 0, call(0x10, 7)) + op("c0")))
_code("a choice from nine", with_code(choice(1, 8, *[call(0x10, 31)] * 9) + op("c0")))
_code("a choice with a call too few", with_code(choice(1, 2, *[call(0x10, 10)] * 2) + op("c0")))
_code("a choice from a wait", with_code(choice(1, 1, call(0x10, 8), "c0") + op("c0")))
_code("a choice cut off", with_code(bytes.fromhex("890101b0")))
_code("a choice without its calls", with_code(bytes.fromhex("8901")))
_code(
    "a choice of what takes no time",
    with_code(choice(1, 1, call(0x10, 10), call(0x00, 12)) + op("c0") + op("")),
)
_code(
    "a choice whose second call states a loop of none",
    with_code(choice(1, 1, call(0x10, 10), call(0x14, 10)) + op("c0")),
)
_code("a choice of itself", with_code(choice(1, 1, call(0x10, 10), call(0x10, 0)) + op("c0")))
_code(
    "choices four deep",
    with_code(
        choice(1, 1, *[call(0x13, 10)] * 2)
        + choice(1, 1, *[call(0x12, 20)] * 2)
        + choice(1, 1, *[call(0x11, 30)] * 2)
        + choice(1, 1, *[call(0x10, 40)] * 2)
        + op("c0")
    ),
)
_code(
    "a choice within three loops of what has one",
    with_code(
        op("820200" * 3 + "890101" + call(0x10, 23) + call(0x14, 25) + "838383")
        + op("c0")
        + op("820200c083")
    ),
)
_code("a draw before a choice", with_code(op("880100890101" + call(0x10, 13) * 2) + op("c0")))
_code("an effect on a servo", with_code(op("8500016400640001")))
_code("an effect on a switch", with_code(op("850300")))
_code("an effect on nothing", with_code(op("850400")))
_code("effect 5", with_code(op("8501056400640001")))
_code("a period under 40 ms", with_code(op("8501012700640001")))
_code("a depth over 200", with_code(op("8501016400c90001")))
_add(11, "cues[1].offset")("a cue into an op", changed((CUES + 12, u16(CODE + 1))))
_add(11, "cues[0].offset")(
    "a cue at the check sum", changed((CUES + 5, u16(len(ENCODED.data) - 2)))
)
_add(11, "cues[0].offset")("a cue in the header", changed((CUES + 5, u16(0))))

MALFORMED: tuple[Case, ...] = tuple(_cases)
"""Title, bytes, code, and words that the path of the fault holds."""
