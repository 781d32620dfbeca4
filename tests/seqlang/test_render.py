"""Findings on a terminal and as JSON."""

from __future__ import annotations

import io
import json
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rig_text import cue, loaded

from seqlang.cautions import DEFER
from seqlang.text.findings import Finding, Fix, Span
from seqlang.text.render import as_json, columns_of, summary, text, wants_colour, width
from seqlang.text.source import Source


def shown(source: str, start: int, end: int, **more: object) -> list[str]:
    finding = Finding("error", "some-name", "what is wrong", Span("a.cues", start, end), **more)
    return text([finding], {"a.cues": Source("a.cues", source)}).splitlines()


def test_a_finding_is_shown_with_its_place_line_and_marker() -> None:
    found = cue("jwa to 30 deg in 1 s")
    assert text(found.findings, found.sources).splitlines() == [
        "test.cues:22:5: error: there is no output `jwa`  (unknown-name)",
        "   22 |     jwa to 30 deg in 1 s",
        "      :     ^^^",
        "  try   did you mean `jaw`?",
    ]


def test_label_related_places_notes_and_change_follow() -> None:
    lines = shown(
        "first line\nsecond line\n",
        11,
        17,
        label="here",
        related=((Span("a.cues", 0, 5), "and there"),),
        notes=("good to know",),
        help="mend it",
        fix=Fix(Span("a.cues", 11, 17), "third"),
    )
    assert lines == [
        "a.cues:2:1: error: what is wrong  (some-name)",
        "    2 | second line",
        "      : ^^^^^^ here",
        "    1 | first line",
        "      : ~~~~~ and there",
        " note   good to know",
        "  try   mend it",
        "  try   write `third` instead of `second`",
    ]


def test_a_change_that_the_help_already_names_is_not_said_twice() -> None:
    lines = shown("abc\n", 0, 3, help="write `x`", fix=Fix(Span("a.cues", 0, 3), "x"))
    assert [line for line in lines if "try" in line] == ["  try   write `x`"]


def test_a_line_to_leave_out_that_the_help_already_names_is_not_said_twice() -> None:
    more = {"help": "leave out `me`, or write more", "fix": Fix(Span("a.cues", 0, 2), "")}
    assert [line for line in shown("me\n", 0, 2, **more) if "leave out" in line] == [
        "  try   leave out `me`, or write more"
    ]


def test_the_marker_stands_under_its_text_behind_tabs() -> None:
    _, line, marker = shown("\thold 3 x\n", 8, 9)
    assert line.index("x") == marker.index("^")
    assert "\t" not in line


def test_the_marker_stands_under_its_text_behind_wide_letters() -> None:
    # Unicode Standard Annex 11: wide and fullwidth characters take two columns.
    source = 'show "\u6df1\u6d77\u9b5a" x\n'
    _, line, marker = shown(source, 11, 12)
    assert width(line[: line.rindex("x")]) == width(marker[: marker.index("^")])
    assert width("\u6df1\uff21a") == 5


def test_a_combining_mark_takes_no_column() -> None:
    assert width("e\u0301") == 1


def test_a_marker_ends_with_its_line() -> None:
    _, _, marker = shown("abc\ndef\n", 1, 7)
    assert marker.endswith(": " + " ^^")


def test_an_empty_place_still_has_a_marker() -> None:
    assert shown("abc\n", 3, 3)[2].endswith("   ^")


def test_a_long_line_is_shown_around_the_marker() -> None:
    source = "x" * 500 + "HERE" + "y" * 400 + "\n"
    _, line, marker = shown(source, 500, 504)
    assert "HERE" in line
    assert line.index("HERE") == marker.index("^")
    assert len(line) < 130


def test_letters_that_steer_a_terminal_are_not_passed_on() -> None:
    out = "".join(shown("a\x1b[2Jb\n", 0, 1, label="\x1b]0;title\x07"))
    assert "\x1b" not in out
    assert "\x07" not in out


def test_colour_is_used_only_where_it_is_asked_for() -> None:
    found = cue("jwa to 30 deg in 1 s")
    plain = text(found.findings, found.sources)
    coloured = text(found.findings, found.sources, colour=True)
    assert "\x1b[" not in plain
    assert "\x1b[31;1m" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain


