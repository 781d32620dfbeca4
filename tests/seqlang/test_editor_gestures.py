"""What an editor knows of gestures: their names, their parameters, what may be written."""

from __future__ import annotations

import pytest
from rig_text import RIG, loaded

from seqlang.editor.completion import proposals
from seqlang.editor.hover import told
from seqlang.editor.naming import CannotRenameError, ShowNames, renamed
from seqlang.editor.outline import headings
from seqlang.text.source import Source

SCORE = """\
gesture curl: part servo, reach 40 deg, tint orange
    part to reach in 1 s
    belly fade to tint in 1 s

gesture other: reach 9 deg
    jaw to reach in 1 s

cue act
    play curl, part jaw, reach 30 deg
    play other, reach 5 deg
    play curl, part fin, tint navy

idle: go act
"""
TEXT = RIG + SCORE


def offset(words: str, number: int = 1) -> int:
    at = len(RIG) - 1
    for _ in range(number):
        at = TEXT.index(words, at + 1)
    return at


def proposed(text: str) -> set[str]:
    """What is proposed at the mark `|` of a text."""
    at = text.index("|")
    names = ShowNames(loaded(TEXT).items)
    found = proposals(Source("test.cues", text.replace("|", "", 1)), at, names)
    return {one.text for one in found.all}


def with_new(words: str, name: str) -> str:
    """The text with what stands at some words renamed."""
    found = loaded(TEXT)
    assert found.findings == ()
    one = ShowNames(found.items).at(offset(words))
    assert one is not None
    text = TEXT
    for place in reversed(renamed(found, one, name)):
        text = text[: place.start] + name + text[place.end :]
    return text


def test_a_parameter_is_renamed_in_its_gesture_and_its_plays_only() -> None:
    text = with_new("reach in 1 s", "far")
    assert text.count("far") == 3
    assert "gesture other: reach 9 deg\n    jaw to reach in" in text
    assert "play other, reach 5 deg" in text


def test_a_gesture_is_renamed_with_its_plays_and_not_to_a_cue_s_name() -> None:
    assert with_new("curl, part fin", "roll").count("roll") == 3
    with pytest.raises(CannotRenameError, match="names another cue"):
        with_new("curl, part fin", "act")


def test_an_output_that_is_given_for_a_parameter_is_renamed_with_it() -> None:
    assert "play curl, part chin" in with_new("jaw, reach", "chin")


def test_a_parameter_leads_to_its_place_in_the_header() -> None:
    names = ShowNames(loaded(TEXT).items)
    one = names.at(offset("tint navy"))
    assert one is not None
    there = names.declaration(one)
    assert there is not None
    assert there.start == offset("tint orange")


def test_what_may_be_played_and_what_it_takes_is_proposed() -> None:
    assert {"curl", "other", "act"} <= proposed(TEXT.replace("play other", "play |other"))
    assert proposed(TEXT.replace("reach 5 deg", "|reach 5 deg")) == {"reach"}
    assert proposed(TEXT.replace("part fin", "|part fin")) == {"part", "reach", "tint"}
    values = proposed(TEXT.replace("part fin", "part |"))
    assert {"fin", "jaw"} <= values
    kinds = proposed(TEXT.replace("reach 9 deg", "reach |"))
    assert {"angle", "servo", "time"} <= kinds


def test_units_of_a_value_are_those_of_its_parameter() -> None:
    at = TEXT.index("5 deg", offset("play other"))
    text = TEXT[:at] + "5 " + TEXT[at + len("5 deg") :]
    found = proposals(Source("test.cues", text), at + 2, ShowNames(loaded(TEXT).items))
    assert [one.text for one in found.all][:2] == ["deg", "rad"]


def test_pointing_at_a_gesture_shows_its_header_and_the_outline_lists_it() -> None:
    found = loaded(TEXT)
    source = found.sources["test.cues"]
    hover = told(source, offset("curl, part fin"), found, None)
    assert hover is not None
    assert "gesture curl: part servo, reach 40 deg, tint orange" in hover.markdown
    listed = [(one.kind, one.name, one.detail) for one in headings(found.items)]
    assert ("gesture", "curl", "part, reach, tint") in listed
