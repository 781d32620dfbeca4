"""The cautions' own words: each point is one whole sentence."""

from __future__ import annotations

import pytest

from seqlang.cautions import ALL, Caution


@pytest.mark.parametrize("caution", ALL, ids=lambda caution: caution.name)
def test_each_point_of_a_caution_is_a_sentence_of_its_own(caution: Caution) -> None:
    """A stray comma between two lines had made two points of one, the first with a gap behind."""
    for words in (caution.title, *caution.words):
        assert words == " ".join(words.split())
        assert not words.endswith((",", ";"))
