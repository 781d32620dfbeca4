"""A second check of a table's bytes, written from sections 1, 4 and 5 of `firmware_gen/TABLE.md`.

It shares no code with the tool. `variations/check.txt` changes its rules one by one; the vectors
must notice each change.
"""

from __future__ import annotations

import struct

ACCEPTED, LENGTH, MAGIC, VERSION, CRC, CHIP, ADDRESS, HEADER, OUTPUT, PIN, RECORD, CODE = range(12)
SERVO, LAMP, STRIP, SWITCH = 1, 2, 3, 4
NONE = 255

ANY_JOB = {*range(6), *range(8, 14), *range(18, 24)}  # PB0-PB5, PC0-PC5, PD2-PD7
LAMP_JOB = {3, 19, 21, 22}  # PB3, PD3, PD5, PD6


class RefusedError(Exception):
    """A table is refused; the first argument is the code."""


def refusal(data: bytes) -> int:
    """The code of the reason for which a board refuses a table; 0: it accepts it."""
    try:
        Check(data).everything()
    except RefusedError as refused:
        return int(refused.args[0])
    return ACCEPTED


def must(good: bool, code: int) -> None:
    if not good:
        raise RefusedError(code)


def crc(data: bytes) -> int:
    value = 0xFFFF
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = (value << 1 ^ 0x1021) & 0xFFFF if value & 0x8000 else value << 1
    return value


