"""What a chip's pins can do, as the core asks for it: a byte a pin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from firmware_gen.chips.chip import Chip, Job

_BITS: Final[tuple[tuple[Job, int], ...]] = (
    ("servo", 1),
    ("lamp", 2),
    ("strip", 4),
    ("switch", 8),
    ("input", 16),
    ("channel", 32),
    ("sensor", 64),
)
"""BC_PIN_* of `core/bellcrank.h`; a test holds them against it."""


def abilities(chip: Chip) -> bytes:
    """A byte for each of eight pins of each port, in the order of their numbers."""
    able = {job: chip.pins_for(job) for job, _ in _BITS}
    pins = range(8 * len(chip.ports))
    return bytes(sum(bit for job, bit in _BITS if pin in able[job]) for pin in pins)
