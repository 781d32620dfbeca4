"""Every test in this folder needs the emulator; where it is missing they are skipped, loudly."""

from __future__ import annotations

import pytest

from firmware_gen.build.image import flash_bytes, read_hex, shipped
from tests.emulator.emulated import why_not


@pytest.fixture(autouse=True)
def _emulator_is_there() -> None:
    if reason := why_not():
        pytest.skip(reason)


@pytest.fixture(scope="session")
def flash() -> bytes:
    """The image that ships, as flash."""
    return flash_bytes(read_hex(shipped("atmega328p").read_text("ascii")))
