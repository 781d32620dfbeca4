"""What is told of the place that is pointed at, from the text to the Markdown."""

from __future__ import annotations

import pytest

from seqlang.check import check
from seqlang.editor.hover import told
from seqlang.loading import load_text
from seqlang.text.source import Source
from tests.seqlang.show_text import CELLS, SNAP, show


def hover(text: str, word: str, nth: int = 0, *, checked: bool = True) -> str | None:
    """What is told of a word's middle; `nth`: which of its places, from 0."""
    at = -1
    for _ in range(nth + 1):
        at = text.index(word, at + 1)
    source = Source("x.cues", text)
    loaded = load_text(source)
    found = told(source, at + len(word) // 2, loaded, check(loaded) if checked else None)
    if found is not None:
        assert text[found.start : found.end].strip() == text[found.start : found.end]
        assert found.start <= at + len(word) // 2 <= found.end
    return None if found is None else found.markdown


@pytest.mark.parametrize(
    ("how", "lasts"),
    [
        ("2 times", "lasts 3 s"),
        ("for ever", "goes on until a stop, or until another cue takes over"),
        ("while held", "lasts 1.5 s, or longer while its button is held"),
    ],
)
def test_a_cue_tells_how_long_it_lasts_and_what_starts_it(how: str, lasts: str) -> None:
    body = f"repeat {how}\n    jaw to 40 deg in 1 s\n    jaw to 0 deg in 500 ms"
    words = hover(show(cues={"snap": body}), "snap")
    assert words is not None
    assert f"\n{lasts}\n" in words
    assert "started by button 1\n" in words


def test_a_servo_tells_its_travel_and_once_checked_its_work_over_the_whole_show() -> None:
    text = show(cues={"snap": SNAP})
    before = hover(text, "jaw", checked=False)
    assert before is not None
    assert "moves from 0 to 60 deg" in before
    assert "over the whole show" not in before
    after = hover(text, "jaw")
    assert after is not None
    # 1.875 times 40 deg in 1 s of 400 deg/s: minimum jerk's greatest speed (Flash and Hogan 1985)
    assert "(in `snap`), 19% of its speed (in `snap`)" in after


def test_a_move_tells_of_the_hardest_place_that_it_may_start_from() -> None:
    text = show(cues={"snap": SNAP, "bite": "jaw to 20 deg in 1 s"})
    words = hover(text, "jaw", text[: text.index("jaw to 40 deg")].count("jaw"))
    assert words is not None
    assert "**in this move**, from 0 to 40 deg in 1000 ms" in words
    assert "shown for the hardest of 2 places where this move may start" in words
    assert "; passes" in words


def test_a_move_that_is_too_fast_says_so() -> None:
    text = show(cues={"snap": "jaw to 40 deg in 90 ms\njaw to 0 deg in 1 s"})
    words = hover(text, "jaw", text[: text.index("jaw to 40 deg")].count("jaw"))
    assert words is not None
    assert "**does not pass**" in words


def test_a_supply_tells_what_it_gives_and_what_is_drawn() -> None:
    wall = hover(show(cues={"snap": SNAP}), "pack")
    assert wall is not None
    assert "6 V, 6 A" in wall
    assert " A of 6 A" in wall
    cells = hover(show(cues={"snap": SNAP}, supply=CELLS), "pack")
    assert cells is not None
    assert "2 li-ion cells, 3000 mAh" in cells


def test_an_amount_tells_its_quantity_and_a_comment_nothing() -> None:
    text = show(cues={"snap": f"{SNAP}   # 3 kgf.cm are too few"})
    assert hover(text, "10 kgf.cm") == "`10 kgf.cm`: a torque"
    assert hover(text, "3 kgf.cm") is None


def test_a_name_that_is_declared_nowhere_is_still_told_of() -> None:
    words = hover(show(cues={"snap": "beak to 40 deg in 1 s"}), "beak", checked=False)
    assert words is not None
    assert words.startswith("**beak**: output")


def test_a_choice_tells_that_one_of_several_is_drawn() -> None:
    body = "repeat for ever\n    hold 1 s .. 2 s\n    one of\n        {0}\n        hold 1 s"
    text = show(cues={"snap": body.format("jaw to 20 deg in 1 s")})
    words = hover(text, "one of")
    assert words is not None
    assert words.startswith("`one of` — one of the 2 to 8 statements below it")
