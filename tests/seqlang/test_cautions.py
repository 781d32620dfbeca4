"""The cautions' own words: each point is one whole sentence."""

from __future__ import annotations

import pytest

from seqlang.cautions import ALL, LITHIUM, Caution
from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source


@pytest.mark.parametrize("caution", ALL, ids=lambda caution: caution.name)
def test_each_point_of_a_caution_is_a_sentence_of_its_own(caution: Caution) -> None:
    """A stray comma between two lines had made two points of one, the first with a gap behind."""
    for words in (caution.title, *caution.words):
        assert words == " ".join(words.split())
        assert not words.endswith((",", ";"))


@pytest.mark.parametrize(
    ("packs", "said"),
    [
        (1, "`pack_1` holds 22 Wh"),
        (2, "`pack_2` holds 45 Wh, `pack_1` holds 22 Wh"),
        (4, "`pack_4` holds 90 Wh, `pack_3` holds 67 Wh, `pack_2` holds 45 Wh, and 1 more"),
    ],
)
def test_the_caution_of_lithium_names_the_packs_with_what_they_hold(packs: int, said: str) -> None:
    lines = ["lamp eye: box_1 pin PD6"]
    for number in range(1, packs + 1):
        lines += [
            *(f"supply pack_{number}", f"    source 2 li-ion cells, {3000 * number} mAh"),
            *("    regulator 5 V, 5 A", "    fuse 5 A"),
            *(f"board box_{number}: atmega328p, address {number}", f"    feed pack_{number}"),
        ]
    lines += ["cue glow", "    eye fade to 50 % in 2 s", "    eye fade to off in 2 s"]
    lines += ["remote", "    button 1: go glow", "    stop button 2"]
    found = check(load_text(Source("test.cues", "\n".join(lines) + "\n"))).findings
    (caution,) = (one for one in found if one.name == LITHIUM.name)
    assert caution.message == f"{LITHIUM.title}: {said}"
