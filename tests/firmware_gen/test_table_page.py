"""TABLE.md says what the code does: its tables and numbers, read from the page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import firmware_gen
from firmware_gen.chips import CHIPS
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import INITIAL, crc16
from firmware_gen.link.protocol import ReportedMode
from firmware_gen.table import layout
from firmware_gen.table.code_bytes import duration_bytes
from firmware_gen.table.laws import LISTED, law_by_id
from firmware_gen.table.layout import LAW_IDS, LAWS_BY_ID
from sim import rulebook
from sim.rulebook import ALPHA_RANGE, BETA_RANGE, CLOCK_PER_MS, FRAME_CLOCK, LEAST_OVERLAP
from sim.score.fixed_laws import LAW_LISTS

PAGE = (Path(firmware_gen.__file__).parent / "TABLE.md").read_text(encoding="utf-8")


def rows_under(heading: str, columns: int) -> list[list[str]]:
    """Cells of all table rows of a section, heads and rules left out."""
    start = PAGE.index(heading)
    level = heading.split()[0]
    end = re.compile(rf"^#{{1,{len(level)}}} ", re.MULTILINE).search(PAGE, start + len(heading))
    text = PAGE[start : end.start() if end else len(PAGE)]
    cells = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("|") and not line.startswith("| ---")
    ]
    return [row for row in cells if len(row) == columns]


def test_the_header_is_laid_out_as_stated() -> None:
    stated = rows_under("### 1.1", 4)[1:]
    offsets = layout.HEADER.offsets()
    assert [(int(at), kind, name) for at, kind, name, _ in stated] == [
        (offsets[field.name], field.type, field.name) for field in layout.HEADER.fields
    ]
    assert f"Header, {layout.HEADER.size} bytes" in PAGE
    meanings = {name: meaning for _, _, name, meaning in stated}
    assert meanings["magic"] == f"0x{layout.MAGIC:X}"
    assert meanings["version"] == str(layout.VERSION)
    assert meanings["chip"] == ", ".join(f"{chip.chip_id}: {chip.title}" for chip in CHIPS.values())


@pytest.mark.parametrize(
    ("name", "limit"),
    [
        ("outputs", rulebook.OUTPUTS),
        ("colours", rulebook.COLOURS),
        ("inputs", rulebook.INPUTS),
        ("bindings", rulebook.BINDINGS),
        ("cues", rulebook.CUES),
        ("laws", rulebook.LAWS),
        ("stop button", rulebook.BUTTONS[-1]),
    ],
)
def test_limits_of_the_header_are_as_stated(name: str, limit: int) -> None:
    meaning = next(row[3] for row in rows_under("### 1.1", 4) if row[2] == name)
    low, high = re.findall(r"(\d+) to (\d+)", meaning)[0]
    field = next(one for one in layout.HEADER.fields if one.name == name)
    assert int(high) == limit == field.limits[1]
    assert int(low) in (field.limits[0], 1)


def test_every_chip_has_room_for_what_is_stated() -> None:
    stated = {title: more for title, *more in rows_under("### 1.2", 5)[1:]}
    assert stated == {
        chip.title: [" ".join(chip.ports), str(chip.servos), str(chip.strips), str(chip.pixels)]
        for chip in CHIPS.values()
    }


def test_output_records_are_laid_out_as_stated() -> None:
    stated = {}
    for kind, text in rows_under("### 1.2", 2)[1:]:
        number, name = kind.split()
        text = text.split(", then per point")[0]
        found = re.findall(r"\b([ui](?:8|16)) ([a-z ]+?)(?= in | \(|,|:|$)", text)
        stated[int(number)] = (name, [(form, words.strip()) for form, words in found])
    for number, name in layout.KINDS.items():
        fields = [(field.type, field.name) for field in layout.OUTPUT_FIELDS[number].fields]
        assert stated[number] == (name, fields)


def test_limits_of_output_records_are_as_stated() -> None:
    servo, _, strip, _ = (row[1] for row in rows_under("### 1.2", 2)[1:])
    low, high = rulebook.PULSE_RANGE
    assert f"pulses from {low} to {high}" in servo
    assert f"points (2 to {rulebook.CALIBRATION_POINTS[-1]})" in servo
    assert "pixels (at least 1)" in strip
    assert f"index into {' '.join(layout.ORDERS)}" in strip
    assert "8 * port + bit" in PAGE
    assert [ATMEGA328P.pin(name) for name in ("PB1", "PC0", "PD6")] == [1, 8, 22]
    assert "on an ATmega328P PB1 is 1, PC0 is 8, PD6 is 22; " in PAGE
    larger = CHIPS["atmega2560"]
    assert [larger.pin(name) for name in ("PA0", "PB1", "PL7")] == [0, 9, 87]
    assert "on an ATmega2560 PA0 is 0, PB1 is 9, PL7 is 87." in PAGE


def test_pins_can_do_what_is_stated() -> None:
    rows = rows_under("### 1.2", 3)[1:]
    assert [row[0] for row in rows] == [chip.title for chip in CHIPS.values()]
    for title, any_job, lamp in rows:
        chip = next(one for one in CHIPS.values() if one.title == title)
        assert {chip.pin(name) for name in lamp.split()} == chip.pwm_pins
        pins = {chip.pin(name) for name in any_job.split()}
        assert pins == chip.servo_pins == chip.pixel_pins == chip.switch_pins == chip.input_pins


def test_laws_are_numbered_as_stated() -> None:
    section = PAGE[PAGE.index("### 1.3") : PAGE.index("### 1.4")].replace("\n", " ")
    ids = section.split("Ids: ")[1].split(".")[0]
    assert {int(number): name for number, name in re.findall(r"(\d) ([^,]+)", ids)} == {
        number: name for name, number in LAW_IDS.items()
    }
    low, high = ALPHA_RANGE
    assert f"alpha {low} to {high}, beta {BETA_RANGE[0]} to {BETA_RANGE[1]}" in section


def test_coefficients_are_as_stated() -> None:
    stated = {row[0]: row[1:] for row in rows_under("### 3.1", 4)[1:]}
    for name in set(stated) & set(LAW_IDS) - {"parabolic"}:
        law = law_by_id(LAW_IDS[name])
        assert stated[name] == [str(law.cv), str(law.ca), str(law.overlap)]
    assert len(set(stated) & set(LAW_IDS)) == 7
    assert f"A K under {LEAST_OVERLAP} counts as 0" in PAGE


def test_lists_of_laws_are_as_stated() -> None:
    lists = PAGE[PAGE.index("| law | L |") :]
    stated = dict(re.findall(r"^\| ([\w -]+) \| ((?:\d+ ){24}0) \|$", lists, re.MULTILINE))
    assert {name: tuple(map(int, row.split())) for name, row in stated.items()} == {
        LAWS_BY_ID[law_id]: LAW_LISTS[LAWS_BY_ID[law_id]] for law_id in LISTED
    }


def test_ops_have_the_codes_stated() -> None:
    stated = {row[0].strip("`").split("`")[0]: row[1] for row in rows_under("### 1.4", 2)[1:]}
    codes = {
        layout.END: "end of thread",
        layout.GO_ON: "go on",
        layout.WAIT: "wait",
        layout.LOOP: "loop start",
        layout.LOOP_END: "loop end",
        layout.FORK: "fork",
        layout.EFFECT: "effect",
        layout.LONG_WAIT: "wait that many s",
        layout.DRAW: "draw",
        layout.CHOOSE: "choose one of several calls",
    }
    for code, words in codes.items():
        assert stated[f"{code:02x}"].startswith(words)
    calls, short_waits = "101w llcc", "11xx xxxx"
    assert set(stated) == {f"{code:02x}" for code in codes} | {"0WLF oooo", calls, short_waits}
    bits = calls.replace(" ", "").replace("w", "0").replace("l", "0").replace("c", "0")
    assert int(bits, 2) == layout.CALL
    assert f"at most {rulebook.CALL_DEPTH} calls are open" in PAGE
    assert f"1 to {rulebook.LONG_WAIT_STEPS}" in stated["87"]
    assert f"number of the last call, 1 to {rulebook.CHOICES - 1}" in stated["89"]
    kinds = re.findall(r"(\d) (steady|breathe|ember|sparkle|run)", stated["85"])
    assert [name for _, name in sorted(kinds)] == list(layout.EFFECTS)
    assert f"at least {rulebook.SHORTEST_PERIOD_MS}" in stated["85"]


def test_durations_are_coded_as_stated() -> None:
    text = PAGE[PAGE.index("Duration D:") :].split("\n\n")[0].replace("\n", " ")
    forms = re.findall(r"(\d+) to (\d+): (?:(\d+) \* \(b ([+-]) (\d+)\)) ms", text)
    assert len(forms) == 2
    for low, high, step, sign, shift in forms:
        for byte in (int(low), int(high)):
            ms = int(step) * (byte + int(sign + shift))
            assert duration_bytes(ms) == bytes((byte,))
    assert "200 to 254: 256 * (b - 200) + next byte, in ms" in text
    assert duration_bytes(256 * (254 - 200) + 255) == bytes((254, 255))
    assert duration_bytes(256 * 55) == bytes((255, 0, 55))


def test_the_longest_loops_and_ops_are_as_stated() -> None:
    assert f"nest at most {rulebook.LOOP_DEPTH} deep" in PAGE
    assert f"If {rulebook.OPS_A_FRAME} ops were executed" in PAGE
    assert f"If none of the {rulebook.RUNS} runs would then be free" in PAGE
    assert f"would exceed {rulebook.THREADS}: refused" in PAGE
    assert (CLOCK_PER_MS, FRAME_CLOCK) == (256, 5120)
    assert "Frame n (from 0) has time 5120 n" in PAGE


def test_conflicts_and_flags_are_as_stated() -> None:
    assert "bits 0-1: 0 take, 1 wait, 2 refuse" in PAGE
    assert layout.CONFLICTS == ("take", "wait", "refuse")
    assert f"u8 button | 0x{layout.FLAG:x} if active low" in PAGE


def test_refusals_are_those_stated() -> None:
    stated = {int(code): reason for code, reason in rows_under("## 5.", 2)[1:]}
    assert set(stated) == set(layout.REASONS)
    for code, name in layout.REASONS.items():
        words = "length" if code == 1 else {7: "counts"}.get(code, name)
        assert words.lower() in stated[code].lower()


def test_modes_are_those_of_the_player() -> None:
    stated = re.findall(r"\*\*Modes\*\*: (.*)", PAGE)[0]
    words = dict.fromkeys(re.findall(r"[a-z]+", stated))
    names = [mode.name.lower() for mode in ReportedMode]
    assert [word for word in words if word in names] == names


def test_the_check_sum_is_the_one_stated() -> None:
    text = PAGE[PAGE.index("## 4. CRC") :].split("\n\n")[1]
    assert f"initial value 0x{INITIAL:X}" in text
    check = re.findall(r'"123456789": 0x([0-9A-F]{4})', text)[0]
    assert crc16(b"123456789") == int(check, 16)
