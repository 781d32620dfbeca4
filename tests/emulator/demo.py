"""The demo show on the emulated chip: `python -m tests.emulator.demo [SHOW]`.

Offers the chip's serial line as a pseudo-terminal and says what to type in another window.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from firmware_gen.image import flash_bytes, read_hex, shipped
from tests.emulator.emulated import EmulatedBoard, Running, why_not

SHOW = Path("shows/anglerfish/anglerfish.cues")


def main(arguments: list[str]) -> int:
    if reason := why_not():
        print(reason, file=sys.stderr)
        return 3
    show = arguments[0] if arguments else SHOW
    flash = flash_bytes(read_hex(shipped("atmega328p").read_text("ascii")))
    with EmulatedBoard(flash) as board:
        board.log()
        port = board.pty()
        print(f"an ATmega328P with the shipped firmware listens on {port}\n")
        print(f"  bellcrank flash {show} --port {port}")
        print(f"  bellcrank status --port {port}\n\nend it with Ctrl-C", flush=True)
        try:
            with Running(board):
                while True:
                    time.sleep(1)
        except KeyboardInterrupt:
            return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
