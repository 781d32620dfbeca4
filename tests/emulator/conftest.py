"""Every test in this folder needs the emulator; where it is missing they are skipped, loudly."""

from __future__ import annotations

import pytest

from firmware_gen.build.image import (
    COMPILER_VERSION,
    build,
    can_build,
    compiler_version,
    flash_bytes,
    read_hex,
    shipped,
)
from tests.emulator.emulated import why_not


@pytest.fixture(autouse=True)
def _emulator_is_there() -> None:
    if reason := why_not():
        pytest.skip(reason)


@pytest.fixture(scope="session")
def flash(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The image that ships, as flash; what another compiler in the path makes, if there is one."""
    path = shipped("atmega328p")
    if can_build() and compiler_version() != COMPILER_VERSION:
        path = build("atmega328p", tmp_path_factory.mktemp("image"))
    return flash_bytes(read_hex(path.read_text("ascii")))
