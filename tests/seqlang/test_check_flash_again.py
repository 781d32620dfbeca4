"""A cue that a button starts again: what is named, and that the advice given passes.

More than three flashes in any one second: WCAG 2.2, success criterion 2.3.1.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source

FINDINGS = Path(__file__).parent / "findings"


def flashes(text: str) -> list[str]:
    found = check(load_text(Source("test.cues", text))).findings
    return [f.message for f in found if f.name == "interrupted-flash"]


@pytest.mark.parametrize(
    ("show", "before", "after"),
    [
        (
            "interrupted-flash-by-itself",
            'cue alarm "Blinks three times"\n    repeat',
            'cue alarm "Blinks three times", if busy refuse\n    hold 1 s\n    repeat',
        ),
        (
            "interrupted-flash-by-finger",
            'cue alarm "Goes dark and comes back"',
            'cue alarm "Goes dark and comes back", if busy refuse',
        ),
    ],
)
def test_a_cue_that_refuses_to_start_again_keeps_calm(show: str, before: str, after: str) -> None:
    text = (FINDINGS / f"{show}.cues").read_text()
    assert before in text
    assert flashes(text)
    assert flashes(text.replace(before, after)) == []


def test_refusing_without_calm_is_not_enough() -> None:
    """A press just after the end of three flashes brings a fourth within the second."""
    text = (FINDINGS / "interrupted-flash-by-itself.cues").read_text()
    assert flashes(text.replace('three times"', 'three times", if busy refuse'))


def test_one_slow_light_may_be_pressed_as_often_as_one_likes() -> None:
    text = (FINDINGS / "interrupted-flash-by-finger.cues").read_text()
    slow = text.replace("to 0% in 40 ms", "to 60% in 2 s")
    assert slow != text
    assert flashes(slow) == []
