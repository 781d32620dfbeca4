"""Any show that describes things once is, to the byte, the show that writes each of them out.

The second text is made here by plain loops, from the same drawn figures, and by the rules as
LANGUAGE.md 3.6, 3.7 and 4.5 state them.
"""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.compiler.show import compile_show
from seqlang.loading import load_text
from seqlang.meaning.write_show import without_marks
from seqlang.text.source import Source
from sim.model import Show

SIDES = ("port", "lee")
PINS = ("PB1", "PB2", "PB3", "PB4", "PD2", "PD3", "PD4", "PD5")
ORDERS = ("", " from the end", " from the middle", " from both ends")
TOP = "supply pack\n    source adapter 6 V, 30 A\n"
RATING = "rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V"


@dataclass(frozen=True)
class Part:
    """A servo in a row on both sides, in figures; those that differ by side and number."""

    pulses: tuple[int, int]
    mirrored: bool
    trims: tuple[tuple[int, ...], tuple[int, ...]]
    pins: tuple[tuple[str, ...], tuple[str, ...]]
    mass_g: int
    step_g: int


@dataclass(frozen=True)
class Said:
    """A statement: of which side and number (None: all), to where, along what."""

    side: int | None
    item: int | None
    angle: int
    step: int
    along: str | None
    interval: int


@st.composite
def parts(draw: st.DrawFn, count: int) -> Part:
    def each(one: st.SearchStrategy[int]) -> tuple[tuple[int, ...], tuple[int, ...]]:
        row = st.tuples(*[one] * count)
        return draw(row), draw(row)

    pins = st.permutations(PINS).map(lambda all_: tuple(all_[:count]))
    return Part(
        (draw(st.integers(700, 1100)), draw(st.integers(1900, 2300))),
        draw(st.booleans()),
        each(st.integers(-20, 20)),
        (draw(pins), draw(pins)),
        draw(st.integers(20, 30)),
        draw(st.integers(-4, 4)),
    )


@st.composite
def statements(draw: st.DrawFn, count: int) -> Said:
    return Said(
        draw(st.sampled_from([None, 0, 1])),
        draw(st.sampled_from([None, *range(1, count + 1)])),
        draw(st.integers(0, 60)),
        draw(st.integers(0, 2)),
        draw(st.sampled_from([None, None, *ORDERS])),
        draw(st.integers(1, 20)) * 10,
    )


def once(part: Part, count: int, said: list[Said]) -> str:
    """The text that describes everything once."""

    def rows(values: tuple[tuple[object, ...], tuple[object, ...]], unit: str = "") -> str:
        listed = [", ".join(f"{one}{unit}" for one in row) for row in values]
        return f"({SIDES[0]}: ({listed[0]}), {SIDES[1]}: ({listed[1]}))"

    turned = "" if part.mirrored else ", not mirrored"
    lines = [
        *(
            f"mirror {SIDES[0]}, {SIDES[1]}",
            f"    board wing: atmega328p, address ({SIDES[0]}: 1, ",
        ),
    ]
    lines[-1] += f"{SIDES[1]}: 2)"
    lines += [
        *("        feed pack, 300 mm of 18 AWG", f"    row of {count}"),
        f"        servo vane: wing pin {rows(part.pins)}",
        f"            pulse {part.pulses[0]} us at 0 deg, {part.pulses[1]} us at 90 deg{turned}",
        f"            trim {rows(part.trims, ' us')}",
        *("            travel 0 deg to 80 deg", f"            {RATING}"),
        f"            load rod ({part.mass_g} g, step {part.step_g} g), 60 mm",
        *("cue act", "    hold 100 ms"),
    ]
    for one in said:
        name = "" if one.side is None else f"{SIDES[one.side]}_"
        name += "vane"
        if one.along is not None:
            lines.append(f"    stagger {one.interval} ms along {name}{one.along}")
            lines.append(f"        vane to {one.angle} deg in 400 ms")
        elif one.item is not None:
            lines.append(f"    {name}_{one.item} to {one.angle} deg in 400 ms")
        else:
            lines.append(f"    {name} to ({one.angle} deg, step {one.step} deg) in 400 ms")
    return TOP + "\n".join(lines) + "\n"


def by_hand(part: Part, count: int, said: list[Said]) -> str:
    """The text that writes each thing out."""
    lines = []
    for s, side in enumerate(SIDES):
        lines.append(f"board {side}_wing: atmega328p, address {s + 1}")
        lines.append("    feed pack, 300 mm of 18 AWG")
        for n in range(count):
            low, high = part.pulses
            if s == 1 and part.mirrored:
                low, high = 3000 - low, 3000 - high
            trim = part.trims[s][n]
            lines += [
                f"servo {side}_vane_{n + 1}: {side}_wing pin {part.pins[s][n]}",
                f"    pulse {low + trim} us at 0 deg, {high + trim} us at 90 deg",
                *("    travel 0 deg to 80 deg", f"    {RATING}"),
                f"    load rod {part.mass_g + n * part.step_g} g, 60 mm",
            ]
    lines += ["cue act", "    hold 100 ms"]
    for one in said:
        lines += [f"    {line}" for line in _said(one, count)]
    return TOP + "\n".join(lines) + "\n"


def _said(one: Said, count: int) -> list[str]:
    sides = SIDES if one.side is None else (SIDES[one.side],)
    if one.along is None:
        items = range(1, count + 1) if one.item is None else [one.item]
        step = one.step if one.item is None else 0
        targets = [
            f"{side}_vane_{n} to {one.angle + step * (n - 1)} deg" for side in sides for n in items
        ]
        return [", ".join(targets) + " in 400 ms"]
    lines = [f"stagger {one.interval} ms"]
    for group in _groups(count, one.along):
        names = " and ".join(f"{side}_vane_{n}" for side in sides for n in group)
        lines.append(f"    {names} to {one.angle} deg in 400 ms")
    return lines


def _groups(count: int, order: str) -> list[list[int]]:
    """By how far each stands from the middle, which is how a person would count it off."""
    items = list(range(1, count + 1))
    if order in ("", " from the end"):
        return [[n] for n in (items if order == "" else items[::-1])]
    far = {n: abs(2 * n - count - 1) for n in items}
    return [
        [n for n in items if far[n] == distance]
        for distance in sorted(set(far.values()), reverse=order == " from both ends")
    ]


def show_of(text: str) -> Show:
    found = load_text(Source("any.cues", text))
    assert found.findings == (), (text, found.findings)
    assert found.show is not None
    return found.show


@given(st.data(), st.integers(2, 6))
@settings(max_examples=60, deadline=None)
def test_what_is_described_once_is_what_is_written_out_by_hand(
    data: st.DataObject, count: int
) -> None:
    part = data.draw(parts(count))
    said = data.draw(st.lists(statements(count), min_size=1, max_size=4))
    short, long = show_of(once(part, count, said)), show_of(by_hand(part, count, said))
    assert without_marks(short) == without_marks(long)
    tables = [[board.data for board in compile_show(one).boards] for one in (short, long)]
    assert tables[0] == tables[1]
