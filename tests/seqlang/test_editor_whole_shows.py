"""Two whole shows that have a line of every kind: an editor knows each of their words."""

from __future__ import annotations

import re

import pytest

from seqlang.editor.completion import proposals
from seqlang.editor.naming import ShowNames, renamed
from seqlang.loading import Loaded, load_text
from seqlang.text.source import Source
from tests.seqlang.mistakes.base import LINES, LIVE

SHOWS = {
    name: "\n".join(line for _, line in lines) + "\n"
    for name, lines in (("usual", LINES), ("live", LIVE))
}
WORD = re.compile(r'"[^"\n]*"|#[0-9a-f]{6}|(?<![\w.])[A-Za-z_%][\w./%-]*')
EACH = pytest.mark.parametrize("text", SHOWS.values(), ids=SHOWS)


def read(text: str) -> Loaded:
    return load_text(Source("x.cues", text))


def line_around(text: str, start: int) -> str:
    return text[text.rfind("\n", 0, start) + 1 : text.index("\n", start)]


def is_offered(text: str, start: int, word: str, names: ShowNames) -> bool:
    """Whether a word is among what may stand at its place, alone or as a part of several words,
    if nothing is written behind it yet."""
    cut = text[:start] + text[text.index("\n", start) :]
    found = proposals(Source("x.cues", cut), start, names).all
    return any(re.search(rf"(?<![\w.]){re.escape(word)}(?![\w%])", one.text) for one in found)


@EACH
def test_every_word_is_offered_where_it_stands_unless_it_names_something_new(text: str) -> None:
    names = ShowNames(read(text).items)
    new = {one.start for one in names.all if one.declares}
    due = [one for one in WORD.finditer(text) if one[0][0] not in '"#' and one.start() not in new]
    assert len(due) > 200
    missed = [one for one in due if not is_offered(text, one.start(), one[0], names)]
    assert [line_around(text, one.start()) for one in missed] == []


@EACH
def test_every_name_is_that_of_something(text: str) -> None:
    names = ShowNames(read(text).items)
    own = {(one.named, one.name) for one in names.all if one.declares}
    known = names.all
    lost = [o for o in known if o.named == "constant" and (o.named, o.name) not in own]
    assert [line_around(text, one.start) for one in lost] == []


@EACH
def test_whatever_has_a_name_can_be_given_another(text: str) -> None:
    loaded = read(text)
    declared = [one for one in ShowNames(loaded.items).all if one.declares]
    assert len(declared) > 10
    for one in declared:
        places = renamed(loaded, one, f"{one.name}_x")  # it raises if the show would change
        assert one.start in {place.start for place in places}


def test_only_a_lamp_follows_an_output() -> None:
    text = SHOWS["live"]
    names = ShowNames(read(text).items)
    for line, offered in (("follows stick from 1000 us", False), ("follows beak from", True)):
        assert is_offered(text, text.index(line) + len("follows "), "beak", names) == offered


def test_what_stands_for_an_amount_in_a_gesture_is_offered_for_no_output() -> None:
    text = SHOWS["usual"]
    names = ShowNames(read(text).items)
    target = text.index("claw to reach")
    assert not is_offered(text, target, "reach", names)
    assert not is_offered(text, target + len("claw to "), "claw", names)
    elsewhere = text.index("jaw to 30 deg in 900 ms")
    assert not is_offered(text, elsewhere, "claw", names)
