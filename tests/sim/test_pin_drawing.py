"""The symbol of a chip: each pin where it can be read, whatever the package has."""

from __future__ import annotations

from itertools import pairwise
from xml.etree.ElementTree import fromstring

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.pictures.pin_drawing import LETTERS, ROW, SIZE, SMALLEST, DrawnPin, pin_drawing

SVG = "{http://www.w3.org/2000/svg}"


def texts(drawing: str) -> list[tuple[float, str, str]]:
    """Height, side and words of everything that is written."""
    svg = fromstring(drawing)
    return [
        (float(t.get("y", "0")), "left" if float(t.get("x", "0")) < 320 else "right", t.text or "")
        for t in svg.iter(f"{SVG}text")
    ]


def port(letter: str, joined: int = 0) -> list[DrawnPin]:
    names = [f"P{letter}{bit}" for bit in range(8)]
    states = ["joined" if bit < joined else "free" for bit in range(8)]
    return [
        DrawnPin(name, f"to {name}" if state == "joined" else "", state)  # type: ignore[arg-type]
        for name, state in zip(names, states, strict=True)
    ]


def test_a_port_without_a_wire_is_one_row() -> None:
    words = [text for _, _, text in texts(pin_drawing("chip", [port("A"), port("B", 1)]))]
    assert "PA0 to PA7" in words
    assert "PA3" not in words
    assert {f"PB{bit}" for bit in range(8)} <= set(words)


@given(st.lists(st.integers(0, 8), min_size=1, max_size=11))
def test_every_pin_with_a_wire_has_a_row_of_its_own(joined: list[int]) -> None:
    ports = [port(letter, n) for letter, n in zip("ABCDEFGHJKL", joined, strict=False)]
    drawing = pin_drawing("chip", ports)
    found = texts(drawing)
    at = {text: (side, y) for y, side, text in found}
    wanted = [pin.name for one in ports for pin in one if pin.state == "joined"]
    assert len({at[name] for name in wanted}) == len(wanted)
    for name in wanted:
        assert at[name] == at[f"to {name}"]
    sides = {
        side: sorted({y for y, s, t in found if s == side and y > ROW})
        for side in ("left", "right")
    }
    for heights in sides.values():
        gaps = [b - a for a, b in pairwise(heights)]
        assert all(gap >= ROW - 0.01 for gap in gaps)


def test_a_label_that_is_too_long_is_cut_and_marks_in_it_are_words() -> None:
    pins = [[DrawnPin("PA0", "<b>" + "x" * 200, "joined")]]
    words = [text for _, _, text in texts(pin_drawing("chip", pins))]
    assert any(text.startswith("<b>xxx") and text.endswith("…") for text in words)
    assert_all_fit(pin_drawing("chip", pins))


def test_a_label_is_written_smaller_before_it_is_cut() -> None:
    label = "the line to the boards that follow, all of them"
    assert LETTERS < len(label) < LETTERS * SIZE / SMALLEST
    drawing = pin_drawing("chip", [[DrawnPin("PD3", label, "joined")]])
    assert label in [text for _, _, text in texts(drawing)]
    assert_all_fit(drawing)


def assert_all_fit(drawing: str) -> None:
    """No label is wider than the room beside the symbol, for letters of a usual width."""
    for text in fromstring(drawing).iter(f"{SVG}text"):
        size = float(text.get("font-size", "0"))
        assert size >= SMALLEST
        assert len(text.text or "") * size <= LETTERS * SIZE + 0.01


def test_rows_lie_in_the_middle_of_their_part_of_the_body_and_what_is_joined_is_bold() -> None:
    drawing = pin_drawing("chip", [port("A", 3)])
    svg = fromstring(drawing)
    written = {t.text: t for t in svg.iter(f"{SVG}text")}
    assert {word for word, t in written.items() if t.get("font-weight") == "bold"} == {
        *("chip", "PA0", "PA1", "PA2", "to PA0", "to PA1", "to PA2")
    }
    (body,) = svg.iter(f"{SVG}rect")
    top, tall = float(body.get("y", "0")), float(body.get("height", "0"))
    wires = sorted({float(line.get("y1", "0")) for line in svg.iter(f"{SVG}line")})
    assert wires[0] - top == pytest.approx(8.0 + ROW / 2.0)
    assert all(then - one == pytest.approx(ROW) for one, then in pairwise(wires))
    assert wires[-1] < top + tall
