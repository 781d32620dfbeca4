"""The chips that a show can be made for: a module each, which holds all that is known of one.

A new chip is a module here, with its `Chip` as `CHIP`, and a folder of the same name with its C
code: nothing else names it. `chip` says what an entry holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from pkgutil import iter_modules
from types import MappingProxyType
from typing import Final

from firmware_gen.chips.chip import Chip, Job

__all__ = ["CHIPS", "CHIPS_BY_ID", "FIRST", "PORT_LETTERS", "Chip", "Job"]

_FOUND: Final[list[Chip]] = sorted(
    (
        import_module(f"{__name__}.{entry.name}").CHIP
        for entry in iter_modules(__path__)
        if entry.name != "chip"
    ),
    key=lambda chip: chip.chip_id,
)
_BY_NAME: Final[dict[str, Chip]] = {chip.name: chip for chip in _FOUND}
_BY_ID: Final[dict[int, Chip]] = {chip.chip_id: chip for chip in _FOUND}

CHIPS: Final[Mapping[str, Chip]] = MappingProxyType(_BY_NAME)
"""By the name written in a show."""

CHIPS_BY_ID: Final[Mapping[int, Chip]] = MappingProxyType(_BY_ID)
"""By the number in a table's header."""

PORT_LETTERS: Final = "".join(sorted({letter for chip in _FOUND for letter in chip.ports}))
"""Of the ports of all chips."""

FIRST: Final = _FOUND[0]
"""Taken where nobody says which chip: a virtual board without a show."""
