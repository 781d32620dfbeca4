"""Which remedies are offered: those with which a show is better, and in no way worse."""

from __future__ import annotations

import pytest

from seqlang.remedy_rounds import Rounds, passes
from seqlang.text.findings import Finding, Severity, Span
from tests.seqlang.mistakes.base import with_line


def finding(name: str, message: str = "", severity: Severity = "error") -> Finding:
    return Finding(severity, name, message or name, Span("x.cues", 0, 1))


SLOW = finding("servo-speed")
UNREAD = finding("syntax")


@pytest.mark.parametrize(
    ("after", "offered"),
    [
        ([], True),
        ([SLOW], False),
        ([finding("fuse-too-small")], False),
        ([finding("fuse-too-small", severity="warning")], True),
        ([finding("interrupted-stretch", severity="advice")], True),
    ],
)
def test_a_check_s_remedy_takes_its_finding_away_and_brings_no_error(
    after: list[Finding], offered: bool
) -> None:
    assert passes(SLOW, [SLOW], frozenset(), after, frozenset()) is offered


def test_a_remedy_may_leave_errors_that_were_there_before() -> None:
    other = finding("fuse-too-small")
    assert passes(SLOW, [SLOW, other], frozenset(), [other], frozenset())


def test_of_two_findings_with_the_same_words_one_must_go() -> None:
    twin = finding("servo-speed")
    assert passes(SLOW, [SLOW, twin], frozenset(), [twin], frozenset())
    assert not passes(SLOW, [SLOW, twin], frozenset(), [SLOW, twin], frozenset())


@pytest.mark.parametrize(
    ("came", "is_of_reading", "offered"),
    [
        (finding("servo-speed"), False, True),
        (finding("unknown-name"), True, True),
        (finding("syntax", "another line"), True, False),
    ],
)
def test_a_line_that_is_readable_again_may_show_what_a_check_thinks_of_it(
    came: Finding, is_of_reading: bool, offered: bool
) -> None:
    reading_after = frozenset({id(came)} if is_of_reading else ())
    assert passes(UNREAD, [UNREAD], frozenset({id(UNREAD)}), [came], reading_after) is offered


def test_what_was_left_is_not_offered_again_and_what_was_taken_is_in_the_text() -> None:
    rounds = Rounds("x.cues", with_line("move", "jaw to 30 deg in 0.9 s;"))
    first = next(rounds.offers())
    (change,) = first.changes
    assert (change.before, change.after) == (
        ("    jaw to 30 deg in 0.9 s;",),
        ("    jaw to 30 deg in 0.9 s",),
    )
    rounds.leave(first)
    for other in rounds.offers():
        assert other.finding.message != first.finding.message
        rounds.leave(other)
    rounds.take(first)
    assert rounds.text == with_line("move", "jaw to 30 deg in 0.9 s")
    assert rounds.changes == 1
