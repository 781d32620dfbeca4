"""Sections 8 to 14 of `TABLE.md` on the second player, and from that page alone as well."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace

from tests.firmware_gen.second_bar import HeldBar
from tests.firmware_gen.second_battery import WatchedBattery
from tests.firmware_gen.second_player import (
    FRAME,
    READY,
    STARTING,
    Cue,
    Motion,
    Request,
    Run,
    SecondPlayer,
)
from tests.firmware_gen.second_scale import HeldScale
from tests.firmware_gen.second_shine import HeldLight, HeldShine
from tests.firmware_gen.second_tracking import HeldFollow, TrackedMotion

TOGGLED = 1000
"""Beside a button's number: the button that a toggled cue was started by."""

SENSES = {
    1: "<BBB",
    2: "<BB",
    3: "<B",
    4: "<BHHB",
    5: "<BHHH",
    6: "<BBHHhhHH",
    7: "<BHHHB",
    8: "<BBhhBB",
    9: "<BH",
    10: "<BBB",
    11: "<B",
    12: "<BBHHBBB",
}
"""What stands behind each kind of sense."""


@dataclass
class HeldBand:
    low: int
    high: int
    button: int
    inside: bool = False
    down: bool = False


@dataclass
class HeardChannel:
    bands: list[HeldBand] = field(default_factory=list)
    widths: list[int] = field(default_factory=list)  # of good pulses
    silent: int = 0  # frames since the last good pulse
    good: int = 0
    live: bool = False

    def frame(self, width: int) -> list[Request]:
        if 1600 <= width <= 4400:
            self.widths.append(width)
            self.silent, self.good = 0, self.good + 1
        else:
            self.silent += 1
            self.good = 0 if self.silent > 3 else self.good
        if self.live and self.silent >= 25:
            self.live = False
            ups = [("button", band.button, 0) for band in self.bands if band.down]
            for band in self.bands:
                band.inside = band.down = False
            return ups
        if self.live:
            value = sorted(self.widths[-3:])[1]
            return [one for band in self.bands for one in self.crossed(band, value)]
        if self.good >= 10:
            self.live = True
            value = sorted(self.widths[-3:])[1]
            for band in self.bands:
                band.inside = band.low <= value <= band.high
        return []

    def crossed(self, band: HeldBand, value: int) -> list[Request]:
        if not band.inside and band.low <= value <= band.high:
            band.inside = band.down = True
            return [("button", band.button, 1)]
        if band.inside and not band.low - 50 <= value <= band.high + 50:
            was_down, band.inside, band.down = band.down, False, False
            return [("button", band.button, 0)] if was_down else []
        return []


