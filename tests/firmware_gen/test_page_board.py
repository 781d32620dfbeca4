"""The core in a page plays as the reference player does, and is what the compiler makes."""

from __future__ import annotations

import re
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.slots import FIRST_BYTE, MARKS
from firmware_gen.board.storage import Eeprom
from firmware_gen.build import webassembly
from firmware_gen.chips import CHIPS, Chip
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.chips.atmega2560 import CHIP as ATMEGA2560
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import BUTTON as PRESSED
from firmware_gen.link.protocol import (
    EVERYBODY,
    HUB_KIND,
    ONE_WAY,
    REPLY,
    TRIGGER,
    ReportedMode,
    RequestKind,
)
from firmware_gen.player.in_step import ARRIVAL
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode as encoded
from firmware_gen.table.layout import FOLLOWS, LEADS
from firmware_gen.table.records import BandRecord, ChannelRecord, InputRecord, Table
from tests.firmware_gen.page_board import PageBoard
from tests.firmware_gen.random_tables import (
    dices,
    random_requests,
    random_table,
    tables,
    with_presses,
)
from tests.firmware_gen.requests import replaying
from tests.firmware_gen.small_tables import BUTTON, NEW
from tests.firmware_gen.vector_files import PLAYED, STRETCH, held

WITHOUT_COMPILER = pytest.mark.skipif(
    not webassembly.can_build(),
    reason=f"NO CLANG {webassembly.COMPILER_VERSION}: the WebAssembly is not rebuilt",
)


CASES = [pytest.param(case, id=case["title"]) for name in PLAYED for case in held(name)]


@pytest.mark.parametrize("case", CASES)
def test_the_board_of_a_page_shows_the_outputs_of_the_shared_vectors(case: dict[str, Any]) -> None:
    board = PageBoard(bytes.fromhex(case["table"]))
    raws = list(replaying(board, map(tuple, case["requests"]), case["frames"]))  # type: ignore[arg-type]
    shown = dict(case["shown"])
    assert {number: raws[number].hex() for number in shown} == shown
    digests = [
        sha256(b"".join(raws[start : start + STRETCH])).hexdigest()[:16]
        for start in range(0, len(raws), STRETCH)
    ]
    assert digests == case["digests"]
    assert board.end(case["end"]) == case["end"]


@given(tables(), dices())
@settings(max_examples=60)
def test_random_scripts_play_alike_in_the_board_of_a_page(table: Table, dice: Random) -> None:
    requests = random_requests(dice, table, 250)
    wanted = replaying(Player(table), requests, 250)
    found = replaying(PageBoard(table), requests, 250)  # type: ignore[arg-type]
    for number, (one, other) in enumerate(zip(wanted, found, strict=True)):
        assert one.raw == other, f"frame {number}"


def one_way(kind: RequestKind, seq: int, payload: bytes = b"") -> bytes:
    return encode(LinkFrame(EVERYBODY, kind | ONE_WAY, seq, payload))


def test_a_page_talks_to_its_board_by_frames_of_the_link() -> None:
    board = PageBoard(NEW)
    while board.mode != ReportedMode.READY:
        board.frame()
    down = one_way(RequestKind.BUTTON, 0, PRESSED.pack(BUTTON, 1))
    assert board.receive(down) == len(down)
    board.frame()
    assert board.call("page_running") == 1
    board.receive(one_way(RequestKind.STOP, 1))
    board.frame()
    assert board.mode == ReportedMode.STOPPING
    board.receive(one_way(RequestKind.LIMP, 0))
    board.frame()
    assert board.mode == ReportedMode.LIMP
    board.receive(one_way(RequestKind.STANDBY, 1))
    board.frame()
    assert board.mode == ReportedMode.STARTING


