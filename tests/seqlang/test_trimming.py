"""Trims that were set by eye, put into the text: what changes there, and what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqlang.loading import Loaded, load_text
from seqlang.text.findings import applied
from seqlang.text.source import Source
from seqlang.trimming import Retrimmed, TrimRefusedError, retrimmed, said_trims, trims_of
from sim.model import Lamp, Strip

HEAD = """\
given dim = 40 %
supply pack
    source adapter 6 V, 10 A
board body: atmega328p, address 1
    feed pack
"""
PLAIN = """\
lamp eye: body pin PD6  # by eye
    leds        1 of 3 V, 20 mA
    trim        80 %    # 80 % from the stalls
lamp ear: body pin PD5
strip belly: body pin PD7
    pixels      4
    balance     100 %, 88 %, 72 %
"""
TAIL = """\
cue lit
    {first} fade to 80 % in 20 ms
    hold 2 s
remote
    button 1: go lit
    stop button 9
"""
TOGETHER = """\
lamp nose: body pin PD3
    trim        dim
row of 2
    lamp glow: body pin (PD5, PD6)
        trim    90 %
"""


def loaded(lights: str, first: str = "eye") -> Loaded:
    found = load_text(Source("x.cues", HEAD + lights + TAIL.format(first=first)))
    assert [one.message for one in found.findings] == []
    return found


def text_of(before: Loaded, made: Retrimmed) -> str:
    """The lights of a text with a change."""
    assert made.fix is not None
    text = applied(before.sources["x.cues"].text, made.fix)
    assert text.startswith(HEAD)
    return text.removeprefix(HEAD).partition("cue lit")[0]


def test_what_the_text_says_is_read_as_it_stands() -> None:
    assert said_trims(loaded(PLAIN)) == {
        "eye": (80.0,),
        "ear": (100.0,),
        "belly": (100.0, 100.0, 88.0, 72.0),
    }


def test_only_the_numbers_change_and_lines_come_where_none_were() -> None:
    before = loaded(PLAIN)
    made = retrimmed(before, {"eye": (70.0,), "ear": (60.5,), "belly": (90.0, 100.0, 80.0, 72.0)})
    assert text_of(before, made) == PLAIN.replace("trim        80 %", "trim        70 %").replace(
        "88 %", "80 %"
    ).replace("pin PD5\n", "pin PD5\n    trim        60.5 %\n").replace(
        "    pixels", "    trim        90 %\n    pixels"
    )
    assert said_trims(made.loaded)["belly"] == (90.0, 100.0, 80.0, 72.0)


def test_what_stands_there_already_changes_nothing() -> None:
    assert retrimmed(loaded(PLAIN), {"eye": (80.0,), "ear": (100.0,)}).fix is None


def test_a_constant_gives_way_to_the_number_and_keeps_its_own_value() -> None:
    lights = PLAIN.replace("80 %    #", "dim     #")
    before = loaded(lights)
    assert "eye" not in said_trims(before)
    made = retrimmed(before, {"eye": (55.0,)})
    assert text_of(before, made) == lights.replace("dim     #", "55 %     #")


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ({"mouth": (50.0,)}, "there is no lamp or strip `mouth`"),
        ({"eye": (50.0, 1.0, 1.0, 1.0)}, "`eye` takes 1 shares"),
        ({"belly": (50.0,)}, "`belly` takes 4 shares"),
        ({"eye": (0.5,)}, "from 1 % to 100 %"),
        ({"eye": (101.0,)}, "from 1 % to 100 %"),
    ],
)
def test_what_is_no_trim_of_a_light_is_refused(
    wanted: dict[str, tuple[float, ...]], words: str
) -> None:
    with pytest.raises(TrimRefusedError, match=words):
        retrimmed(loaded(PLAIN), wanted)


@pytest.mark.parametrize("pct", [1.0, 100.0])
def test_both_ends_of_the_scale_are_trims(pct: float) -> None:
    made = retrimmed(loaded(PLAIN), {"eye": (pct,)})
    assert said_trims(made.loaded)["eye"] == (pct,)


SHARE = st.integers(1, 100).map(float)


@given(st.tuples(SHARE), st.tuples(SHARE, SHARE, SHARE, SHARE))
def test_any_trims_read_back_as_they_were_set(
    lamp: tuple[float, ...], strip: tuple[float, ...]
) -> None:
    made = retrimmed(loaded(PLAIN), {"ear": lamp, "belly": strip})
    said = said_trims(made.loaded)
    assert (said["ear"], said["belly"]) == (lamp, strip)
    assert made.loaded.show is not None
    _, ear, belly = made.loaded.show.rig.outputs
    assert isinstance(ear, Lamp)
    assert isinstance(belly, Strip)
    assert (ear.trims or (1.0,)) == trims_of(lamp)
    assert (belly.trims or (1.0,) * 3) == trims_of(strip)


def test_lights_that_are_described_once_change_together_or_each_by_a_value_in_brackets() -> None:
    before = loaded(TOGETHER, "nose")
    assert said_trims(before) == {"glow_1": (90.0,), "glow_2": (90.0,)}
    both = retrimmed(before, {"glow_1": (70.0,), "glow_2": (70.0,)})
    assert text_of(before, both) == TOGETHER.replace("90 %", "70 %")
    one = retrimmed(before, {"glow_1": (70.0,)})
    assert text_of(before, one) == TOGETHER.replace("90 %", "(70 %, 90 %)")
    each = retrimmed(before, {"glow_1": (70.0,), "glow_2": (60.0,)})
    assert text_of(before, each) == TOGETHER.replace("90 %", "(70 %, 60 %)")


SIDES = """\
mirror port, starboard
    lamp glow: body pin (port: PD5, starboard: PD6)
    strip rim: body pin (port: PD7, starboard: PB0)
        pixels      4
