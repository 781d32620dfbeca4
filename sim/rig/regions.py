"""Body regions and the contact limits published for them.

ISO/TS 15066:2016, annex A, table A.2: the greatest quasi-static force and pressure of a contact,
by region; of a region's several points the one with the least pressure counts. The table is for
adult workers beside industrial robots: it knows no children and no public. It wants no contact with
the head at all; the head's numbers are there for the worst case.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Region:
    """One body region: what the standard calls it, and its quasi-static limits."""

    title: str
    force_n: float
    """Force (N): from memory, corroborated once by a public source file; not seen in the
    standard."""
    pressure_n_cm2: float
    """Pressure (N/cm2), the least of the region's points: from memory; those of forehead, neck and
    chest corroborated once."""


REGIONS: Final[dict[str, Region]] = {
    "skull": Region("skull and forehead", 130.0, 110.0),
    "face": Region("face", 65.0, 110.0),
    "head": Region("head, where its face is weakest", 65.0, 110.0),
    "neck": Region("neck", 150.0, 140.0),
    "back": Region("back and shoulders", 210.0, 160.0),
    "shoulder": Region("back and shoulders", 210.0, 160.0),
    "chest": Region("chest", 140.0, 120.0),
    "abdomen": Region("abdomen", 110.0, 140.0),
    "pelvis": Region("pelvis", 180.0, 210.0),
    "upper_arm": Region("upper arms and elbow joints", 150.0, 190.0),
    "lower_arm": Region("lower arms and wrist joints", 160.0, 180.0),
    "hand": Region("hands and fingers", 140.0, 190.0),
    "thigh": Region("thighs and knees", 220.0, 220.0),
    "lower_leg": Region("lower legs", 130.0, 210.0),
}
"""By the name written in a show."""

STATUS: Final = (
    "ISO/TS 15066:2016 table A.2, from memory, confirmed in part, for adult workers only; it "
    "does not say that a part near people is safe"
)
