"""Runs every check of the project: `python -m tests [--long] [PYTEST ARGUMENTS]`.

Installs the chip's toolchain, its emulator and a browser where they are missing and where that is
possible; where it is not, says loudly which tests are left out.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = (
    "gcc",
    "gcc-avr",
    "avr-libc",
    "binutils-avr",
    "simavr",
    "libsimavr-dev",
    "libelf-dev",
    "avrdude",
    "clang",
    "lld",
)
COMMANDS = ("gcc", "avr-gcc", "avr-objcopy", "avrdude", "clang", "wasm-ld")
BROWSER = ("chromium",)
NEEDED = (Path("/usr/include/simavr/sim_avr.h"), Path("/usr/include/libelf.h"))


def toolchain_is_complete() -> bool:
    commands = all(map(shutil.which, (*COMMANDS, *BROWSER)))
    return commands and all(path.exists() for path in NEEDED)


def privilege() -> list[str] | None:
    """The words before a command that needs root, or None where root cannot be had."""
    if not hasattr(os, "geteuid"):
        return None
    if os.geteuid() == 0:
        return []
    sudo = shutil.which("sudo")
    if sudo and subprocess.run([sudo, "-n", "true"], capture_output=True).returncode == 0:
        return [sudo, "-n"]
    return None


def install_toolchain() -> None:
    """Install the chip's compiler and emulator from Debian, quietly, if at all possible."""
    before = privilege()
    if shutil.which("apt-get") and before is not None:
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        for words in (["update", "-qq"], ["install", "-y", "-qq", *PACKAGES, *BROWSER]):
            subprocess.run([*before, "apt-get", *words], env=environment, stdout=subprocess.DEVNULL)
    if not toolchain_is_complete():
        print(
            "!! The chip's compiler, its emulator or the browser is missing, not installable.\n"
            "!! LEFT OUT: the tests that need them (compiled core, emulated chip, preview page).\n"
            f"!! To run them: apt-get install {' '.join(PACKAGES + BROWSER)}",
            flush=True,
        )


def run(title: str, words: Sequence[str]) -> bool:
    print(f"== {title}", flush=True)
    return subprocess.run(words, cwd=ROOT).returncode == 0


def main(arguments: Sequence[str]) -> int:
    if not toolchain_is_complete():
        install_toolchain()
    python = [sys.executable, "-m"]
    passed = [
        run("ruff check", [*python, "ruff", "check", "."]),
        run("ruff format", [*python, "ruff", "format", "--check", "--quiet", "."]),
        run("mypy --strict", [*python, "mypy", "--strict"]),
        run("pytest", [*python, "pytest", "-n", "2", "-rs", *arguments]),
    ]
    return 0 if all(passed) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
