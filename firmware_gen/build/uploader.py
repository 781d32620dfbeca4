"""The words that install a firmware image with the usual uploader, and its fuses.

The uploader is avrdude; its words are in its manual, "Command Line Options". What it needs of a
chip stands in the chip's entry.
"""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, TypeAlias

from firmware_gen.chips import CHIPS

UPLOADER: Final = "avrdude"

UploadWay: TypeAlias = Literal["serial", "urclock", "isp"]
"""`serial`: the boot loader most boards come with (the board must reset as the port opens, as
common boards do, or by its reset button at that moment); `urclock`: the newer one; `isp`: a
programmer on the six-pin header, without a boot loader."""

URCLOCK: Final = "urclock"
"""The uploader's name of what the newer boot loader speaks, on any chip."""


OLDEST_PROTOCOL: Final = "stk500v1"
"""The uploader's name of AVR061's protocol. It asks for the chip's signature as a programmer would
answer, with an instruction of the chip itself. Most boot loaders answer 0, which -F lets pass.
What was written is read back all the same."""


LONGEST_S: Final = 300.0
"""A whole flash takes half a minute over the slowest usual boot loader, written and read back."""

_POLL_S: Final = 0.5


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
    way: UploadWay,
    port: str,
    *,
    baud: int | None = None,
    programmer: str = "",
) -> tuple[Upload, ...]:
    """What to call, in order.

    Args:
        chip: name of the chip, as in a show.
        image: the Intel hex file.
        way: how the chip is reached.
        port: the serial port; not used by `isp`.
        baud: of the boot loader (`serial` and `urclock`); None: the chip's usual one.
        programmer: the uploader's name of the programmer (`isp`).
    """
    tools = CHIPS[chip].tools
    start = (UPLOADER, "-p", tools.part)
    write = ("-U", f"flash:w:{image}:i")
    if way == "isp":
        settings = [
            word for name, to in tools.fuses.items() for word in ("-U", f"{name}:w:0x{to:02x}:m")
        ]
        return (
            Upload("set the fuses, once per chip", (*start, "-c", programmer, *settings)),
            Upload("erase and write the firmware", (*start, "-c", programmer, *write)),
        )
    protocol = URCLOCK if way == "urclock" else tools.boot_protocol
    reach = ("-c", protocol, "-P", port, "-b", str(baud or tools.boot_baud))
    # -D: the boot loader has no chip erase.
    unsigned = ("-F",) if protocol == OLDEST_PROTOCOL else ()
    return (Upload("write the firmware", (*start, *reach, "-D", *unsigned, *write)),)


def uploader_path() -> str | None:
    """Where the uploader is installed; None if it is not."""
    return shutil.which(UPLOADER)


class UploadStoppedError(Exception):
    """The uploader was stopped because it could come to no end; the message says why."""


def run(words: Sequence[str], longest_s: float = LONGEST_S) -> int:
    """Call the uploader, its output going where ours goes; its exit status.

    Where the port vanishes, or after `longest_s`, it is ended (UploadStoppedError): by itself it
    would go on reading from a port that is gone.
    """
    port = words[words.index("-P") + 1] if "-P" in words else ""
    was_there = bool(port) and os.path.exists(port)
    started_s = time.monotonic()
    with subprocess.Popen(list(words)) as uploader:
        while True:
            try:
                return uploader.wait(_POLL_S)
            except subprocess.TimeoutExpired:
                gone = was_there and not os.path.exists(port)
                if not gone and time.monotonic() - started_s < longest_s:
                    continue
            uploader.kill()
            uploader.wait()
            what = f"the port {port} is gone" if gone else f"no end after {longest_s:.0f} s"
            raise UploadStoppedError(what)
