"""Cells and fuses, written as packs and cartridges have it printed on them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

_FUSES: Final = re.compile(r"(?<=A)(?: *, *| +)(T|F|M)\s*$")
IRON: Final = r"(?:li-?f[epo-]*[0-9]?|lfp|lithium[- ]iron(?:[- ]phosphate)?)"
"""How `lifepo4` is said elsewhere. It is no near miss of `lipo`: such a cell is full at another
voltage."""
_KIND: Final = rf"li-?ion|li-?po|{IRON}|ni-?mh|alkaline"
_CELLS: Final = re.compile(
    r"([1-9][0-9]?) *[sSx\u00d7](?: *([1-9][0-9]?) *[pP])? *"
    rf"({_KIND})(?: +cells?)?",
    re.IGNORECASE,
)
_CELLS_LATER: Final = re.compile(
    rf"({_KIND}) +([1-9][0-9]?)(?:[sS]| +cells?)"
    rf"|([1-9][0-9]?) +cells? +({_KIND})",
    re.IGNORECASE,
)


def _kind_of(words: str) -> str:
    """As the language names the chemistry that somebody wrote."""
    if re.fullmatch(IRON, words, re.IGNORECASE):
        return "lifepo4"
    letters = words.lower().replace("-", "")
    return "li-ion" if letters == "liion" else letters


def slips(line: Written) -> Iterator[Slip]:
    """What the lines of a supply say otherwise."""
    yield from _cells(line)
    yield from _by_voltage(line)
    yield from _fuse(line)


def _cells(line: Written) -> Iterator[Slip]:
    """`2S lipo`, `2S2P li-ion`, `li-ion 2 cells`."""
    found = _CELLS.search(line.text, 0, line.code_end)
    if found is not None:
        kind = _kind_of(found[3])
        rows = f" in {found[2]} rows" if found[2] else ""
        instead = f"{found[1]} {kind} cells{rows}"
    else:
        found = _CELLS_LATER.search(line.text, 0, line.code_end)
        if found is None:
            return
        count = found[2] or found[3]
        kind = _kind_of(found[1] or found[4])
        instead = f"{count} {kind} cells"
    yield Slip(
        "the cells of a pack are counted in words",
        *found.span(),
        help=f"write `{instead}`",
        edits=((*found.span(), instead),),
        certain=True,
    )


_VOLTAGE: Final = re.compile(
    rf"([0-9]+(?:\.[0-9]+)?) *V +({_KIND})"
    r"(?: +(?:cells?|pack|battery))?"
    rf"|({_KIND})(?: +(?:cells?|pack|battery))? +"
    r"([0-9]+(?:\.[0-9]+)?) *V(?!\w)",
    re.IGNORECASE,
)
_A_CELL_V: Final = {
    "li-ion": (3.6, 3.7),
    "lipo": (3.7,),
    "lifepo4": (3.2, 3.3),
    "nimh": (1.2,),
    "alkaline": (1.5,),
}
"""V that labels state for a cell of each kind (common practice, no source)."""


def _by_voltage(line: Written) -> Iterator[Slip]:
    """`7.4 V lipo`: a pack is sold by its voltage, and written by its cells."""
    found = _VOLTAGE.search(line.text, 0, line.code_end)
    if found is None or line.around.head != "supply":
        return
    volts, kind = float(found[1] or found[4]), _kind_of(found[2] or found[3])
    count = next(
        (n for n in range(1, 100) for v in _A_CELL_V[kind] if abs(n * v - volts) < 0.06), None
    )
    instead = None if count is None else f"{count} {kind} cells"
    start = "source " if not found.start() else ""
    bare = not re.search(r"[0-9] *m?Ah", line.text[: line.code_end])
    usual = ", 2200 mAh" if bare else ""
    yield Slip(
        f"a pack is counted in cells, and `{found[0]}` does not say how many",
        *found.span(),
        help="such as `source 2 lipo cells, 2200 mAh`"
        if instead is None
        else f"write `source {instead}{usual}`" + (" with its own capacity" if bare else ""),
        edits=() if instead is None or bare else ((*found.span(), start + instead),),
        certain=True,
    )


def _fuse(line: Written) -> Iterator[Slip]:
    """The letters on a cartridge (IEC 60127-1: F quick-acting, T time-lag)."""
    found = _FUSES.search(line.text, 0, line.code_end)
    if found is None or not line.text.startswith("fuse") or found[1] == "M":
        return
    instead = ", IEC slow" if found[1] == "T" else ", IEC fast"
    yield Slip(
        f"the `{found[1]}` of a cartridge is written in words",
        *found.span(1),
        help=f"write `{instead[2:]}`",
        edits=((*found.span(), instead),),
        certain=True,
    )
