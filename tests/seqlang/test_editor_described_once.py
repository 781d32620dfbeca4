"""An editor in shows that describe sides and rows once: names of several parts, and their parts."""

from __future__ import annotations

import pytest

from seqlang.check import check
from seqlang.editor.completion import proposals
from seqlang.editor.hover import told
from seqlang.editor.naming import CannotRenameError, ShowNames, renamed
from seqlang.editor.outline import headings
from seqlang.loading import load_text
from seqlang.text.source import Source

TEXT = """\
supply pack
    source adapter 6 V, 20 A
mirror left, right
    board wing: atmega328p, address (left: 1, right: 2)
        feed pack, 300 mm of 18 AWG
    row of 3
        servo feather: wing pin (PB1, PB2, PB3)
            pulse 900 us at 0 deg, 2100 us at 90 deg
            travel 0 deg to 70 deg
            rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
            load rod (16 g, step -2 g), 90 mm
    cue beat
        feather to 40 deg in 1 s
        feather to 5 deg in 1 s
cue act
    left_feather_3 to 40 deg in 1 s
    feather_2 to 5 deg in 1 s
    stagger 100 ms along left_feather from the end
        feather to 30 deg in 800 ms
    in turn along left, right
        play beat
    play right_beat
remote
    button 1: go act
    stop button 2
"""
SOURCE = Source("x.cues", TEXT)


def names() -> ShowNames:
    return ShowNames(load_text(SOURCE).items)


def with_name(word: str, part: str, new: str) -> str:
    """The text with `part` of the first `word` renamed."""
    loaded = load_text(SOURCE)
    one = ShowNames(loaded.items).at(TEXT.index(word) + word.index(part) + 1)
    assert one is not None
    text = TEXT
    for place in reversed(renamed(loaded, one, new)):
        text = text[: place.start] + new + text[place.end :]
    return text


def test_a_name_of_a_side_is_two_names_each_with_its_declaration() -> None:
    at = TEXT.index("left_feather_3")
    side, part = names().at(at + 1), names().at(at + 7)
    assert side is not None
    assert part is not None
    assert (side.named, side.name, part.named, part.name) == ("side", "left", "output", "feather")
    for one, header in ((side, "mirror "), (part, "servo ")):
        declared = names().declaration(one)
        assert declared is not None
        assert TEXT[: declared.start].endswith(header)


def test_references_of_a_part_are_found_under_all_its_names() -> None:
    one = names().at(TEXT.index("servo feather") + 8)
    assert one is not None
    found = {TEXT[o.start - 5 : o.end] for o in names().same(one)}
    assert {"left_feather", "ervo feather"} <= found
    assert len(names().same(one)) == TEXT.count("feather")


def test_a_side_that_is_renamed_is_renamed_in_all_names() -> None:
    assert with_name("left_feather_3", "left", "port") == TEXT.replace("left", "port")


def test_a_part_that_is_renamed_keeps_its_sides_and_numbers() -> None:
    assert with_name("left_feather_3", "feather", "quill") == TEXT.replace("feather", "quill")


def test_a_cue_of_a_mirror_is_renamed_with_its_sides() -> None:
    assert with_name("right_beat", "beat", "flap") == TEXT.replace("beat", "flap")


def test_a_name_that_would_stand_for_two_things_is_refused() -> None:
    with pytest.raises(CannotRenameError):
        with_name("left_feather_3", "left", "right")


def offered(before: str) -> list[str]:
    at = len(before)
    return [one.text for one in proposals(Source("x.cues", before + "\n"), at, names()).all]


@pytest.mark.parametrize(
    ("text", "some", "none"),
    [
        (TEXT + "cue more\n    ", ["left_feather_2", "left_feather", "feather_1", "feather"], []),
        (TEXT + "cue more\n    play ", ["beat", "left_beat", "right_beat", "act"], ["feather"]),
        (TEXT + "cue more\n    stagger 1 s ", ["along"], ["feather"]),
        (TEXT + "cue more\n    in turn along ", ["feather", "left_feather", "left"], ["beat"]),
        (TEXT + "cue more\n    in turn along feather ", ["from the middle", "from the end"], []),
        (TEXT + "cue more\n    feather_1 ", ["through", "to"], []),
        ("mirror left, right\n    ", ["servo", "board", "row", "cue"], ["mirror", "remote"]),
        ("row of 3\n    ", ["servo", "lamp", "cue"], ["row"]),
        ("row of 3\n    lamp a: b pin (", ["PB1"], []),
        ("mirror left, right\n    servo a: b pin PB1\n        tr", ["trim", "travel"], ["load"]),
    ],
)
def test_what_is_offered_fits(text: str, some: list[str], none: list[str]) -> None:
    found = offered(text)
    assert [word for word in some if word not in found] == []
    assert [word for word in none if word in found] == []


def test_hovering_over_a_row_says_what_it_stands_for_and_how_hard_each_works() -> None:
    loaded = load_text(SOURCE)
    found = told(SOURCE, TEXT.index("left_feather from") + 7, loaded, check(loaded))
    assert found is not None
    assert "**left_feather** stands for `left_feather_1`, `left_feather_2`" in found.markdown
    assert "moves from 0 to 70 deg" in found.markdown


def test_hovering_over_one_part_tells_of_it_alone() -> None:
    loaded = load_text(SOURCE)
    found = told(SOURCE, TEXT.index("left_feather_3") + 7, loaded, check(loaded))
    assert found is not None
    assert "**left_feather_3**" in found.markdown
    assert "in this move" in found.markdown
    assert "right_feather" not in found.markdown


def test_the_outline_shows_what_is_described_below_a_mirror_and_a_row() -> None:
    mirror = next(one for one in headings(load_text(SOURCE).items) if one.kind == "mirror")
    assert mirror.name == "mirror left, right"
    assert [one.name for one in mirror.children] == ["wing", "row of 3", "beat"]
    assert [one.name for one in mirror.children[1].children] == ["feather"]
