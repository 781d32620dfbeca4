"""Print the firmware's figures from the emulated chips: `python -m tests.emulator.measure`."""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from firmware_gen.build.image import build, can_build
from firmware_gen.chips import CHIPS, Chip
from tests.emulator.emulated import CYCLES_US, why_not
from tests.emulator.firmware import Firmware, shipped_for
from tests.emulator.load_show import in_slot, load_table, one_move_table
from tests.emulator.measuring import FIGURES, saturate, transfer_time, trigger_latencies

Row = tuple[str, str, str]


def rows(firmware: Firmware) -> list[Row]:
    """What is measured, what it must reach, what it reaches."""
    due = FIGURES[firmware.chip.name]
    load = saturate(firmware)
    heavier = saturate(firmware, 50_000, heavier=True)
    latencies = trigger_latencies(firmware)
    chip = firmware.chip
    moved = transfer_time(firmware, in_slot(one_move_table(chip=chip)), load_table(chip=chip))
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
        (
            "trigger to first changed pulse",
            f"at most {due.trigger_ms} ms",
            f"{max(latencies):.1f} ms",
        ),
        ("processor time left", f"at least {due.idle_share:.0%}", idle),
        ("transfer time, of the larger bound", f"at most {due.transfer:.2f}", f"{moved.ratio:.3f}"),
        ("flash", f"{due.flash} B", f"{len(firmware.flash)} B"),
        ("static RAM", f"{due.static_ram:.0f} B", static_ram(chip)),
        ("deepest stack, with static RAM", f"{due.ram:.0f} B", f"{deepest} B"),
        ("longest gap between pixels", "50 us", f"{load.longest_gap_cycles / CYCLES_US:.0f} us"),
    ]


def static_ram(chip: Chip) -> str:
    if not can_build():
        return "not measured: no AVR compiler"
    with tempfile.TemporaryDirectory() as folder:
        build(chip.name, Path(folder))
        words = ["avr-size", f"{folder}/{chip.name}.elf"]
        done = subprocess.run(words, capture_output=True, text=True, check=True)
    _, data, bss = map(int, re.findall(r"\d+", done.stdout.splitlines()[1])[:3])
    return f"{data + bss} B"


def main() -> int:
    if reason := why_not():
        print(reason, file=sys.stderr)
        return 3
    for chip in CHIPS.values():
        print(chip.title)
        table = rows(shipped_for(chip))
        widths = [max(len(row[column]) for row in table) for column in range(3)]
        for row in table:
            cells = (text.ljust(width) for text, width in zip(row, widths, strict=True))
            print("  " + "  ".join(cells).rstrip())
    return 0


if __name__ == "__main__":
    sys.exit(main())
