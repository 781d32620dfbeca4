"""LANGUAGE.md is held to the code: its examples, its units, its laws, its limits, its findings."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest
from rig_text import loaded

from seqlang.check import check
from seqlang.checks.wiring import rig_too_large
from seqlang.meaning.acts import CUT_MS
from seqlang.meaning.alike.choosing import MOST_STATEMENTS
from seqlang.meaning.durations import LEAST_MS
from seqlang.meaning.servo import MIDDLE_PULSE_US, MOST_TRIM_US
from seqlang.meaning.stage import MOST_STEPS, MOST_STEPS_OF_SHOW
from seqlang.text import indentation as layout
from seqlang.text import names as words
from seqlang.text.units import UNITS
from sim.model import Lamp, Law, LawName, Regulator, Score, Servo, Strip, Wearer
from sim.rehearsal.run_through import LONGEST_REHEARSAL_MS
from sim.rulebook import MOST_TIMES
from sim.score.laws import coefficients

ROOM = Path(__file__).parents[2] / "seqlang"
PAGE = (ROOM / "LANGUAGE.md").read_text()
FILES = re.findall(r"^```cues (\w+\.cues)\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
"""Examples that others include, with their names."""
EXAMPLES = re.findall(r"^```cues\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
CODE = "".join(
    path.read_text()
    for folder in (
        ROOM,
        ROOM / "text",
        ROOM / "text" / "slips",
        ROOM / "meaning",
        ROOM / "meaning" / "alike",
    )
    for path in sorted(folder.glob("*.py"))
)


def row(first: str) -> str:
    """The rest of the table row that starts with these words."""
    found = re.search(rf"^\| {re.escape(first)} \|(.*)\|$", PAGE, re.MULTILINE)
    assert found is not None, first
    return found[1]


@pytest.fixture(autouse=True)
def beside_the_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Examples are read in a folder in which the page's files lie."""
    for name, text in FILES:
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)


def test_the_page_has_its_examples() -> None:
    assert len(EXAMPLES) >= 12


@pytest.mark.parametrize("text", EXAMPLES, ids=lambda text: text.strip().splitlines()[0][:30])
def test_an_example_has_exactly_the_findings_it_says(text: str) -> None:
    found = loaded(text)
    source = found.sources["test.cues"]
    said = [
        (number, name)
        for number, line in enumerate(text.splitlines(), 1)
        for name in re.findall(r"# finds: (\S+)", line)
    ]
    by_line = {(source.line_number(f.span.start), f.name) for f in found.findings}
    assert by_line == set(said)


GOOD = [text for text in EXAMPLES if "# finds:" not in text and "cue " in text]


@pytest.mark.parametrize("text", GOOD, ids=lambda text: text.strip().splitlines()[0][:30])
def test_an_example_without_said_findings_passes_the_whole_check(text: str) -> None:
    checked = check(loaded(text))
    assert [f.name for f in checked.findings if f.severity == "error"] == []


def test_the_table_of_units_holds_every_unit_and_no_other() -> None:
    table = PAGE[PAGE.index("| of | units |") : PAGE.index("Counts, addresses")]
    assert set(re.findall(r"`([^`]+)`", table)) == set(UNITS)


def test_the_table_of_laws_holds_every_law_with_its_coefficient() -> None:
    table = PAGE[PAGE.index("| law | what it is") : PAGE.index("Shares are written")]
    rows = dict(re.findall(r"^\| `([^`]+)` \|.*\| ([^|]+) \|$", table, re.MULTILINE))
    laws = {
        name.replace(" SHARE, SHARE", "").replace(" SHARE", ""): cv for name, cv in rows.items()
    }
    assert set(laws) == set(get_args(LawName))
    for name, cv in laws.items():
        if "share" not in cv:
            assert float(cv) == pytest.approx(coefficients(Law(name)).cv, abs=5.1e-4)  # type: ignore[arg-type]


def test_the_words_that_cannot_be_names_are_listed() -> None:
    listed = re.search(r"These words cannot be names: `([^`]+)`", PAGE)
    assert listed is not None
    assert set(listed[1].split()) == words.RESERVED


