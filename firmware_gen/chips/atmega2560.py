"""The ATmega2560 at 16 MHz. Section names are those of its data sheet (ATmega640 to 2561)."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from firmware_gen.chips.chip import Chip, Memory, Tools, named, package
from sim.model import Electrics

_PINS: Final = package(
    A=range(8),
    B=range(8),
    C=range(8),
    D=range(8),
    E=range(8),
    F=range(8),
    G=range(6),
    H=range(8),
    J=range(8),
    K=range(8),
    L=range(8),
)
"""I/O Ports: 86 port pins; crystal and reset have pins of their own."""

CHIP: Final = Chip(
    name="atmega2560",
    title="ATmega2560",
    chip_id=2,
    clock_hz=16_000_000,
    memory=Memory(
        flash=0x40000,
        merged_start=0x10000,
        boot_start=0x3E000,  # the largest boot section; boot loaders of this size are usual
        ram=8192,
        eeprom=4096,
        slots=2,
        slot=2000,
        chunk=16,
        write_s=0.0034,  # EEPROM programming time: 3.3 ms; as slow as its relatives, to be safe
    ),
    electrics=Electrics(
        # Of a board with regulator and lights at 5 V: the chip alone takes about 20 mA by its
        # data sheet (from memory), the rest is common practice.
        idle_a=0.06,
        # BODLEVEL 101, which the firmware's fuses set: 2.5 to 2.9 V, typically 2.7 V (from memory).
        brown_out_v=2.7,
        # Speed grades: 0 to 16 MHz at 4.5 to 5.5 V (from memory).
        clock_v=4.5,
        # DC characteristics: tested at 20 mA; 40 mA is the absolute maximum (from memory).
        pin_a=0.02,
        # Operating voltage up to 5.5 V; 6.0 V is the absolute maximum (from memory).
        highest_v=5.5,
    ),
    tools=Tools(
        mcu="atmega2560",
        part="m2560",
        signature=b"\x1e\x98\x01",
        boot_protocol="stk500v2",
        boot_baud=115_200,
        old_boot_baud=115_200,
        fuses=MappingProxyType(
            {
                # External crystal of 8 MHz or more, slowest start, clock not divided by 8.
                "lfuse": 0xFF,
                # Serial programming on, JTAG off, reset to address 0, EEPROM kept when the chip is
                # erased.
                "hfuse": 0xD1,
                # Brown-out detector at 2.7 V; the unused bits read as one.
                "efuse": 0xFD,
            }
        ),
    ),
    servos=16,
    strips=2,
    pixels=100,
    serial_ports=("USART0", "USART1", "USART2", "USART3"),
    leads=True,
    line_in="PD2",
    line_out="PD3",
    link_out="PE1",
    follows=True,
    joins=True,
    senses=True,
    keeps=True,
    # Alternate Functions of ports E and L: ICP3, ICP4, ICP5. ICP1 belongs to the timer of the servo
    # pulses.
    channels=MappingProxyType(
        {
            _PINS[pin]: (timer, frozenset(_PINS[lamp] for lamp in lamps.split()))
            for pin, timer, lamps in (
                ("PE7", "timer 3", "PE3 PE4 PE5"),
                ("PL0", "timer 4", "PH3 PH4 PH5"),
                ("PL1", "timer 5", "PL3 PL4 PL5"),
            )
        }
    ),
    # Alternate Functions of ports F and K: ADC0 to ADC7, ADC8 to ADC15.
    analog=MappingProxyType(
        {_PINS[f"P{port}{bit}"]: 8 * n + bit for n, port in enumerate("FK") for bit in range(8)}
    ),
    pins=_PINS,
    reserved=named(
        _PINS,
        PE0="the link receives on it",
        PE1="the link sends on it",
    ),
    pwm=named(
        _PINS,
        PB4="OC2A",
        PB7="OC0A",
        PE3="OC3A",
        PE4="OC3B",
        PE5="OC3C",
        PG5="OC0B",
        PH3="OC4A",
        PH4="OC4B",
        PH5="OC4C",
        PH6="OC2B",
        PL3="OC5A",
        PL4="OC5B",
        PL5="OC5C",
    ),
    timed=named(
        _PINS,
        PB5="its PWM channel belongs to the timer of the servo pulses",
        PB6="its PWM channel belongs to the timer of the servo pulses",
    ),
)
