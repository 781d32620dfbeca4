"""Tables at the limits of what a board accepts, and tables with two faults at once."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.table.encode import Encoded, encode, encode_with_places
from firmware_gen.table.records import (
    CueRecord,
    LampRecord,
    LawRecord,
    OutputRecord,
    ServoRecord,
    StripRecord,
    SwitchRecord,
    Table,
)
from tests.firmware_gen.malformed_tables import (
    BINDINGS,
    CODE,
    COLOURS,
    CUES,
    ENCODED,
    GOOD,
    INPUTS,
    LAMP,
    LAWS,
    MINIMAL,
    SERVO,
    STRIP,
    SWITCH,
    call,
    changed,
    choice,
    op,
    summed,
    u16,
    with_code,
)

Checked = tuple[str, bytes]
"""Title and bytes; the code is worked out when the vectors are made."""

LAW_1 = LAWS + 1


def _servo(pin: str, points: int = 2) -> ServoRecord:
    pairs = tuple((100 * n, 800 + 200 * n) for n in range(points))
    return ServoRecord(ATMEGA328P.pin(pin), (0, 100), 1, 1, 0, pairs)


def _strip(pin: str, pixels: int) -> StripRecord:
    return StripRecord(ATMEGA328P.pin(pin), pixels, 5, 65535, 1)


def _with_outputs(*outputs: OutputRecord) -> bytes:
    """A table with these outputs, also too many of them."""
    rows = [encode_with_places(replace(BARE, outputs=(output,))) for output in outputs]
    return _with_records(*(_section(row, "outputs") for row in rows))


def _with_records(*records: bytes) -> bytes:
    """A table with output records of these bytes."""
    bare = encode_with_places(BARE)
    data = bytearray(bare.data[:24] + b"".join(records) + bare.data[24:])
    struct.pack_into("<H", data, 2, len(data))
    data[10] = len(records)
    return summed(bytes(data))


def _section(encoded: Encoded, name: str) -> bytes:
    start, end = encoded.sections[name]
    return encoded.data[start:end]


def _turning(*angles: int) -> bytes:
    """A servo with points at these angles, that may move over all of them."""
    low, high = angles[0], angles[-1]
    points = (struct.pack("<hH", angle, 800 + 100 * n) for n, angle in enumerate(angles))
    pin = ATMEGA328P.pin("PB0")
    head = struct.pack("<BBBhhHHh", 1, pin, len(angles), low, high, 1, 1, low)
    return head + b"".join(points)


BARE = Table(ATMEGA328P.chip_id, 1, colours=GOOD.colours, laws=GOOD.laws)


def _with_colours(count: int) -> bytes:
    """A table with nothing but so many colours and a law."""
    data = bytearray(MINIMAL[:24] + bytes(3 * count) + MINIMAL[24:])
    struct.pack_into("<H", data, 2, len(data))
    data[11] = count
    return summed(bytes(data))


SERVO_PINS = ("PB0", "PB1", "PB2", "PB4", "PB5", "PC0", "PC1", "PC2", "PC3")
MANY = tuple(SwitchRecord(ATMEGA328P.pin(pin), True, True) for pin in ("PC4", "PC5", "PD2", "PD4"))


def _with_strands(count: int) -> bytes:
    """Eight cues without outputs, so many of which are strands."""
    cues = tuple(CueRecord(n + 1, 0, 0, 1, 0) for n in range(8))
    made = encode_with_places(replace(GOOD, cues=cues, bindings=(), lost=None))
    data, start = bytearray(made.data), made.sections["cues"][0]
    for n in range(count):
        data[start + 7 * n + 4] |= 8
    return summed(bytes(data))


AT_THE_LIMITS: tuple[Checked, ...] = (
    (
        "drawn waits and targets at their limits",
        with_code(
            op("880100816363" + "88ff00006304ffe8fd" + "880001006304" + "04" + "88ffff0163c863c8")
        ),
    ),
    ("the good table", ENCODED.data),
    ("a table with nothing but one law", MINIMAL),
    ("address 1", changed((5, 1))),
    ("address 254", changed((5, 254))),
    ("the longest glide, and no lost cue", changed((16, b"\xff\xff"))),
    ("no glide, and lost at the last cue", changed((16, b"\0\x01"))),
    (
        "the highest stop button, the shortest stop, the longest interval",
        changed((19, b"\x1f\1\xff")),
    ),
    ("no stop button, the longest stop, no interval", changed((19, b"\0\xff\0"))),
    (
        "eight servos, two strips of 100 pixels",
        _with_outputs(
            *(_servo(pin, 2 + n % 7) for n, pin in enumerate(SERVO_PINS[:8])),
            _strip("PC3", 99),
            _strip("PD7", 1),
            *MANY,
            LampRecord(ATMEGA328P.pin("PD5"), 200),
            LampRecord(ATMEGA328P.pin("PD6"), 0),
        ),
    ),
    ("a ninth servo", _with_outputs(*(_servo(pin) for pin in SERVO_PINS))),
    ("a third strip", _with_outputs(*(_strip(pin, 2) for pin in SERVO_PINS[:3]))),
    ("strips of 101 pixels together", _with_outputs(_strip("PC3", 100), _strip("PD7", 1))),
    (
        "travel and safe angle at the points",
        changed((SERVO + 3, u16(0)), (SERVO + 5, u16(9000)), (SERVO + 11, u16(0))),
    ),
    ("safe angle at the end of travel", changed((SERVO + 11, u16(5500)))),
    ("pulses at their limits", changed((SERVO + 15, u16(5200)), (SERVO + 19, u16(800)))),
    ("a servo of one point", _with_records(_turning(100))),
    ("a servo of two points", _with_records(_turning(0, 100))),
    ("a servo of eight points", _with_records(_turning(*range(8)))),
    ("a servo of nine points", _with_records(_turning(*range(9)))),
    ("two of three points at one angle", _with_records(_turning(0, 100, 100))),
    ("the last of three points before the second", _with_records(_turning(0, 200, 100))),
    ("64 colours", _with_colours(64)),
    ("65 colours", _with_colours(65)),
    ("limits of 1", changed((SERVO + 7, u16(1)), (SERVO + 9, u16(1)))),
    ("angles the wrong way round", changed((SERVO + 13, u16(9001)))),
    ("a lamp at 200", changed((LAMP + 2, 200))),
    (
        "100 pixels in the last order without a cap",
        changed((STRIP + 2, 100), (STRIP + 3, 5), (STRIP + 4, u16(0)), (STRIP + 6, 0)),
    ),
    ("a switch that is on when safe", changed((SWITCH + 2, 3))),
    ("every pin that may be an input", changed((INPUTS, ATMEGA328P.pin("PC5")))),
    ("an input on the lamp's pin", changed((INPUTS, ATMEGA328P.pin("PD6")))),
    ("a colour at 200", changed((COLOURS, b"\xc8\xc8\xc8"))),
    (
        "the earliest peak",
        encode(replace(GOOD, laws=(LawRecord(9, 64, 32768, 17039), LawRecord(1)))),
    ),
    ("the latest peak", encode(replace(GOOD, laws=(LawRecord(5, peak=48497), LawRecord(1))))),
    ("the least alpha and beta", changed((LAW_1 + 1, u16(64)), (LAW_1 + 3, u16(1)))),
    ("the greatest alpha and beta", changed((LAW_1 + 1, u16(32768)), (LAW_1 + 3, u16(32768)))),
    ("button 31 of an input", changed((INPUTS + 1, 0x9F))),
    ("bit 6 of an input's button", changed((INPUTS + 1, 0x43))),
    ("button 31 of a binding to the last cue", changed((BINDINGS, 0x9F), (BINDINGS + 1, 1))),
    ("bit 5 of a binding's button", changed((BINDINGS, 0x23))),
    ("a cue without outputs", changed((CUES + 2, u16(0)))),
    ("refuse, and ten threads", changed((CUES + 4, 0xA2))),
    ("a cue that is a strand", changed((CUES + 4, 0x28))),
    (
        "a trimmed lamp and a trimmed strip",
        encode(
            replace(
                GOOD,
                outputs=(
                    GOOD.outputs[0],
                    replace(GOOD.outputs[1], trims=(0,)),
                    replace(GOOD.outputs[2], trims=(255, 100, 0)),
                    GOOD.outputs[3],
                ),
            )
        ),
    ),
    ("a servo with a trim", changed((SERVO, 0x81))),
    ("a switch with a trim", changed((SWITCH, 0x84))),
    ("a cue and its part", changed((CUES + 4, 0x24), (CUES + 11, 0x20))),
    ("a cue with more threads than the one before", changed((CUES + 4, 0x10), (CUES + 11, 0x20))),
    ("a strand that waits, and one that refuses", changed((CUES + 4, 0x29), (CUES + 11, 0x12))),
    (
        "strands with ten threads together",
        changed((CUES + 2, u16(0b1101)), (CUES + 4, 0x58), (CUES + 11, 0x59)),
    ),
    ("seven strands", _with_strands(7)),
    ("eight strands", _with_strands(8)),
    ("a switch that is not there", with_code(op("14"))),
    ("an empty thread", with_code(op(""))),
    ("a wait of 65,000 ms", with_code(op("81ffe8fd"))),
    ("a wait of nothing", with_code(op("81c800"))),
    ("durations longer than they need be", with_code(op("81ff0a0081c80a00ff0a0014"))),
    ("the last byte of a short wait", with_code(op("ff"))),
    ("targets at the ends of travel", with_code(op("0000020000371000c80010007c15"))),
    ("a level of 200 and the last colour", with_code(op("0100c8020001"))),
    ("a law for a lamp", with_code(op("2100016461000064"))),
    ("a switch on and off", with_code(op("1303"))),
    ("a wide colour", with_code(op("120001"))),
    ("a move of a strip that waits for no time in a loop", with_code(op("82020042c8000183"))),
    ("loops three deep with one wait", with_code(op("820200" * 3 + "c0" + "83" * 3))),
    ("a loop whose wait is before the inner loop", with_code(op("820200c08202008383"))),
    ("a loop whose wait is in the inner loop", with_code(op("820200820200c08383"))),
    ("a loop that waits by an act", with_code(op("82000041000a83"))),
    ("a loop that waits by a wait", with_code(op("82ffff810083"))),
    ("a loop with an act that does not wait", with_code(op("82020001000a83"))),
    ("a loop closed in another thread", with_code(op("820200c0") + op("83"))),
    (
        "a loop with a go-on in it",
        with_code(op("820200c0")[:-1] + b"\x86" + u16(CODE + 7) + op("")),
    ),
    ("a fork to the next thread", with_code(op("84" + u16(CODE + 4).hex()) + op(""))),
    ("a go-on to the next thread", with_code(b"\x86" + u16(CODE + 3) + op(""))),
    ("a go-on as the last op, to itself", with_code(op("") + b"\x86" + u16(CODE + 1))),
    ("a fork beyond the table", with_code(op("84ffff"))),
    ("the shortest and the longest of long waits", with_code(op("87010087ffff"))),
    ("a loop that waits by a long wait", with_code(op("820200" + "870100" + "83"))),
    ("a call of an empty thread", with_code(op(call(0, 4)) + op(""))),
    ("a call of a wait", with_code(op(call(0x10, 4)) + op("c0"))),
    ("a call of a long wait", with_code(op(call(0x10, 4)) + op("870200"))),
    ("a call of an act that waits", with_code(op(call(0x10, 4)) + op("41000a"))),
    ("a call of an act that does not wait", with_code(op(call(0, 4)) + op("01000a"))),
    ("a call of a loop", with_code(op(call(0x14, 4)) + op("820200c083"))),
    ("a call of two loops in turn", with_code(op(call(0x14, 4)) + op("820200c083" * 2))),
    ("a call of loops three deep", with_code(op(call(0x1C, 4)) + op("820200" * 3 + "c0838383"))),
    (
        "a call within two loops of what has one",
        with_code(op("820200" * 2 + call(0x14, 12) + "83" * 2) + op("820200c083")),
    ),
    (
        "a call of what calls within a loop what has one",
        with_code(op(call(0x19, 4)) + op("820200" + call(0x14, 12) + "83") + op("820200c083")),
    ),
    ("a choice from two", with_code(choice(1, 1, *[call(0x10, 10)] * 2) + op("c0"))),
    ("a choice from eight", with_code(choice(255, 7, *[call(0x10, 28)] * 8) + op("c0"))),
    (
        "a loop that waits by a choice",
        with_code(op("820200890101" + call(0x10, 14) * 2 + "83") + op("c0")),
    ),
    (
        "choices three deep, of which one calls",
        with_code(
            choice(1, 1, call(0x12, 10), call(0x10, 30))
            + choice(1, 1, call(0x10, 30), call(0x11, 20))
            + choice(9, 1, call(0x10, 30), call(0x10, 30))
            + op("c0")
        ),
    ),
    ("a loop that waits by a call", with_code(op("820200" + call(0x10, 8) + "83") + op("c0"))),
    (
        "calls three deep",
        with_code(op(call(0x12, 4)) + op(call(0x11, 8)) + op(call(0x10, 12)) + op("c0")),
    ),
    (
        "a call of what makes a deep call before a shallow one",
        with_code(
            op(call(0x12, 4))
            + op(call(0x11, 11) + call(0, 15))
            + op(call(0x10, 16))
            + op("")
            + op("c0")
        ),
    ),
    (
        "a thread that is forked, gone on with and called",
        with_code(
            op("84" + u16(CODE + 10).hex() + call(0x10, 10)) + b"\x86" + u16(CODE + 10) + op("c0")
        ),
    ),
    (
        "a call of what ends in 80 from what does not",
        with_code(bytes.fromhex(call(0x10, 6)) + b"\x86" + u16(CODE + 6) + op("c0")),
    ),
    ("an effect at its limits", with_code(op("8501042800c8ffff8502012800000000850100"))),
    ("a steady effect with more behind it", with_code(op("850100c0"))),
    ("an effect cut off", with_code(bytes.fromhex("850101280064"))),
    ("a loop start cut off", with_code(bytes.fromhex("8203"))),
    ("a fork cut off", with_code(bytes.fromhex("84"))),
    ("a law cut off", with_code(bytes.fromhex("2000"))),
    ("a target cut off", with_code(bytes.fromhex("1000c8"))),
    ("a cue at the second thread", changed((CUES + 5, ENCODED.data[CUES + 12 : CUES + 14]))),
)

# One fault for each place that the check looks at, in the order of section 5.
FAULTS: tuple[tuple[str, int, bytes], ...] = (
    ("length", 2, b"\0"),
    ("magic", 0, b"\0"),
    ("version", 1, b"\0"),
    ("check sum", -1, b""),
    ("chip", 4, b"\0"),
    ("address", 5, b"\0"),
    ("counts", 10, b"\x11"),
    ("stop time", 20, b"\0"),
    ("servo's kind", SERVO, b"\x09"),
    ("servo's points", SERVO + 2, b"\xff"),
    ("servo's speed", SERVO + 7, b"\0\0"),
    ("lamp's kind", LAMP, b"\0"),
    ("lamp's level", LAMP + 2, b"\xff"),
    ("strip's order", STRIP + 3, b"\x06"),
    ("colour", COLOURS, b"\xff"),
    ("law's id", LAWS, b"\x0a"),
    ("law's alpha", LAWS + 2, b"\0\0"),
    ("input's button", INPUTS + 1, b"\0"),
    ("binding", BINDINGS, b"\0"),
    ("cue's flags", CUES + 4, b"\0"),
    ("lamp's pin", LAMP + 1, b"\0"),
    ("input's pin", INPUTS, b"\x07"),
    ("code", CODE, b"\x88"),
    ("last op", len(ENCODED.data) - 3, b"\xc0"),
    ("cue's offset", CUES + 5, b"\0\0"),
)


def _broken(*faults: tuple[str, int, bytes]) -> bytes:
    data = bytearray(ENCODED.data)
    for _, at, new in faults:
        if at >= 0:
            data[at : at + len(new)] = new
    whole = summed(bytes(data))
    if any(at < 0 for _, at, _ in faults):
        whole = whole[:-1] + bytes((whole[-1] ^ 1,))
    return whole


def pairs() -> Iterator[Checked]:
    """Two faults at once; the one that stands first in `FAULTS` is the reason."""
    for one, other in combinations(FAULTS, 2):
        yield f"{one[0]} and {other[0]}", _broken(one, other)


def at_the_end() -> Iterator[Checked]:
    """The table cut behind each of its bytes, its length and check sum made good."""
    for size in range(25, len(ENCODED.data)):
        data = bytearray(ENCODED.data[:size])
        struct.pack_into("<H", data, 2, size)
        yield f"cut to {size} bytes", summed(bytes(data))
