"""The arrays that pass through the models, by what they hold."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
"""Physical amounts and shares."""

Flags: TypeAlias = NDArray[np.bool_]

Integers: TypeAlias = NDArray[np.int64]
"""A board's integers."""

Indices: TypeAlias = NDArray[np.intp]
"""Places in other arrays."""
