"""The chip's pins against its data sheet."""

from __future__ import annotations

import re

import pytest

from firmware_gen.build.image import HERE
from firmware_gen.chips import CHIPS, CHIPS_BY_ID
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P

PWM_OUTPUTS = {
    "PB1": "OC1A",
    "PB2": "OC1B",
    "PB3": "OC2A",
    "PD3": "OC2B",
    "PD5": "OC0B",
    "PD6": "OC0A",
}
"""ATmega328P data sheet, "Alternate Functions of Port B, D" (from memory)."""
OTHER_USES = {"PB6": "XTAL1", "PB7": "XTAL2", "PC6": "RESET", "PD0": "RXD", "PD1": "TXD"}
"""The same sections (from memory)."""


def test_codes_are_eight_times_the_port_plus_the_bit() -> None:
    assert (ATMEGA328P.pin("PB1"), ATMEGA328P.pin("PC0"), ATMEGA328P.pin("PD6")) == (1, 8, 22)
    assert all(ATMEGA328P.pin_name(code) == name for name, code in ATMEGA328P.pins.items())


@pytest.mark.parametrize("text", ["PB8", "B1", "pb1", "PB", "PB10", "", "PB1 "])
def test_other_text_is_no_pin(text: str) -> None:
    with pytest.raises(ValueError, match="PB0"):
        ATMEGA328P.pin(text)


def test_the_package_has_23_port_pins() -> None:
    # "23 programmable I/O lines": ATmega328P data sheet, features (from memory)
    assert len(ATMEGA328P.pins) == 23
    assert "PC7" not in ATMEGA328P.pins


def test_lamps_get_every_pwm_output_that_the_servo_timer_leaves() -> None:
    timer_1 = {name for name, output in PWM_OUTPUTS.items() if output.startswith("OC1")}
    assert {ATMEGA328P.pin_name(pin): output for pin, output in ATMEGA328P.pwm.items()} == {
        name: output for name, output in PWM_OUTPUTS.items() if name not in timer_1
    }
    assert {ATMEGA328P.pin_name(pin) for pin in ATMEGA328P.timed} == timer_1


def test_pins_with_another_use_are_reserved_with_a_reason() -> None:
    assert {ATMEGA328P.pin_name(pin) for pin in ATMEGA328P.reserved} == set(OTHER_USES)
    for name in OTHER_USES:
        for job in ("servo", "lamp", "strip", "switch", "input"):
            assert ATMEGA328P.pin(name) not in ATMEGA328P.pins_for(job)
            assert (
                ATMEGA328P.refusal(ATMEGA328P.pin(name), job)
                == ATMEGA328P.reserved[ATMEGA328P.pin(name)]
            )


def test_every_other_pin_drives_servos_strips_and_switches_and_reads_inputs() -> None:
    usable = {ATMEGA328P.pin(name) for name in set(ATMEGA328P.pins) - set(OTHER_USES)}
    for pins in (
        ATMEGA328P.servo_pins,
        ATMEGA328P.pixel_pins,
        ATMEGA328P.switch_pins,
        ATMEGA328P.input_pins,
    ):
        assert pins == usable


def test_a_refusal_says_why() -> None:
    assert ATMEGA328P.refusal(ATMEGA328P.pin("PC0"), "servo") is None
    assert "PWM" in str(ATMEGA328P.refusal(ATMEGA328P.pin("PC0"), "lamp"))
    assert "servo pulses" in str(ATMEGA328P.refusal(ATMEGA328P.pin("PB1"), "lamp"))
    assert "no such pin" in str(ATMEGA328P.refusal(ATMEGA328P.pin("PC7"), "switch"))


def test_chips_are_found_by_name_and_by_number() -> None:
    assert CHIPS["atmega328p"] is CHIPS_BY_ID[1] is ATMEGA328P


def test_both_slots_and_their_marks_fit_the_eeprom() -> None:
    # 1 KB EEPROM: ATmega328P data sheet, features
    assert ATMEGA328P.slots * ATMEGA328P.slot_bytes < 1024


def test_the_link_is_on_the_first_of_the_entry_s_serial_ports() -> None:
    text = (HERE / "avr" / "serial.c").read_text("ascii")
    for chip in CHIPS.values():
        number = chip.serial_ports[0].removeprefix("USART")
        assert set(re.findall(r"\bUDR([0-9])\b", text)) == {number}
