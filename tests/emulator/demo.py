"""The demo show on the emulated chip: `python -m tests.emulator.demo [--serve] [SHOW]`.

The shipped firmware runs on an emulated ATmega328P behind a pseudo-terminal; the `bellcrank`
command flashes the show, starts cues, stops and reads the board's state, as it would with a real
board. `--serve` leaves the chip running for commands from another window.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from firmware_gen.build.image import flash_bytes, read_hex, shipped
from tests.emulator.emulated import EmulatedBoard, Running, why_not

SHOW = Path(__file__).resolve().parents[2] / "shows" / "anglerfish" / "anglerfish.cues"
STEPS = (
    (("trigger", "lure"), 2.0),
    (("trigger", "startle"), 2.0),
    (("trigger", "chew", "--held", "1 s"), 0.5),
    (("stop",), 2.0),
    (("status",), 0.0),
)


def command(*words: str) -> int:
    print(f"\n$ bellcrank {' '.join(words)}", flush=True)
    entry = "from seqlang.command import main; main()"
    return subprocess.run([sys.executable, "-c", entry, *words]).returncode


def play(show: str, port: str) -> int:
    """Flash the show and, if it is the demo's, use it; the worst exit status."""
    worst = command("flash", show, "--port", port)
    for words, seconds in STEPS if show == str(SHOW) and not worst else ():
        worst = max(worst, command(*words, "--port", port))
        time.sleep(seconds)
    return worst


def main(arguments: list[str]) -> int:
    if reason := why_not():
        print(reason, file=sys.stderr)
        return 3
    serve = "--serve" in arguments
    show = next((word for word in arguments if not word.startswith("-")), str(SHOW))
    flash = flash_bytes(read_hex(shipped("atmega328p").read_text("ascii")))
    with EmulatedBoard(flash) as board:
        board.log()
        port = board.pty()
        print(f"an ATmega328P with the shipped firmware listens on {port}", flush=True)
        with Running(board):
            status = play(show, port)
            try:
                while serve:
                    time.sleep(1)
            except KeyboardInterrupt:
                pass
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
