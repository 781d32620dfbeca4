"""`as fast as it can` for parts that move at once: timed and checked together."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding
from seqlang.text.source import Source
from sim.score.planned_moves import planned_moves

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
def test_a_computed_time_passes_beside_the_companions(body: str) -> None:
    text = (
        f'{RIG}cue snap "Snaps"\n{body}    hold 1 s\n    jaw to 4 deg, fin to 4 deg in 2 s\n'
        "remote\n    button 1: go snap\n    stop button 2\n"
    )
    assert grave(text) == []
    alone = text.replace("fin to 50 deg", "fin to 5 deg")
    assert fastest_ms(alone) < fastest_ms(text)


def fastest_ms(text: str) -> int:
    show = load_text(Source("test.cues", text)).show
    assert show is not None
    return max(one.move.duration_ms for one in planned_moves(show) if one.move.angle_deg == 50.0)
