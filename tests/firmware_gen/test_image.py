"""Intel hex, merging, and the shipped image: compiled again, bit for bit."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_gen.build import image
from firmware_gen.build.image import ImageError, read_hex, write_hex
from firmware_gen.chips import CHIPS
from tests.unchecked import merge_unchecked

CHIP = "atmega328p"

# Intel Hexadecimal Object File Format Specification, revision A, 1988: record layout and check sum
# (two's complement of the sum of all bytes); this record is worked by hand from it.
RECORD = ":0300300002337A1E"


def test_a_record_reads_as_the_specification_says() -> None:
    assert read_hex(f"{RECORD}\n:00000001FF\n") == {0x30: 0x02, 0x31: 0x33, 0x32: 0x7A}


@given(st.dictionaries(st.integers(0, 0x7FFF), st.integers(0, 255), max_size=200))
def test_what_is_written_reads_back(memory: dict[int, int]) -> None:
    assert read_hex(write_hex(memory)) == memory


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (":0300300002337A1F\n:00000001FF\n", "line 1 .*checksum"),
        (RECORD, "cut short"),
        ("0300300002337A1E\n:00000001FF\n", "line 1"),
        (":03003000\n:00000001FF\n", "line 1"),
        (f"{RECORD}\n:0100300003CC\n:00000001FF\n", "0x30 on line 2"),
    ],
)
def test_a_damaged_file_is_refused_with_its_reason(text: str, why: str) -> None:
    with pytest.raises(ImageError, match=why):
        read_hex(text)


def test_a_merged_table_lies_behind_the_firmware_and_changes_nothing_of_it() -> None:
    memory = read_hex(image.shipped(CHIP).read_text("ascii"))
    whole = merge_unchecked(memory, b"table")
    assert {at: whole[at] for at in memory} == memory
    start = CHIPS[CHIP].memory.merged_start
    assert bytes(whole[start + n] for n in range(5)) == b"table"
    header = (image.HERE / CHIP / "bc_chip.h").read_text("ascii")
    assert f"#define BC_MERGED_START {start:#x}UL" in header


def test_a_table_that_is_too_large_to_merge_is_refused() -> None:
    with pytest.raises(ImageError, match="2558 can be merged"):
        merge_unchecked({0: 0}, bytes(7679))


@pytest.mark.skipif(not image.can_build(), reason="NO AVR COMPILER: the image is not rebuilt")
def test_the_shipped_image_is_compiled_again_bit_for_bit(tmp_path: Path) -> None:
    if image.compiler_version() != image.COMPILER_VERSION:
        pytest.skip(f"ANOTHER AVR COMPILER ({image.compiler_version()}): the image is not rebuilt")
    built = image.build(CHIP, tmp_path)
    assert built.read_bytes() == image.shipped(CHIP).read_bytes()


@pytest.mark.skipif(not image.can_build(), reason="NO AVR COMPILER: nothing is compiled")
def test_the_compiler_in_the_path_has_nothing_to_warn_of(tmp_path: Path) -> None:
    built = image.build(CHIP, tmp_path, flags=(*image.FLAGS, "-Werror"))
    assert built.read_bytes().startswith(b":")
