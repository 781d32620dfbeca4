"""A second player, written from `firmware_gen/TABLE.md` alone.

It shares no code with the tool, decodes the table's bytes itself and keeps close to the page: each
part names its section. It is plain and slow. `variations/player.txt` changes its rules one by one;
the vectors must notice each change. The page is enough to build a player from as long as this one
agrees with the others.

Times are Python's whole numbers, so they do not wrap. The table must be one that a board accepts.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cache
from math import isqrt
from typing import TypeAlias

Request: TypeAlias = tuple[str, int, int]
"""Kind, and two numbers, as the vectors state them."""

FRAME = 20 * 256
NONE = 255
SERVO, LAMP, STRIP, SWITCH = 1, 2, 3, 4
BLANK, STARTING, READY, STOPPING, LIMP = range(5)
TAKE, WAIT, REFUSE = range(3)
STEADY, BREATHE, EMBER, SPARKLE, RUNNING = range(5)
UNIFORM, PARABOLIC, TRAPEZOID, HARMONIC, FIFTH_DEGREE, DOUBLE_S = 0, 1, 2, 3, 5, 9
FOR_EVER, WHILE_HELD = 0, 65535
ALONE, LEADS, FOLLOWS = range(3)
RUNS, THREADS, OPS_PER_FRAME = 8, 10, 64
CLAIMS = range(16, 32)


# Section 1: layout


@dataclass(frozen=True)
class Law:
    number: int
    alpha: int = 0
    beta: int = 0
    peak: int = 32768


@dataclass(frozen=True)
class Output:
    kind: int
    angles: tuple[int, ...] = ()
    pulses: tuple[int, ...] = ()
    low: int = 0
    high: int = 0
    speed: int = 0
    acceleration: int = 0
    safe: int = 0  # an angle, a level, the index of a colour, or 1: on
    pixels: int = 1
    order: int = 0
    cap: int = 0
    cover: Callable[[int, int], int] | None = None  # of a pixel at a time; section 13
    trims: tuple[int, ...] = (255, 255, 255)


@dataclass(frozen=True)
class Cue:
    tag: int
    outputs: frozenset[int]
    when_owned: int
    is_strand: bool
    threads: int
    code: int
    has_part: bool  # for letting go: the next one


class Table:
    """The records of a table's bytes."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        outputs, colours, inputs, bindings, cues, laws = data[10:16]
        self.glide, self.lost, self.lost_time, self.stop_button = data[16:20]
        self.stop_time, self.interval, self.role = data[20:23]
        self.chip, self.show = data[4], data[6] | data[7] << 8  # its low 16 bits
        self.at = 24
        self.outputs = [self.output() for _ in range(outputs)]
        self.colours = [tuple(self.take("<BBB")) for _ in range(colours)]
        self.laws = [self.law() for _ in range(laws)]
        self.at += 2 * inputs
        self.bindings = [tuple(self.take("<BB")) for _ in range(bindings)]
        self.cues = [self.cue() for _ in range(cues)]

    def take(self, form: str) -> tuple[int, ...]:
        values = struct.unpack_from(form, self.data, self.at)
        self.at += struct.calcsize(form)
        return values

    def output(self) -> Output:
        kind, _pin = self.take("<BB")
        made = self.record(kind & 127)
        if kind & 128:
            made = replace(made, trims=self.take("<B" if made.kind == LAMP else "<BBB"))
        return made

    def record(self, kind: int) -> Output:
        if kind == SERVO:
            points, low, high, speed, acceleration, safe = self.take("<BhhHHh")
            pairs = [self.take("<hH") for _ in range(points)]
            return Output(
                kind,
                angles=tuple(angle for angle, _ in pairs),
                pulses=tuple(pulse for _, pulse in pairs),
                low=low << 15,
                high=high << 15,
                speed=speed,
                acceleration=acceleration,
                safe=safe << 15,
            )
        if kind == LAMP:
            return Output(kind, safe=self.take("<B")[0])
        if kind == STRIP:
            pixels, order, cap, safe = self.take("<BBHB")
            return Output(kind, pixels=pixels, order=order, cap=cap, safe=safe)
        return Output(kind, safe=self.take("<B")[0] >> 1 & 1)

    def law(self) -> Law:
        (kind,) = self.take("<B")
        number, alpha, beta = kind & 127, 0, 0
        if number == PARABOLIC:
            number, alpha = DOUBLE_S, 32768
        elif number == TRAPEZOID:
            number, alpha = DOUBLE_S, self.take("<H")[0]
        elif number == DOUBLE_S:
            alpha, beta = self.take("<HH")
        peak = self.take("<H")[0] if kind & 128 else 32768
        return Law(number, alpha, beta, peak)

    def cue(self) -> Cue:
        tag, outputs, flags, code = self.take("<HHBH")
        if self.role == LEADS:  # claims are outputs that it has not got
            outputs |= self.take("<H")[0] << 16
        owned = frozenset(n for n in range(32) if outputs >> n & 1)
        return Cue(tag, owned, flags & 3, bool(flags & 8), flags >> 4, code, bool(flags & 4))

    def levels(self, output: Output, target: int) -> tuple[int, ...]:
        """The levels (Q8) of a light's channels."""
        if output.kind == STRIP:
            return tuple(level << 8 for level in self.colours[target])
        return (target << 8,)


# Section 3.1: shapes

