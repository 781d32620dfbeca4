"""The order of the firmware's functions in flash: one in which few calls are long.

A call or a jump takes two bytes instead of four where its target is at most 4 KB away (AVR
Instruction Set Manual, RCALL and RJMP: 12 bits of words), and the linker shortens whatever is near
enough. What is called from everywhere belongs in the middle. `python -m
firmware_gen.build.arrange` looks for a good order and writes it where the linker reads it; a
function that is not in it stands before the others, which costs room and nothing else. Worth doing
again when functions came or grew.
"""

from __future__ import annotations

import math
import random
import re
import subprocess
import tempfile
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from firmware_gen.build.image import HERE, build, order_file
from firmware_gen.chips import CHIPS

REACH: Final = 4094
"""Bytes from a call to a target that is near."""

STEPS: Final = 150_000
HOT: Final = 6.0
COLD: Final = 0.1
LONGEST_MOVE: Final = 6

_HEAD: Final = """\
/*
 * Written by firmware_gen/build/arrange.py: do not edit. Functions in an order in which few calls
 are * long; a name stands for the copies of a function, too, that the compiler numbers.
 */
"""


@dataclass(frozen=True)
class Call:
    """A call or jump to the start of a function, and where it stands in its own."""

    place: str
    offset: int
    target: str


# -- looking for an order --------------------------------------------------------------------------


def far_calls(order: Sequence[str], sizes: Mapping[str, int], calls: Sequence[Call]) -> int:
    """How many calls are long if functions of these sizes stand in this order."""
    start, at = {}, 0
    for name in order:
        start[name] = at
        at += sizes[name]
    return sum(abs(start[call.place] + call.offset - start[call.target]) > REACH for call in calls)


def arrange(sizes: Mapping[str, int], calls: Sequence[Call], steps: int = STEPS) -> list[str]:
    """An order with few far calls, by simulated annealing; none has more than the one given."""
    draw = random.Random(1)
    order = list(sizes)
    far = far_calls(order, sizes, calls)
    best, fewest = order, far
    for step in range(steps):
        moved = _with_a_move(order, draw)
        now = far_calls(moved, sizes, calls)
        heat = HOT * (COLD / HOT) ** (step / steps)
        if now <= far or draw.random() < math.exp((far - now) / heat):
            order, far = moved, now
        if far < fewest:
            best, fewest = order, far
    return best


def _with_a_move(order: Sequence[str], draw: random.Random) -> list[str]:
    at = draw.randrange(len(order))
    end = at + draw.randint(1, LONGEST_MOVE)
    rest = [*order[:at], *order[end:]]
    to = draw.randint(0, len(rest))
    return [*rest[:to], *order[at:end], *rest[to:]]


# -- what the linker made --------------------------------------------------------------------------

_SECTION: Final = re.compile(r"^ \.text\.(\S+)\s+0x([0-9a-f]+)\s+0x([0-9a-f]+) ", re.MULTILINE)
_COPY: Final = re.compile(r"\.(lto_priv|isra|constprop|part)\..*")
_TRANSFER: Final = re.compile(r"^\s*([0-9a-f]+):\tr?(?:call|jmp)\t.*?0x([0-9a-f]+)", re.MULTILINE)


def functions(link_map: str) -> list[tuple[int, int, str]]:
    """Start, size and name of each function in flash, ascending, from the linker's map."""
    found = (
        (int(start, 16), int(size, 16), _COPY.sub("", name))
        for name, start, size in _SECTION.findall(link_map)
    )
    return sorted(entry for entry in found if entry[1])


def read_calls(disassembly: str, placed: Sequence[tuple[int, int, str]]) -> list[Call]:
    """The calls from function to function, from a disassembly without raw bytes."""
    starts = [start for start, _, _ in placed]
    calls = []
    for words in _TRANSFER.findall(disassembly):
        at, to = (int(word, 16) for word in words)
        here, there = bisect_right(starts, at) - 1, bisect_right(starts, to) - 1
        if min(here, there) >= 0 and placed[here][2] != placed[there][2]:
            calls.append(Call(placed[here][2], at - starts[here], placed[there][2]))
    return calls


def linker_script(order: Sequence[str]) -> str:
    """What puts functions in this order, behind the sections that the linker's own script names."""
    lines = "".join(f"    *(.text.{name} .text.{name}.*)\n" for name in order)
    return f"{_HEAD}SECTIONS\n{{\n  .program :\n  {{\n{lines}  }} > text\n}}\nINSERT AFTER .text;\n"


def rearrange(chip: str) -> Path:
    """Build the firmware, and write the order that suits it; path of the order."""
    with tempfile.TemporaryDirectory() as folder:
        link_map = Path(folder) / "map"
        elf = build(chip, Path(folder), f"-Wl,-Map={link_map}").with_suffix(".elf")
        listing = subprocess.run(
            ["avr-objdump", "-d", "--no-show-raw-insn", elf],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        placed = functions(link_map.read_text())
    sizes: dict[str, int] = {}
    for _, size, name in placed:
        sizes[name] = sizes.get(name, 0) + size
    order = arrange(sizes, read_calls(listing, placed))
    path = HERE / order_file(chip)
    path.write_text(linker_script(order), "ascii", newline="\n")
    return path


if __name__ == "__main__":
    for name in CHIPS:
        print(rearrange(name))
