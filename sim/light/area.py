"""Light by area: which neighbouring pixels of a strip fill the solid angle that counts.

WCAG 2.2 counts flashes whose area is over 0.006 steradian, a quarter of a field of 10 degrees. At
a distance d that is 0.006 d**2. A pixel is taken to light a square as wide as the strip's pitch,
which is the most it can (own): so as few neighbours as possible fill the angle, and a group is
judged by the mean of its pixels.

Whoever stands farther away sees larger groups as one. So groups of the least size, of twice that
and so on up to the whole strip are judged; those of the least size at every place, larger ones at
every half of their length. A strip that is too small to fill the angle at all is judged as a
whole: no strip is excused by its area.
"""

from __future__ import annotations

from math import floor

import numpy as np
from numpy.typing import NDArray

from sim.arrays import Array
from sim.light.flash import AREA_SR


def area_m2(distance_m: float) -> float:
    """Area (m2) that 0.006 sr covers at a distance (m), looked at squarely."""
    return AREA_SR * distance_m**2


def least_group(pitch_m: float, viewing_m: float, pixels: int) -> int:
    """How many neighbouring pixels fill the solid angle, rounded down; at most all of them."""
    return max(1, min(pixels, floor(area_m2(viewing_m) / pitch_m**2 + 1e-9)))


def groups(pixels: int, least: int) -> NDArray[np.intp]:
    """First pixel of each group that is judged and the pixel behind its last, shape (groups, 2)."""
    spans: set[tuple[int, int]] = {(0, pixels)}
    size = least
    while size < pixels:
        step = 1 if size == least else max(1, size // 2)
        spans |= {(first, first + size) for first in range(0, pixels - size + 1, step)}
        spans.add((pixels - size, pixels))
        size *= 2
    return np.array(sorted(spans, key=lambda span: (span[1] - span[0], span[0])), dtype=np.intp)


def group_means(values: Array, spans: NDArray[np.intp]) -> Array:
    """Mean of each group: `values` of shape (..., pixels), the result (..., groups)."""
    if values.shape[-1] == 1:
        return values
    sums = np.zeros((*values.shape[:-1], values.shape[-1] + 1))
    np.cumsum(values, axis=-1, out=sums[..., 1:])
    first, last = spans.T
    return np.asarray((sums[..., last] - sums[..., first]) / (last - first))
