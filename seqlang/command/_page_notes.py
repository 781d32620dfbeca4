"""Findings as the preview page shows them: with the moments of the rehearsal they are about."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

from firmware_gen.page.page import PageNote
from seqlang.text.render import is_caution
from sim.score.tree import timeline

if TYPE_CHECKING:
    from collections.abc import Mapping

    from seqlang.text.findings import Finding, Origin, Span
    from seqlang.text.source import Source
    from sim.model import Cue
    from sim.rehearsal.trajectories import Trajectories

MOST_MOMENTS: Final = 4
"""Of one finding: a gesture can be played in many cues."""

OF_EYES: Final = ("flashing-light", "interrupted-flash", "long-strobe")
"""Findings of `seqlang.checks.light` that say that a light is hard on the eyes."""


def page_notes(
    findings: Iterable[Finding],
    origins: Mapping[int, Origin],
    sources: Mapping[str, Source],
    played: Trajectories,
) -> list[PageNote]:
    """One note for each finding but cautions, which are about no moment, in the same order."""
    return [
        PageNote(
            finding.severity,
            finding.name,
            finding.message,
            _place(finding.span, sources),
            tuple(_moments(finding.span, origins, played)),
            finding.name in OF_EYES,
        )
        for finding in findings
        if not is_caution(finding)
    ]


def _place(span: Span, sources: Mapping[str, Source]) -> str:
    source = sources.get(span.path)
    if source is None:
        return span.path
    line = f"line {source.line_number(span.start)}"
    return line if len(sources) == 1 else f"{Path(span.path).name}, {line}"


def _moments(span: Span, origins: Mapping[int, Origin], played: Trajectories) -> Iterator[float]:
    """When, in the first run of each cue, the statements begin in which the place lies."""
    found: list[float] = []
    for cue in played.show.score.cues:
        starts = [run.start_ms for run in played.runs if run.cue == cue.name]
        if starts:
            found += (min(starts) + at for at in _within(cue, span, origins))
    yield from sorted(set(found))[:MOST_MOMENTS]


def _within(cue: Cue, span: Span, origins: Mapping[int, Origin]) -> Iterator[float]:
    """From the cue's start to the innermost statements that hold the place, ms."""
    holds = [
        (where.end - where.start, at)
        for at, step in timeline(cue.body)
        if (where := origins[step.mark].span if step.mark in origins else None) is not None
        and where.path == span.path
        and where.start <= span.start
        and span.end <= where.end
    ]
    least = min((size for size, _ in holds), default=0)
    yield from (at for size, at in holds if size == least)