LISTS = {
    3: "2250 2238 2232 2202 2166 2130 2076 2016 1944 1866 1788 1686 1590 1482 1368 1248 1122 996 "
    "858 720 582 438 294 150 0",
    4: "0 372 744 1092 1434 1746 2022 2274 2478 2646 2766 2838 2862 2844 2766 2646 2478 2274 2022 "
    "1746 1428 1098 738 378 0",
    5: "0 540 1008 1404 1746 2022 2244 2412 2532 2604 2628 2616 2568 2472 2352 2202 2028 1824 1596 "
    "1362 1110 840 564 288 0",
    6: "0 54 276 570 924 1320 1716 2100 2466 2778 3036 3234 3372 3420 3408 3312 3150 2922 2634 "
    "2280 1884 1452 984 492 0",
    7: "0 654 1266 1788 2190 2448 2526 2502 2484 2430 2364 2280 2184 2058 1932 1782 1614 1446 1260 "
    "1062 858 654 438 222 0",
    8: "0 582 1116 1584 1932 2166 2232 2220 2226 2226 2226 2220 2226 2226 2226 2226 2220 2226 2232 "
    "2160 1938 1584 1116 582 0",
}
GAINS = {law: tuple(int(word) for word in words.split()) for law, words in LISTS.items()}
FIGURES = {  # Cv, Ca, K
    0: (4096, 0, 0),
    3: (6434, 20213, 162),
    4: (8192, 25736, 224),
    5: (7680, 23649, 216),
    6: (8960, 30775, 231),
    7: (7208, 22643, 203),
    8: (8192, 20022, 236),
}


@cache
def shape(law: Law, x: int) -> tuple[int, int]:
    """s and the slope at x."""
    if law.number == UNIFORM:
        return x, 16384
    m = law.peak
    if x > m:
        s, slope = to_peak(law, 65536 - x, 65536 - m)
        return 65536 - s, slope
    return to_peak(law, x, m)