def said_over_the_link(dice: Random, table: Table) -> list[bytes]:
    """One-way frames: everything that a remote can say, also of buttons and cues that are not."""
    kinds = (RequestKind.BUTTON,) * 6 + (RequestKind.TRIGGER,) * 3 + (RequestKind.BEACON,) * 3
    kinds += (RequestKind.STOP, RequestKind.LIMP, RequestKind.STANDBY, RequestKind.STANDBY)
    kind = dice.choice(kinds)
    payload = b""
    if kind == RequestKind.BUTTON:
        bound = [one.button for one in table.bindings] + [table.stop_button, 31]
        payload = PRESSED.pack(dice.choice([one for one in bound if one]), dice.randrange(2))
    elif kind == RequestKind.TRIGGER:
        payload = TRIGGER.pack(dice.choice([one.tag for one in table.cues] + [0]))
    data = one_way(kind, dice.randrange(256), payload)
    return [data, dice.choice((b"", data, data[:-3]))]


@pytest.mark.parametrize("seed", range(40))
def test_over_the_link_a_page_plays_as_the_reference_board_does(seed: int) -> None:
    dice = Random(seed)
    data = next(data for data in iter(lambda: encoded(random_table(dice)), b"") if fits(data))
    cells = Eeprom()
    for at, byte in enumerate(data):
        cells.write(FIRST_BYTE + at, byte)
    cells.write(FIRST_BYTE + 2 * ATMEGA328P.slot_bytes, MARKS[0])
    reference, board = ReferenceBoard(cells), PageBoard(data)
    for number in range(400):
        if dice.random() < 0.15:
            for part in said_over_the_link(dice, board.table):
                reference.receive(part)
                assert board.receive(part) == len(part)
        frame = reference.frame()
        assert frame is not None
        assert frame.raw == board.frame(), f"frame {number}"
    assert reference.mode == board.mode


def fits(data: bytes) -> bool:
    return len(data) <= ATMEGA328P.slot_bytes


@pytest.mark.parametrize("chip", [ATMEGA2560, ATMEGA328P], ids=lambda chip: chip.name)
@pytest.mark.parametrize("seed", range(4))
def test_a_page_board_follows_what_is_told_as_the_reference_does(seed: int, chip: Chip) -> None:
    dice = Random(seed)
    table = replace(random_table(dice, chip), role=FOLLOWS)
    lead = Player(replace(table, role=LEADS, lost=None))
    reference, board = Player(table), PageBoard(table)
    requests = random_requests(dice, table, 400)
    for number in range(400):
        for at, kind, first, _ in requests:
            if at == number and kind == "trigger":
                lead.trigger(first)
        lead.frame()
        assert lead.told is not None
        if dice.random() < 0.8:
            board.hear(encode(LinkFrame(EVERYBODY, HUB_KIND | ONE_WAY, number % 256, lead.told)))
            reference.hear_hub(lead.told, ARRIVAL)
        assert reference.frame().raw == board.frame(), f"frame {number}"
    assert board.told() == b""


@pytest.mark.parametrize("seed", range(12))
def test_a_page_board_hears_a_radio_as_the_reference_does(seed: int) -> None:
    dice = Random(seed)
    table = with_presses(dice, replace(random_table(dice, ATMEGA2560), lost_time=3))
    count = sum(isinstance(one, ChannelRecord) for one in table.senses)
    reference, board = Player(table), PageBoard(table)
    edges = [
        end for one in table.senses if isinstance(one, BandRecord) for end in (one.low, one.high)
    ]
    ticks = [0] * count
    for number in range(500):
        for channel in range(count):
            if dice.random() < 0.05:
                ticks[channel] = dice.choice((0, 1599, 4400, 65535, 3000, *edges))
                board.channel(channel, ticks[channel])
            reference.channel(channel, ticks[channel])
        assert reference.frame().raw == board.frame(), f"frame {number}"
    assert board.end([])[1:3] == [reference.live_runs, reference.running_cues]


def test_a_channel_that_a_chip_or_a_table_has_not_got_does_nothing() -> None:
    for data in (NEW, random_table(Random(1), ATMEGA2560)):
        board, other = PageBoard(data), PageBoard(data)
        board.channel(200, 3000)
        board.channel(0, 3000)
        assert [board.frame() for _ in range(60)] == [other.frame() for _ in range(60)]


