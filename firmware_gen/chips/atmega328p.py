"""The ATmega328P at 16 MHz. Section names are those of its data sheet (ATmega48A to 328/P)."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from firmware_gen.chips.chip import Chip, Memory, Tools, named, package
from sim.model import Electrics

_PINS: Final = package(B=range(8), C=range(7), D=range(8))
"""I/O Multiplexing: 23 port pins."""

CHIP: Final = Chip(
    name="atmega328p",
    title="ATmega328P",
    chip_id=1,
    clock_hz=16_000_000,
    memory=Memory(
        flash=0x8000,
        merged_start=0x7400,
        boot_start=0x7E00,  # older ones reach down to 0x7800
        ram=2048,
        eeprom=1024,
        slots=2,
        slot=500,
        chunk=16,
        write_s=0.0034,  # EEPROM mode bits: erase and write
    ),
    electrics=Electrics(
        # Of a small board with regulator and lights at 5 V: the chip alone takes about 10 mA by its
        # data sheet (from memory), the rest is common practice.
        idle_a=0.03,
        # BODLEVEL 101, which the firmware's fuses set: 2.5 to 2.9 V, typically 2.7 V (from memory).
        brown_out_v=2.7,
        # Safe operating area: 0 to 20 MHz at 4.5 to 5.5 V (from memory).
        clock_v=4.5,
        # DC characteristics: tested at 20 mA; 40 mA is the absolute maximum (from memory).
        pin_a=0.02,
        # Operating voltage 1.8 to 5.5 V; 6.0 V is the absolute maximum (from memory).
        highest_v=5.5,
    ),
    tools=Tools(
        mcu="atmega328p",
        part="m328p",
        signature=b"\x1e\x95\x0f",
        boot_protocol="stk500v1",
        boot_baud=115_200,
        old_boot_baud=57_600,
        fuses=MappingProxyType(
            {
                # External crystal of 8 MHz or more, slowest start, clock not divided by 8.
                "lfuse": 0xFF,
                # Serial programming on, reset to address 0, EEPROM kept when the chip is erased.
                "hfuse": 0xD1,
                # Brown-out detector at 2.7 V; the unused bits read as one.
                "efuse": 0xFD,
            }
        ),
        # Functions share the code that saves registers: some 750 bytes less. It costs a few cycles
        # at each call of a large function, but none in interrupt handlers, which do not use it.
        flags=("-mcall-prologues",),
    ),
    servos=8,
    strips=2,
    pixels=100,
    serial_ports=("USART0",),
    leads=False,
    line_in="PD0",
    line_out=None,
    link_out="PD1",
    follows=True,
    joins=False,
    analog=MappingProxyType({}),  # its firmware has no room for them
    channels=MappingProxyType({}),  # its one such pin belongs to the timer of the servo pulses
    senses=False,  # there is no room in its program memory
    keeps=False,
    pins=_PINS,
    reserved=named(
        _PINS,
        PB6="the crystal is on it",
        PB7="the crystal is on it",
        PC6="it is the reset pin",
        PD0="the link receives on it",
        PD1="the link sends on it",
    ),
    pwm=named(_PINS, PB3="OC2A", PD3="OC2B", PD5="OC0B", PD6="OC0A"),
    timed=named(
        _PINS,
        PB1="its PWM channel belongs to the timer of the servo pulses",
        PB2="its PWM channel belongs to the timer of the servo pulses",
    ),
)
