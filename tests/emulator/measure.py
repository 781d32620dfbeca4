"""Print the firmware's figures from the emulated chip: `python -m tests.emulator.measure`."""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from firmware_gen.build.image import build, can_build, flash_bytes, read_hex, shipped
from tests.emulator.emulated import CYCLES_US, why_not
from tests.emulator.load_show import in_slot, load_table, one_move_table
from tests.emulator.measuring import saturate, transfer_time, trigger_latencies

Row = tuple[str, str, str]


def rows(flash: bytes) -> list[Row]:
    """What is measured, what it must reach, what it reaches."""
    load = saturate(flash)
    heavier = saturate(flash, 50_000, heavier=True)
    latencies = trigger_latencies(flash)
    moved = transfer_time(flash, in_slot(one_move_table()), load_table())
    deepest = max(load.stack_bytes, heavier.stack_bytes)
    error_us = load.pulse_error_cycles / CYCLES_US
    idle = f"{load.idle_share:.1%} ({heavier.idle_share:.1%} with lamps, cap and double-S)"
    return [
        ("pulse width error, peak to peak", "at most 0.5 us", f"{error_us:.2f} us"),
        ("link bytes lost of 100,000", "0", str(load.bytes_lost + heavier.bytes_lost)),
        (
            "longest wait of a received byte",
            "80 us",
            f"{load.slowest_read_cycles / CYCLES_US:.0f} us",
        ),
        ("trigger to first changed pulse", "at most 20 ms", f"{max(latencies):.1f} ms"),
        ("processor time left", "at least 35 %", idle),
        ("transfer time, of the larger bound", "at most 1.10", f"{moved.ratio:.3f}"),
        ("flash", "26.5 KB", f"{len(flash)} B"),
        ("static RAM", "1.65 KB", static_ram()),
        ("deepest stack, with static RAM", "1.85 KB", f"{deepest} B"),
        ("longest gap between pixels", "50 us", f"{load.longest_gap_cycles / CYCLES_US:.0f} us"),
    ]


def static_ram() -> str:
    if not can_build():
        return "not measured: no AVR compiler"
    with tempfile.TemporaryDirectory() as folder:
        build("atmega328p", Path(folder))
        words = ["avr-size", f"{folder}/atmega328p.elf"]
        done = subprocess.run(words, capture_output=True, text=True, check=True)
    _, data, bss = map(int, re.findall(r"\d+", done.stdout.splitlines()[1])[:3])
    return f"{data + bss} B"


def main() -> int:
    if reason := why_not():
        print(reason, file=sys.stderr)
        return 3
    table = rows(flash_bytes(read_hex(shipped("atmega328p").read_text("ascii"))))
    widths = [max(len(row[column]) for row in table) for column in range(3)]
    for row in table:
        print(
            "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip()
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
