"""The checks, one small module per kind of finding, named for the bad thing.

Each module has one function `check(scene) -> Iterator[Finding]`; `CHECKS` lists them in the
order they run (the order of findings comes from the text).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from seqlang.checks import (
    button_bound_twice,
    calibration_order,
    target_outside_travel,
)
from seqlang.checks.scene import Scene
from seqlang.diagnostics import Finding

CHECKS: tuple[Callable[[Scene], Iterable[Finding]], ...] = (
    calibration_order.check,
    target_outside_travel.check,
    button_bound_twice.check,
)
