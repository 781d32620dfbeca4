"""Two supplies that have nothing to do with each other: each is told of as if it stood alone.

So no check takes the other's adapter, battery, fuse, wire or watch, and none is told twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import pytest

from tests.seqlang.show_text import block, findings

KINDS = (
    "brown-out",
    "chip-overvoltage",
    "fuse-blows",
    "pack-overload",
    "servo-overvoltage",
    "strip-data-low",
    "strip-over-supply",
    "strip-overvoltage",
    "supply-overload",
    "unsaid-logic",
    "watch-limits",
    "watch-unfit",
    "wire-overload",
)


@dataclass(frozen=True, kw_only=True)
class Half:
    """A supply, its board and what that drives; `kinds`: what is told of it."""

    name: str
    supply: str
    kinds: tuple[str, ...]
    draws: str = "1 A"
    feed: str = "100 mm of 14 AWG"
    board: str = ""
    more: str = ""
    acts: str = "fan_{name} on\n    hold 60 s\n    fan_{name} off\n"

    def rig(self, address: int) -> str:
        own = self.more.format(name=self.name)
        return (
            block(f"supply {self.name}", self.supply)
            + f"board box_{self.name}: atmega2560, address {address}\n"
            + f"    feed {self.name}, {self.feed}\n{self.board}"
            + f"switch fan_{self.name}: box_{self.name} pin PA2\n    draws {self.draws}\n{own}"
        )


ADAPTER = "source adapter 6.0 V, 30 A"
CELLS = "source 2 li-ion cells, 3000 mAh"
WATCHES = "    logic 5 V\n    watch pin PF1, divider 22 kohm over 15 kohm"
SERVO = """servo ear_{name}: box_{name} pin PB5
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.15 s/60deg, 10 kgf.cm, 2 A at 6.0 V
    load 60 g at 50 mm
"""
STRIP = "strip belly_{name}: box_{name} pin PB0\n    pixels 10, order grb, each 20 mA\n"

HALVES = (
    Half(name="sound", supply=ADAPTER, kinds=()),
    Half(name="adapter", supply="source adapter 6.0 V, 0.9 A", kinds=("supply-overload",)),
    Half(
        name="regulator",
        supply="source adapter 12 V, 9 A\nregulator 6.0 V, 0.9 A",
        kinds=("supply-overload",),
    ),
    Half(name="fused", supply=f"{ADAPTER}\nfuse 1 A", kinds=("fuse-blows",)),
    Half(
        name="pack",
        supply=f"{CELLS}\nfuse 7.5 A",
        draws="8 A",
        kinds=("fuse-blows", "pack-overload"),
    ),
    Half(
        name="weak",
        supply=f"{CELLS}, 200 mohm\nregulator 3.0 V, 50 A",
        draws="30 A",
        feed="1 mm of 8 AWG",
        kinds=("supply-overload",),
    ),
    Half(
        name="thin",
        supply=f"{ADAPTER}\nfuse 5 A",
        feed="100 mm of 28 AWG",
        kinds=("wire-overload",),
    ),
    Half(name="far", supply=ADAPTER, feed="4 m of 26 AWG", draws="2 A", kinds=("brown-out",)),
    Half(name="direct", supply=ADAPTER, board="    logic direct\n", kinds=("chip-overvoltage",)),
    Half(
        name="early",
        supply=f"{CELLS}\nfuse 5 A",
        board=f"{WATCHES}, warns below 4.2 V\n",
        kinds=("watch-limits",),
    ),
    Half(
        name="late",
        supply=f"{CELLS}\nfuse 5 A",
        board=f"{WATCHES}, stops below 2.8 V\n",
        kinds=("watch-limits",),
    ),
    Half(name="wall", supply=ADAPTER, board=f"{WATCHES}\n", kinds=("watch-unfit",)),
    Half(
        name="white",
        supply="source adapter 5.0 V, 1.1 A",
        draws="100 mA",
        board="    logic direct\n",
        more=STRIP.replace("pixels 10", "pixels 30"),
        kinds=("strip-over-supply",),
    ),
    Half(
        name="low",
        supply=ADAPTER,
        board="    logic 3.3 V\n",
        more=STRIP + "    feed 5 V\n",
        kinds=("brown-out", "strip-data-low"),
    ),
    Half(name="hot", supply="source adapter 7.4 V, 9 A", more=SERVO, kinds=("servo-overvoltage",)),
    Half(
        name="moved",
        supply="source adapter 6.0 V, 0.9 A",
        draws="100 mA",
        more=SERVO,
        acts="ear_{name} to 40 deg in 250 ms\n    ear_{name} to 0 deg in 250 ms\n",
        kinds=("supply-overload",),
    ),
)


def text(*halves: Half) -> str:
    rigs = "".join(one.rig(n) for n, one in enumerate(halves, start=1))
    cues = "".join(f"cue go_{one.name}\n    {one.acts.format(name=one.name)}" for one in halves)
    buttons = "".join(f"    button {3 * n}: go go_{one.name}\n" for n, one in enumerate(halves, 1))
    return f"{rigs}{cues}remote\n{buttons}    stop button 2\n"


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


@pytest.mark.parametrize("half", HALVES, ids=[one.name for one in HALVES])
def test_a_supply_alone_is_told_of_its_own_fault(half: Half) -> None:
    found = told(text(half))
    assert tuple(kind for kind in KINDS if found[kind]) == half.kinds
    assert all(len(of_kind) <= 1 for of_kind in found.values())


PAIRS = [(one, HALVES[(n + by) % len(HALVES)]) for n, one in enumerate(HALVES) for by in (1, 6, -3)]


@pytest.mark.parametrize(("first", "second"), PAIRS, ids=lambda half: half.name)
def test_two_supplies_are_told_of_as_each_is_alone(first: Half, second: Half) -> None:
    both = told(text(first, second))
    one, other = told(text(first)), told(text(second))
    assert both == {kind: one[kind] + other[kind] for kind in KINDS}