class Check:
    def __init__(self, data: bytes) -> None:
        self.data = data
        self.end = len(data) - 2  # where the CRC starts
        self.at = 24
        self.outputs: list[tuple[int, ...]] = []  # kind; of a servo also its travel
        self.output_pins: list[tuple[int, set[int]]] = []
        self.input_pins: list[tuple[int, set[int]]] = []
        self.tags: list[int] = []
        self.offsets: list[int] = []
        self.pixels = 0
        self.before = 0  # flags of the last cue
        self.strand_outputs = self.strand_threads = self.strands = 0

    def everything(self) -> None:
        self.header()
        for _ in range(self.data[10]):
            self.output()
        for _ in range(self.data[11]):
            self.colour()
        for _ in range(self.data[15]):
            self.law()
        for _ in range(self.data[12]):
            self.input()
        for _ in range(self.data[13]):
            self.binding()
        for _ in range(self.data[14]):
            self.cue()
        self.pins()
        starts, targets = CodeCheck(self.data, self.at, self.outputs).threads()
        must(all(target in starts for target in targets), CODE)
        must(all(offset in starts for offset in self.offsets), CODE)

    def header(self) -> None:
        data = self.data
        must(len(data) >= 26 and len(data) == data[2] | data[3] << 8, LENGTH)
        must(data[0] == 0xBC, MAGIC)
        must(data[1] == 2, VERSION)
        must(crc(data[:-2]) == data[-2] | data[-1] << 8, CRC)
        must(data[4] == 1, CHIP)
        must(1 <= data[5] <= 254, ADDRESS)
        outputs, colours, inputs, bindings, cues, laws, _glide, lost = data[10:18]
        must(outputs <= 16 and colours <= 64 and inputs <= 16 and bindings <= 31, HEADER)
        must(cues <= 32 and 1 <= laws <= 16, HEADER)
        must(lost < cues or lost == NONE, HEADER)
        must(data[19] <= 31 and data[20] >= 1, HEADER)
        must(data[22] in (0, 2) and data[23] == 0, HEADER)

    def reach(self, size: int) -> None:
        """A record that starts here must end before the CRC."""
        must(self.at + size <= self.end, HEADER)

    def take(self, form: str) -> tuple[int, ...]:
        size = struct.calcsize(form)
        self.reach(size)
        values = struct.unpack_from(form, self.data, self.at)
        self.at += size
        return values

    def output(self) -> None:
        self.reach(1)
        kind, trims = self.data[self.at] & 127, self.data[self.at] >> 7
        must(kind in (SERVO, LAMP, STRIP, SWITCH), OUTPUT)
        must(not trims or kind in (LAMP, STRIP), OUTPUT)
        if kind == SERVO:
            self.servo()
        elif kind == LAMP:
            _, pin, level, *_trim = self.take("<BBBB" if trims else "<BBB")
            must(level <= 200, OUTPUT)
            self.add(pin, LAMP_JOB, (LAMP,))
        elif kind == STRIP:
            form = "<BBBBHB3B" if trims else "<BBBBHB"
            _, pin, pixels, order, _cap, colour, *_trims = self.take(form)
            must(1 <= pixels <= 100 and order <= 5 and colour < self.data[11], OUTPUT)
            self.pixels += pixels
            must(self.pixels <= 100 and self.count(STRIP) < 2, OUTPUT)
            self.add(pin, ANY_JOB, (STRIP,))
        else:
            _, pin, flags = self.take("<BBB")
            must(flags <= 3, OUTPUT)
            self.add(pin, ANY_JOB, (SWITCH,))

    def servo(self) -> None:
        self.reach(3)
        points = self.data[self.at + 2]
        self.reach(13 + 4 * points)
        _, pin, _, low, high, speed, acceleration, safe = self.take("<BBBhhHHh")
        pairs = [self.take("<hH") for _ in range(points)]
        must(2 <= points <= 8, OUTPUT)
        must(speed >= 1 and acceleration >= 1, OUTPUT)
        angles = [angle for angle, _ in pairs]
        pulses = [pulse for _, pulse in pairs]
        must(all(800 <= pulse <= 5200 for pulse in pulses), OUTPUT)
        must(angles == sorted(set(angles)), OUTPUT)
        must(pulses == sorted(set(pulses)) or pulses[::-1] == sorted(set(pulses)), OUTPUT)
        must(angles[0] <= low <= safe <= high <= angles[-1], OUTPUT)
        must(self.count(SERVO) < 8, OUTPUT)
        self.add(pin, ANY_JOB, (SERVO, low, high))

    def count(self, kind: int) -> int:
        return sum(output[0] == kind for output in self.outputs)

    def add(self, pin: int, job: set[int], output: tuple[int, ...]) -> None:
        self.output_pins.append((pin, job))
        self.outputs.append(output)

    def colour(self) -> None:
        must(max(self.take("<BBB")) <= 200, RECORD)

    def law(self) -> None:
        self.reach(1)
        kind = self.data[self.at]
        number = kind & 127
        must(number <= 9 and kind != 128, RECORD)
        form = {2: "<BH", 9: "<BHH"}.get(number, "<B")
        self.reach(struct.calcsize(form) + (2 if kind > 128 else 0))
        _, alpha, beta = (*self.take(form), 64, 1)[:3]
        if kind > 128:
            must(17039 <= self.take("<H")[0] <= 48497, RECORD)
        must(64 <= alpha <= 32768 and 1 <= beta <= 32768, RECORD)

    def input(self) -> None:
        pin, button = self.take("<BB")
        must(1 <= button & 127 <= 31, RECORD)
        self.input_pins.append((pin, ANY_JOB))

    def binding(self) -> None:
        button, cue = self.take("<BB")
        must(1 <= button & 127 <= 31 and cue < self.data[14], RECORD)

    def cue(self) -> None:
        tag, outputs, flags, offset = self.take("<HHBH")
        must(tag not in self.tags and outputs >> len(self.outputs) == 0, RECORD)
        must(flags & 3 <= 2 and 1 <= flags >> 4 <= 10, RECORD)
        if self.before & 4:  # of the cue before
            must(flags >> 4 <= self.before >> 4, RECORD)
        must(not (flags & 4 and len(self.tags) + 1 == self.data[14]), RECORD)
        self.before = flags
        if flags & 8:
            self.strand(outputs, flags >> 4)
        self.tags.append(tag)
        self.offsets.append(offset)

    def strand(self, outputs: int, threads: int) -> None:
        must(outputs & self.strand_outputs == 0, RECORD)
        self.strand_outputs |= outputs
        self.strand_threads += threads
        self.strands += 1
        must(self.strand_threads <= 10 and self.strands <= 7, RECORD)

    def pins(self) -> None:
        used: set[int] = set()
        for pin, job in self.output_pins + self.input_pins:
            must(pin in job and pin not in used, PIN)
            used.add(pin)


