"""The words that install a firmware image with the usual uploader, and its fuses.

The uploader is avrdude; its words are in its manual, "Command Line Options". What it needs of a
chip stands in the chip's entry.
"""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
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


UploadProgress = Callable[[str, int, int], None]
"""What is done (`write`, `verify`), how much of it, and of how much."""

UploadTrouble: TypeAlias = Literal[
    "no-answer", "wrong-chip", "differs", "port-busy", "no-permission", "unclear"
]

_TROUBLES: Final[tuple[tuple[UploadTrouble, tuple[str, ...]], ...]] = (
    ("differs", ("verification error", "verification mismatch", "content mismatch")),
    ("no-permission", ("permission denied", "access is denied")),
    ("port-busy", ("resource busy", "device or resource", "cannot lock", "in use")),
    (
        "no-answer",
        ("not in sync", "not responding", "protocol error", "timeout", "unable to open program"),
    ),
    ("wrong-chip", ("invalid device signature", "double check chip", "does not match")),
)
"""Words of the uploader's (its versions 6 to 8), what they mean, the clearest first."""


class UploaderWords:
    """What the uploader says: its bars as progress, everything else kept for who needs it.

    Each of its bars is a line `Writing | ####` of fifty marks.
    """

    _STEPS: Final = {"Writing": "write", "Reading": "verify"}
    _MARKS: Final = 50

    def __init__(self, progress: UploadProgress) -> None:
        self._progress = progress
        self._line = ""
        self._lines: list[str] = []

    def take(self, words: str) -> None:
        """Some letters more."""
        for letter in words:
            if letter in "\r\n":
                self._end_line()
                continue
            self._line += letter
            name, bar, marks = self._line.partition(" | ")
            if bar and letter == "#" and name in self._STEPS:
                self._progress(self._STEPS[name], 100 * len(marks) // self._MARKS, 100)

    def _end_line(self) -> None:
        line, self._line = self._line.strip().removeprefix(f"{UPLOADER}: "), ""
        if line and " | " not in line:
            self._lines.append(line)

    @property
    def last(self) -> tuple[str, ...]:
        """Its last lines but for bars and its goodbye."""
        kept = [line for line in (*self._lines, self._line.strip()) if line]
        return tuple(line for line in kept if "Thank you" not in line)[-6:]

    @property
    def trouble(self) -> UploadTrouble:
        """What went wrong, as far as its words tell."""
        said = "\n".join((*self._lines, self._line)).lower()
        return next(
            (kind for kind, signs in _TROUBLES if any(sign in said for sign in signs)), "unclear"
        )


def run(words: Sequence[str], hear: UploaderWords, longest_s: float = LONGEST_S) -> int:
    """Call the uploader, what it says going to `hear`; its exit status.

    Where the port vanishes, or after `longest_s`, it is ended (UploadStoppedError): by itself it
    would go on reading from a port that is gone.
    """
    port = words[words.index("-P") + 1] if "-P" in words else ""
    was_there = bool(port) and os.path.exists(port)
    started_s = time.monotonic()
    with subprocess.Popen(
        list(words), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    ) as uploader:
        hearing = threading.Thread(target=_hear, args=(uploader, hear), daemon=True)
        hearing.start()
        while True:
            try:
                status = uploader.wait(_POLL_S)
                hearing.join(_POLL_S)
                return status
            except subprocess.TimeoutExpired:
                gone = was_there and not os.path.exists(port)
                if not gone and time.monotonic() - started_s < longest_s:
                    continue
            uploader.kill()
            uploader.wait()
            what = f"the port {port} is gone" if gone else f"no end after {longest_s:.0f} s"
            raise UploadStoppedError(what)


def _hear(uploader: subprocess.Popen[bytes], hear: UploaderWords) -> None:
    assert uploader.stdout is not None
    with suppress(OSError, ValueError):  # closed, because it was ended
        while data := os.read(uploader.stdout.fileno(), 4096):
            hear.take(data.decode(errors="replace"))
