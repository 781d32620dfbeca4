"""Motion laws by their names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

LawName: TypeAlias = Literal[
    "uniform",
    "parabolic",
    "trapezoid",
    "harmonic",
    "cycloidal",
    "3-4-5",
    "4-5-6-7",
    "modified sine",
    "modified trapezoid",
    "double-S",
]


@dataclass(frozen=True, slots=True)
class Law:
    """A motion law by name.

    `alpha` is the share of the whole duration spent accelerating (`trapezoid`, `double-S`),
    0 < alpha <= 1/2. `beta` is the share of the acceleration phase in which the acceleration
    rises (`double-S`), 0 < beta <= 1/2. Both are 0 for laws that do not use them. `peak` is the
    share of the duration at which the part is fastest, 0.26 to 0.74: 1/2 for the laws as the
    handbooks have them; `uniform` is as fast everywhere.
    """

    name: LawName = "3-4-5"
    alpha: float = 0.0
    beta: float = 0.0
    peak: float = 0.5


MINIMUM_JERK: Final = Law("3-4-5")
UNIFORM: Final = Law("uniform")
