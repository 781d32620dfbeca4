"""Every finding is explained on `FINDINGS.md`, and its example gives it and its remedy passes."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import get_args

import pytest
from terminal import on_a_terminal
from test_check_every_kind import kinds

from firmware_gen.link.failures import FAILURES, FailureReason
from seqlang import cautions
from seqlang.checks.wiring import rig_too_large
from seqlang.explain import Explanation, FindingSubject, explanations, parse, subjects
from seqlang.meaning.durations import MOST_SEARCHED
from seqlang.meaning.mounted import MOST_IN_CHAIN
from seqlang.meaning.stage import MOST_STEPS, MOST_STEPS_OF_SHOW
from seqlang.text import indentation as layout
from seqlang.text import recover
from seqlang.text.reading_kinds import READING
from tests.seqlang import findings_page

ROOM = Path(__file__).parents[2] / "seqlang"
READ = "".join(
    path.read_text(encoding="utf-8")
    for folder in ("text", "text/slips", "meaning", "meaning/alike")
    for path in sorted((ROOM / folder).glob("*.py"))
)


@pytest.fixture(scope="module")
def made() -> tuple[FindingSubject, ...]:
    """Every example checked anew."""
    return findings_page.all_subjects()


def names_of_reading() -> set[str]:
    """Names given to findings in `text/` and `meaning/`, as they are spelt out."""
    found = set(re.findall(r'(?:_fault|error|"error",)\(?\s*"([a-z]+(?:-[a-z]+)*)",', READ))
    return (found | set(re.findall(r'name="([a-z-]+)"', READ)) | {"syntax"}) - {"warning"}


def test_the_page_is_what_is_made_from_the_checks_words_and_the_examples(
    made: tuple[FindingSubject, ...],
) -> None:
    page = (ROOM / "FINDINGS.md").read_text(encoding="utf-8")
    made_anew = page == findings_page.as_page(made)
    assert made_anew, "the page is old: run `python -m tests.seqlang.findings_page`"


def test_the_page_read_back_is_what_was_written(made: tuple[FindingSubject, ...]) -> None:
    assert parse(findings_page.as_page(made)) == made
    assert subjects() == made


def test_every_finding_is_explained_and_nothing_else() -> None:
    warned = {caution.name for caution in cautions.ALL}
    assert {"unknown-name", "not-text", "mixed-indent", "unknown-unit"} <= names_of_reading()
    failing = set(FAILURES)
    assert set(explanations()) == kinds() | names_of_reading() | warned | failing
    named = [one.name for subject in subjects() for one in subject.explanations]
    assert len(named) == len(set(named))


def test_every_explanation_is_whole() -> None:
    for one in explanations().values():
        if one.subject == "cautions":
            assert one.points
            continue
        if one.subject == "link":
            assert all((one.title, one.what, one.why, one.remedy)), one.name
            continue
        for field in ("title", "what", "why", "example", "remedy", "source"):
            assert getattr(one, field), (one.name, field)
        if one.name not in findings_page.WITHOUT:
            assert f"({one.name})" in one.finding
            assert bool(one.change) == (one.name not in findings_page.MADE), one.name


def test_every_reason_for_which_a_board_fails_is_explained() -> None:
    assert set(FAILURES) == set(get_args(FailureReason))
    (link,) = (subject for subject in subjects() if subject.name == "link")
    also_found_by_a_check = {"table-too-large", "table-refused"}
    assert {one.name for one in link.explanations} == set(FAILURES) - also_found_by_a_check


@pytest.mark.parametrize("name", findings_page.MADE)
def test_an_example_too_large_for_a_file_passes_when_it_is_mended(name: str) -> None:
    _, broken, whole = findings_page.broken_and_mended(name)
    assert name in {finding.name for finding in findings_page.checked(name, broken)}
    left = findings_page.checked(name, whole)
    assert [finding for finding in left if finding.severity == "error"] == []


def test_the_numbers_of_the_limits_are_those_of_the_code() -> None:
    known = explanations()
    for name, words in (
        ("nested-too-deep", f"At most {layout.MOST_NESTED} blocks"),
        ("nested-too-deep", f"{layout.MOST_BRACKETS} pairs of brackets"),
        (
            "too-many-includes",
            f"At most {layout.MOST_INCLUDED} files, and at most {layout.MOST_INCLUDED_DEEP} inside",
        ),
        ("line-too-long", f"At most {layout.MOST_IN_LINE} letters"),
        ("file-too-large", f"At most {layout.MOST_BYTES // 1_000_000} MB"),
        ("file-too-large", f"{layout.MOST_CHARACTERS:,} letters, {layout.MOST_CONTENT:,} of them"),
        ("cue-too-long", f"At most {MOST_STEPS:,} steps"),
        ("show-too-long", f"At most {MOST_STEPS_OF_SHOW:,} steps"),
        ("too-many-searches", f"At most {MOST_SEARCHED} different moves"),
        ("chain-too-long", f"At most {MOST_IN_CHAIN} parts"),
        ("too-many-errors", f"after {recover.MOST_ERRORS} lines"),
        ("rig-too-large", f"At most {rig_too_large.MOST_BOARDS} boards"),
    ):
        assert words in known[name].what, name


def test_subjects_and_findings_have_different_names() -> None:
    assert not {subject.name for subject in subjects()} & set(explanations())
    assert list(READING) == [subject.name for subject in subjects()][: len(READING)]


# -- bellcrank explain -------------------------------------------------------------------------


@pytest.mark.parametrize("arguments", [[], ["supply"], ["servo-torque"], ["cautions"]])
def test_nothing_that_is_explained_is_wider_than_the_terminal(arguments: list[str]) -> None:
    ended = on_a_terminal("explain", *arguments, lines=400)
    assert ended.status == 0
    plain = re.sub(r"\x1b\[[0-9;]*m", "", ended.raw)
    assert max(len(line) for line in plain.splitlines()) <= 80


def test_without_a_name_every_finding_is_listed_under_its_subject() -> None:
    screen = on_a_terminal("explain", lines=400).screen
    for subject in subjects():
        at = screen.index(f"{subject.name}: {subject.title}")
        listed = screen[at + 1 : screen.index("", at)]
        for one in subject.explanations:
            assert any(line.startswith(f"  {one.name} ") for line in listed)


def test_a_finding_is_explained_with_its_example_and_remedy() -> None:
    one = explanations()["pin-clash"]
    words = " ".join(" ".join(on_a_terminal("explain", "pin-clash", lines=80).screen).split())
    for part in (one.what, one.why, one.finding, one.change):
        assert " ".join(part.split()) in words


def test_the_cautions_stand_in_full_with_what_they_defer_to() -> None:
    words = " ".join(" ".join(on_a_terminal("explain", "cautions", lines=80).screen).split())
    for caution in cautions.ALL:
        assert f"({caution.name})" in words
        for point in caution.words:
            assert point in words
    assert cautions.DEFER[1:] in words
    one = " ".join(" ".join(on_a_terminal("explain", "caution-pinch").screen).split())
    assert all(point in one for point in cautions.PINCH.words)
    assert cautions.DEFER[1:] in one


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ("servo-torqe", "did you mean `servo-torque`?"),
        ("suply", "did you mean `supply`?"),
        ("xyzzy", "`bellcrank explain` lists them"),
        ("no-answr", "did you mean `no-answer`?"),
    ],
)
def test_a_wrong_name_is_answered_with_the_nearest(wrong: str, words: str) -> None:
    ended = on_a_terminal("explain", wrong)
    assert ended.status == 2
    assert words in " ".join(ended.screen)


def test_programs_get_the_explanations_as_they_are() -> None:
    ended = on_a_terminal("explain", "supply", "--format", "json", only_stderr=True)
    records = json.loads(ended.out)
    assert [Explanation(**{**one, "points": ()}) for one in records] == [
        one for one in explanations().values() if one.subject == "supply"
    ]
