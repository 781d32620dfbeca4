"""What everything else needs to know of a chip, and how its pins are numbered.

A pin's number is `8 * port + bit`. Ports count in the order of the chip's own list, which is the
alphabet's; after them come the letters that the package does not have, so that any name that looks
like a pin's has a number, and a message can say that the chip has no such pin.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from string import ascii_uppercase
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Literal, TypeAlias, get_args

if TYPE_CHECKING:
    from sim.model import Electrics

Job: TypeAlias = Literal["servo", "lamp", "strip", "switch", "input", "channel", "sensor"]
JOB_BITS: Final[Mapping[Job, int]] = MappingProxyType(
    {job: 1 << place for place, job in enumerate(get_args(Job))}
)
"""The bit of each job, as the core asks what a pin can do."""

BITS: Final = 8
"""Pins of a port."""
_PIN: Final = re.compile(r"P([A-Z])([0-7])")


STAMP_BYTES: Final = 2
"""Behind a merged table (LINK.md section 6)."""
LONGEST_TABLE: Final = 2**16 - 1 - STAMP_BYTES
"""A board counts the bytes of a merged table and of its stamp in 16 bits. What stands in erased
flash where a length does, 0xFFFF, is more than that."""


@dataclass(frozen=True, slots=True)
class Memory:
    """Sizes and addresses, in bytes.

    Attributes:
        flash: all of the program memory.
        merged_start: where a merged table begins; the firmware ends before it.
        boot_start: where the smallest usual boot loader begins.
        ram: all of it.
        eeprom: all of it.
        slots: how many tables it keeps.
        slot: the largest table that fits one of them.
        chunk: most table bytes in one data request or read reply of the link; RAM limits it, and it
            is less than the shortest table has.
        write_s: seconds that storing one byte takes.
    """

    flash: int
    merged_start: int
    boot_start: int
    ram: int
    eeprom: int
    slots: int
    slot: int
    chunk: int
    write_s: float

    def merged_room(self, *, boot_loader: bool = True) -> int:
        """Bytes that a merged table may have: up to the boot loader, or to the end of flash."""
        end = self.boot_start if boot_loader else self.flash
        return min(end - self.merged_start - STAMP_BYTES, LONGEST_TABLE)


@dataclass(frozen=True, slots=True)
class Tools:
    """What the compiler and the uploader call the chip, and what they need of it.

    Attributes:
        mcu: the compiler's name of it (`-mmcu`).
        part: the uploader's name of it (`-p`).
        signature: the three bytes by which it is known (data sheet, "Signature Bytes").
        boot_protocol: the uploader's name of what the usual boot loader speaks (`-c`).
        boot_baud: its rate.
        old_boot_baud: the rate of older ones.
        fuses: what the firmware wants, by the uploader's names, in the order of writing.
        flags: what the compiler is told for this chip alone.
    """

    mcu: str
    part: str
    signature: bytes
    boot_protocol: str
    boot_baud: int
    old_boot_baud: int
    fuses: Mapping[str, int]
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Chip:
    """One chip: names are port names of its data sheet, numbers of pins are those of the table."""

    name: str
    """As written in a show; the same name have its module here and its C folder."""
    title: str
    """As the data sheet writes it."""
    chip_id: int
    """As a table's header states it."""
    clock_hz: int
    memory: Memory
    electrics: Electrics
    tools: Tools
    servos: int
    """Servos that its firmware drives, by the processor's time in a frame and by RAM."""
    strips: int
    pixels: int
    """Of all its strips together: RAM, and the time in which interrupts are off."""
    serial_ports: tuple[str, ...]
    """The first is the link to the host."""
    leads: bool
    """Whether its firmware can lead the other boards of a show: it has the memory, and a serial
    port for their line beside the one to the host."""
    line_in: str | None
    """Pin at which it hears the board that leads, if it can follow."""
    line_out: str | None
    """Pin at which it tells the others, if it leads."""
    link_out: str
    """Pin at which it answers the host."""
    follows: bool
    """Whether its firmware can follow a board that leads."""
    joins: bool
    """Whether its firmware, where it follows another board, joins what it missed the start of."""
    senses: bool
    """Whether its firmware knows more of inputs than that a button goes down and up."""
    keeps: bool
    """Whether its firmware has room in RAM for what it would otherwise find out anew for each move:
    where outputs stand in the table, and the figures of a law."""
    channels: Mapping[int, tuple[str, frozenset[int]]]
    """Pins at which a timer measures a radio's channel, by number, with the timer's name and the
    pins whose PWM channels it then has not got."""
    analog: Mapping[int, int]
    """Pins whose voltage its converter can measure for a show, by number, with the converter's
    channel; none where its firmware measures nothing."""
    pins: Mapping[str, int]
    """Every port pin of the package by name, reserved ones included."""
    reserved: Mapping[int, str]
    """Pins a show cannot have, by number, with the reason."""
    pwm: Mapping[int, str]
    """Pins with a free hardware PWM channel, by number, with the channel's name."""
    timed: Mapping[int, str]
    """Pins whose PWM channel is taken for something else, by number, with the reason."""

    @property
    def answer_out(self) -> str | None:
        """Pin at which it answers the board that leads: of its own port for the other boards, or of
        the link's where it hears them there."""
        return self.line_out if self.hears_radio else self.link_out

    @property
    def hears_radio(self) -> bool:
        """Whether it has a serial port for the other boards beside the one to the host."""
        return self.line_in is not None and self.pins[self.line_in] not in self.reserved

    @property
    def slots(self) -> int:
        return self.memory.slots

    @property
    def slot_bytes(self) -> int:
        """Largest table that fits one of the board's slots."""
        return self.memory.slot

    @property
    def chunk_bytes(self) -> int:
        """Most table bytes in one data request or read reply of the link."""
        return self.memory.chunk

    @property
    def ports(self) -> str:
        """Letters of its ports, in the order of their numbers."""
        return "".join(dict.fromkeys(name[1] for name in self.pins))

    def pin(self, name: str) -> int:
        """Number of a pin such as `PD6`, on the package or not; ValueError for any other text."""
        found = _PIN.fullmatch(name)
        if found is None:
            raise ValueError(f"`{name}` is not a port pin such as {next(iter(self.pins))}")
        return BITS * self._letters.index(found[1]) + int(found[2])

    def pin_name(self, pin: int) -> str:
        """Name of a pin by its number, on the package or not."""
        port, bit = divmod(pin, BITS)
        letters = self._letters
        return f"P{letters[port]}{bit}" if port < len(letters) else f"pin {pin}"

    @property
    def _letters(self) -> str:
        own = self.ports
        return own + "".join(letter for letter in ascii_uppercase if letter not in own)

    def pins_for(self, job: Job) -> frozenset[int]:
        """Numbers of the pins that can do a job."""
        if job == "lamp":
            return frozenset(self.pwm)
        if job == "channel":
            return frozenset(self.channels)
        if job == "sensor":
            return frozenset(self.analog)
        return frozenset(self.pins.values()) - frozenset(self.reserved)

    @property
    def abilities(self) -> bytes:
        """What each pin can do: `JOB_BITS`, for eight pins of each port."""
        able = {job: self.pins_for(job) for job in JOB_BITS}
        pins = range(BITS * len(self.ports))
        return bytes(sum(bit for job, bit in JOB_BITS.items() if pin in able[job]) for pin in pins)

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
        if job == "channel":
            return "no timer measures pulses there"
        if job == "sensor":
            return "it is not an input of the converter from analog to digital"
        return self.timed.get(pin, "it has no hardware PWM channel")


def package(**bits: range) -> Mapping[str, int]:
    """Every pin of a package with its number, from its ports in order: `package(B=range(8))`."""
    return MappingProxyType(
        {
            f"P{letter}{bit}": BITS * port + bit
            for port, (letter, those) in enumerate(bits.items())
            for bit in those
        }
    )


def named(pins: Mapping[str, int], **words: str) -> Mapping[int, str]:
    """Words by pin number, from words by pin name."""
    return MappingProxyType({pins[name]: text for name, text in words.items()})
