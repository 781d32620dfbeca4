"""Cues that an edit left alone are taken from the version before; all is said as if read anew."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqlang.check import check
from seqlang.loading import Loaded, ReadBefore, load_text, read_text, with_fixes_tried
from seqlang.text.source import Source
from sim.score.tree import children, walk
from tests.benchmarks.bench_check import big_show

ROOT = Path(__file__).parents[2]
TEXT = big_show(260)
INSERTS = (
    "",
    "5",
    "# note\n",
    "    hold 1 s\n",
    "cue more\n    hold 1 s\n",
    "wing",
    "\n",
    "(",
    "0",
)


def read(text: str, before: ReadBefore | None = None) -> Loaded:
    source = Source("x.cues", text if text.endswith("\n") else text + "\n")
    return with_fixes_tried(read_text(source, before), before)


def assert_alike(again: Loaded, fresh: Loaded) -> None:
    """The same findings; the same cues, but for numbers of marks, which lead to the same places."""
    assert again.findings == fresh.findings
    if again.show is None or fresh.show is None:
        assert again.show == fresh.show
        return
    assert again.show.rig == fresh.show.rig
    pairs = zip(again.show.score.cues, fresh.show.score.cues, strict=True)
    for one, other in pairs:
        assert again.origins[one.mark] == fresh.origins[other.mark]
        for step, twin in zip(walk(one.body), walk(other.body), strict=True):
            assert type(step) is type(twin)
            assert again.origins[step.mark] == fresh.origins[twin.mark]
            if not children(step):
                assert replace(step, mark=0) == replace(twin, mark=0)


def test_a_cue_that_an_edit_left_alone_is_the_same_one_and_the_others_are_new() -> None:
    before = ReadBefore()
    first = read(TEXT, before).show
    start = TEXT.index("cue cue_2")
    at = TEXT.index(" deg in ", start)
    second = read(TEXT[:at] + ".5" + TEXT[at:], before).show
    assert first is not None
    assert second is not None
    kept = [a is b for a, b in zip(first.score.cues, second.score.cues, strict=True)]
    assert kept == [cue.name != "cue_2" for cue in first.score.cues]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("travel -40 deg to 40 deg", "travel -20 deg to 20 deg"),
        ("given beat = 600 ms", "given beat = 700 ms"),
        ("cue cue_1", "cue other"),
    ],
)
def test_what_is_no_cue_changes_all_of_them(old: str, new: str) -> None:
    before = ReadBefore()
    read(TEXT, before)
    text = TEXT.replace(old, new)
    assert_alike(read(text, before), read(text))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 30), st.sampled_from(INSERTS)),
        min_size=1,
        max_size=5,
    )
)
def test_after_any_edits_a_show_is_read_and_checked_as_if_it_were_new(
    edits: list[tuple[float, int, str]],
) -> None:
    text, before, checked = TEXT, ReadBefore(), None
    for place, cut, words in edits:
        at = int(place * len(text))
        text = text[:at] + words + text[at + cut :]
        again = read(text, before)
        checked = check(again, int, checked)
    fresh = load_text(Source("x.cues", text if text.endswith("\n") else text + "\n"))
    assert_alike(again, fresh)
    assert checked is not None
    assert checked.findings == check(fresh).findings


@pytest.mark.parametrize("end", ["    cue beat", "    pose spread", "safe pose folded", "cue rest"])
def test_a_cue_is_read_as_anew_whose_last_words_mean_sides_that_an_edit_took_away(end: str) -> None:
    """Its last statement is a broken one, which stands at a place though it has no words."""
    text = (ROOT / "shows/wings/wings.cues").read_text("utf-8")
    spoilt = text[: text.index("mirror left, right\n")] + text[text.index(end) :]
    before = ReadBefore()
    for version in (text, spoilt, spoilt + "\n", text):
        assert_alike(read(version, before), read(version))
