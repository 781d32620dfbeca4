"""Each rule of the pages, changed in a small implementation, is noticed by a shared vector."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import firmware_gen
from tests.firmware_gen.find_vectors import SUBJECTS, Case, Subject
from tests.firmware_gen.rule_variations import Variation, read


@cache
def cases(subject: Subject) -> dict[str, Case]:
    return {case["title"]: case for case in subject.cases()}


def changes() -> Iterator[Any]:
    for subject in SUBJECTS:
        for one in read(subject.name):
            yield pytest.param(subject, one, id=f"{subject.name}: {one.name}")


@pytest.mark.parametrize(("subject", "variation"), list(changes()))
def test_a_changed_rule_is_noticed(subject: Subject, variation: Variation) -> None:
    case = cases(subject)[variation.noticed_by]
    assert subject.differs(variation.apply(subject.source()), case)


@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda subject: subject.name)
def test_each_title_and_each_name_stands_once(subject: Subject) -> None:
    assert len(cases(subject)) == len(subject.cases())
    changed = read(subject.name)
    assert len({one.name for one in changed}) == len(changed)


@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda subject: subject.name)
def test_the_changed_rules_are_those_of_the_page(subject: Subject) -> None:
    page = (Path(firmware_gen.__file__).parent / subject.page).read_text(encoding="utf-8")
    words = " ".join(page.split())
    assert [one.says for one in read(subject.name) if one.says not in words] == []
