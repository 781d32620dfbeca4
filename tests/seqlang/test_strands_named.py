"""Which cues idle names as strands."""

from __future__ import annotations

from pathlib import Path

from seqlang.loading import load_text
from seqlang.text.source import Source

HEAD = (Path(__file__).parents[2] / "shows" / "head" / "head.cues").read_text(encoding="utf-8")


def test_a_strand_that_is_named_twice_is_told_at_its_second_place() -> None:
    text = HEAD.replace("idle: go breathe,", "idle: go breathe, breathe,")
    assert text != HEAD
    (found,) = load_text(Source("head.cues", text)).findings
    assert (found.name, found.message) == ("duplicate-name", "idle names `breathe` twice")
    second = text.index("go breathe, ") + len("go breathe, ")
    assert (found.span.start, found.span.end) == (second, second + len("breathe"))
    assert load_text(Source("head.cues", HEAD)).findings == ()