def test_limits_on_the_page_are_those_of_the_code() -> None:
    assert f"{layout.MOST_IN_LINE} characters a line" in PAGE
    assert f"{layout.MOST_CHARACTERS // 1_000_000} million a file" in PAGE
    assert f"{layout.MOST_CONTENT:,} of them outside comments" in PAGE
    assert f"at most {MOST_STEPS_OF_SHOW:,} steps in all its cues, {MOST_STEPS:,} in one" in PAGE
    large = rig_too_large
    assert f"{large.MOST_CUES} cues, {large.MOST_BOARDS} boards, {large.MOST_SERVOS}" in PAGE
    assert f"{large.MOST_MOVES:,} moves" in PAGE
    assert f"at most {LONGEST_REHEARSAL_MS // 3_600_000} h of a show" in PAGE
    included, deep = layout.MOST_INCLUDED, layout.MOST_INCLUDED_DEEP
    assert f"At most {included} files, {deep} inside one another" in PAGE
    assert f"blocks {layout.MOST_NESTED} deep, brackets {layout.MOST_BRACKETS} deep" in PAGE
    assert f"1 to {MOST_TIMES}, for a day at most" in PAGE
    assert f"lasts {LEAST_MS} ms at least" in PAGE
    assert f"(in {CUT_MS} ms, the shortest" in PAGE
    assert f"everything exists N times, 2 to {words.MOST_IN_ROW}" in PAGE
    assert f"A show may have {MOST_STATEMENTS:,} lines when it is written out" in PAGE
    assert f"at most {MOST_TRIM_US:g} us either way" in row("`trim WIDTH`")
    assert f"mirrored about {MIDDLE_PULSE_US:g} us" in row("`pulse`")


def test_usual_values_on_the_page_are_those_of_the_model() -> None:
    servo = Servo("", "", 0, (), (0, 0), ())
    low, high = servo.pulse_range_us
    assert f"{low:g} us to {high:g} us" in row("`limits WIDTH to WIDTH`")
    assert f"{servo.idle_a * 1000:g} mA" in row("`idling CURRENT`")
    assert f"{servo.dead_band_us:g} us" in row("`dead band WIDTH`")
    lamp, strip = Lamp("", "", 0), Strip("", "", 0, 1)
    leds = row("`leds N of VOLTAGE, CURRENT`")
    assert f"{lamp.count} of {lamp.forward_v:g} V, {lamp.current_a * 1000:g} mA" in leds
    pixels = row("`pixels N [, order ORDER] [, each CURRENT] [, pitch LENGTH]`")
    assert f"{strip.pitch_m * 1000:g} mm" in pixels
    assert f"`{strip.order}`, {strip.channel_a * 1000:g} mA" in pixels
    usual = Regulator(0, 0)
    assert f"headroom it needs ({usual.dropout_v:g} V)" in PAGE
    assert f"efficiency ({usual.efficiency * 100:g} %)" in PAGE
    wearer = Wearer()
    kept = f"{wearer.temperature_c:g} C, {wearer.margin * 100:g} %, {wearer.gait}, no wind"
    assert f"{kept}, {wearer.viewing_m * 100:g} cm" in PAGE
    assert f"({Score('').stop_ms / 1000:g} s)" in row("`stop in TIME`")


def test_every_section_has_a_number_of_its_own_and_they_are_in_turn() -> None:
    """A second section of one number makes every "see 5.8" say two things."""
    numbers = [tuple(map(int, one.split("."))) for one in SECTIONS]
    for chapter in {whole for whole, _ in numbers}:
        parts = [part for whole, part in numbers if whole == chapter]
        assert parts == list(range(1, len(parts) + 1))


def test_every_section_that_is_referred_to_is_there() -> None:
    named = set(re.findall(r"(?:see |\()(\d\.\d+)(?:\)| \|)", PAGE))
    assert named
    assert named <= set(SECTIONS)


SECTIONS = re.findall(r"^### (\d+\.\d+) ", PAGE, re.MULTILINE)
