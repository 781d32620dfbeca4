"""The order of the firmware's functions in flash."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from firmware_gen.build import image
from firmware_gen.build.arrange import (
    Call,
    arrange,
    far_calls,
    functions,
    linker_script,
    read_calls,
)

# A map and a disassembly in the form in which GNU ld 2.26 and objdump write them.
MAP = """
 .text.early    0x00000010        0x6 /tmp/a.ltrans0.o
 .text.late.lto_priv.7
                0x00000016        0x8 /tmp/a.ltrans0.o
 .text.dropped  0x00000000        0x0 /tmp/a.ltrans0.o
"""
LISTING = """
00000010 <early>:
  10:\trcall\t.+4      \t; 0x16 <late.lto_priv.7>
  12:\trjmp\t.-4       \t; 0x10 <early>

00000016 <late.lto_priv.7>:
  16:\tcall\t0x10\t; 0x10 <early>
"""


def test_a_call_is_far_if_its_target_is_beyond_the_reach_of_a_short_one() -> None:
    sizes = {"caller": 2, "between": 4093, "called": 2}
    calls = [Call("caller", 0, "called")]
    # AVR Instruction Set Manual, RCALL: from 2 K words before to 2 K words behind the next word.
    assert far_calls(["caller", "called", "between"], sizes, calls) == 0
    assert far_calls(["caller", "between", "called"], sizes, calls) == 1
    assert far_calls(["caller", "between", "called"], {**sizes, "between": 4092}, calls) == 0


def test_what_is_called_from_everywhere_comes_to_stand_in_the_middle() -> None:
    sizes = {f"user{n}": 1000 for n in range(8)} | {"server": 20}
    calls = [Call(f"user{n}", 500, "server") for n in range(8)]
    order = arrange(sizes, calls, steps=2000)
    assert sorted(order) == sorted(sizes)
    assert far_calls(order, sizes, calls) == 0
    assert order.index("server") == 4
    assert far_calls(["server", *(f"user{n}" for n in range(8))], sizes, calls) == 4


def test_the_same_functions_are_always_put_in_the_same_order() -> None:
    sizes = {f"part{n}": 900 for n in range(12)}
    calls = [Call(f"part{n}", 8, f"part{(n * 5 + 3) % 12}") for n in range(12)]
    assert arrange(sizes, calls, steps=300) == arrange(sizes, calls, steps=300)


def test_functions_and_their_calls_are_read_from_what_the_linker_made() -> None:
    placed = functions(MAP)
    assert placed == [(0x10, 6, "early"), (0x16, 8, "late")]
    assert read_calls(LISTING, placed) == [Call("early", 0, "late"), Call("late", 0, "early")]


def test_the_linker_is_told_a_name_with_all_copies_that_the_compiler_numbers() -> None:
    script = linker_script(["late", "early"])
    assert script.index("*(.text.late .text.late.*)") < script.index("*(.text.early .text.early.*)")


@pytest.mark.skipif(not image.can_build(), reason="NO AVR COMPILER: the image is not rebuilt")
def test_few_calls_of_the_firmware_are_long(tmp_path: Path) -> None:
    elf = image.build("atmega328p", tmp_path).with_suffix(".elf")
    listing = subprocess.run(
        ["avr-objdump", "-d", elf], capture_output=True, text=True, check=True
    ).stdout
    long = len(re.findall(r"\t(?:call|jmp)\t", listing))
    short = len(re.findall(r"\trcall\t", listing))
    assert long < short / 4, (
        "python -m firmware_gen.build.arrange puts the functions in a better order"
    )
