"""Where a text stands for several things, a finding shows the way to what is wrong."""

from __future__ import annotations

import json

from lark import Token

from seqlang.check import _in_order
from seqlang.editor.document import Document
from seqlang.editor.moved import moved_along
from seqlang.editor.server import _diagnostic
from seqlang.editor.study import OpenText, OpenTexts, studied
from seqlang.loading import ReadBefore
from seqlang.meaning.values import Reading
from seqlang.text.findings import Finding, Passage, Span
from seqlang.text.render import as_json, text
from seqlang.text.sarif import as_sarif
from seqlang.text.source import Source

TEXT = "gesture wave\n    fin to 99 deg\ncue greet\n    play wave\n    play wave\n"
SOURCE = Source("show.cues", TEXT)
SOURCES = {SOURCE.path: SOURCE}


def at(words: str, number: int = 1, *trail: Passage) -> Span:
    start = -1
    for _ in range(number):
        start = TEXT.index(words, start + 1)
    return Span(SOURCE.path, start, start + len(words), trail)


def call(number: int) -> Passage:
    return Passage("in the gesture `wave`, played here", at("play wave", number))


LEFT = Passage("on the left side")


def finding(*trail: Passage) -> Finding:
    return Finding("error", "too-far", "`fin` cannot go there", at("99 deg", 1, *trail))


def test_the_line_of_a_finding_is_followed_by_its_trail_the_innermost_step_first() -> None:
    assert text([finding(LEFT, call(1))], SOURCES).splitlines() == [
        "show.cues:2:12: error: `fin` cannot go there  (too-far)",
        "    2 |     fin to 99 deg",
        "      :            ^^^^^^",
        "    4 |     play wave",
        "      :     ~~~~~~~~~ in the gesture `wave`, played here",
        "where   on the left side",
    ]


def test_a_step_in_another_file_names_the_file() -> None:
    other = Source("rig.cues", "one\ntwo\n")
    way = Passage("included here", Span("rig.cues", 4, 7))
    lines = text([finding(way)], {**SOURCES, "rig.cues": other}).splitlines()
    assert lines[3:] == ["   in   rig.cues", "    2 | two", "      : ~~~ included here"]


def test_the_trail_of_a_finding_is_in_its_json_and_its_sarif() -> None:
    (record,) = json.loads(as_json([finding(LEFT, call(2))], SOURCES))["findings"]
    assert [(way["words"], way["span"] and way["span"]["line"]) for way in record["trail"]] == [
        ("on the left side", None),
        ("in the gesture `wave`, played here", 5),
    ]
    (result,) = json.loads(as_sarif([finding(LEFT, call(2))], SOURCES, "1", 1))["runs"][0][
        "results"
    ]
    inner, outer = result["relatedLocations"]
    assert inner["physicalLocation"]["region"]["startLine"] == 5
    assert outer == {"id": 1, "message": {"text": "On the left side."}}


def test_an_editor_is_told_the_places_of_a_trail_and_reads_the_rest() -> None:
    text_ = OpenText("file:///show.cues", Document.of(SOURCE.path, TEXT))
    study, _ = studied(text_, OpenTexts({}), (), ReadBefore())
    told = _diagnostic(study, finding(LEFT, call(2)))
    assert told.message.splitlines() == ["`fin` cannot go there", "on the left side"]
    (place,) = told.related_information or []
    assert place.location.range.start.line == 4


def test_findings_that_differ_in_their_way_only_are_one_that_tells_of_the_others() -> None:
    (one,) = _in_order([finding(call(1)), finding(call(2))], [SOURCE.path])
    assert one.trail == (call(1),)
    assert one.related == ((call(2).span, "the same in the gesture `wave`, played here"),)
    (one,) = _in_order([finding(LEFT), finding(Passage("on the right side"))], [SOURCE.path])
    assert one.notes == ("the same on the right side",)


def test_spans_are_the_same_whatever_led_to_them() -> None:
    assert finding(LEFT).span == finding().span
    assert len({finding(LEFT).span, finding(call(1)).span}) == 1


def test_what_is_marked_or_found_while_passing_has_come_that_way() -> None:
    reading = Reading(SOURCE)
    word = Token("NAME", "fin", TEXT.index("fin"), end_pos=TEXT.index("fin") + 3)
    head = Token("NAME", "wave", 8, end_pos=12)
    with reading.passing("on the left side"), reading.passing("played here", head):
        mark = reading.origins.mark(word, word, ("name", word))
        reading.error("too-far", "no", word)
        reading.error("too-far", "no", word)
    after = reading.origins.mark(word, word)
    way = (LEFT, Passage("played here", Span(SOURCE.path, 8, 12)))
    assert reading.origins[mark].trail == reading.origins[mark].part("name").trail == way
    assert reading.origins[after].trail == ()
    (found,) = reading.findings
    assert found.trail == way


def test_a_finding_moves_along_with_its_trail_and_goes_when_that_changes() -> None:
    (moved,) = moved_along([finding(call(2))], TEXT, "# more\n" + TEXT)
    assert moved.trail[0].span == Span(SOURCE.path, at("play wave", 2).start + 7, len(TEXT) + 6)
    changed = TEXT[: at("play wave", 2).start] + "play wav\n"
    assert not list(moved_along([finding(call(2))], TEXT, changed))
