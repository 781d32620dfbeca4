"""The firmware's image: Intel hex, merging a table behind it, and building it anew.

Intel hex: Intel Hexadecimal Object File Format Specification, revision A, 1988.
"""

from __future__ import annotations

import os
import secrets
import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from io import StringIO
from pathlib import Path
from typing import Final

from intelhex import HexReaderError, IntelHex

from firmware_gen.checked_table import CheckedTable, sealed_bytes
from firmware_gen.chips import CHIPS, Chip
from firmware_gen.chips.chip import STAMP_BYTES
from firmware_gen.files import write_whole

HERE: Final = Path(__file__).resolve().parent.parent
IMAGES: Final = HERE / "images"

END_RECORD: Final = ":00000001FF"

_STAMPS: Final = 0xFFFF
"""Stamps lie below what an erased witness reads as."""


class ImageError(ValueError):
    """An image that cannot be read, merged or built; the message says why."""


def read_hex(text: str) -> dict[int, int]:
    """Bytes of an Intel hex file by address. ImageError names the line at fault."""
    image = IntelHex()
    try:
        image.loadhex(StringIO(text))
    except HexReaderError as error:
        raise ImageError(f"this is not an image in Intel hex: {error}") from None
    if END_RECORD not in text.upper().split():
        raise ImageError("the end record is missing: the file is cut short")
    return {address: image[address] for address in image.addresses()}


def write_hex(memory: Mapping[int, int]) -> str:
    """An Intel hex file of these bytes: data records in ascending order, one end record."""
    text = StringIO()
    IntelHex(dict(memory)).write_hex_file(text, eolstyle="native")
    return text.getvalue()


def shipped(chip: str) -> Path:
    """Path of the image that ships for a chip. ImageError if there is none."""
    path = IMAGES / f"{chip}.hex"
    if not path.exists():
        those = ", ".join(sorted(image.stem for image in IMAGES.glob("*.hex")))
        raise ImageError(f"there is no firmware for `{chip}`; there is one for {those}")
    return path


def flash_bytes(memory: Mapping[int, int]) -> bytes:
    """Flash from address 0 on, erased cells (0xFF) where nothing is stated."""
    end = max(memory, default=-1) + 1
    return bytes(memory.get(address, 0xFF) for address in range(end))


def merged_room(chip: str, *, boot_loader: bool = True) -> int:
    """Bytes that a merged table may have: up to the boot loader, or to the end of flash."""
    return CHIPS[chip].memory.merged_room(boot_loader=boot_loader)


def merge(
    memory: Mapping[int, int],
    checked: CheckedTable,
    *,
    boot_loader: bool = True,
    stamp: int | None = None,
) -> dict[int, int]:
    """The image with a table behind the firmware, where it plays without a transfer.

    `stamp` follows the table: by it a board tells a table merged anew, which plays before older
    tables in its slots (LINK.md section 6); None: one is drawn.
    """
    chip, table = checked.chip, sealed_bytes(checked)
    start = CHIPS[chip].memory.merged_start
    room = merged_room(chip, boot_loader=boot_loader)
    if max(memory, default=0) >= start:
        raise ImageError(f"the firmware reaches beyond 0x{start:04x}, where a merged table begins")
    if len(table) > room:
        more = merged_room(chip, boot_loader=False)
        hint = f" (without a boot loader {more})" if boot_loader else ""
        raise ImageError(f"the table has {len(table)} bytes; {room} can be merged{hint}")
    drawn = secrets.randbelow(_STAMPS) if stamp is None else stamp
    behind = table + drawn.to_bytes(STAMP_BYTES, "little")
    return {**memory, **{start + offset: byte for offset, byte in enumerate(behind)}}


# -- building ----------------------------------------------------------------------------------

LAYER: Final = "avr"
"""The folder of what all chips of this family share."""
COMPILER: Final = "avr-gcc"
COMPILER_VERSION: Final = "5.4.0"
"""With which the shipped image was made; another version makes another image."""
FLAGS: Final = (
    "-std=c99",
    "-Os",
    "-flto",
    "-mrelax",
    "-ffunction-sections",
    "-Wl,--gc-sections",
    "-fno-ident",
    "-Wall",
    "-Wextra",
)
"""For compiling and linking alike. `-flto` lets the compiler see all files at once, `-mrelax` makes
short jumps of calls that are near: both make code smaller and faster. Functions that nothing calls
are left out (sections), and the compiler's name (ident), so that a build depends on nothing but
the sources and the compiler."""


def can_build() -> bool:
    return shutil.which(COMPILER) is not None and shutil.which("avr-objcopy") is not None


def compiler_version() -> str:
    """Version of the compiler in the path, such as `5.4.0`."""
    done = subprocess.run([COMPILER, "-dumpversion"], capture_output=True, text=True, check=True)
    return done.stdout.strip()


def chip_flags(chip: Chip) -> tuple[str, ...]:
    """What the compiler must know of a chip: its name, its clock, what is for it alone, and where
    its folder is."""
    target = (f"-mmcu={chip.tools.mcu}", f"-DF_CPU={chip.clock_hz}UL", *chip.tools.flags)
    return (*target, "-Icore", f"-I{LAYER}", f"-I{chip.name}")


def build(
    chip: str, into: Path, *, flags: Sequence[str] = FLAGS, chip_layer: Sequence[str] = ()
) -> Path:
    """Compile the firmware into a folder (ELF and hex beside one another); path of the hex.

    `chip_layer`: further flags for the files below the core: all chips' and the chip's own.
    """
    words = (COMPILER, *chip_flags(CHIPS[chip]), *flags)
    sources = [path for room in ("core", LAYER, chip) for path in sorted((HERE / room).glob("*.c"))]
    objects = []
    for path in sources:
        made = into / f"{path.stem}.o"
        # The seed names what link-time optimisation makes: the same in every build.
        more = (*(chip_layer if path.parent.name != "core" else ()), f"-frandom-seed={path.stem}")
        _call(*words, *more, "-c", _named(path), "-o", made)
        objects.append(made)
    elf, image, raw = (into / f"{chip}.{kind}" for kind in ("elf", "hex", "raw"))
    _call(*words, *objects, "-o", elf)
    _call("avr-objcopy", "-O", "ihex", "-R", ".eeprom", elf, raw)
    image.write_text(write_hex(read_hex(raw.read_text("ascii"))), "ascii", newline="\n")
    return image


def _named(path: Path) -> str:
    return path.relative_to(HERE).as_posix()


def _call(*words: str | Path) -> None:
    done = subprocess.run(
        [os.fspath(word) for word in words], cwd=HERE, capture_output=True, text=True
    )
    if done.returncode:
        raise ImageError(f"{words[0]} failed:\n{done.stderr}")


def rebuild(chip: str) -> Path:
    """Compile the firmware and put it in the place of the shipped image."""
    with tempfile.TemporaryDirectory() as folder:
        image = build(chip, Path(folder))
        write_whole(IMAGES / f"{chip}.hex", image.read_bytes())
    return IMAGES / f"{chip}.hex"


def _rebuild_all() -> None:
    from firmware_gen.build import webassembly  # the page's board; images do without it

    for name in CHIPS:
        print(rebuild(name))
        if webassembly.can_build():
            print(webassembly.rebuild(name))
        else:
            print(f"NO CLANG {webassembly.COMPILER_VERSION}: {name}.wasm is left as it was")


if __name__ == "__main__":
    _rebuild_all()
