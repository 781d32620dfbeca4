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
)
from firmware_gen.chips import CHIPS, FIRST
from tests.emulator.emulated import why_not
from tests.emulator.firmware import Firmware, shipped_for


@pytest.fixture(autouse=True)
def _emulator_is_there() -> None:
    if reason := why_not():
        pytest.skip(reason)


@pytest.fixture(scope="session", params=CHIPS)
def firmware(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Firmware:
    """Each chip with the image that ships; with what another compiler in the path makes, if there
    is one."""
    return _firmware(request.param, tmp_path_factory)


@pytest.fixture(scope="session")
def flash(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The first chip's."""
    return _firmware(FIRST.name, tmp_path_factory).flash


def _firmware(chip: str, folders: pytest.TempPathFactory) -> Firmware:
    if can_build() and compiler_version() != COMPILER_VERSION:
        path = build(chip, folders.mktemp("image"))
        return Firmware(CHIPS[chip], flash_bytes(read_hex(path.read_text("ascii"))))
    return shipped_for(CHIPS[chip])
