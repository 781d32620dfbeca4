"""What is wrong with servos that are told together is said once, with all their names."""

from __future__ import annotations

import pytest

from seqlang.check import _twins_once
from seqlang.text.findings import Finding, Fix, Span

HERE, THERE = Span("show.cues", 10, 20), Span("show.cues", 30, 40)


def finding(name: str, **more: object) -> Finding:
    given: dict[str, object] = {"span": HERE, "fix": Fix(HERE, "900 ms"), "tail": "too fast"}
    given |= more
    return Finding(
        "error",
        "servo-speed",
        f"`{name}` would go {given['tail']} in `snap`",
        given["span"],  # type: ignore[arg-type]
        notes=("a note",),
        fix=given["fix"],  # type: ignore[arg-type]
    )


def test_the_same_of_two_and_three_servos_is_one_finding_with_all_names() -> None:
    (one,) = _twins_once([finding("left"), finding("right"), finding("middle")])
    assert one.message == "`left` would go too fast in `snap`"
    assert one.notes == ("a note", "the same goes for `right` and `middle`")


@pytest.mark.parametrize(
    "other",
    [
        finding("right", span=THERE),
        finding("right", fix=Fix(HERE, "910 ms")),
        finding("right", tail="too slowly"),
    ],
    ids=["place", "fix", "words"],
)
def test_what_differs_in_more_than_its_name_is_said_by_itself(other: Finding) -> None:
    first = finding("left")
    assert _twins_once([first, other]) == [first, other]