"""


def test_both_sides_get_a_line_with_a_value_for_each() -> None:
    before = loaded(SIDES, "glow")
    made = retrimmed(before, {"port_glow": (80.0,), "starboard_rim": (90.0, 100.0, 70.0, 60.0)})
    assert text_of(before, made) == SIDES.replace(
        "PD6)\n", "PD6)\n        trim        (port: 80 %, starboard: 100 %)\n"
    ).replace(
        "        pixels",
        "        trim        (port: 100 %, starboard: 90 %)\n"
        "        balance     100 %, (port: 100 %, starboard: 70 %), "
        "(port: 100 %, starboard: 60 %)\n"
        "        pixels",
    )
    assert said_trims(made.loaded)["starboard_rim"] == (90.0, 100.0, 70.0, 60.0)
    assert said_trims(made.loaded)["port_rim"] == (100.0, 100.0, 100.0, 100.0)


ROW_ON_SIDES = """\
mirror port, starboard
    row of 2
        lamp glow: body pin (port: (PD5, PD6), starboard: (PB1, PB2))
            trim    90 %
"""


@given(st.lists(SHARE, min_size=4, max_size=4))
def test_a_row_on_both_sides_takes_any_value_for_each_of_its_lights(shares: list[float]) -> None:
    names = [f"{side}_glow_{n}" for side in ("port", "starboard") for n in (1, 2)]
    wanted = {name: (share,) for name, share in zip(names, shares, strict=True)}
    made = retrimmed(loaded(ROW_ON_SIDES, "glow"), wanted)
    assert said_trims(made.loaded) == wanted


def test_of_lights_described_once_by_a_constant_all_are_chosen() -> None:
    lights = TOGETHER.replace("90 %", "dim")
    before = loaded(lights, "nose")
    with pytest.raises(TrimRefusedError, match=r"x.cues:\d+: .*`glow_2` here too.*choose it"):
        retrimmed(before, {"glow_1": (70.0,)})
    made = retrimmed(before, {"glow_1": (70.0,), "glow_2": (60.0,)})
    assert text_of(before, made) == lights.replace("trim    dim", "trim    (70 %, 60 %)")


def test_lights_with_numbers_of_their_own_in_brackets_change_alone() -> None:
    lights = TOGETHER.replace("90 %", "(90 %, 80 %)")
    before = loaded(lights, "nose")
    made = retrimmed(before, {"glow_2": (60.0,)})
    assert text_of(before, made) == lights.replace("80 %", "60 %")
