"""A check's limit from both sides: a show that just passes, and one that just fails."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pytest

from tests.seqlang.show_text import applied, findings


@dataclass(frozen=True, kw_only=True)
class Limit:
    """One limit. `says` is the whole message of the failing show's finding."""

    id: str
    name: str
    passes: str
    fails: str
    says: str
    severity: str = "error"
    asked: float | None = None
    limit: float | None = None
    label: str | None = None
    help: str | None = None
    fix: str | None = None
    """The text that the finding suggests; it is put in, and must mend the show."""
    at: str | None = None
    """The text that the finding points at."""


def each(limits: Sequence[Limit]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("limit", limits, ids=[one.id for one in limits])


def assert_holds(limit: Limit) -> None:
    """Assert that the check passes on one side and says what it should on the other."""
    assert [one.message for one in findings(limit.passes, limit.name)] == []
    found = findings(limit.fails, limit.name)
    assert [one.message for one in found] == [limit.says]
    (one,) = found
    assert one.severity == limit.severity
    assert one.asked == (None if limit.asked is None else pytest.approx(limit.asked, rel=5e-4))
    assert one.limit == (None if limit.limit is None else pytest.approx(limit.limit, rel=5e-4))
    if limit.label is not None:
        assert one.label == limit.label
    if limit.help is not None:
        assert one.help == limit.help
    if limit.at is not None:
        assert limit.fails[one.span.start : one.span.end] == limit.at
    assert (None if one.fix is None else one.fix.text) == limit.fix
    if limit.fix is not None:
        mended = applied(limit.fails, one)
        assert findings(mended, limit.name) == []
