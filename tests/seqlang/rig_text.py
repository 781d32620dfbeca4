"""A small complete show as text, and ways to load variations of it."""

from __future__ import annotations

from seqlang.loading import Loaded, load_text
from seqlang.text.source import Source
from tests.seqlang.show_text import block, servo, show

STRONG = {
    "travel": "0 deg to 60 deg",
    "rating": "0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V",
}
RIG = show(
    supply="source 2 li-ion cells, 3000 mAh\nregulator 6 V, 5 A",
    jaw={**STRONG, "load": "60 g at 60 mm"},
    rig=(
        servo("fin", "PB2", {**STRONG, "load": None}),
        "lamp lure: body pin PD6\n",
        block("strip belly: body pin PD7", "pixels 30"),
        "switch fan: body pin PD4\n",
    ),
    cues={},
    remote=None,
).partition("\n")[2]
"""Without a `show` line."""


def loaded(text: str, path: str = "test.cues") -> Loaded:
    return load_text(Source(path, text if text.endswith("\n") else text + "\n"))


def with_rig(*lines: str) -> Loaded:
    """The rig above with further lines."""
    return loaded(RIG + "\n".join(lines) + "\n")


def cue(*lines: str) -> Loaded:
    """The rig above with one cue `act` of these statements."""
    return with_rig("cue act", *(f"    {line}" for line in lines))


def names(found: Loaded) -> list[str]:
    return [finding.name for finding in found.findings]


def good(found: Loaded) -> Loaded:
    assert found.findings == ()
    assert found.show is not None
    return found


def marked_text(found: Loaded, mark: int, part: str | None = None) -> str:
    """The text that an origin, or one of its parts, points at."""
    origin = found.origins[mark]
    span = origin.span if part is None else origin.part(part)
    return found.sources[span.path].text[span.start : span.end]
