"""The firmware's image: Intel hex, merging a table behind it, and building it anew.

Intel hex: Intel Hexadecimal Object File Format Specification, revision A, 1988.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

HERE: Final = Path(__file__).resolve().parent
IMAGES: Final = HERE / "images"

DATA: Final = 0
END: Final = 1
BYTES_PER_RECORD: Final = 16

MERGED_START: Final[Mapping[str, int]] = {"atmega328p": 0x4000}
"""Flash address of a merged table; the firmware ends before it."""
MERGED_BYTES: Final[Mapping[str, int]] = {"atmega328p": 0x3800}
"""Room for a merged table: up to the largest boot loader section of the chip, 4 KB, less half."""


class ImageError(ValueError):
    """An image that cannot be read, merged or built; the message says why."""


def read_hex(text: str) -> dict[int, int]:
    """Bytes of an Intel hex file by address. ImageError names the line at fault."""
    memory: dict[int, int] = {}
    for number, line in enumerate(text.split(), 1):
        kind, address, data = _record(line, number)
        if kind == END:
            return memory
        if kind != DATA:
            raise ImageError(
                f"line {number}: record type {kind} is not used in images of this size"
            )
        for offset, byte in enumerate(data):
            if memory.setdefault(address + offset, byte) != byte:
                raise ImageError(f"line {number}: address 0x{address + offset:04x} is stated twice")
    raise ImageError("the end record is missing: the file is cut short")


def _record(line: str, number: int) -> tuple[int, int, bytes]:
    try:
        raw = bytes.fromhex(line.removeprefix(":"))
    except ValueError:
        raw = b""
    if not line.startswith(":") or len(raw) < 5 or len(raw) != raw[0] + 5:
        raise ImageError(f"line {number}: not an Intel hex record")
    if sum(raw) % 256:
        raise ImageError(f"line {number}: the check sum is wrong")
    return raw[3], int.from_bytes(raw[1:3], "big"), raw[4:-1]


def write_hex(memory: Mapping[int, int]) -> str:
    """An Intel hex file of these bytes: data records of 16 in ascending order, one end record."""
    lines = []
    for start, data in _runs(memory):
        lines.append(_line(start, DATA, data))
    lines.append(_line(0, END, b""))
    return "".join(f"{line}\n" for line in lines)


def _runs(memory: Mapping[int, int]) -> Iterable[tuple[int, bytes]]:
    run = bytearray()
    start = 0
    for address in sorted(memory):
        if run and (address != start + len(run) or address % BYTES_PER_RECORD == 0):
            yield start, bytes(run)
            run.clear()
        if not run:
            start = address
        run.append(memory[address])
    if run:
        yield start, bytes(run)


def _line(address: int, kind: int, data: bytes) -> str:
    raw = bytes((len(data), *address.to_bytes(2, "big"), kind, *data))
    return f":{(raw + bytes((-sum(raw) % 256,))).hex().upper()}"


def shipped(chip: str) -> Path:
    """Path of the image that ships for a chip. ImageError if there is none."""
    path = IMAGES / f"{chip}.hex"
    if not path.exists():
        raise ImageError(
            f"there is no firmware for `{chip}`; there is one for {', '.join(sorted(MERGED_START))}"
        )
    return path


def flash_bytes(memory: Mapping[int, int]) -> bytes:
    """Flash from address 0 on, erased cells (0xFF) where nothing is stated."""
    end = max(memory, default=-1) + 1
    return bytes(memory.get(address, 0xFF) for address in range(end))


def merge(chip: str, memory: Mapping[int, int], table: bytes) -> dict[int, int]:
    """The image with a table behind the firmware, where it plays without a transfer."""
    start, room = MERGED_START[chip], MERGED_BYTES[chip]
    if max(memory, default=0) >= start:
        raise ImageError(f"the firmware reaches beyond 0x{start:04x}, where a merged table begins")
    if len(table) > room:
        raise ImageError(f"the table has {len(table)} bytes; {room} can be merged into the image")
    return {**memory, **{start + offset: byte for offset, byte in enumerate(table)}}


# -- building ----------------------------------------------------------------------------------

COMPILER: Final = "avr-gcc"
FLAGS: Final = (
    "-mmcu=atmega328p",
    "-DF_CPU=16000000UL",
    "-std=c99",
    "-Os",
    "-flto",
    "-fwhole-program",
    "-Wall",
    "-Wextra",
    "-Werror",
    "-fno-ident",
    "-frandom-seed=0",
    "-Icore",
    "-Iatmega328p",
    "-Wl,--gc-sections",
)
"""What the image depends on besides the sources and the compiler (COMPILER_VERSION)."""

COMPILER_VERSION: Final = "5.4.0"


def can_build() -> bool:
    return shutil.which(COMPILER) is not None and shutil.which("avr-objcopy") is not None


def compiler_version() -> str:
    """Version of the compiler in the path, such as `5.4.0`."""
    done = subprocess.run([COMPILER, "-dumpversion"], capture_output=True, text=True, check=True)
    return done.stdout.strip()


def build(chip: str, into: Path) -> Path:
    """Compile the firmware into a folder (ELF and hex beside one another); path of the hex."""
    sources = sorted((HERE / "core").glob("*.c")) + sorted((HERE / chip).glob("*.c"))
    elf, image = into / f"{chip}.elf", into / f"{chip}.hex"
    units = [os.fspath(path.relative_to(HERE)) for path in sources]
    compile_words = [COMPILER, *FLAGS, "-o", os.fspath(elf), *units]
    raw = into / f"{chip}.raw"
    copy_words = ["avr-objcopy", "-O", "ihex", "-R", ".eeprom", os.fspath(elf), os.fspath(raw)]
    for words in (compile_words, copy_words):
        done = subprocess.run(words, cwd=HERE, capture_output=True, text=True)
        if done.returncode:
            raise ImageError(f"{words[0]} failed:\n{done.stderr}")
    image.write_text(write_hex(read_hex(raw.read_text("ascii"))), "ascii", newline="\n")
    raw.unlink()
    return image


def rebuild(chip: str) -> Path:
    """Compile the firmware and put it in the place of the shipped image."""
    with tempfile.TemporaryDirectory() as folder:
        image = build(chip, Path(folder))
        IMAGES.mkdir(exist_ok=True)
        beside = IMAGES / f".{chip}.hex.new"
        beside.write_bytes(image.read_bytes())
        beside.replace(IMAGES / f"{chip}.hex")
    return IMAGES / f"{chip}.hex"


if __name__ == "__main__":
    print(rebuild("atmega328p"))