class SensedVoltage:
    """A sensor: section 10.1."""

    def __init__(self, quiet: int, rise: int, fall: int) -> None:
        self.quiet = quiet
        self.rise = rise or 65536
        self.fall = fall or 65536
        self.y: int | None = None

    def read(self, reading: int) -> None:
        x = 0 if reading < self.quiet else 64 * reading
        if self.y is None:
            self.y = x
        elif x > self.y:
            self.y += -((self.y - x) * self.rise // 65536)
        elif x < self.y:
            self.y += (x - self.y) * self.fall // 65536

    @property
    def value(self) -> int | None:
        return None if self.y is None else self.y // 64


class SecondPlayerWithSenses(SecondPlayer):
    """Plays a table of a chip that has senses."""

    def __init__(self, data: bytes) -> None:
        super().__init__(data)
        self.bindings = self.table.bindings
        self.table.bindings = [(first & 0x9F, second & 31) for first, second in self.bindings]
        self.channels: list[HeardChannel] = []
        self.sensors: list[SensedVoltage] = []
        self.patience: dict[int, tuple[int, int]] = {}
        self.shines: list[HeldShine] = []
        self.scales: dict[int, HeldScale] = {}
        self.follows: list[HeldFollow] = []
        self.sources: list[HeardChannel | SensedVoltage] = []
        self.battery: WatchedBattery | None = None
        self.battery_reading: int | None = None
        for _ in range(data[23]):
            (kind,) = self.table.take("<B")
            fields = self.table.take(SENSES[kind])
            if kind == 1:
                self.patience.setdefault(fields[0], (fields[1], fields[2]))
            elif kind == 3:
                self.channels.append(HeardChannel())
            elif kind == 5:
                self.sensors.append(SensedVoltage(*fields[1:]))
            elif kind == 4:
                self.channels[fields[0]].bands.append(HeldBand(*fields[1:]))
            elif kind == 6:
                first, *others = fields
                self.follows.append(HeldFollow(first & 127, first > 127, *others))
                self.follows[-1].output = self.outputs[first & 127]
            elif kind == 7:
                self.battery = WatchedBattery(*fields)
            elif kind == 8:
                lamp, servo, *rest = fields
                self.shines.append(HeldShine(lamp, servo & 127, servo > 127, *rest))
            elif kind == 10:
                self.hang_bar(HeldBar(*fields))
            elif kind == 12:
                self.scales[fields[0]] = HeldScale(*fields[1:])
            if kind in (3, 5):
                self.sources.append(self.channels[-1] if kind == 3 else self.sensors[-1])
        self.hang_lamps()
        self.undecided: dict[int, tuple[int, bool]] = {}  # frame of the down; whether still down
        self.turns: dict[int, int] = {}
        self.down_since: dict[int, int] = {}

    # Channels: section 9

    def frame(self, requests: Iterable[Request], widths: Sequence[int] = ()) -> bytes:
        asked = [*requests, *self.watch_battery()]
        for channel, width in zip(self.channels, widths, strict=True):
            asked += channel.frame(width)
            if channel.live and channel.silent == 0:
                asked.append(("heard", 0, 0))
        self.hear_sources()
        return super().frame(asked)

    # The battery: section 11

    def watch_battery(self) -> list[tuple[str, int, int]]:
        battery, asked = self.battery, list[tuple[str, int, int]]()
        if battery is None:
            return asked
        battery.read(self.battery_reading, self.mode == STARTING)
        if self.mode == READY and battery.asks() and battery.cue != 255:
            asked.append(("trigger", self.table.cues[battery.cue].tag, 0))
        if battery.is_empty and self.mode in (STARTING, READY):
            asked.append(("stop", 0, 0))
        return asked

    # Sensors: section 10.1

    def sense(self, readings: Sequence[int | None]) -> None:
        for sensor, reading in zip(self.sensors, readings, strict=True):
            if reading is not None:
                sensor.read(reading)

    # What follows a source: section 10

    def hear_sources(self) -> None:
        for follow in self.follows:
            follow.hear(self.value_of(follow.source))
            if follow.since is not None and follow.value is None:
                self.hold({follow.number})
                owner = self.owner[follow.number]
                if owner is None or not self.is_silent(owner):
                    self.go_back(follow.number, self.time - FRAME)

    def value_of(self, source: int) -> int | None:
        one = self.sources[source]
        if isinstance(one, SensedVoltage):
            return one.value
        return sorted(one.widths[-3:])[1] if one.live else None

    def hold(self, outputs: Collection[int]) -> None:
        for follow in getattr(self, "follows", ()):
            if follow.number in outputs and follow.since is not None:
                n = follow.number
                if n in self.lights:
                    follow.faded(self.lights[n], self.time - FRAME)
                else:
                    self.motions[n] = follow.halted(self.time - FRAME)
                follow.since = None

    def enter_stopping(self) -> None:
        self.hold(range(16))
        super().enter_stopping()

    def enter_limp(self) -> None:
        self.hold(range(16))
        super().enter_limp()

    def give_back(self, free: frozenset[int], time: int) -> None:
        super().give_back(free, time)
        named = {n for cue in self.table.cues if cue.is_strand for n in cue.outputs}
        for follow in self.follows:
            if follow.number in free - named:
                self.go_back(follow.number, time)

    def go_back(self, n: int, time: int) -> None:
        is_wanted = n in self.wanted
        for follow in self.follows:
            if follow.number == n and not is_wanted:
                self.wanted[n] = self.outputs[n].safe
        super().go_back(n, time)
        if not is_wanted:
            self.wanted.pop(n, None)

    def tracked(self, n: int) -> HeldFollow | None:
        """The follow that an output is shown by."""
        return next((f for f in self.follows if f.number == n and f.since is not None), None)

    def seen(self, servo: int) -> Motion:
        follow = self.tracked(servo)
        if follow is None:
            return self.motions[servo]
        return TrackedMotion(follow.place[0], speed=follow.place[1])

    def follow_sources(self) -> None:
        glide = FRAME * self.table.glide
        for follow in self.follows:
            n = follow.number
            if self.mode == READY and follow.value is not None and self.is_free(n):
                if n in self.lights:
                    own = (self.lights[n].levels(self.time)[0], 0)
                else:
                    own = self.motions[n].at(self.time)
                follow.step(own, self.time, glide)

    def pulse_now(self, place: int, n: int) -> int:
        own, self.motions[n] = self.motions[n], self.seen(n)
        now = super().pulse_now(place, n)
        self.motions[n] = own
        return now

    def enter_starting(self) -> None:
        super().enter_starting()
        self.turns = {}
        self.hang_lamps()

    # Lamps that shine with a move: section 12

    def enter_ready(self) -> None:
        super().enter_ready()
        self.hang_lamps()

    def hang_lamps(self) -> None:
        for shine in getattr(self, "shines", ()):
            shine.since = None
            light = self.lights[shine.lamp]
            self.lights[shine.lamp] = HeldLight(
                light.origin,
                light.target,
                shine=shine,
                glide=self.table.glide,
                motion=lambda servo=shine.servo: self.seen(servo),
            )

    # Strips that show a level: section 13

    def hang_bar(self, bar: HeldBar) -> None:
        strip = self.outputs[bar.strip]

        def cover(pixel: int, t: int) -> int:
            return bar.share(self.lights[bar.lamp].levels(t)[0], strip.pixels, pixel)

        self.outputs[bar.strip] = replace(strip, cover=cover)

    def evaluate(self) -> bytes:
        for shine in self.shines:
            if shine.since is None and self.mode == READY and self.is_free(shine.lamp):
                shine.since = self.time
        self.follow_sources()
        own = dict(self.lights)
        for n in own:
            if (follow := self.tracked(n)) is not None:
                self.lights[n] = follow.shown(own[n])
        shown = super().evaluate()
        for n, light in own.items():
            now = self.lights[n]
            light.effect, light.weight = now.effect, now.weight
            light.leaves, light.coming = now.leaves, now.coming
        self.lights = own
        return shown

    # Which press it is

    def request(self, kind: str, a: int, b: int) -> None:
        if kind == "standby" and self.battery is not None and self.battery.is_empty:
            self.refused += 1
            return
        if kind == "button" and b == 1:
            self.down_since.setdefault(a, self.next_frame)
        elif kind == "button":
            self.down_since.pop(a, None)
        super().request(kind, a, b)
        if kind == "button" and b == 0:
            self.unpress(a)

    def press(self, button: int) -> None:
        if button == self.table.stop_button or self.mode != READY:
            super().press(button)
        elif button not in self.patience:
            self.pressed(button, "down")
        elif button not in self.undecided:
            self.undecided[button] = (self.next_frame, True)
        elif not self.undecided[button][1]:
            del self.undecided[button]
            self.pressed(button, "twice")

    def unpress(self, button: int) -> None:
        since, is_down = self.undecided.get(button, (0, False))
        if is_down and self.patience[button][1] and self.next_frame - since < 20:
            self.undecided[button] = (since, False)
        elif is_down:
            del self.undecided[button]
            self.pressed(button, "down")
        self.pressed(button, "up")

    def listen(self) -> None:
        if self.mode != READY:
            self.undecided.clear()
        for button in sorted(self.undecided):
            since, is_down = self.undecided[button]
            is_long = is_down and self.patience[button][0] > 0
            if self.next_frame - since >= (self.patience[button][0] if is_long else 20):
                del self.undecided[button]
                self.pressed(button, "long" if is_long else "down")
        super().listen()

    @property
    def stuck(self) -> int:
        """Mask of the buttons that are stuck, behind a frame."""
        since = self.down_since.items()
        return sum(1 << button for button, at in since if self.next_frame - at >= 1500)

    # What it does

    def pressed(self, button: int, kind: str) -> None:
        if button == self.table.stop_button or self.mode != READY:
            return
        number = ("down", "long", "twice", "up").index(kind)
        bound = [
            (place, second & 31, second >> 5)
            for place, (first, second) in enumerate(self.bindings)
            if (first & 31, first >> 5 & 3) == (button, number)
        ]
        row = [(place, cue) for place, cue, manner in bound if manner == 1]
        for place, cue, manner in bound:
            if manner == 0:
                self.refused += not self.start_cue(cue, button)
            elif manner >= 2:
                self.toggle(cue, TOGGLED + button, ends=manner == 3)
            elif place == row[0][0]:
                turn = self.turns.get(place, 0)
                if self.start_cue(row[turn][1], button):
                    self.turns[place] = (turn + 1) % len(row)
                else:
                    self.refused += 1

    def toggle(self, cue: int, by: int, ends: bool) -> None:
        on = [
            (number, run)
            for number, run in enumerate(self.runs)
            if run is not None and run.held and run.button == by and run.cue == cue
        ]
        for number, run in on:
            if ends:
                free = self.owned(number)
                self.end_run(number)
                self.give_back(free, self.time - FRAME)
                continue
            run.held = False
            if self.table.cues[run.cue].has_part:
                self.let_go(number, run, self.time - FRAME)
        if not on and self.waiting.get(cue, 0) == by:
            del self.waiting[cue]
        elif not on:
            self.refused += not self.start_cue(cue, by)

    def begin(self, index: int, cue: Cue, button: int | None, is_strand: bool = False) -> None:
        if not is_strand:
            self.hold(cue.outputs)
        number = self.runs.index(None)
        toggled = button is not None and button >= TOGGLED
        super().begin(index, cue, None if toggled else button, is_strand)
        run: Run | None = self.runs[number]
        assert run is not None
        if toggled:
            run.button, run.held = button, True
        if index in self.scales and not is_strand:
            scale = self.scales[index]
            run.reach = scale.reach(self.value_of(scale.source))
