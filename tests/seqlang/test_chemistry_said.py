"""The chemistry of a pack as labels and hands write it: another one is never offered for it."""

from __future__ import annotations

import pytest

from tests.seqlang.show_text import applied, findings

RIG = """\
supply pack
    source 2 {kind} cells, 3000 mAh
    fuse 5 A
board box: atmega2560, address 1
    feed pack
    logic 5 V, dropout 0.4 V
    watch pin PF1, divider 18 kohm over 22 kohm
lamp lure: box pin PB4
cue flare
    lure fade to 80 % in 2 s
    lure fade to off in 2 s
remote
    button 1: go flare
    stop button 5
"""
RIGHT = RIG.format(kind="lifepo4")


@pytest.mark.parametrize(
    "written",
    [
        *("LiFePO", "LiFePO4", "LiFePo-4", "lifepo", "LiFe", "Li-Fe", "LFP", "lifpo4", "lifepo3"),
        *("lithium iron", "lithium iron phosphate", "lithium-iron-phosphate"),
    ],
)
def test_an_iron_cell_in_other_words_is_never_taken_for_another_chemistry(written: str) -> None:
    text = RIG.format(kind=written)
    assert applied(text, findings(text, "syntax")[0]) == RIGHT


@pytest.mark.parametrize(
    "written", ["2S LiFe", "2s lifepo", "2S LFP", "LFP 2S", "lifepo 2 cells", "6.4 V LiFe"]
)
def test_an_iron_pack_as_its_label_says_it_becomes_cells_of_its_kind(written: str) -> None:
    text = RIGHT.replace("2 lifepo4 cells", written)
    assert applied(text, findings(text, "syntax")[0]) == RIGHT


@pytest.mark.parametrize(
    ("written", "kind"),
    [
        *(("lithium", "li-ion"), ("lithium ion", "li-ion"), ("liion", "li-ion")),
        *(("li-po", "lipo"), ("lithium polymer", "lipo"), ("Ni-MH", "nimh")),
    ],
)
def test_other_chemistries_in_other_words_stay_what_they_are(written: str, kind: str) -> None:
    text = RIG.format(kind=written)
    assert applied(text, findings(text, "syntax")[0]) == RIG.format(kind=kind)


def test_a_pack_that_could_not_be_read_does_not_make_its_watch_useless() -> None:
    text = RIG.format(kind="zinc")
    assert {one.name for one in findings(text) if one.severity == "error"} == {"syntax"}
