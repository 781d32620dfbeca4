"""Cues that go as far as a source says: where their source arrives, and what they may be."""

from __future__ import annotations

import pytest

from tests.seqlang.show_text import findings

FAR = ", as far as knob from 10 % to 90 %"
SERVO = """    pulse 900 us at -45 deg, 2100 us at 45 deg
    travel -40 deg to 40 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 100 g at 30 mm
    axis upright
"""
BOW = "neck to 30 deg in 1.2 s\nneck to 0 deg in 1.2 s"


def told(
    *,
    knob: str = "hub",
    neck: str = "hub",
    leads: str = "hub",
    bow: str = BOW,
    parts: str = "",
    far: str = FAR,
) -> str:
    """A show of two boards, of which `leads` leads (none, if empty), and a cue that is scaled."""
    boards = "".join(
        f"board {name}: atmega2560, address {number}{', leads' * (name == leads)}\n    feed pack\n"
        for number, name in enumerate(("hub", "tail"), 1)
    )
    body = "".join(f"    {line}\n" for line in bow.splitlines())
    return (
        f"supply pack\n    source adapter 6 V, 6 A\n    fuse 7.5 A\n{boards}"
        f"servo neck: {neck} pin PA0\n{SERVO}"
        f"servo fin: tail pin PA1\n{SERVO}"
        f"lamp nose: tail pin PB5\nlamp lure: hub pin PB4\nsensor knob: {knob} pin PF0\n"
        f"cue bow{far}\n{body}"
        f"cue flick\n    fin to 30 deg in 1 s\n    fin to 0 deg in 1 s\n"
        f"cue nod\n    neck to 20 deg in 1 s\n    neck to 0 deg in 1 s\n{parts}"
        "remote\n    button 1: go bow\n    button 2: go flick\n    button 3: go nod\n"
        "    stop button 4\n"
    )


def elsewhere(text: str) -> list[str]:
    return [one.message for one in findings(text, "scale-elsewhere")]


def test_the_servos_of_a_scaled_cue_hang_where_its_source_arrives() -> None:
    text = told(neck="tail")
    (one,) = findings(text, "scale-elsewhere")
    assert one.severity == "error"
    assert one.message == "`neck` hangs on `tail`, and `knob` arrives at `hub`"
    assert text[one.span.start : one.span.end] == "knob"
    assert [words for _, words in one.related] == ["the servo's board", "the board that hears it"]
    assert [text[at.start : at.end] for at, _ in one.related] == ["tail", "hub"]
    assert elsewhere(told()) == []
    assert elsewhere(told(neck="tail", far="")) == []


def test_of_several_servos_that_hang_elsewhere_the_first_is_named() -> None:
    both = "neck to 30 deg, fin to 30 deg in 1.2 s\nneck to 0 deg, fin to 0 deg in 1.2 s"
    assert elsewhere(told(bow=both)) == ["`fin` hangs on `tail`, and `knob` arrives at `hub`"]
    assert elsewhere(told(bow=both, neck="tail")) == [
        "`neck` hangs on `tail`, and `knob` arrives at `hub`"
    ]


def test_lights_of_a_scaled_cue_may_hang_elsewhere_as_they_are_not_scaled() -> None:
    assert elsewhere(told(bow=f"{BOW}\nnose fade to 50 % in 2 s\nnose fade to off in 2 s")) == []


def test_the_source_of_a_scaled_cue_arrives_at_the_board_that_leads() -> None:
    """Told once for a cue, whatever its servos hang on; without one that leads each plays alone."""
    told_of = ["`knob` arrives at `tail`, and `hub` starts the cues"]
    assert elsewhere(told(knob="tail", neck="tail")) == told_of
    assert elsewhere(told(knob="tail")) == told_of
    assert elsewhere(told(knob="tail", neck="tail", leads="tail")) == []
    assert elsewhere(told(knob="tail", neck="tail", leads="")) == []
    assert elsewhere(told(knob="tail", leads="")) == [
        "`neck` hangs on `hub`, and `knob` arrives at `tail`"
    ]


GLOW = "lure fade to 50 % in 2 s\nlure fade to off in 2 s"


@pytest.mark.parametrize(
    ("bow", "unfit"),
    [(GLOW, True), (f"{GLOW}\nneck to 5 deg in 1 s\nneck to 0 deg in 1 s", False)],
)
def test_a_scaled_cue_moves_a_servo(bow: str, unfit: bool) -> None:
    """What other cues move does not count."""
    found = findings(told(bow=bow), "scale-unfit")
    assert [one.message for one in found] == (
        ["`bow` moves no servo, and lights are not scaled"] if unfit else []
    )
    for one in found:
        text = told(bow=bow)
        assert text[one.span.start : one.span.end].startswith("as far as knob")
        assert one.help == "let the light follow the source; or leave out `, as far as ...`"
