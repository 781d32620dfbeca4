"""Servos of one make that do the same get one finding: what is wrong with one is wrong with all.

Statements for several servos need none of this: their findings stand in one place (`seqlang.check`
makes one of them). Here each servo has the line at fault for itself.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from seqlang.checks.figures import listed

if TYPE_CHECKING:
    from collections.abc import Iterable

    from seqlang.text.findings import Finding, Fix

PLACES_SHOWN = 3
"""How many of the other servos the finding marks; its words name all of them."""


def told_once(found: Iterable[tuple[str, Finding]]) -> list[Finding]:
    """The findings, each with the name of its servo, without those that only differ in that name.

    The first of them in the text names the others, points at them, and its fix mends all.
    """
    alike: dict[tuple[object, ...], list[tuple[str, Finding]]] = {}
    for name, one in sorted(found, key=lambda pair: pair[1].span.start):
        said = (one.message, one.label, one.help or "")
        told = tuple(words.replace(f"`{name}`", "``") for words in said)
        fix = None if one.fix is None else (one.fix.text, one.fix.span.path)
        alike.setdefault((one.name, one.severity, told, fix), []).append((name, one))
    return [_joined(group) for group in alike.values()]


def _joined(group: list[tuple[str, Finding]]) -> Finding:
    (_, first), *others = group
    if not others:
        return first
    places = dict.fromkeys(one.span for _, one in others if one.span != first.span)
    return replace(
        first,
        related=(*first.related, *((span, "the same here") for span in [*places][:PLACES_SHOWN])),
        notes=(*first.notes, f"the same goes for {listed([name for name, _ in others])}"),
        fix=_of_all([one.fix for _, one in group if one.fix is not None]),
    )


def _of_all(fixes: list[Fix]) -> Fix | None:
    if not fixes:
        return None
    first, *others = fixes
    more = dict.fromkeys(place for fix in others for place in fix.places)
    own = set(first.places)
    return replace(first, more=(*first.more, *(place for place in more if place not in own)))