class CodeCheck:
    """The sweep over the code, from its start to the CRC."""

    def __init__(self, data: bytes, at: int, outputs: list[tuple[int, ...]]) -> None:
        self.data, self.at, self.end, self.outputs = data, at, len(data) - 2, outputs
        self.starts: set[int] = set()
        self.targets: list[int] = []
        self.loops: list[bool] = []  # whether each open loop has had a wait
        self.stated: list[tuple[int, int]] = []  # where each call points, and what it states
        self.is_so: dict[int, int] = {}  # what a call of each thread would state, by its start
        self.deepest = self.calls = self.waited = 0  # of the thread that is looked at
        self.last = at  # where its last op starts

    def threads(self) -> tuple[set[int], list[int]]:
        """Where threads start, and where forks, go-ons and calls point."""
        while self.at < self.end:
            start = self.at
            self.starts.add(start)
            self.deepest = self.calls = self.waited = 0
            while not self.op():
                pass
            if self.data[self.last] == 0x80:
                self.is_so[start] = self.waited << 4 | self.deepest << 2 | self.calls
        for target, stated in self.stated:
            must(self.is_so.get(target) == stated, CODE)
        return self.starts, self.targets

    def u8(self) -> int:
        must(self.at < self.end, CODE)
        self.at += 1
        return self.data[self.at - 1]

    def u16(self) -> int:
        return self.u8() | self.u8() << 8

    def duration(self) -> int:
        b = self.u8()
        if b < 160:
            return 10 * (b + 1)
        if b < 200:
            return 100 * (b - 143)
        ms = 256 * (b - 200) + self.u8() if b < 255 else self.u16()
        must(ms <= 65000, CODE)
        return ms

    def waits(self, ms: int) -> None:
        if ms > 0:
            self.waited = 1
            self.loops = [True] * len(self.loops)

    def op(self) -> bool:
        """Look at an op; whether it ends a thread."""
        start = self.last = self.at
        code = self.u8()
        if code < 0x80:
            self.act(code)
        elif code >= 0xC0:
            self.waits(1)
        elif code == 0x81:
            self.waits(self.duration())
        elif code == 0x82:
            self.u16()
            self.loops.append(False)
            self.deepest = max(self.deepest, len(self.loops))
            must(len(self.loops) <= 3, CODE)
        elif code == 0x83:
            must(bool(self.loops) and self.loops.pop(), CODE)
        elif code == 0x85:
            self.effect()
        elif code in (0x84, 0x86):
            self.points(start)
        elif code == 0x88:
            self.draw()
        elif code == 0x89:
            self.choice()
        elif code == 0x87:
            seconds = self.u16()
            must(seconds > 0, CODE)
            self.waits(seconds)
        elif code >= 0xA0:
            self.call(code & 31, start)
        else:
            must(code == 0x80, CODE)
        ends = code in (0x80, 0x86)
        must(not (ends and self.loops), CODE)
        return ends

    def draw(self) -> None:
        time, target, code = self.u8(), self.u8(), self.u8()
        must(time > 0 or target > 0, CODE)
        if code == 0x81:
            must(target == 0, CODE)
            least = self.duration()
            self.waits(least)
            must(self.duration() >= least, CODE)
            return
        must(code < 0x80, CODE)
        self.act(code, time > 0, target > 0)

    def choice(self) -> None:
        must(self.u8() > 0, CODE)
        last = self.u8()
        must(1 <= last <= 7, CODE)
        for _ in range(last + 1):
            start, code = self.at, self.u8()
            must(0xB0 <= code < 0xC0, CODE)
            self.call(code & 31, start)

    def points(self, start: int) -> None:
        self.targets.append(self.u16())
        must(self.targets[-1] > start, CODE)

    def call(self, stated: int, start: int) -> None:
        self.points(start)
        self.stated.append((self.targets[-1], stated))
        calls, loops = stated & 3, stated >> 2 & 3
        must(calls < 3, CODE)
        must(len(self.loops) + loops <= 3, CODE)
        self.calls = max(self.calls, calls + 1)
        self.deepest = max(self.deepest, len(self.loops) + loops)
        self.waits(stated >> 4)

    def act(self, code: int, draws_time: bool = False, draws_target: bool = False) -> None:
        number = code & 15
        must(number < len(self.outputs), CODE)
        kind, *travel = self.outputs[number]
        if kind == SWITCH:
            must(code & 0x60 == 0, CODE)
            must(not draws_time and not draws_target, CODE)
            return
        ms = self.duration()
        if code & 0x40:
            self.waits(ms)
        if code & 0x20:
            must(self.u8() < self.data[15], CODE)
        if kind != SERVO:
            must(code & 0x10 == 0, CODE)
            must(kind != STRIP or not draws_target, CODE)
        target = self.target(code, kind, travel)
        if draws_time:
            must(self.duration() >= ms, CODE)
        if draws_target:
            must(self.target(code, kind, travel) >= target, CODE)

    def target(self, code: int, kind: int, travel: list[int]) -> int:
        target = self.u8()
        if kind == SERVO:
            target |= self.u8() << 8 if code & 0x10 else 0
            bits = 16 if code & 0x10 else 8
            target -= target >> (bits - 1) << bits
            target *= 1 if code & 0x10 else 100
            must(travel[0] <= target <= travel[1], CODE)
        else:
            must(target < (201 if kind == LAMP else self.data[11]), CODE)
        return target

    def effect(self) -> None:
        number, kind = self.u8(), self.u8()
        must(number < len(self.outputs) and self.outputs[number][0] in (LAMP, STRIP), CODE)
        must(kind <= 4, CODE)
        if kind > 0:
            must(self.u16() >= 40, CODE)
            must(self.u8() <= 200, CODE)
            self.u16()  # seed and width: any