def test_a_page_board_that_leads_tells_what_the_reference_tells() -> None:
    table = replace(random_table(Random(1), ATMEGA2560), role=LEADS)
    reference, board = Player(table), PageBoard(table)
    for number in range(200):
        if number % 40 == 20:
            tag = table.cues[number // 40 % len(table.cues)].tag
            reference.trigger(tag)
            board.trigger(tag)
        assert reference.frame().raw == board.frame()
        (told,) = Receiver().feed(board.told())
        assert told.payload == reference.told


def test_a_request_that_wants_an_answer_gets_it_on_the_line() -> None:
    board = PageBoard(NEW)
    board.receive(encode(LinkFrame(EVERYBODY, RequestKind.HELLO, 7, b"\x01\x00")))
    board.frame()
    (answer,) = Receiver().feed(board.said())
    assert (answer.kind, answer.seq) == (RequestKind.HELLO | REPLY, 7)
    assert board.said() == b""


def test_a_contact_on_a_pin_starts_its_cue_after_four_looks() -> None:
    pin = ATMEGA328P.pin("PC2")
    table = replace(decode(NEW), inputs=(InputRecord(pin, BUTTON, True),))
    board = PageBoard(table)
    while board.mode != ReportedMode.READY:
        board.frame()
    assert board.call("page_running") == 0
    board.level(pin, False)
    board.frame()
    assert board.call("page_running") == 1


def test_more_bytes_than_the_line_holds_are_counted_and_lost() -> None:
    board = PageBoard(NEW)
    room = board.call("page_line_room")
    assert board.receive(bytes(room)) == room
    assert board.receive(b"\0") == 0
    board.frame()
    assert board.call("page_line_room") == room


def test_a_pin_can_do_in_a_page_what_the_core_calls_it() -> None:
    header = (webassembly.HERE / "core" / "bc_generated.h").read_text("ascii")
    found = dict(re.findall(r"BC_PIN_(\w+) = (\d+)", header))
    code = ATMEGA328P.abilities
    assert len(code) == 8 * len(ATMEGA328P.ports)
    assert code[ATMEGA328P.pin("PB1")] == sum(
        int(found[job]) for job in ("SERVO", "STRIP", "SWITCH", "INPUT")
    )
    every = sum(map(int, found.values()))
    assert code[ATMEGA328P.pin("PD6")] == every - int(found["CHANNEL"]) - int(found["SENSOR"])
    assert ATMEGA2560.abilities[ATMEGA2560.pin("PE7")] & int(found["CHANNEL"])
    for pin in ("PF0", "PF7", "PK0", "PK7"):
        assert ATMEGA2560.abilities[ATMEGA2560.pin(pin)] & int(found["SENSOR"])
    assert code[ATMEGA328P.pin("PD0")] == 0


@pytest.mark.parametrize("chip", CHIPS)
def test_the_shipped_program_names_its_compiler(chip: str) -> None:
    content = webassembly.shipped(chip).read_bytes()
    assert b"producers" in content
    assert webassembly.COMPILER_VERSION.encode() in content


@WITHOUT_COMPILER
@pytest.mark.parametrize("chip", CHIPS)
def test_the_shipped_program_is_compiled_again_bit_for_bit(chip: str, tmp_path: Path) -> None:
    built = webassembly.build(chip, tmp_path)
    assert built.read_bytes() == webassembly.shipped(chip).read_bytes()


@WITHOUT_COMPILER
def test_the_compiler_for_pages_has_nothing_to_warn_of(tmp_path: Path) -> None:
    strict = ("-Werror", "-Wconversion", "-Wmissing-prototypes", "-pedantic")
    built = webassembly.build(ATMEGA328P.name, tmp_path, flags=(*webassembly.FLAGS, *strict))
    assert built.read_bytes().startswith(b"\0asm")