def to_peak(law: Law, x: int, m: int) -> tuple[int, int]:
    if m == 32768:
        return half(law, x)
    s, slope = half(law, ((x << 16) // m + 1) >> 1)
    return (m * s) >> 15, slope


def half(law: Law, x: int) -> tuple[int, int]:
    if law.number == DOUBLE_S:
        return double_s(law.alpha, law.beta, x)
    return listed(GAINS[law.number], x)


def listed(gains: tuple[int, ...], x: int) -> tuple[int, int]:
    n, f = (48 * x) >> 16, (48 * x) & 65535
    a = gains[n]
    b = gains[n + 1] if n < 24 else 0
    c, v = -((10923 * gains[0]) >> 16), -(gains[0] >> 1)
    for gain in gains[:n]:
        v += gain
        c += v
    v = v + a - (a >> 1)
    p = (a * f) >> 16
    q = ((3 * a - p + ((b * f) >> 16)) * f) >> 16
    s = (c + ((v * f) >> 16) + ((10923 * (a + ((q * f) >> 16))) >> 16) + 8) >> 4
    w = v + ((q - p) >> 1)
    return s, w - (w >> 2)


def grown(y: int, d: int) -> int:
    """y / (1 - d)."""
    return y + ((y * ((d << 16) // (65536 - d))) >> 16)


def double_s(alpha: int, beta: int, x: int) -> tuple[int, int]:
    if x >= alpha:
        return grown(2 * x - alpha, alpha) >> 1, grown(65535, alpha) >> 2
    u = (x << 16) // alpha
    w = u if u < 32768 else 65536 - u
    if w < beta:
        g = grown((((w << 16) // beta) * w) >> 16, beta)
        rate, way = g >> 1, (21846 * ((g * w) >> 16)) >> 16
    else:
        rate = grown(w - beta // 2, beta)
        way = ((w * (w - beta)) >> 16) + ((21846 * ((beta * beta) >> 16)) >> 16)
        way = grown(way, beta)
    if u >= 32768:
        way, rate = 2 * u - 65536 + way, 65535 - rate
    return grown((alpha * way) >> 16, alpha) >> 1, grown(rate, alpha) >> 2


def progress(d: int, duration: int) -> int:
    k = 0
    while duration >> k >= 65536:
        k += 1
    if d >= duration:
        return 65536
    nearest = (d + (2**k >> 1)) >> k
    return min(65535, (2**17 * nearest // (duration >> k) + 1) >> 1)


@cache
def figures(law: Law) -> tuple[int, int, int]:
    """Cv, Ca and K, a K under 128 being 0."""
    cv, ca, k = even_figures(law)
    if law.peak != 32768:
        ca = 32768 * ca // min(law.peak, 65536 - law.peak) + 1
    return cv, ca, k


def even_figures(law: Law) -> tuple[int, int, int]:
    if law.number != DOUBLE_S:
        cv, ca, k = FIGURES[law.number]
        return cv, ca, k
    a, b = law.alpha, law.beta
    v, w = -(-(2**32) // (65536 - a)), -(-(2**32) // (65536 - b))
    ca = v * w // (16 * a) + (0 if a == 32768 and b == 0 else 1)
    k = (a * (65536 + isqrt(2**32 - 2 * b * (65536 - b)))) >> 24
    return (v + 15) >> 4, ca, k if k >= 128 else 0


# Section 3.2: a servo's motion


@dataclass
class Motion:
    """With nothing but a target: at rest there since before all time."""

    target: int
    way: int = 0
    start: int = 0
    duration: int = 1
    law: Law = Law(UNIFORM)
    residual: int = 0
    residual_start: int = 0
    residual_time: int = 0
    end: int = -FRAME
    run: int | None = None

    def at(self, t: int) -> tuple[int, int]:
        """Position and speed."""
        if t >= self.end:
            return self.target, 0
        since = t - self.start
        x = progress(since, self.duration) if since > 0 else 0
        s, slope = shape(self.law, x)
        p, v = self.target - self.way + ((self.way * s) >> 16), 0
        if x != 0:
            v = rate(self.way, slope, self.duration)
        left = self.residual_time - (t - self.residual_start)
        if left > 0:
            y = progress(left, self.residual_time)
            p -= (self.residual * ((y * y) >> 16)) >> 16
            v += rate(self.residual, y >> 1, self.residual_time)
        return p, v


def rate(way: int, slope: int, duration: int) -> int:
    """F of the page."""
    speed = (1024 * ((abs(way) * slope) >> 16)) // duration
    return -speed if way < 0 else speed


def brake(servo: Output, p: int, v: int) -> tuple[int, int]:
    """R and tb."""
    if v == 0:
        return 0, 0
    time = (abs(v) * 625) // (8 * servo.acceleration)
    way = (abs(v) * time) >> 9
    room = servo.high - p if v > 0 else p - servo.low
    room = max(room, 0)
    if way > room + 2**16:
        way = room
        time = (512 * way) // abs(v)
    if time == 0:
        return 0, 0
    return (way if v > 0 else -way), time


def under_32_bits(value: int) -> tuple[int, int]:
    """The value times the greatest power of 4 that is allowed, and the exponent."""
    exponent = 0
    while exponent < 15 and value << 2 * (exponent + 1) < 2**32:
        exponent += 1
    return value << 2 * exponent, exponent


def least_times(servo: Output, law: Law, way: int) -> tuple[int, int]:
    """Nv and Na."""
    cv, ca, _ = figures(law)
    by_speed = (cv * way * 5 // (8 * servo.speed)) >> 15
    scaled, e = under_32_bits(way)
    scaled, f = under_32_bits(625 * scaled // (2048 * servo.acceleration))
    by_acceleration = (isqrt(((ca * scaled) >> 24) << 28) >> (e + f)) + 1
    return by_speed, by_acceleration


def move(
    servo: Output, motion: Motion, time: int, target: int, nominal: int, law: Law, run: int | None
) -> Motion:
    p, v = motion.at(time)
    residual, residual_time = brake(servo, p, v)
    way = target - (p + residual)
    by_speed, by_acceleration = least_times(servo, law, abs(way))
    k = figures(law)[2]
    ahead = way > 0 if v > 0 else way < 0
    if residual_time > 0 and ahead and abs(way) >= 2**20 and k > 0:
        start = time
        rising = 65536 * residual_time // law.peak + (0 if law.peak == 32768 else 1)
        duration = max(nominal, by_acceleration, by_speed * 256 // k, rising)
    else:
        start = time + residual_time
        duration = max(nominal - residual_time, by_acceleration, by_speed, 256)
    end = start + duration
    return Motion(target, way, start, duration, law, residual, time, residual_time, end, run)


def pulse(servo: Output, p: int) -> int:
    p = min(max(p, servo.low), servo.high)
    i = 0
    while i + 2 < len(servo.angles) and servo.angles[i + 1] << 15 <= p:
        i += 1
    low, high = servo.angles[i : i + 2]
    x = progress((p - (low << 15)) >> 8, (high - low) << 7)
    gain = servo.pulses[i + 1] - servo.pulses[i]
    return servo.pulses[i] + ((((2 * gain * x) >> 16) + 1) >> 1)


# Sections 3.3 and 3.4: light and effects


@dataclass(frozen=True)
class Effect:
    kind: int = STEADY
    start: int = 0
    period: int = 0
    depth: int = 0
    seed: int = 0
    width: int = 0


@dataclass
class Light:
    """The fade and the effect of a lamp or strip. At rest the fade ended before all time."""

    origin: tuple[int, ...]
    target: tuple[int, ...]
    start: int = -FRAME
    duration: int = 0
    law: Law = Law(UNIFORM)
    effect: Effect = Effect()
    weight: int = 0  # W
    leaves: bool = False
    coming: Effect = Effect()

    def steady(self) -> None:
        self.leaves, self.coming = self.effect.kind != STEADY, Effect()

    def lay(self, effect: Effect) -> None:
        if effect.kind == STEADY:
            self.steady()
        elif self.effect.kind == STEADY:
            self.effect, self.weight, self.leaves = effect, 0, False
        elif replace(self.effect, start=0) == replace(effect, start=0):
            self.leaves = False
        else:
            self.leaves, self.coming = True, effect

    def weigh(self) -> None:
        """A frame passes."""
        if self.leaves:
            self.weight = max(self.weight - 1, 0)
            if self.weight == 0:
                self.effect, self.leaves = self.coming, False
        elif self.effect.kind != STEADY:
            self.weight = min(self.weight + 1, 16)

    def levels(self, t: int) -> tuple[int, ...]:
        if t - self.start >= self.duration:
            return self.target
        s, _ = shape(self.law, progress(max(0, t - self.start), self.duration))
        return tuple(
            a + (((b - a) * s) >> 16) for a, b in zip(self.origin, self.target, strict=True)
        )

    def fade(self, time: int, target: tuple[int, ...], duration: int, law: Law) -> None:
        if duration < FRAME and self.leaves and self.coming.kind == STEADY:
            self.effect, self.leaves, self.weight = Effect(), False, 0
        self.origin = self.levels(time)
        self.target, self.start, self.duration, self.law = target, time, duration, law


def noise(seed: int, a: int, b: int) -> int:
    return mix(seed * 0x9E37 ^ a * 0x85EB ^ b * 0xC2B3) & 255


def mix(h: int) -> int:
    h &= 0xFFFF
    h ^= h >> 7
    h = h * 0x2C1B & 0xFFFF
    h ^= h >> 9
    h = h * 0x297B & 0xFFFF
    h ^= h >> 8
    return h


def draw(least: int, most: int, key: int, rounds: int) -> int:
    own = key * 0x9E37
    r = mix(mix(own ^ (rounds * 0x85EB)) + own)
    return least + (((most - least + 1) * r) >> 16)


def multiplier(light: Light, t: int, pixel: int, pixels: int) -> int:
    """m of a pixel."""
    effect = light.effect
    if effect.kind == STEADY:
        return 256
    ms = (t - effect.start) >> 8
    n, h = ms // effect.period, ((ms % effect.period) << 8) // effect.period
    z = ((256 * effect.depth + 100) // 200 * light.weight) >> 4
    if effect.kind == BREATHE:
        y = 2 * h if h < 128 else 510 - 2 * h
        share = shape(Law(HARMONIC), y << 8)[0] >> 8
    elif effect.kind == EMBER:
        a, c = noise(effect.seed, n, pixel), noise(effect.seed, n + 1, pixel)
        share = a + (((c - a) * h) >> 8)
    elif effect.kind == SPARKLE:
        share = h if 100 * noise(effect.seed, n, pixel) < 256 * effect.width else 256
    else:
        d = (h * pixels - (pixel << 8)) % (pixels << 8)
        share = d // effect.width if d < effect.width << 8 else 256
    return 256 - ((z * share) >> 8)


def duty(level: int, m: int) -> int:
    u = level + ((6780 * level) >> 16)
    u = (u * m) >> 8
    if u < 4520:
        return ((33 * u) >> 8) - (u >> 11)
    x = u + 9039
    return ((((x * x) >> 16) * x) >> 16) + 2


def strip_bytes(strip: Output, light: Light, t: int) -> bytes:
    levels = light.levels(t)
    channels = []
    for pixel in range(strip.pixels):
        m = multiplier(light, t, pixel, strip.pixels)
        for name in ("rgb", "rbg", "grb", "gbr", "brg", "bgr")[strip.order]:
            channel = "rgb".index(name)
            value = duty(levels[channel], m) * (strip.trims[channel] + 1) >> 8
            byte = (value - (value >> 8) + 128) >> 8
            channels.append(byte if strip.cover is None else byte * strip.cover(pixel, t) >> 8)
    total = sum(channels)
    if strip.cap > 0 and total > 256 * strip.cap:
        f = (strip.cap << 15) // ((total + 1) >> 1)
        channels = [(channel * f) >> 8 for channel in channels]
    return bytes(channels)


# Section 2: what runs when


def as_said(target: int, _: int) -> int:
    """Where acts bring servos."""
    return target


@dataclass
class Run:
    cue: int
    reserved: int
    start: int
    button: int | None
    held: bool
    again: bool
    end: int
    is_strand: bool = False
    reach: Callable[[int, int], int] = as_said


@dataclass
class Thread:
    run: int
    at: int
    time: int
    loops: list[tuple[int, int]] = field(default_factory=list)
    calls: list[int] = field(default_factory=list)  # where it goes on
    seconds: int = 0  # left of a long wait
    rounds: int = 0  # loop ends so far
    keys: tuple[int, int] = (0, 0)  # of the op at hand: of its time, of its target


class SecondPlayer:
    """Plays one table, frame by frame."""

    def __init__(self, data: bytes) -> None:
        self.table = Table(data)
        self.data = data
        self.outputs = self.table.outputs
        self.of_kind = {
            kind: [n for n, output in enumerate(self.outputs) if output.kind == kind]
            for kind in (SERVO, LAMP, STRIP, SWITCH)
        }
        self.next_frame = 0
        self.down: set[int] = set()
        self.refused = self.overruns = 0
        self.silence, self.armed, self.heard = 0, False, False
        self.runs: list[Run | None] = [None] * RUNS
        self.threads: list[Thread | None] = [None] * THREADS
        self.waiting: dict[int, int | None] = {}
        self.owner: dict[int, int | None] = dict.fromkeys([*range(len(self.outputs)), *CLAIMS])
        self.motions: dict[int, Motion] = {}
        self.lights: dict[int, Light] = {}
        self.switches: dict[int, int] = {}
        self.wanted: dict[int, int] = {}  # by strands, of their outputs
        self.wanted_effects: dict[int, Effect] = {}
        self.gliding: set[int] = set()
        self.jogged: tuple[int, int] | None = None  # which servo, and W
        self.jog_frames = 0  # since its last request
        self.rested = 50  # frames of the rest that have begun
        servos = [self.outputs[n] for n in self.of_kind[SERVO]]
        self.last_pulses = [pulse(servo, servo.safe) for servo in servos]
        self.enter_starting()

    @property
    def time(self) -> int:
        return FRAME * self.next_frame

    # Modes

    def enter_starting(self) -> None:
        self.mode, self.start_frame = STARTING, self.next_frame
        self.end_everything()
        for n in self.of_kind[SERVO]:
            self.motions[n] = Motion(self.outputs[n].safe)
        for n in self.of_kind[LAMP] + self.of_kind[STRIP]:
            dark = (0,) if self.outputs[n].kind == LAMP else (0, 0, 0)
            self.lights[n] = Light(dark, dark)

    def enter_ready(self) -> None:
        self.mode = READY
        for n in self.of_kind[LAMP] + self.of_kind[STRIP]:
            safe = self.safe_light(n)
            self.lights[n] = Light(safe, safe)
        self.start_strands()

    def enter_stopping(self) -> None:
        self.mode = STOPPING
        self.end_everything()
        time, duration = self.time - FRAME, self.table.stop_time * FRAME
        for n in self.of_kind[SERVO]:
            servo = self.outputs[n]
            self.motions[n] = move(
                servo, self.motions[n], time, servo.safe, duration, Law(FIFTH_DEGREE), None
            )
        for n, light in self.lights.items():
            light.steady()
            light.fade(time, self.safe_light(n), duration, Law(UNIFORM))

    def enter_limp(self) -> None:
        self.mode = LIMP
        self.end_everything()

    def end_everything(self) -> None:
        """All runs and waiting cues end, switches take their safe state."""
        for number, run in enumerate(self.runs):
            if run is not None:
                self.end_run(number)
        self.waiting.clear()
        self.wanted.clear()
        self.wanted_effects.clear()
        self.gliding.clear()
        self.switches = {n: self.outputs[n].safe for n in self.of_kind[SWITCH]}

    def safe_light(self, n: int) -> tuple[int, ...]:
        return self.table.levels(self.outputs[n], self.outputs[n].safe)

    # Requests

    def request(self, kind: str, a: int, b: int) -> None:
        if kind == "jog":
            return
        if kind == "heard":
            self.heard = True
        elif kind == "button" and b == 0:
            self.down.discard(a)
            self.release(a)
        elif kind == "button":
            self.down.add(a)
            self.press(a)
        elif kind == "trigger":
            self.trigger(a)
        elif kind == "stop":
            self.stop()
        elif kind == "limp":
            self.enter_limp()
        elif kind == "standby" and self.mode == LIMP:
            self.enter_starting()
        else:
            self.refused += 1

    def stop(self) -> None:
        if self.mode == READY:
            self.enter_stopping()
        elif self.mode != LIMP:
            self.enter_limp()

    def trigger(self, tag: int) -> None:
        if not self.may_start():
            self.refused += 1
            return
        for index, cue in enumerate(self.table.cues):
            if cue.tag == tag and not self.start_cue(index, None):
                self.refused += 1

    def press(self, button: int) -> None:
        if button == self.table.stop_button:
            self.stop()
            return
        cues = [cue for bound, cue in self.table.bindings if bound & 31 == button]
        if not self.may_start():
            self.refused += 1 if cues else 0
            return
        for cue in cues:
            if not self.start_cue(cue, button):
                self.refused += 1

    # The frame

    def frame(self, requests: Iterable[Request]) -> bytes:
        """Plays one frame; its outputs, in bytes as the vectors state them."""
        requests = tuple(requests)
        self.jog(requests)
        ready = self.start_frame + len(self.of_kind[SERVO]) * self.table.interval
        if self.mode == STARTING and self.next_frame >= ready:
            self.enter_ready()
        self.before_requests()
        for kind, a, b in requests:
            self.request(kind, a, b)
        self.after_requests()
        self.listen()
        if self.mode == READY:
            self.start_waiting()
        self.execute()
        self.after_threads()
        moving = any(motion.end > self.time for motion in self.motions.values())
        if self.mode == STOPPING and not moving:
            self.enter_limp()
        shown = self.evaluate()
        self.next_frame += 1
        return shown

    # What section 7 adds

    def before_requests(self) -> None:
        """Between steps 0 and 1 of a frame."""

    def after_requests(self) -> None:
        """Between steps 1 and 2."""

    def after_threads(self) -> None:
        """After step 4."""

    def may_start(self) -> bool:
        """Whether requests start cues."""
        return self.mode == READY

    def free_number(self) -> int:
        return self.runs.index(None)

    def acts(self, number: int, n: int) -> bool:
        """Whether a run acts on an output."""
        return self.owner[n] == number

    def notes(self, number: int, run: Run, n: int) -> bool:
        """Whether what a run does to an output is what is wanted of it."""
        return run.is_strand

    def note(self, run: Run, n: int, target: int) -> None:
        self.wanted[n] = target

    def note_effect(self, run: Run, n: int, effect: Effect) -> None:
        self.wanted_effects[n] = effect

    def begins(self, time: int, ms: int) -> tuple[int, int]:
        """When an act of a time begins, and for how many ms."""
        return time, ms

    def jog(self, asked: tuple[Request, ...]) -> None:
        """Section 2.8."""
        self.jog_frames += 1
        for what, servo, ticks in asked:
            if what == "jog" and self.mode == LIMP and not self.refuses_jog():
                self.jogged, self.jog_frames = (servo, ticks), 1
        if self.jog_frames >= 50:
            self.jogged = None
        self.rested += 1
        ended = any(self.ends_jog(*one) for one in asked)
        if ended and (self.jogged is not None or self.rested <= 50):
            self.jogged, self.rested = None, 1

    def refuses_jog(self) -> bool:
        return self.rested < 50 or self.table.stop_button in self.down

    def ends_jog(self, kind: str, a: int, b: int) -> bool:
        if kind == "button" and b:
            return a == self.table.stop_button
        if kind == "standby":
            return self.mode == LIMP
        return kind in ("stop", "limp")

    def listen(self) -> None:
        if self.heard:
            self.silence, self.armed, self.heard = 0, True, False
        else:
            self.silence = min(self.silence + 1, 65535)
        limit, lost = 5 * self.table.lost_time, self.table.lost
        if self.mode != READY or limit == 0 or lost == NONE:
            return
        if self.armed and self.silence >= limit:
            if self.start_cue(lost, None):
                self.armed = False
            else:
                self.refused += 1

    def start_waiting(self) -> None:
        for index in sorted(self.waiting):
            if all(self.is_free(n) for n in self.table.cues[index].outputs):
                self.start_cue(index, self.waiting[index])

    def is_free(self, number: int) -> bool:
        """Whether no run owns an output; a strand does not count."""
        run = None if (owner := self.owner[number]) is None else self.runs[owner]
        return run is None or run.is_strand

    def start_strands(self) -> None:
        for index, cue in enumerate(self.table.cues):
            if cue.is_strand:
                self.begin(index, cue, None, is_strand=True)

    # Starting and ending a cue

    def start_cue(self, index: int, button: int | None) -> bool:
        """Whether it was not refused."""
        cue = self.table.cues[index]
        live = {number: run for number, run in enumerate(self.runs) if run is not None}
        owners = {owner for n in cue.outputs if (owner := self.owner[n]) is not None}
        if any(not live[owner].is_strand for owner in owners):
            if cue.when_owned == WAIT:
                self.waiting[index] = button
                return True
            if cue.when_owned == REFUSE:
                return False
        ending = [
            number
            for number, run in live.items()
            if not run.is_strand and self.owned(number) and self.owned(number) <= cue.outputs
        ]
        left = [run for number, run in live.items() if number not in ending]
        if len(left) + 1 > RUNS or sum(run.reserved for run in left) + cue.threads > THREADS:
            return False
        for number in ending:
            self.end_run(number)
        self.gliding -= cue.outputs
        self.begin(index, cue, button)
        return True

    def begin(self, index: int, cue: Cue, button: int | None, is_strand: bool = False) -> None:
        number = self.free_number()
        again = False
        if button is not None:
            bindings = [
                bound for bound, to in self.table.bindings if (bound & 31, to) == (button, index)
            ]
            again = bindings[0] >= 0x80
        time = self.time - FRAME
        held = button in self.down
        self.runs[number] = Run(index, cue.threads, time, button, held, again, time, is_strand)
        for n in cue.outputs:
            self.owner[n] = number
            if n in self.lights:
                self.lights[n].steady()
        self.fork(number, cue.code, time)
        self.waiting.pop(index, None)

    def owned(self, number: int) -> frozenset[int]:
        return frozenset(n for n, owner in self.owner.items() if owner == number)

    def end_run(self, number: int) -> None:
        self.runs[number] = None
        for n in self.owned(number):
            self.owner[n] = None
        self.leave(number)

    def leave(self, number: int) -> None:
        """A run's threads end, and its motions belong to no run."""
        for n, thread in enumerate(self.threads):
            if thread is not None and thread.run == number:
                self.threads[n] = None
        for motion in self.motions.values():
            if motion.run == number:
                motion.run = None

    def fork(self, run: int, at: int, time: int, rounds: int = 0) -> None:
        self.threads[self.threads.index(None)] = Thread(run, at, time, rounds=rounds)

    def release(self, button: int) -> None:
        for index, by in list(self.waiting.items()):
            if by == button and self.table.cues[index].has_part:
                del self.waiting[index]
        for number, run in enumerate(self.runs):
            if run is not None and run.button == button and run.held:
                run.held = False
                if self.table.cues[run.cue].has_part:
                    self.let_go(number, run, self.time - FRAME)

    def let_go(self, number: int, run: Run, time: int) -> None:
        self.leave(number)
        part = self.table.cues[run.cue + 1]
        self.runs[number] = Run(run.cue + 1, part.threads, time, run.button, run.held, False, time)
        for n in part.outputs & self.owned(number) & self.lights.keys():
            self.lights[n].steady()
        self.fork(number, part.code, time)

    # Executing

    def execute(self) -> None:
        ops = 0
        while due := self.due(silent=False):
            if ops == OPS_PER_FRAME:
                self.overruns += 1
                for _, number in due:
                    thread = self.threads[number]
                    assert thread is not None
                    thread.time = self.time
                return
            self.step(min(due)[1])
            ops += 1

    def due(self, silent: bool) -> list[tuple[int, int]]:
        """Times and numbers of the threads that are to be executed."""
        return [
            (thread.time, number)
            for number, thread in enumerate(self.threads)
            if thread is not None
            and thread.time <= self.time
            and self.is_silent(thread.run) == silent
        ]

    def step(self, number: int) -> None:
        """One op of a thread."""
        thread = self.threads[number]
        assert thread is not None
        run = self.runs[thread.run]
        assert run is not None
        op, at = self.data[thread.at], thread.at + 1
        thread.keys = (0, 0)
        if op == 0x88:
            time_key, target_key, op = self.data[at : at + 3]
            thread.keys = (time_key, target_key)
            at += 3
        if op < 0x80:
            self.act(thread, op, at)
        elif op >= 0xC0:
            thread.time += 256 * 10 * ((op & 63) + 1)
            thread.at = at
        elif op >= 0xA0:
            self.call(thread, at)
        elif op == 0x89:
            self.choose(thread, at)
        elif op == 0x80 and thread.calls:
            thread.at = thread.calls.pop()
        elif op == 0x80:
            self.end_thread(number)
        elif op == 0x81:
            ms, at = self.duration(at)
            ms, thread.at = self.drawn_time(thread, ms, at)
            thread.time += 256 * ms
        elif op == 0x82:
            thread.loops.append((at + 2, self.u16(at)))
            thread.at = at + 2
        elif op == 0x83:
            self.loop_end(thread, run)
        elif op == 0x84:
            live = [
                other for other in self.threads if other is not None and other.run == thread.run
            ]
            if len(live) < run.reserved:
                self.fork(thread.run, self.u16(at), thread.time, thread.rounds)
                thread.at = at + 2
            else:
                thread.time += FRAME
        elif op == 0x85:
            self.effect(thread)
        elif op == 0x87:
            self.long_wait(thread, at)
        elif op == 0x86:
            thread.at = self.u16(at)

    def call(self, thread: Thread, at: int) -> None:
        thread.calls.append(at + 2)
        thread.at = self.u16(at)

    def choose(self, thread: Thread, at: int) -> None:
        key, last = self.data[at : at + 2]
        number = draw(0, last, key, thread.rounds)
        thread.calls.append(at + 2 + 3 * (last + 1))
        thread.at = self.u16(at + 2 + 3 * number + 1)

    def long_wait(self, thread: Thread, at: int) -> None:
        left = thread.seconds or self.u16(at)
        if left > 65:
            thread.time += 16640000
            thread.seconds = left - 65
        else:
            thread.time += 256000 * left
            thread.seconds = 0
            thread.at = at + 2

    def u16(self, at: int) -> int:
        return self.data[at] | self.data[at + 1] << 8

    def duration(self, at: int) -> tuple[int, int]:
        """Milliseconds, and where the next operand stands."""
        b = self.data[at]
        if b < 160:
            return 10 * (b + 1), at + 1
        if b < 200:
            return 100 * (b - 143), at + 1
        if b < 255:
            return 256 * (b - 200) + self.data[at + 1], at + 2
        return self.u16(at + 1), at + 3

    def drawn_time(self, thread: Thread, ms: int, at: int) -> tuple[int, int]:
        """A time that may be drawn, and where the next operand stands."""
        key, _ = thread.keys
        if key == 0:
            return ms, at
        most, at = self.duration(at)
        return draw(ms, most, key, thread.rounds), at

    def loop_end(self, thread: Thread, run: Run) -> None:
        thread.rounds = (thread.rounds + 1) % 65536
        start, count = thread.loops.pop()
        if count == FOR_EVER or (count == WHILE_HELD and run.held):
            thread.loops.append((start, count))
            thread.at = start
        elif count != WHILE_HELD and count > 1:
            thread.loops.append((start, count - 1))
            thread.at = start
        else:
            thread.at += 1

    def end_thread(self, number: int) -> None:
        thread = self.threads[number]
        assert thread is not None
        run = self.runs[thread.run]
        assert run is not None
        alive = [one for one in self.threads if one is not None and one.run == thread.run]
        moves = [m.end for m in self.motions.values() if m.run == thread.run]
        if len(alive) == 1 and max(moves, default=thread.time) > thread.time:
            thread.time = max(moves)
            return
        self.threads[number] = None
        run.end = max(run.end, thread.time)
        if len(alive) > 1:
            return
        if run.is_strand or (run.again and run.held):
            run.start = max(run.end, run.start + FRAME)
            self.fork(thread.run, self.table.cues[run.cue].code, run.start, thread.rounds + 1)
        elif not self.table.cues[run.cue].has_part:
            self.ends(thread.run, run)
        elif not run.held:
            self.let_go(thread.run, run, run.end)

    def ends(self, number: int, run: Run) -> None:
        """A run ends by itself."""
        free = self.owned(number)
        self.end_run(number)
        self.give_back(free, run.end)

    # The way back into idle

    def give_back(self, free: frozenset[int], time: int) -> None:
        for strand, one in enumerate(self.runs):
            if one is not None and one.is_strand:
                for n in free & self.table.cues[one.cue].outputs:
                    self.owner[n] = strand
                    if n not in CLAIMS and not self.is_silent(strand):
                        self.go_back(n, time)

    def is_silent(self, number: int) -> bool:
        return False

    def go_back(self, n: int, time: int) -> None:
        output, ms = self.outputs[n], 20 * self.table.glide
        if n in self.lights:
            self.lights[n].steady()
            self.lights[n].lay(replace(self.wanted_effects.get(n, Effect()), start=time))
        if n not in self.wanted:
            return
        target = self.wanted[n]
        self.gliding.add(n)
        if output.kind == SERVO:
            law = Law(FIFTH_DEGREE)
            self.motions[n] = move(output, self.motions[n], time, target, 256 * ms, law, None)
        elif output.kind == SWITCH:
            self.switches[n] = target
        else:
            levels = self.table.levels(output, target)
            self.lights[n].fade(time, levels, 256 * ms, Law(UNIFORM))

    def glide_left(self, n: int, time: int, ms: int) -> int:
        """For how many ms an act must last that finds its output gliding; 0: as long as it says."""
        if n not in self.gliding:
            return 0
        if self.outputs[n].kind == SERVO:
            end = self.motions[n].end
        else:
            end = self.lights[n].start + self.lights[n].duration
        left = min((end - time + 255) // 256, 65000)
        if left > ms:
            return left
        self.gliding.discard(n)
        return 0

    def act(self, thread: Thread, op: int, at: int) -> None:
        n, ms = op & 15, 0
        key = thread.keys[1]
        output = self.outputs[n]
        owns = self.acts(thread.run, n)
        run = self.runs[thread.run]
        assert run is not None
        notes = self.notes(thread.run, run, n)
        if output.kind == SWITCH:
            if notes:
                self.note(run, n, op >> 4 & 1)
            if owns:
                self.gliding.discard(n)
                self.switches[n] = op >> 4 & 1
            thread.at = at
            return
        ms, at = self.duration(at)
        law = self.table.laws[0] if output.kind == SERVO else Law(UNIFORM)
        if op & 0x20:
            law = self.table.laws[self.data[at]]
            at += 1
        if output.kind == SERVO:
            target, at = self.angle(op, at)
            ms, at = self.drawn_time(thread, ms, at)
            if key:
                most, at = self.angle(op, at)
                target = draw(target >> 15, most >> 15, key, thread.rounds) << 15
            target = run.reach(target >> 15, output.safe >> 15) << 15
            if notes:
                self.note(run, n, target)
            motion = self.motions[n]
            start, lasts = self.begins(thread.time, ms)
            longer = self.glide_left(n, start, lasts) if owns else 0
            if longer:
                self.motions[n] = move(output, motion, start, target, 256 * longer, law, None)
            elif owns and motion.run == thread.run and motion.end > thread.time:
                away = motion.end - thread.time
                thread.time += away
                return
            elif owns:
                mover = None if run.is_strand and self.table.role != ALONE else thread.run
                self.motions[n] = move(output, motion, start, target, 256 * lasts, law, mover)
        else:
            level = self.data[at]
            ms, at = self.drawn_time(thread, ms, at + 1)
            if key:
                level, at = draw(level, self.data[at], key, thread.rounds), at + 1
            if notes:
                self.note(run, n, level)
            if owns:
                levels = self.table.levels(output, level)
                start, lasts = self.begins(thread.time, ms)
                lasts = self.glide_left(n, start, lasts) or lasts
                self.lights[n].fade(start, levels, 256 * lasts, law)
        thread.at = at
        if op & 0x40:
            thread.time += 256 * ms

    def angle(self, op: int, at: int) -> tuple[int, int]:
        if op & 0x10:
            return struct.unpack_from("<h", self.data, at)[0] << 15, at + 2
        return struct.unpack_from("<b", self.data, at)[0] * 100 << 15, at + 1

    def effect(self, thread: Thread) -> None:
        n, kind = self.data[thread.at + 1], self.data[thread.at + 2]
        thread.at += 3
        effect = Effect()
        if kind != STEADY:
            period, depth, seed, width = struct.unpack_from("<HBBB", self.data, thread.at)
            start, _ = self.begins(thread.time, 0)
            effect = Effect(kind, start, period, depth, seed, width)
            thread.at += 5
        run = self.runs[thread.run]
        assert run is not None
        if self.notes(thread.run, run, n):
            self.note_effect(run, n, effect)
        if self.acts(thread.run, n):
            self.lights[n].lay(effect)

    # What goes out

    def evaluate(self) -> bytes:
        for light in self.lights.values():
            light.weigh()
        shown = bytearray()
        for place, n in enumerate(self.of_kind[SERVO]):
            now = self.pulse_now(place, n)
            self.last_pulses[place] = now or self.last_pulses[place]
            shown += struct.pack("<H", now)
        for n in self.of_kind[LAMP]:
            light = self.lights[n]
            m = multiplier(light, self.time, 0, 1)
            trim = self.outputs[n].trims[0]
            shown += struct.pack("<H", duty(light.levels(self.time)[0], m) * (trim + 1) >> 8)
        for n in self.of_kind[STRIP]:
            shown += strip_bytes(self.outputs[n], self.lights[n], self.time)
        return bytes(shown) + bytes(self.switches[n] for n in self.of_kind[SWITCH])

    def pulse_now(self, place: int, n: int) -> int:
        if self.jogged is not None and place == self.jogged[0]:
            last = self.last_pulses[place]
            return min(max(self.jogged[1], last - 20), last + 20)
        early = self.next_frame < self.start_frame + place * self.table.interval
        if self.mode == LIMP or (self.mode == STARTING and early):
            return 0
        return pulse(self.outputs[n], self.motions[n].at(self.time)[0])

    def end_state(self) -> list[int]:
        """Mode, live runs, mask of running cues, refused requests, overruns."""
        live = [run.cue for run in self.runs if run is not None]
        mask = sum(1 << cue for cue in set(live))
        return [self.mode, len(live), mask, self.refused, self.overruns]
