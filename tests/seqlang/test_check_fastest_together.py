"""`as fast as it can` for parts that move at once: timed alone, checked together."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding
from seqlang.text.source import Source

RIG = (Path(__file__).parent / "findings" / "voltage-sag.cues").read_text().partition("cue snap")[0]


def grave(text: str) -> list[Finding]:
    found = check(load_text(Source("test.cues", text))).findings
    return [f for f in found if f.severity != "advice"]


@pytest.mark.parametrize(
    "body",
    [
        "    jaw to 50 deg, fin to 50 deg as fast as it can\n",
        "    together\n        jaw to 50 deg as fast as it can\n"
        "        fin to 50 deg as fast as it can\n",
    ],
)
def test_the_companions_sag_is_named_with_a_duration_that_passes(body: str) -> None:
    text = (
        f'{RIG}cue snap "Snaps"\n{body}    hold 1 s\n    jaw to 4 deg, fin to 4 deg in 2 s\n'
        "remote\n    button 1: go snap\n    stop button 2\n"
    )
    found = grave(text)
    assert {f.name for f in found} == {"voltage-sag"}
    for _ in range(len(found)):
        fix = grave(text)[0].fix
        assert fix is not None
        text = text[: fix.span.start] + fix.text + text[fix.span.end :]
    assert grave(text) == []
