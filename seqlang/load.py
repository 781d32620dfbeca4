"""Reading a show: file to text, text to syntax, syntax to Rig and Score."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from seqlang.diagnostics import Finding, Origin
    from seqlang.source import Source
    from sim.model import Show


@dataclass(frozen=True, slots=True)
class Loaded:
    """A show as far as it could be read.

    `show` holds whatever could be built, so that one run finds as much as it can; None if nothing
    could. With an error among `findings` it is good for further checks, for nothing else, and
    parts of it may be missing. `origins` and `places` say where values stand in `sources` (the
    files by path, in the order of reading); their part names are listed in `seqlang.elaborate`.
    """

    show: Show | None
    origins: Mapping[int, Origin]
    places: Mapping[str, Origin]
    sources: Mapping[str, Source]
    findings: tuple[Finding, ...]
