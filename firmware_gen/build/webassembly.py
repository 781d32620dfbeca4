"""The core as WebAssembly: the board that a page runs, built anew by `firmware_gen.build.image`.

The core and the folder `webassembly`, compiled without a C library for the target wasm32, with the
numbers of one chip. What is built depends on nothing but the sources and the compiler, whose name
stands in it (the custom section `producers` of the WebAssembly tool conventions).
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from firmware_gen.build.generate import chip_header
from firmware_gen.chips import CHIPS
from firmware_gen.files import write_whole

HERE: Final = Path(__file__).resolve().parent.parent
IMAGES: Final = HERE / "images"
LAYER: Final = "webassembly"
"""The folder that does here what a chip's folder does for its image."""

COMPILER: Final = "clang"
LINKER: Final = "wasm-ld"
COMPILER_VERSION: Final = "14.0.6"
"""With which the shipped programs were made; another version makes other ones."""
STACK_BYTES: Final = 8192
"""More than enough for a core without recursion; it lies below all data (`--stack-first`), so that
an overflow traps."""

FLAGS: Final = (
    "--target=wasm32",
    "-std=c99",
    "-Os",
    "-ffreestanding",
    "-ffunction-sections",
    "-DBC_TELLS_MOTION",
    "-Wall",
    "-Wextra",
)
LINKED: Final = (
    "-nostdlib",
    "-Wl,--no-entry",
    "-Wl,--gc-sections",
    "-Wl,--stack-first",
    f"-Wl,-z,stack-size={STACK_BYTES}",
    "-Wl,--export=__heap_base",
    "-Wl,--strip-debug",
)


class WebAssemblyError(ValueError):
    """A program for a page that is not there or cannot be built; the message says why."""


def shipped(chip: str) -> Path:
    """Path of the program that ships for a chip. WebAssemblyError if there is none."""
    path = IMAGES / f"{chip}.wasm"
    if not path.exists():
        raise WebAssemblyError(f"there is no WebAssembly for `{chip}`")
    return path


def can_build() -> bool:
    """Whether the compiler that makes the shipped programs is in the path, with its linker."""
    if shutil.which(COMPILER) is None or shutil.which(LINKER) is None:
        return False
    return compiler_version() == COMPILER_VERSION


def compiler_version() -> str:
    """Version of the compiler in the path, such as `14.0.6`; empty if it does not say."""
    done = subprocess.run([COMPILER, "--version"], capture_output=True, text=True)
    found = re.search(r"clang version (\d+\.\d+\.\d+)", done.stdout)
    return found[1] if found else ""


def build(chip: str, into: Path, *, flags: Sequence[str] = FLAGS) -> Path:
    """Compile the core for pages into a folder; path of the program."""
    sources = sorted((HERE / "core").glob("*.c")) + sorted((HERE / LAYER).glob("*.c"))
    (into / "bc_chip.h").write_text(chip_header(CHIPS[chip]), "ascii")
    program = into / f"{chip}.wasm"
    folders = ("-Icore", f"-I{LAYER}", f"-isystem{LAYER}", f"-I{into}")
    named = [path.relative_to(HERE).as_posix() for path in sources]
    words = [COMPILER, *flags, *folders, *LINKED, *named, "-o", str(program)]
    done = subprocess.run(words, cwd=HERE, capture_output=True, text=True)
    if done.returncode:
        raise WebAssemblyError(f"{COMPILER} failed:\n{done.stderr}")
    return program


def rebuild(chip: str) -> Path:
    """Compile the program and put it in the place of the shipped one."""
    with tempfile.TemporaryDirectory() as folder:
        made = build(chip, Path(folder))
        write_whole(IMAGES / f"{chip}.wasm", made.read_bytes())
    return IMAGES / f"{chip}.wasm"
