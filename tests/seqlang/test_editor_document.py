"""Open texts: lines, positions in an editor's units, changes; and findings moved along."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqlang.editor.document import Change, Document, EditorPlace, Encoding, units
from seqlang.editor.moved import line_changes, moved_along
from seqlang.text.findings import Finding, Fix, Span

LETTERS = st.text(st.sampled_from("ab ß🦉\n\r\u2028\x0c\t𝔤"), max_size=40)
ENCODINGS: tuple[Encoding, ...] = ("utf-8", "utf-16", "utf-32")
CODECS = {"utf-8": ("utf-8", 1), "utf-16": ("utf-16-le", 2), "utf-32": ("utf-32-le", 4)}


def plain(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def taken(text: str, encoding: Encoding) -> int:
    """Code units by Python's own codecs."""
    codec, size = CODECS[encoding]
    return len(text.encode(codec)) // size


@given(LETTERS, st.sampled_from(ENCODINGS))
def test_units_are_those_of_the_encoding(text: str, encoding: Encoding) -> None:
    assert units(text, encoding) == taken(text, encoding)


@given(LETTERS, LETTERS, st.integers(0, 60), st.integers(0, 60), st.sampled_from(ENCODINGS))
def test_a_change_does_what_it_does_to_the_plain_text(
    text: str, new: str, one: int, other: int, encoding: Encoding
) -> None:
    before = plain(text)
    start, end = sorted((one % (len(before) + 1), other % (len(before) + 1)))

    def at(offset: int) -> EditorPlace:
        line = before[:offset].rpartition("\n")[2]
        return EditorPlace(before.count("\n", 0, offset), taken(line, encoding))

    document = Document.of("x.cues", text, 1, encoding)
    after = document.changed([Change(new, at(start), at(end))], 2)
    assert "\n".join(after.lines) == before[:start] + plain(new) + before[end:]
    assert after.version == 2


@given(LETTERS, st.sampled_from(ENCODINGS))
def test_a_place_and_its_offset_lead_to_one_another(text: str, encoding: Encoding) -> None:
    document = Document.of("x.cues", text, 1, encoding)
    for offset in range(len(plain(text)) + 1):
        assert document.offset(document.place(offset)) == offset


def test_a_place_outside_the_text_counts_as_the_nearest_inside() -> None:
    document = Document.of("x.cues", "ab\ncd")
    assert document.offset(EditorPlace(0, 99)) == 2
    assert document.offset(EditorPlace(99, 0)) == 5
    changed = document.changed([Change("X", EditorPlace(9, 9), EditorPlace(99, 0))], 2)
    assert changed.source.text == "ab\ncdX\n"
    turned = document.changed([Change("X", EditorPlace(1, 1), EditorPlace(0, 1))], 2)
    assert turned.source.text == "aXd\n"


def test_a_place_within_a_pair_of_units_counts_as_before_the_character() -> None:
    document = Document.of("x.cues", "a🦉b")
    assert [document.offset(EditorPlace(0, n)) for n in range(5)] == [0, 1, 1, 2, 3]


def test_several_changes_are_made_one_after_the_other() -> None:
    document = Document.of("x.cues", "one\ntwo\n")
    changes = [
        Change("zero\n", EditorPlace(0, 0), EditorPlace(0, 0)),
        Change("2", EditorPlace(2, 0), EditorPlace(2, 3)),
    ]
    assert document.changed(changes, 2).source.text == "zero\none\n2\n"
    assert document.changed([*changes, Change("all new")], 3).source.text == "all new\n"


@pytest.mark.parametrize(("text", "end"), [("a\r\nb", "\r\n"), ("a\rb", "\r"), ("a", "\n")])
def test_a_text_remembers_its_line_ends(text: str, end: str) -> None:
    assert Document.of("x.cues", text).line_end == end


# -- moved along -------------------------------------------------------------------------------


def finding(start: int, end: int, fix: Fix | None = None) -> Finding:
    return Finding("error", "x", "x", Span("x", start, end), fix=fix)


@given(st.text("ab\n", max_size=30), st.text("ab\n", max_size=30), st.data())
def test_a_moved_finding_stands_under_the_same_words(
    old: str, new: str, data: st.DataObject
) -> None:
    start = data.draw(st.integers(0, len(old)))
    end = data.draw(st.integers(start, len(old)))
    for one in moved_along([finding(start, end)], old, new):
        assert new[one.span.start : one.span.end] == old[start:end]


def test_a_finding_whose_words_have_changed_is_dropped_and_others_stay() -> None:
    old, new = "aaa bbb ccc", "aaa bXbb ccc"
    fix = Fix(Span("x", 8, 11), "y")
    found = list(moved_along([finding(0, 3), finding(4, 7), finding(8, 11, fix)], old, new))
    assert [(one.span.start, one.span.end) for one in found] == [(0, 3), (9, 12)]
    assert found[1].fix == Fix(Span("x", 9, 12), "y")


def test_a_fix_that_would_need_changed_words_is_dropped_alone() -> None:
    fix = Fix(Span("x", 8, 11), "y", ((Span("x", 4, 7), "z"),))
    (one,) = moved_along([finding(8, 11, fix)], "aaa bbb ccc", "aaa bXb ccc")
    assert one.fix is None


@given(LETTERS, LETTERS)
def test_line_changes_turn_one_text_into_the_other(old: str, new: str) -> None:
    out = old
    for start, end, text in reversed(list(line_changes(old, new))):
        out = out[:start] + text + out[end:]
    assert out == new


def test_line_changes_leave_the_lines_that_stay() -> None:
    assert list(line_changes("a\nb\nc\n", "a\nX\nc\n")) == [(2, 4, "X\n")]
    assert list(line_changes("a\n", "a\n")) == []
    assert re.fullmatch(r"(a\n)+", "a\n" * 3)
