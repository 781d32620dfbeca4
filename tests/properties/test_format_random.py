"""Laying out any show changes neither what it says nor its comments, and settles at once."""

from __future__ import annotations

import re
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.meaning.write_show import text_of, without_marks
from seqlang.text.format import formatted
from seqlang.text.parse import parse
from seqlang.text.source import Source
from sim.model import Show
from tests.properties.test_show_text_round_trip import shows
from tests.seqlang.messed_layout import comments_of, shaken

SEEDS = st.integers(0, 2**32)
ROOT = Path(__file__).parents[2]
DEMOS = sorted((ROOT / "shows").glob("*/*.cues"))
PAGE = (ROOT / "seqlang" / "LANGUAGE.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```cues\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
READABLE = [
    text
    for text in EXAMPLES
    if not parse(Source("x.cues", text)).findings and "\ninclude " not in f"\n{text}"
]
"""Without those of several files, which `test_includes.py` lays out."""


def laid_out(text: str) -> str:
    made = formatted(Source("x.cues", text if text.endswith("\n") else text + "\n"))
    assert made.findings == (), made.findings
    return made.text


def show_of(text: str) -> Show | None:
    return without_marks(load_text(Source("x.cues", text)).show)


def tables_of(text: str) -> list[bytes]:
    checked = check(load_text(Source("x.cues", text)))
    assert checked.show is not None, [f for f in checked.findings if f.severity == "error"]
    return [board.data for board in checked.show.compiled.boards]


@settings(max_examples=60)
@given(shows(), SEEDS)
def test_a_shaken_show_laid_out_says_the_same_with_the_same_comments(show: Show, seed: int) -> None:
    text = shaken(Random(seed), text_of(show))
    out = laid_out(text)
    assert show_of(out) == show
    assert comments_of(out) == comments_of(text)
    assert laid_out(out) == out


@settings(max_examples=30)
@given(shows(), SEEDS)
def test_layout_does_not_depend_on_how_a_show_was_spaced(show: Show, seed: int) -> None:
    plain = text_of(show)
    assert laid_out(shaken(Random(seed), plain, remarks=False, blanks=False)) == laid_out(plain)


@settings(max_examples=6)
@given(st.sampled_from(DEMOS), SEEDS)
def test_a_shaken_demo_laid_out_has_the_same_tables(path: Path, seed: int) -> None:
    plain = path.read_text(encoding="utf-8")
    text = shaken(Random(seed), plain)
    out = laid_out(text)
    assert tables_of(out) == tables_of(plain)
    assert comments_of(out) == comments_of(text)
    assert laid_out(out) == out


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_a_demo_is_shipped_in_the_layout_it_would_get(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert laid_out(text) == text


def test_most_examples_of_the_page_can_be_laid_out() -> None:
    assert len(READABLE) >= len(EXAMPLES) - 5


@settings(max_examples=50)
@given(st.sampled_from(READABLE), SEEDS)
def test_a_shaken_example_laid_out_has_the_same_meaning_and_findings(text: str, seed: int) -> None:
    shaken_text = shaken(Random(seed), text)
    out = laid_out(shaken_text)
    before, after = (load_text(Source("x.cues", one)) for one in (text, out))
    assert without_marks(after.show) == without_marks(before.show)
    assert [f.name for f in after.findings] == [f.name for f in before.findings]
    assert comments_of(out) == comments_of(shaken_text)
    assert laid_out(out) == out


@pytest.mark.parametrize("text", READABLE, ids=lambda text: text.strip().splitlines()[0][:30])
def test_a_comment_may_stand_at_every_line(text: str) -> None:
    lines = text.splitlines()
    for number in range(len(lines) + 1):
        for indent in ("", "    ", "          "):
            marked = [*lines[:number], f"{indent}# here", *lines[number:]]
            out = laid_out("\n".join(marked) + "\n")
            assert out.count("# here") == 1
            words = [line.strip() for line in out.splitlines() if line.strip()]
            assert words.index("# here") == len([line for line in lines[:number] if line.strip()])
            assert laid_out(out) == out
