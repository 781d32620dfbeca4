"""Sensors in a text: what is read of them, and slips that are answered by the line that passes."""

from __future__ import annotations

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.meaning.write_show import text_of, without_marks
from seqlang.text.findings import Finding, applied
from seqlang.text.source import Source
from sim.model import Rig, Sensor

SHOW = """show "Knob"
supply pack
    source adapter 6 V, 5 A
board box: atmega2560, address 1
    feed pack
lamp lure: box pin PB4
channel stick: box pin PL0
    button 1 from 1700 us to 2100 us
{head}
    {line}
cue flare
    lure fade to 100 % in 1 s
    lure fade to off in 1 s
remote
    button 1: go flare
"""
HEAD = "sensor knob: box pin PF0"
LINE = "quiet below 12 %"


def rig(text: str) -> Rig:
    return load_text(Source("test.cues", text)).show.rig


def errors(text: str) -> list[Finding]:
    found = check(load_text(Source("test.cues", text))).findings
    return [one for one in found if one.severity == "error"]


def test_a_sensor_has_its_pin_and_what_is_said_below_it() -> None:
    lines = "quiet below 12 %\n    rises in 20 ms\n    falls in 0.2 s"
    text = SHOW.format(head=HEAD, line=lines)
    (sensor,) = rig(text).sensors
    assert without_marks(sensor) == Sensor("knob", "box", 40, 0.12, 0.02, 0.2)
    assert errors(text) == []


def test_a_sensor_without_lines_is_never_quiet_and_goes_at_once() -> None:
    (sensor,) = rig(SHOW.format(head=HEAD, line="").replace("    \n", "")).sensors
    assert without_marks(sensor) == Sensor("knob", "box", 40)


def test_a_sensor_that_is_written_out_reads_back() -> None:
    lines = "quiet below 12.5 %\n    rises in 15 ms\n    falls in 1.7 s"
    show = load_text(Source("test.cues", SHOW.format(head=HEAD, line=lines))).show
    again = load_text(Source("test.cues", text_of(show))).show
    assert without_marks(again.rig.sensors) == without_marks(show.rig.sensors)


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ("quiet 12 %", "quiet below 12 %"),
        ("quiet below 12", "quiet below 12 %"),
        ("quiet under 12 %", "quiet below 12 %"),
        ("threshold 12 %", "quiet below 12 %"),
        ("rise 20 ms", "rises in 20 ms"),
        ("attack 20 ms", "rises in 20 ms"),
        ("rises in 40", "rises in 40 ms"),
        ("release 200 ms", "falls in 200 ms"),
        ("decay 0.2 s", "falls in 0.2 s"),
        ("falls 200 ms", "falls in 200 ms"),
    ],
)
def test_a_line_in_other_words_is_answered_by_the_one_that_passes(wrong: str, right: str) -> None:
    text = SHOW.format(head=HEAD, line=wrong)
    (found,) = errors(text)
    assert found.fix is not None
    assert applied(text, found.fix) == SHOW.format(head=HEAD, line=right)


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("quiet below 95 %", None),
        ("quiet below 95.1 %", "number-out-of-range"),
        ("quiet below -1 %", "number-out-of-range"),
        ("quiet below 2 V", "unit-mismatch"),
        ("rises in 5 s", None),
        ("rises in 5.001 s", "number-out-of-range"),
        ("falls in 0 s", None),
        ("falls in 5.001 s", "number-out-of-range"),
        ("quiet below 1 %\n    quiet below 2 %", "duplicate-line"),
    ],
)
def test_limits_hold_on_both_sides(line: str, name: str | None) -> None:
    found = errors(SHOW.format(head=HEAD, line=line))
    assert [one.name for one in found] == ([] if name is None else [name])


@pytest.mark.parametrize(
    ("head", "name"),
    [
        ("sensor knob: box pin PF7", None),
        ("sensor knob: box pin PK0", None),
        ("sensor knob: box pin PK7", None),
        ("sensor knob: box pin PE7", "pin-unfit"),
        ("sensor knob: box pin PL0", "pin-unfit"),
        ("sensor stick: box pin PF0", "duplicate-name"),
        ("sensor knob: bax pin PF0", "unknown-name"),
        ("sensor knob: box pin A0", "unknown-pin"),
        ("sensor hum: box pin PF0\nsensor knob: box pin PF0", "pin-clash"),
    ],
)
def test_pins_and_names_of_sensors_are_checked(head: str, name: str | None) -> None:
    found = errors(SHOW.format(head=head, line=LINE))
    assert [one.name for one in found] == ([] if name is None else [name])


@pytest.mark.parametrize("word", ["analog", "mic", "pot", "knob", "sensr"])
def test_a_sensor_under_another_word_is_answered_by_the_line_that_passes(word: str) -> None:
    text = SHOW.format(head=HEAD.replace("sensor", word, 1), line=LINE)
    (found,) = errors(text)
    assert found.fix is not None
    assert applied(text, found.fix) == SHOW.format(head=HEAD, line=LINE)


def test_a_name_that_is_missing_is_not_made_of_a_word_of_the_language() -> None:
    (found,) = errors(SHOW.format(head="sensor: box pin PF0", line=LINE))
    assert found.fix is None


@pytest.mark.parametrize(
    ("pin", "meant"), [("A0", "PF0"), ("ADC7", "PF7"), ("adc8", "PK0"), ("A15", "PK7")]
)
def test_an_input_of_the_converter_by_its_number_is_a_pin_and_none_of_port_a(
    pin: str, meant: str
) -> None:
    text = SHOW.format(head=f"sensor knob: box pin {pin}", line=LINE)
    (found,) = errors(text)
    assert found.name == "unknown-pin"
    assert found.fix is not None
    mended = SHOW.format(head=f"sensor knob: box pin {meant}", line=LINE)
    assert (applied(text, found.fix), errors(mended)) == (mended, [])


@pytest.mark.parametrize("pin", ["A16", "54", "D3"])
def test_a_number_printed_on_a_board_is_answered_with_the_pins_that_can(pin: str) -> None:
    (found,) = errors(SHOW.format(head=f"sensor knob: box pin {pin}", line=LINE))
    assert found.help is not None
    assert "a sensor can be at PF0, PF1" in found.help or "did you mean `PD3`?" in found.help


def test_an_output_is_not_put_on_an_input_of_the_converter() -> None:
    text = SHOW.format(head=HEAD, line=LINE).replace("box pin PB4", "box pin A0")
    (found,) = errors(text)
    assert (found.name, found.fix) == ("unknown-pin", None)
    assert "PA0" not in (found.help or "")
