"""The one way round the check, for tests: tables made by hand, that no show may give.

Boards must bear whatever arrives, so their tests send tables that the check would never let pass.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from firmware_gen.build.image import merge
from firmware_gen.checked_table import SEAL, CheckedTable
from firmware_gen.link.host import HostLink
from firmware_gen.link.transfer import Transferred, transfer

CHIP = "atmega328p"


def unchecked(data: bytes, chip: str = CHIP) -> CheckedTable:
    """Any bytes as a table that bears the seal."""
    return CheckedTable("by hand", chip, bytes(data), SEAL)


def transfer_unchecked(link: HostLink, data: bytes, **more: Any) -> Transferred:
    return transfer(link, unchecked(data), **more)


def merge_unchecked(
    memory: Mapping[int, int], data: bytes, chip: str = CHIP, **more: Any
) -> dict[int, int]:
    return merge(memory, unchecked(data, chip), **more)
