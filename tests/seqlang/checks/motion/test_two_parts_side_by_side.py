"""Two parts that have nothing to do with each other: each is told of as if it stood alone.

So no check takes the other's servo, load, moves or starts, and none is told twice. What a rehearsal
shows is left out: a show with an error in it is not rehearsed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import pytest

from tests.seqlang.show_text import Lines, block, findings, servo

KINDS = (
    "interrupted-overload",
    "rating-impossible",
    "servo-acceleration",
    "servo-heat",
    "servo-speed",
    "servo-torque",
    "speed-jump",
)


@dataclass(frozen=True, kw_only=True)
class Part:
    """A servo's own lines and what its cue does; `kinds`: what is told of it."""

    name: str
    kinds: tuple[str, ...]
    acts: str = "{name} to 40 deg in 2 s\n{name} to 0 deg in 2 s"
    lines: Lines = field(default_factory=dict, hash=False)


LEVEL = {"level": "at 0 deg"}
PARTS = (
    Part(name="sound", kinds=()),
    Part(
        name="quick",
        kinds=("servo-speed",),
        acts="{name} to 60 deg in 300 ms\n{name} to 0 deg in 2 s",
        lines={"load": None},
    ),
    Part(
        name="quicker",
        kinds=("servo-speed",),
        acts="{name} to 0 deg in 2 s\n{name} to 60 deg in 250 ms\n{name} to 0 deg in 200 ms",
        lines={"load": None},
    ),
    Part(
        name="heavy",
        kinds=("servo-heat", "servo-torque"),
        lines={**LEVEL, "load": "900 g at 100 mm"},
    ),
    Part(
        name="hot",
        kinds=("servo-heat",),
        lines={**LEVEL, "load": "400 g at 100 mm"},
    ),
    Part(
        name="held",
        kinds=("servo-heat", "servo-torque"),
        acts="hold 1 s",
        lines={**LEVEL, "load": "850 g at 100 mm"},
    ),
    Part(
        name="hasty",
        kinds=("servo-acceleration",),
        acts="{name} to 60 deg in 500 ms\n{name} to 0 deg in 2 s",
        lines={"load": None, "acceleration": "1000 deg/s2"},
    ),
    Part(
        name="jumping",
        kinds=("speed-jump",),
        acts="{name} to 40 deg in 500 ms, uniform\n{name} to 0 deg in 3 s",
        lines={"load": "300 g at 100 mm", "level": "at -50 deg"},
    ),
    Part(
        name="thirsty",
        kinds=("rating-impossible",),
        lines={"rating": "0.15 s/60deg, 10 kgf.cm, 1 A at 6.0 V"},
    ),
)

PINS = ("PB5", "PB6")
USUAL = {"rating": "0.15 s/60deg, 10 kgf.cm, 3 A at 6.0 V"}


def text(*parts: Part) -> str:
    servos = "".join(
        servo(one.name, pin, {**USUAL, **one.lines}) for one, pin in zip(parts, PINS, strict=False)
    )
    cues = "".join(block(f"cue go_{one.name}", one.acts.format(name=one.name)) for one in parts)
    buttons = "".join(f"    button {3 * n}: go go_{one.name}\n" for n, one in enumerate(parts, 1))
    return f"board body: atmega2560, address 1\n{servos}{cues}remote\n{buttons}    stop button 2\n"


@cache
def told(show: str) -> dict[str, list[tuple[object, ...]]]:
    """By kind, all that is told of a show, with what stands in the places that are pointed at."""
    found: dict[str, list[tuple[object, ...]]] = {kind: [] for kind in KINDS}
    for one in findings(show):
        if one.name in found:
            places = [show[span.start : span.end] for span, _ in one.related]
            at = show[one.span.start : one.span.end]
            found[one.name].append(
                (
                    *(one.severity, one.message, at, one.label, one.help, one.notes),
                    *(tuple(places), one.asked, one.limit, one.fix and one.fix.text),
                )
            )
    return found


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name)
def test_a_part_alone_is_told_of_its_own_fault(part: Part) -> None:
    found = told(text(part))
    assert tuple(kind for kind in KINDS if found[kind]) == part.kinds


PAIRS = [(one, PARTS[(n + by) % len(PARTS)]) for n, one in enumerate(PARTS) for by in (1, 4, -3)]


@pytest.mark.parametrize(("first", "second"), PAIRS, ids=lambda part: part.name)
def test_two_parts_are_told_of_as_each_is_alone(first: Part, second: Part) -> None:
    both = told(text(first, second))
    one, other = told(text(first)), told(text(second))
    assert both == {kind: one[kind] + other[kind] for kind in KINDS}