def test_colour_is_for_terminals_that_want_it(monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.delenv("NO_COLOR", raising=False)
    assert wants_colour(Terminal())
    assert not wants_colour(io.StringIO())
    monkeypatch.setenv("NO_COLOR", "1")
    assert not wants_colour(Terminal())


def test_the_summary_counts_in_words() -> None:
    def one(severity: str) -> Finding:
        return Finding(severity, "x", "x", Span("", 0, 0))  # type: ignore[arg-type]

    assert summary([]) == "no findings"
    assert summary([one("error"), one("warning"), one("error")]) == "2 errors, 1 warning"
    assert summary([one("error"), one("advice"), one("advice")]) == "1 error, 2 advice"


def test_json_holds_everything_with_lines_and_offsets() -> None:
    found = cue("jwa to 30 deg in 1 s")
    record = json.loads(as_json(found.findings, found.sources, passed=False))
    assert record["passed"] is False
    (one,) = record["findings"]
    assert (one["severity"], one["name"]) == ("error", "unknown-name")
    assert (one["span"]["line"], one["span"]["column"]) == (22, 5)
    assert one["fix"]["text"] == "jaw"
    source = found.sources["test.cues"].text
    assert source[one["fix"]["span"]["start"] : one["fix"]["span"]["end"]] == "jwa"


def test_json_has_null_where_a_number_has_no_bound() -> None:
    finding = Finding("error", "n", "m", Span("", 0, 0), asked=float("inf"), limit=float("nan"))
    record = json.loads(as_json([finding], {}, shares=(float("-inf"), 0.5)))
    assert record["findings"][0]["asked"] is None
    assert record["findings"][0]["limit"] is None
    assert record["shares"] == [None, 0.5]


@settings(max_examples=100)
@given(st.text(max_size=80), st.integers(0, 80), st.integers(0, 80))
def test_any_place_in_any_text_can_be_shown(words: str, a: int, b: int) -> None:
    start, end = sorted((min(a, len(words)), min(b, len(words))))
    finding = Finding("advice", "n", "m", Span("p", start, end))
    out = text([finding], {"p": Source("p", words)})
    assert out.startswith("p:")
    assert all(letter.isprintable() or letter == "\n" for letter in out)


def test_a_finding_without_a_source_is_shown_without_a_line() -> None:
    finding = Finding("warning", "n", "m", Span("gone.cues", 3, 4))
    assert text([finding], {}) == "gone.cues: warning: m  (n)\n"


def test_findings_come_in_the_order_of_the_text() -> None:
    found = loaded("cue a\n    hold x\n    hold 3\n    hold 4 V\n")
    starts = [finding.span.start for finding in found.findings]
    assert starts == sorted(starts)


# -- order, width and the cautions --------------------------------------------------------------


def finding_at(severity: str, name: str, start: int, *notes: str) -> Finding:
    return Finding(severity, name, f"what {name} says", Span("", start, start), notes=notes)  # type: ignore[arg-type]


def test_the_cautions_come_first_then_advice_then_warnings_and_the_errors_last() -> None:
    given_order = [
        finding_at("advice", "caution-one", 0, "mind it"),
        finding_at("advice", "hint", 1),
        finding_at("warning", "doubt", 2),
        finding_at("error", "wrong-late", 4),
        finding_at("error", "wrong-later", 5),
    ]
    out = text(given_order, {})
    names = ["cautions:", "(caution-one", "(hint", "(doubt", "wrong-late)", "wrong-later)"]
    places = [out.index(name) for name in names]
    assert places == sorted(places)
    record = json.loads(as_json(given_order, {}))
    assert [one["name"] for one in record["findings"]] == [one.name for one in given_order]


def test_the_cautions_defer_once_below_all_of_them() -> None:
    out = text(
        [
            finding_at("advice", "caution-one", 0, "mind one", DEFER),
            finding_at("advice", "caution-two", 0, "mind two"),
        ],
        {},
    )
    joined = " ".join(out.split())
    assert joined.count(DEFER) == 1
    assert joined.endswith(DEFER)
    assert out.count("cautions:") == 1


def test_the_summary_counts_cautions_apart_from_advice() -> None:
    found = [finding_at("advice", "caution-one", 0), finding_at("advice", "hint", 0)]
    assert summary(found) == "1 advice, 1 caution"


def test_a_long_note_goes_on_under_its_own_text() -> None:
    lines = shown("abc\n", 0, 3, notes=("word " * 40,), help="mend " * 40)
    notes = lines[3:]
    assert all(len(line) <= 100 for line in notes)
    starts = [len(line) - len(line.lstrip()) for line in notes]
    assert [line[:8] for line in notes if not line.startswith(" " * 8)] == [" note   ", "  try   "]
    assert set(starts) == {1, 2, 8}


@pytest.mark.parametrize("columns", [40, 62, 100])
def test_nothing_is_wider_than_the_terminal(columns: int) -> None:
    source = "x" * 30 + "HERE" + "y" * 90 + "\n"
    finding = Finding(
        "error",
        "some-name",
        "word " * 30,
        Span("a.cues", 30, 34),
        "label " * 9,
        notes=("word " * 30,),
    )
    caution = Finding("advice", "caution-x", "word " * 30, Span("a.cues", 0, 1), notes=("w " * 90,))
    found, sources = [finding, caution], {"a.cues": Source("a.cues", source)}
    plain = text(found, sources, columns=columns)
    assert max(width(line) for line in plain.splitlines()) <= columns
    coloured = text(found, sources, columns=columns, colour=True)
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain


def test_without_a_terminal_place_message_and_name_share_a_line() -> None:
    finding = Finding("error", "some-name", "word " * 40, Span("a.cues", 0, 3))
    out = text([finding], {"a.cues": Source("a.cues", "abc\n")})
    assert out.splitlines()[0].startswith("a.cues:1:1: error: word")
    assert out.splitlines()[0].endswith("(some-name)")


def test_columns_are_asked_of_terminals_only(monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("COLUMNS", "77")
    assert columns_of(Terminal()) == 77
    assert columns_of(io.StringIO()) is None
