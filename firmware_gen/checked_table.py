"""The seal of a checked show's tables: what a transfer and an image take, and nothing else.

A table can be made of any show, to say what takes its bytes. Onto a board or into an image goes
only one that bears the seal, and `seqlang.check.check` alone gives it, to shows without errors.
`tests/test_seal.py` holds that nothing else touches `SEAL`.
"""

from __future__ import annotations

from dataclasses import InitVar, dataclass
from typing import Final

SEAL: Final = object()


def demand_seal(seal: object) -> None:
    """TypeError for any object that is not the seal."""
    if seal is not SEAL:
        raise TypeError("only seqlang.check.check seals a show and its tables")


@dataclass(frozen=True, slots=True)
class CheckedTable:
    """One board's table of a show that passed every check."""

    board: str
    """The board's name in the show."""
    chip: str
    data: bytes
    seal: InitVar[object]

    def __post_init__(self, seal: object) -> None:
        demand_seal(seal)

    def __init_subclass__(cls) -> None:
        raise TypeError("a kind of its own would get round the seal")


def sealed_bytes(checked: CheckedTable) -> bytes:
    """The bytes of a checked table. TypeError for whatever only looks like one."""
    if type(checked) is not CheckedTable:
        raise TypeError(f"only a checked table goes on; this is a {type(checked).__name__}")
    return checked.data
