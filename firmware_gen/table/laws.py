"""Motion laws in a table: an id; alpha, beta and peak in Q16 (TABLE.md, section 1.3)."""

from __future__ import annotations

from typing import Final

from firmware_gen.table.layout import LAW_IDS, LAWS_BY_ID
from firmware_gen.table.records import LawRecord
from sim.model import Law
from sim.rulebook import PEAK_MIDDLE, SHARE_ONE
from sim.score.fixed_laws import LAW_LISTS, FixedLaw, fixed_law
from sim.score.law_numbers import table_law

UNIFORM_ID: Final = LAW_IDS["uniform"]
LISTED: Final = tuple(sorted(LAW_IDS[name] for name in LAW_LISTS))
"""Ids of the laws held as lists of numbers; the others are computed."""


def law_by_id(law_id: int, alpha: int = 0, beta: int = 0, peak: int = PEAK_MIDDLE) -> FixedLaw:
    """The law of a record. `parabolic` takes no parameters; they follow from its id."""
    shares = alpha / SHARE_ONE, beta / SHARE_ONE, peak / SHARE_ONE
    return fixed_law(Law(LAWS_BY_ID[law_id], *shares))


def law_parameters(law: Law) -> tuple[int, int, int, int]:
    """Id, alpha, beta and peak of a law as a table holds it; alpha and beta 0 if it has none."""
    held = table_law(law)
    alpha = round(SHARE_ONE * held.alpha) if law.name in ("trapezoid", "double-S") else 0
    beta = round(SHARE_ONE * held.beta) if law.name == "double-S" else 0
    return LAW_IDS[law.name], alpha, beta, round(SHARE_ONE * held.peak)


def law_of(record: LawRecord) -> Law:
    """The law that a record states."""
    shares = record.alpha / SHARE_ONE, record.beta / SHARE_ONE, record.peak / SHARE_ONE
    return Law(LAWS_BY_ID[record.law_id], *shares)
