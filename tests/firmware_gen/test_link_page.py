"""LINK.md against the code: every number on the page is the code's."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import firmware_gen
from firmware_gen.board import slots, virtual
from firmware_gen.board.receiving import WINDOW
from firmware_gen.chips import CHIPS
from firmware_gen.link import awaiting, greeting, protocol
from firmware_gen.link.protocol import ORDERED, ReportedMode, RequestKind, Status

PAGE = (Path(firmware_gen.__file__).parent / "LINK.md").read_text(encoding="utf-8")
PLAIN = " ".join(PAGE.split())


def rows(first: str) -> list[list[str]]:
    """Cells of the table whose head starts with the given cells."""
    lines = PAGE.splitlines()
    start = next(number for number, line in enumerate(lines) if line.startswith(first)) + 2
    found = []
    for line in lines[start:]:
        if not line.startswith("|"):
            break
        found.append([cell.strip() for cell in line.strip("|").split("|")])
    return found


def test_kinds_are_those_of_the_page() -> None:
    assert {(int(row[0], 16), row[1]) for row in rows("| kind | name")} == {
        (kind.value, kind.name.lower()) for kind in RequestKind
    }


def test_modes_are_those_of_the_page() -> None:
    assert {(int(row[0]), row[1]) for row in rows("| mode | name")} == {
        (mode.value, mode.name.lower()) for mode in ReportedMode
    }


def test_statuses_are_those_of_the_page() -> None:
    names = {int(row[0]): row[1].lower().replace(" ", "_") for row in rows("| status | name")}
    names[Status.REFUSED] = names[Status.REFUSED].removeprefix("table_")
    assert names == {status.value: status.name.lower() for status in Status}


SIZES = {"u8": 1, "u16": 2, "u32": 4}


def size(text: str) -> int:
    return sum(SIZES[word] for word in re.findall(r"\bu(?:8|16|32)\b", text))


@pytest.mark.parametrize(
    ("kind", "struct"),
    [
        (RequestKind.HELLO, protocol.HELLO),
        (RequestKind.OPEN, protocol.OPEN),
        (RequestKind.DATA, protocol.DATA),
        (RequestKind.READ, protocol.READ),
        (RequestKind.TRIGGER, protocol.TRIGGER),
        (RequestKind.BUTTON, protocol.BUTTON),
    ],
)
def test_payloads_are_as_long_as_the_page_says(kind: RequestKind, struct: object) -> None:
    row = next(row for row in rows("| kind | name") if int(row[0], 16) == kind)
    assert size(row[2]) == struct.size  # type: ignore[attr-defined]


def test_replies_are_as_long_as_the_page_says() -> None:
    by_kind = {int(row[0], 16): row[3] for row in rows("| kind | name")}
    assert size(by_kind[RequestKind.HELLO]) == len(protocol.Hello(*[0] * 12).pack())
    assert size(by_kind[RequestKind.VERIFY]) == protocol.VERIFY_REPLY.size
    section = PAGE.split("## 5. Status")[1].split("##")[0].split("Counters")[0]
    assert size(section) == len(protocol.State(*[0] * 12).pack())


def test_ordered_requests_are_those_of_the_page() -> None:
    listed = re.search(r"`([a-z, ]+)` are \*ordered\*", PLAIN)
    assert listed is not None
    assert set(listed[1].split(", ")) == {kind.name.lower() for kind in ORDERED}


def test_slots_lie_where_the_page_says() -> None:
    stated = rows("| chip | bytes")
    assert [row[0] for row in stated] == [chip.title for chip in CHIPS.values()]
    for (_, size_bytes, unused, first, second, mark), chip in zip(
        stated, CHIPS.values(), strict=True
    ):
        slot, base = chip.slot_bytes, slots.FIRST_BYTE
        assert int(size_bytes) == chip.memory.eeprom == virtual.VirtualBoard(chip=chip).eeprom.size
        assert unused == f"0 to {base - 1}"
        assert first == f"{base} to {base + slot - 1}"
        assert second == f"{base + slot} to {base + 2 * slot - 1}"
        assert int(mark) == base + 2 * slot
    assert f"0x{slots.MARKS[0]:02X} for slot 0, 0x{slots.MARKS[1]:02X} for slot 1" in PLAIN


def test_chunks_and_windows_are_those_of_the_page() -> None:
    stated = {row[0]: (int(row[1]), int(row[2])) for row in rows("| chip | largest data chunk")}
    assert stated == {chip.title: (chip.chunk_bytes, WINDOW) for chip in CHIPS.values()}


@pytest.mark.parametrize(
    "words",
    [
        f"{protocol.BAUD:,} baud",
        f"payload 0..{protocol.MAX_PAYLOAD} bytes",
        f"over {protocol.MAX_ENCODED} bytes between zeros",
        f"under {protocol.MIN_FRAME} decoded",
        f"u8 protocol ({protocol.PROTOCOL_VERSION})",
        f"(at most {protocol.MAX_DATA})",
        f"{protocol.NO_ADDRESS} if it has none",
        f"`kind | 0x{protocol.REPLY:X}`",
        f"`kind & 0x{protocol.ONE_WAY:X}`",
        f"({protocol.HELD_FRAMES} frames)",
        f"hello every {greeting.HELLO_EVERY_S * 1000:.0f} ms",
        f"After {greeting.HELLO_FOR_S} s without a reply",
        f"{greeting.GARBAGE_BYTES} bytes came that hold no valid frame",
        f"{awaiting.TIME_OUT_S * 1000:.0f} ms after the last byte went out",
        f"(verify {awaiting.TIME_OUTS_S[RequestKind.VERIFY]:.0f} s, commit "
        f"{awaiting.TIME_OUTS_S[RequestKind.COMMIT]:.0f} s)",
        f"waits {awaiting.BUSY_PAUSE_S * 1000:.0f} ms",
        f"at most {awaiting.BUSY_FOR_S:.0f} s in all",
        "five tries" if awaiting.TRIES == 5 else f"{awaiting.TRIES} tries",
    ],
)
def test_numbers_in_the_text_are_the_codes(words: str) -> None:
    assert words in PLAIN
