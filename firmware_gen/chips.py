"""The chips a table can be made for: their pins, what each pin can do, and how much they hold.

A pin's code is `8 * port + bit` with ports counted from B: PB1 is 1, PC0 is 8, PD6 is 22.
Pin functions are those of the ATmega328P data sheet, section "I/O Multiplexing".
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, TypeAlias

Job: TypeAlias = Literal["servo", "lamp", "strip", "switch", "input"]

_PIN: Final = re.compile(r"P([B-Z])([0-7])")


@dataclass(frozen=True, slots=True)
class Limits:
    """How much of everything one board's player holds (TABLE.md, sections 1 and 2)."""

    outputs: int = 16
    servos: int = 8
    points: int = 8
    """Calibration points of one servo."""
    strips: int = 2
    pixels: int = 100
    """Of all strips of the board together."""
    colours: int = 64
    laws: int = 16
    inputs: int = 16
    bindings: int = 31
    button: int = 31
    """The highest button number."""
    cues: int = 32
    runs: int = 8
    threads: int = 10
    loop_depth: int = 3
    ops_per_frame: int = 256


LIMITS: Final = Limits()


@dataclass(frozen=True, slots=True)
class Chip:
    """One chip: names are port names of its data sheet, codes are those of the table."""

    name: str
    """As written in a show: `atmega328p`."""
    title: str
    """As the data sheet writes it."""
    chip_id: int
    clock_hz: int
    slots: int
    slot_bytes: int
    """Largest table that fits one of the board's slots."""
    chunk_bytes: int
    """Most table bytes in one data request or read reply of the link; RAM is what limits it."""
    pins: Mapping[str, int]
    """Every port pin of the package by name, reserved ones included."""
    reserved: Mapping[int, str]
    """Pins a show cannot have, by code, with the reason."""
    pwm: Mapping[int, str]
    """Pins with a free hardware PWM channel, by code, with the channel's name."""
    timed: Mapping[int, str]
    """Pins whose PWM channel is taken for something else, by code, with the reason."""

    def pins_for(self, job: Job) -> frozenset[int]:
        """Codes of the pins that can do a job."""
        if job == "lamp":
            return frozenset(self.pwm)
        return frozenset(self.pins.values()) - frozenset(self.reserved)

    @property
    def servo_pins(self) -> frozenset[int]:
        return self.pins_for("servo")

    @property
    def pwm_pins(self) -> frozenset[int]:
        return self.pins_for("lamp")

    @property
    def pixel_pins(self) -> frozenset[int]:
        return self.pins_for("strip")

    @property
    def switch_pins(self) -> frozenset[int]:
        return self.pins_for("switch")

    @property
    def input_pins(self) -> frozenset[int]:
        return self.pins_for("input")

    def refusal(self, pin: int, job: Job) -> str | None:
        """Why `pin` cannot do `job`, in plain words; None if it can."""
        if pin not in self.pins.values():
            return f"the {self.title} has no such pin"
        if pin in self.reserved:
            return self.reserved[pin]
        if pin in self.pins_for(job):
            return None
        return self.timed.get(pin, "it has no hardware PWM channel")


def pin_code(port: str, bit: int) -> int:
    """Code of a pin: `pin_code("D", 6)` is 22."""
    return 8 * (ord(port) - ord("B")) + bit


def pin_name(code: int) -> str:
    """Port name of a pin code: `pin_name(22)` is `PD6`."""
    return f"P{chr(ord('B') + code // 8)}{code % 8}"


def parse_pin(text: str) -> int:
    """Code of a port name such as `PD6`, on a chip or not; ValueError for any other text."""
    found = _PIN.fullmatch(text)
    if found is None:
        raise ValueError(f"`{text}` is not a port pin such as PB1")
    return pin_code(found[1], int(found[2]))


def _named(**names: str) -> Mapping[int, str]:
    return MappingProxyType({parse_pin(name): text for name, text in names.items()})


def _ports(**bits: range) -> Mapping[str, int]:
    return MappingProxyType(
        {f"P{port}{bit}": pin_code(port, bit) for port, those in bits.items() for bit in those}
    )


ATMEGA328P: Final = Chip(
    name="atmega328p",
    title="ATmega328P",
    chip_id=1,
    clock_hz=16_000_000,
    slots=2,
    slot_bytes=500,
    chunk_bytes=16,
    pins=_ports(B=range(8), C=range(7), D=range(8)),
    reserved=_named(
        PB6="the crystal is on it",
        PB7="the crystal is on it",
        PC6="it is the reset pin",
        PD0="the link receives on it",
        PD1="the link sends on it",
    ),
    pwm=_named(PB3="OC2A", PD3="OC2B", PD5="OC0B", PD6="OC0A"),
    timed=_named(
        PB1="its PWM channel belongs to the timer of the servo pulses",
        PB2="its PWM channel belongs to the timer of the servo pulses",
    ),
)

CHIPS: Final[Mapping[str, Chip]] = MappingProxyType({chip.name: chip for chip in (ATMEGA328P,)})
"""By the name written in a show."""

CHIPS_BY_ID: Final[Mapping[int, Chip]] = MappingProxyType(
    {chip.chip_id: chip for chip in CHIPS.values()}
)
