"""The words that install a firmware image with the usual uploader, and its fuses.

The uploader is avrdude; its words are in its manual, "Command Line Options". Fuse bits:
ATmega48A/PA/88A/PA/168A/PA/328/P data sheet, "Fuse Bits" (tables of the ATmega328P).
"""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, TypeAlias

UPLOADER: Final = "avrdude"
PART: Final = {"atmega328p": "m328p"}

Way: TypeAlias = Literal["serial", "urclock", "isp"]
"""`serial`: the boot loader most boards come with; `urclock`: the newer one; `isp`: a programmer on
the six-pin header, without a boot loader."""

BOOT_BAUD: Final = 115_200
OLD_BOOT_BAUD: Final = 57_600
_SERIAL_ID: Final = {"serial": "stk500v1", "urclock": "urclock"}
"""The uploader's name of the protocol. With the first, the board must reset as the port opens
(common boards do), or by its reset button at that moment."""

LOW_FUSE: Final = 0xFF
"""External crystal of 8 MHz or more, slowest start, clock not divided by 8."""
HIGH_FUSE: Final = 0xD1
"""Serial programming on, reset to address 0, EEPROM kept when the chip is erased."""
EXTENDED_FUSE: Final = 0xFD
"""Brown-out detector at 2.7 V; the unused bits read as one."""


@dataclass(frozen=True, slots=True)
class Upload:
    """One call of the uploader, word by word, and what it does."""

    purpose: str
    words: tuple[str, ...]

    def line(self) -> str:
        """As it is typed into this computer's command line."""
        if os.name == "nt":
            return subprocess.list2cmdline(self.words)
        return shlex.join(self.words)


def uploads(
    chip: str,
    image: Path,
    way: Way,
    port: str,
    *,
    baud: int = BOOT_BAUD,
    programmer: str = "",
) -> tuple[Upload, ...]:
    """What to call, in order.

    Args:
        chip: name of the chip, as in a show.
        image: the Intel hex file.
        way: how the chip is reached.
        port: the serial port; not used by `isp`.
        baud: of the boot loader (`serial` and `urclock`).
        programmer: the uploader's name of the programmer (`isp`).
    """
    start = (UPLOADER, "-p", PART[chip])
    write = ("-U", f"flash:w:{image}:i")
    if way == "isp":
        fuses = (("lfuse", LOW_FUSE), ("hfuse", HIGH_FUSE), ("efuse", EXTENDED_FUSE))
        settings = [word for name, to in fuses for word in ("-U", f"{name}:w:0x{to:02x}:m")]
        return (
            Upload("set the fuses, once per chip", (*start, "-c", programmer, *settings)),
            Upload("erase and write the firmware", (*start, "-c", programmer, *write)),
        )
    reach = ("-c", _SERIAL_ID[way], "-P", port, "-b", str(baud))
    # -D: the boot loader has no chip erase.
    return (Upload("write the firmware", (*start, *reach, "-D", *write)),)


def uploader_path() -> str | None:
    """Where the uploader is installed; None if it is not."""
    return shutil.which(UPLOADER)


def run(words: Sequence[str]) -> int:
    """Call the uploader, its output going where ours goes; its exit status."""
    return subprocess.run(list(words)).returncode
