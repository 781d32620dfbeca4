"""A second chip needs an entry and nothing else: from the text to the virtual board."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from cffi import FFI
from flap_show import Outcome
from made_up_chip import another, made_up_chip

from firmware_gen.board.played_as_shown import Recording
from firmware_gen.board.storage import Eeprom
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.build.generate import chip_header
from firmware_gen.build.image import ImageError, merged_room, shipped
from firmware_gen.build.uploader import uploads
from firmware_gen.chips import FIRST, Chip
from firmware_gen.compiler.show import CompiledBoard, compile_show
from firmware_gen.crc import cue_tag
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import ReportedMode
from firmware_gen.listing.disassemble import disassemble
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import BAD_CHIP, BAD_OUTPUT, BAD_PIN, TableError
from firmware_gen.table.records import StripRecord
from seqlang.loading import load_text
from seqlang.meaning.write_show import text_of, without_marks
from seqlang.text.source import Source
from sim.model import Show
from sim.strain.sizing import size
from tests.firmware_gen.host.core import available, compile_core, declarations
from tests.seqlang.show_text import findings
from tests.unchecked import transfer_unchecked

ARMS = tuple(f"P{port}{bit}" for port in "CK" for bit in range(6))
"""Pins of twelve servos, on ports that the first chip does not have or has at another place."""


@pytest.fixture(autouse=True)
def chip() -> Iterator[Chip]:
    with made_up_chip() as made:
        yield made


def servo(name: str, pin: str, board: str = "box") -> str:
    return (
        f"servo {name}: {board} pin {pin}\n"
        "    pulse 1000 us at 0 deg, 1520 us at 45 deg, 2000 us at 90 deg\n"
        "    travel 0 deg to 70 deg\n"
        "    rating 0.17 s/60deg, 9 kgf.cm, 0.4 A at 6 V\n"
        "    load 6 g at 40 mm\n"
    )


def show_text(
    arms: tuple[str, ...] = ARMS, lamp: str = "PE3", chip: str = "madeup7", more: str = ""
) -> str:
    moves = "".join(
        f"    arm{n} to {20 + n} deg in 900 ms\n    arm{n} to 0 deg in 700 ms\n"
        for n in range(len(arms))
    )
    return (
        'show "Arms"\n'
        "supply desk\n    source adapter 6 V, 20 A\n"
        f"board box: {chip}, address 1\n    feed desk, 300 mm of 18 AWG\n"
        + "".join(servo(f"arm{n}", pin) for n, pin in enumerate(arms))
        + f"lamp eye: box pin {lamp}\n    leds 1 of 3 V, 10 mA\n"
        + more
        + f"cue wave\n    eye fade to 80% in 500 ms\n{moves}"
        + "remote\n    button 1: go wave\n    stop button 2\n"
    )


def loaded(text: str) -> Show:
    found = load_text(Source("arms.cues", text))
    assert found.show is not None, found.findings
    assert not [one for one in found.findings if one.severity == "error"]
    return found.show


def compiled(text: str) -> CompiledBoard:
    (board,) = compile_show(loaded(text)).boards
    return board


def test_a_table_with_its_pins_compiles_and_decodes(chip: Chip) -> None:
    board = compiled(show_text())
    assert board.table.chip == chip.chip_id == board.data[4]
    assert [one.pin for one in board.outputs][:3] == [8, 9, 10]  # PC0 to PC2: C is the second port
    assert decode(board.data) == board.table
    assert board.fits
    listed = "\n".join(line.text for line in disassemble(board.data))
    assert chip.title in listed
    assert "pin PK5" in listed


def test_its_slots_are_its_own(chip: Chip) -> None:
    board = compiled(show_text((*ARMS, "PA1", "PA2", "PA3")))
    assert FIRST.slot_bytes < len(board.data) <= chip.slot_bytes
    assert board.fits
    smaller = replace(chip, memory=replace(chip.memory, slot=len(board.data) - 1))
    with another(smaller):
        (over,) = findings(show_text((*ARMS, "PA1", "PA2", "PA3")), "table-too-large")
    assert (over.asked, over.limit) == (len(board.data), len(board.data) - 1)


def test_a_board_refuses_what_only_another_chip_can() -> None:
    table = compiled(show_text()).table
    with pytest.raises(TableError) as wrong:
        decode(encode(replace(table, chip=FIRST.chip_id)))
    assert wrong.value.code in (BAD_OUTPUT, BAD_PIN)
    with pytest.raises(TableError) as unknown:
        decode(encode(replace(table, chip=78)))
    assert unknown.value.code == BAD_CHIP


def test_a_table_holds_as_many_servos_as_the_chip_drives(chip: Chip) -> None:
    table = compiled(show_text()).table
    with another(replace(chip, servos=12)):
        assert decode(encode(table)) == table
    with (
        another(replace(chip, servos=11)),
        pytest.raises(TableError, match="more than 11 servos") as over,
    ):
        decode(encode(table))
    assert over.value.code == BAD_OUTPUT


def test_the_check_counts_by_the_chip(chip: Chip) -> None:
    assert findings(show_text(), "board-overfull") == []
    pins = tuple(name for name, pin in chip.pins.items() if pin in chip.servo_pins)
    assert counted(show_text(pins[:17])) == (17, 16)
    first = ("PB0", "PB1", "PB2", "PB4", "PB5", "PC0", "PC1", "PC2", "PC3")
    assert counted(show_text(first, "PD6", FIRST.name)) == (9, FIRST.servos)


def counted(text: str) -> tuple[float | None, float | None]:
    """Servos of the board, and how many it drives, as the check says."""
    (over,) = (one for one in findings(text, "board-overfull") if one.unit == "servos")
    return over.asked, over.limit


def test_pixels_are_counted_by_the_chip(chip: Chip) -> None:
    strip = "strip belly: box pin PK6\n    pixels {}\n"
    assert loaded(show_text(more=strip.format(150)))
    found = load_text(Source("arms.cues", show_text(more=strip.format(151)))).findings
    assert any("150" in one.message for one in found if one.severity == "error")
    two = strip.format(100) + strip.format(51).replace("belly", "back").replace("PK6", "PK7")
    (over,) = findings(show_text(more=two), "board-overfull")
    assert (over.asked, over.limit) == (151, chip.pixels)


def test_pins_are_judged_by_the_chip(chip: Chip) -> None:
    (reserved,) = findings(show_text(("PA0",)), "pin-unfit")
    assert chip.reserved[0] in reserved.message
    (no_pwm,) = findings(show_text(("PC0",), lamp="PK7"), "pin-unfit")
    assert "the made-up timer has it" in no_pwm.message
    assert "PE2, PE3, PE4, PE5, PE6, PE7" in no_pwm.notes[0]
    (absent,) = findings(show_text(("PB1",)), "pin-unfit")
    assert f"the {chip.title} has no such pin" in absent.message
    (twice,) = findings(show_text(("PK1", "PK1")), "pin-clash")
    assert "pin PK1 of `box`" in twice.message


def test_a_show_is_written_with_its_pins_and_read_again() -> None:
    show = loaded(show_text())
    text = text_of(show)
    assert "arm11: box pin PK5" in text
    assert without_marks(loaded(text)) == without_marks(show)


def test_the_supply_is_judged_by_its_voltages(chip: Chip) -> None:
    (low,) = findings(show_text().replace("adapter 6 V", "adapter 5 V"), "brown-out")
    assert (low.severity, low.limit) == ("warning", chip.electrics.clock_v)
    assert "is out of its limits below 5.5 V" in low.message
    (resets,) = findings(show_text().replace("adapter 6 V", "adapter 4 V"), "brown-out")
    assert (resets.severity, resets.limit) == ("error", chip.electrics.brown_out_v)
    assert "resets below 4.1 V" in resets.message
    first = show_text(("PB0",), "PD6", FIRST.name).replace("adapter 6 V", "adapter 5 V")
    assert findings(first, "brown-out") == []


def test_a_lamp_of_more_than_its_pins_give_needs_a_driver(chip: Chip) -> None:
    (lamp,) = size(loaded(show_text(ARMS[:1]))).lamps
    assert chip.electrics.pin_a < lamp.total_a <= FIRST.electrics.pin_a
    assert lamp.needs_driver
    (old,) = size(loaded(show_text(("PB0",), "PD6", FIRST.name))).lamps
    assert not old.needs_driver


def test_the_virtual_board_plays_its_table_as_the_reference_does(chip: Chip) -> None:
    board = compiled(show_text())
    recording = Recording()
    virtual = VirtualBoard(chip=chip, witness=recording)
    assert virtual.eeprom.size == chip.memory.eeprom
    link = HostLink(LocalPort(virtual))
    hello = link.greet()
    assert (hello.chip_id, hello.slot_bytes) == (chip.chip_id, chip.slot_bytes)
    assert hello.chunk_bytes == chip.chunk_bytes
    transfer_unchecked(link, board.data)
    while link.state().mode != ReportedMode.READY:
        virtual.advance(virtual.time_s + 0.1)
    assert link.trigger(cue_tag("wave")).done
    virtual.advance(virtual.time_s + 3.0)
    moved = {frame.pulses[0] for frame in recording.frames} - {0}
    assert max(moved) - min(moved) > 300
    player = Player(board.table)
    assert len(player.frame().pulses) == 12


def test_the_commands_know_its_virtual_board(
    chip: Chip, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "kept"))
    path = tmp_path / "arms.cues"
    path.write_text(show_text())
    assert Outcome(capsys, "flash", str(path), "--port", f"virtual:{chip.name}").status == 0
    status = Outcome(capsys, "status", "--port", f"virtual:{chip.name}", "--show", str(path))
    assert status.status == 0
    assert chip.title in status.out
    assert "the file's table for board `box`" in status.out
    other = Outcome(capsys, "flash", str(path), "--port", "virtual")
    assert other.status == 3
    assert f"the table is made for the {chip.title}" in other.err
    unknown = Outcome(capsys, "status", "--port", "virtual:abacus")
    assert unknown.status == 2
    assert "there is no chip `abacus`" in unknown.err


def test_a_board_of_another_chip_is_told_from_it(chip: Chip) -> None:
    link = HostLink(LocalPort(VirtualBoard(Eeprom(FIRST.memory.eeprom), FIRST)))
    with pytest.raises(LinkFailure, match=f"made for the {chip.title}, the board's chip is"):
        transfer_unchecked(link, compiled(show_text()).data)


def test_its_header_has_its_numbers(chip: Chip) -> None:
    found = re.findall(r"BC_(\w+)(?: =)? (0x[0-9a-f]+|\d+)", chip_header(chip))
    numbers = {name: int(number, 0) for name, number in found}
    assert (numbers["CHIP"], numbers["PORTS"], numbers["LAMPS"]) == (77, 4, 6)
    assert (numbers["SERVOS"], numbers["STRIPS"], numbers["PIXELS"]) == (16, 3, 150)
    assert (numbers["SLOT_BYTES"], numbers["CHUNK"]) == (2000, 24)
    assert numbers["MERGED_START"] == 0x8000
    assert numbers["MERGED_MAX"] == 0x8000 - 2  # behind it stands the stamp


@pytest.mark.skipif(not available(), reason="no C compiler: the core is not built for the chip")
def test_the_core_built_for_it_judges_tables_as_the_reference_does(
    chip: Chip, tmp_path: Path
) -> None:
    chip = replace(chip, servos=14)
    compile_core(tmp_path / "core.so", "-shared", "-fPIC", "-Wl,-z,defs", chip=chip)
    ffi = FFI()
    ffi.cdef(declarations())
    core = ffi.dlopen(str(tmp_path / "core.so"))
    table = compiled(show_text()).table
    arm, pins = table.outputs[0], (*range(8, 14), *range(24, 32), 1, 2)
    belly = StripRecord(chip.pin("PA3"), chip.pixels, 0, 0, 0)
    bare = replace(table, cues=(), threads=(), bindings=(), colours=((0, 0, 0),))
    rows = [
        *(tuple(replace(arm, pin=pin) for pin in pins[:count]) for count in (13, 14, 15)),
        (belly,),
        (replace(belly, pixels=chip.pixels + 1),),
        (belly, replace(belly, pin=chip.pin("PA4"), pixels=1)),
        tuple(replace(belly, pin=pin, pixels=1) for pin in pins[:3]),
        tuple(replace(belly, pin=pin, pixels=1) for pin in pins[:4]),
    ]
    tables = [table, *(replace(bare, outputs=row) for row in rows)]
    with another(replace(chip, servos=16, strips=16, pixels=9999)):
        data = [encode(one) for one in tables]
    with another(chip):
        found = [refusal_of(one, chip) for one in data]
    assert [core.host_check(one, len(one)) for one in data] == found
    assert found == [0, 0, 0, BAD_OUTPUT, 0, BAD_OUTPUT, BAD_OUTPUT, 0, BAD_OUTPUT]


def refusal_of(data: bytes, chip: Chip) -> int:
    """Why a board of the chip would not play a table; 0 if it would."""
    return VirtualBoard(chip=chip).board._refusal_of(data)


def test_the_uploader_is_told_its_words() -> None:
    (serial,) = uploads("madeup7", Path("x.hex"), "serial", "PORT")
    assert serial.line() == "avrdude -p mu7 -c boot7 -P PORT -b 38400 -D -U flash:w:x.hex:i"
    fuses, _ = uploads("madeup7", Path("x.hex"), "isp", "PORT", programmer="p")
    assert "fuse7:w:0x5a:m" in fuses.words
    assert merged_room("madeup7") == 0xF000 - 0x8000 - 2
    with pytest.raises(ImageError, match="no firmware for `madeup7`; there is one for"):
        shipped("madeup7")
