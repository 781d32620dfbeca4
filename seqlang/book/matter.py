"""What the book is made of, gathered from the check, the compiler, the sizes and the rehearsal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from firmware_gen.compiler.show import CompiledShow
    from seqlang.summary import Summary
    from seqlang.text.findings import Finding
    from sim.model import Show
    from sim.strain.sizing import Sizes


@dataclass(frozen=True, slots=True)
class BookMatter:
    """A checked show with its figures.

    `files`: name and SHA-256 of each text it was read from. `cautions`: those that the check gave.
    `score`: a picture (PNG) of all cues one after another; None where a rehearsal of them takes too
    long.
    """

    compiled: CompiledShow
    files: tuple[tuple[str, str], ...]
    summary: Summary
    sizes: Sizes
    cautions: tuple[Finding, ...]
    score: bytes | None

    @property
    def show(self) -> Show:
        return self.compiled.show

    @property
    def number(self) -> str:
        """The show's number as `bellcrank status` writes it."""
        return f"{self.compiled.number:08x}"
