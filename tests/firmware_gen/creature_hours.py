"""Five boards, one of which leads, for hours: `python -m tests.firmware_gen.creature_hours 24`.

The firmware's core, compiled for this machine, in five copies. Their clocks are up to 1 % apart.
Buttons are pressed at random. In two of three minutes the line loses 30 % of the frames, spoils
bytes, is silent for up to half a second again and again, and now and then for some seconds; parts
lose their power. What may not happen:

- a servo goes beyond its travel, or exceeds the speed or the acceleration of its record;
- a board is out of step for longer than a second: it runs other cues than the board that leads, or
  is in another mode. It counts from the last silence of more than half a second, or from the end
  of its quiet start;
- a board overruns a frame, or counts a frame's moment more than a frame off.

Each part has a twin, whose line loses nothing. How long after its last loss a part's servos stand
where those of the twin do is measured and told, too.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from random import Random
from typing import Final

from firmware_gen.link.protocol import ReportedMode
from firmware_gen.table.records import ServoRecord, Table
from sim.rulebook import FRAME_CLOCK
from tests.firmware_gen.creature_show import tables
from tests.firmware_gen.host.boards import ApartPlayer

SECOND: Final = 50
"""Frames."""
HOUR: Final = 3600 * SECOND
MOST_APART: Final = 0.01
"""Of two clocks."""
LINE_CLOCK: Final = 300
"""1/256 ms that a state is on its way."""
JITTER_CLOCK: Final = 150
CLOSE_TICKS: Final = 22
"""Half a degree, where 20 ticks are one at 1000 us over 100 deg."""
LONGEST_STOP: Final = 3 * SECOND
LONG_SILENCE: Final = SECOND // 2
"""Frames. What is out of step counts from the end of the last silence that was longer."""


class Limits:
    """Holds the pulses of a board's servos to their records."""

    def __init__(self, table: Table) -> None:
        self.servos = [one for one in table.outputs if isinstance(one, ServoRecord)]
        self.rows: list[tuple[int, ...]] = []
        self.worst_speed = self.worst_acceleration = 0.0
        self._limits = []
        for servo in self.servos:
            (low, first), (high, last) = servo.points[0], servo.points[-1]
            per_deg = abs(last - first) / ((high - low) / 100)
            ends = sorted(first + (at - low) / 100 * per_deg for at in servo.travel)
            speed = servo.speed_limit * per_deg / SECOND
            acceleration = servo.acceleration_limit * per_deg / SECOND**2
            self._limits.append((ends[0] - 1, ends[1] + 1, speed, acceleration))

    def see(self, raw: bytes, forget: bool) -> None:
        """The pulses of the next frame; `forget`: the board was off before it."""
        row = tuple(raw[2 * n] | raw[2 * n + 1] << 8 for n in range(len(self.servos)))
        rows = self.rows = [] if forget else [*self.rows[-2:], row]
        for n, (low, high, speed, acceleration) in enumerate(self._limits):
            now = row[n]
            if not now:
                continue
            assert low <= now <= high, f"beyond the travel: {now}"
            if len(rows) < 2 or not rows[-2][n]:
                continue
            went = now - rows[-2][n]
            # A pulse is rounded to a tick: up to one more in a difference, two in a second one.
            self.worst_speed = max(self.worst_speed, (abs(went) - 1) / speed)
            if len(rows) == 3 and rows[0][n]:
                change = abs(went - (rows[-2][n] - rows[0][n])) - 2
                self.worst_acceleration = max(self.worst_acceleration, change / acceleration)


class Part:
    """A board that follows, its clock, and its twin."""

    def __init__(self, table: Table, ppm: float) -> None:
        self.table = table
        self.core, self.twin = ApartPlayer(table), ApartPlayer(table)
        self.limits = Limits(table)
        self.strands = sum(1 << n for n, cue in enumerate(table.cues) if cue.strand)
        idle = [cue.outputs for cue in table.cues if cue.strand]
        servos = (n for n, one in enumerate(table.outputs) if isinstance(one, ServoRecord))
        self.idle_servos = [
            place for place, n in enumerate(servos) if any(mask >> n & 1 for mask in idle)
        ]
        self.rate = 1 + ppm
        self.due = FRAME_CLOCK * self.rate
        self.last_due = 0.0
        self.off_until = -1
        self.cut_until = -1
        self.twin_cut_until = -1
        self.since_sound = 0
        """Frames of the line since it last lacked it or its power."""
        self.silent = 0
        self.out_of_step = 0
        self.stopping = 0
        self.apart = 0
        self.frames = 0
        self.twin_rows: list[bytes] = []
        self.row = b""

    def play_until(self, time: float) -> None:
        while self.due <= time:
            self.row = self.core.frame()
            self.limits.see(self.row, forget=self.frames == 0)
            self.frames += 1
            self.last_due = self.due
            self.due += (FRAME_CLOCK + self.core.lib.host_stretch()) * self.rate

    def hear(self, told: bytes, time: float) -> None:
        moment = min(FRAME_CLOCK - 1, max(0, int((time - self.last_due) / self.rate)))
        self.core.receive_apart(told, moment)

    def power_on(self, time: float) -> None:
        self.core.start()
        self.frames, self.last_due, self.due = 0, time, time + FRAME_CLOCK * self.rate

    def play_twin(self, told: bytes) -> None:
        self.twin.receive_apart(told, 4 * FRAME_CLOCK // 5)
        self.twin_rows = [*self.twin_rows[-2:], self.twin.frame()]

    def is_beside_twin(self) -> bool:
        """Whether all servos of idle stand where the twin's stand, or stood a frame ago. (Others
        stay where the last cue left them; one that was over meanwhile is not made up for.)"""
        pulses = self.idle_servos
        mine = [self.row[2 * n] | self.row[2 * n + 1] << 8 for n in pulses]
        for row in self.twin_rows:
            theirs = [row[2 * n] | row[2 * n + 1] << 8 for n in pulses]
            if all(abs(a - b) <= CLOSE_TICKS for a, b in zip(mine, theirs, strict=True)):
                return True
        return False


@dataclass
class Found:
    """The worst of what was seen."""

    frames: int = 0
    presses: int = 0
    lost: int = 0
    power_cuts: int = 0
    silences: int = 0
    out_of_step: int = 0
    """Frames."""
    beside_twin: int = 0
    """Frames that a part's servos stood elsewhere than its twin's, in idle and without a loss."""
    speed: float = 0.0
    """Share of the limit."""
    acceleration: float = 0.0
    overruns: int = 0

    def words(self) -> str:
        return (
            f"{self.frames / HOUR:.2f} h: {self.presses} presses, {self.lost} frames lost, "
            f"{self.silences} long silences, {self.power_cuts} power cuts; worst speed "
            f"{self.speed:.3f} and acceleration {self.acceleration:.3f} of the limit, out of step "
            f"{self.out_of_step / SECOND:.2f} s, in idle beside its twin after "
            f"{self.beside_twin / SECOND:.2f} s, overruns {self.overruns}"
        )


class CreatureRun:
    """The boards, what is pressed, and what goes wrong between them."""

    def __init__(self, seed: int) -> None:
        self.dice = Random(seed)
        lead, *parts = tables()
        self.table = lead
        self.lead = ApartPlayer(lead)
        self.limits = Limits(lead)
        self.parts = [Part(table, self.dice.uniform(-MOST_APART, MOST_APART)) for table in parts]
        self.found = Found()
        self.down: set[int] = set()
        self.sound_from = 0
        self.quiet_until = 0
        tags = [{cue.tag: n for n, cue in enumerate(part.table.cues)} for part in self.parts]
        self._bits = [
            [(1 << n, 1 << own[cue.tag]) for n, cue in enumerate(lead.cues) if cue.tag in own]
            for own in tags
        ]
        self._starting = [
            part.table.enable_interval * len(part.limits.servos) + 3 for part in self.parts
        ]

    def frame(self) -> None:
        number = self.found.frames
        self._press(number)
        raw = self.lead.frame()
        self.limits.see(raw, forget=number == 0)
        told = self.lead.told_bytes()
        assert told
        mode, _, running, _, overruns = self.lead.end
        time = float((number + 1) * FRAME_CLOCK)
        for index, part in enumerate(self.parts):
            part.play_twin(told)
            lacks = self._loses(part, number)
            arrives = time + LINE_CLOCK + self.dice.uniform(0, JITTER_CLOCK)
            if part.off_until == number:
                part.power_on(time)
            elif part.off_until < number:
                part.play_until(arrives)
                if not lacks:
                    spoilt = self._spoilt(told, number)
                    part.hear(spoilt, arrives)
                    lacks = spoilt != told
            self._judge(index, part, lacks or part.off_until >= number, mode, running)
        self.found.overruns = max(overruns, *(part.core.end[4] for part in self.parts))
        self.found.frames += 1

    # -- what goes wrong ------------------------------------------------------------------------

    def _is_lossy(self, number: int) -> bool:
        return number // SECOND % 90 < 60

    def _loses(self, part: Part, number: int) -> bool:
        dice = self.dice
        if self._is_lossy(number):
            if dice.random() < 0.005:
                part.cut_until = max(part.cut_until, number + dice.randrange(1, 26))
            elif dice.random() < 0.0003:
                part.cut_until = number + dice.randrange(50, 250)
                self.found.silences += 1
            if part.off_until < number and dice.random() < 0.0005:
                part.off_until = number + dice.randrange(1, 150)
                self.found.power_cuts += 1
            lost = number < part.cut_until or dice.random() < 0.3
        else:
            lost = number < part.cut_until
        self.found.lost += lost
        return lost

    def _spoilt(self, told: bytes, number: int) -> bytes:
        if not self._is_lossy(number) or self.dice.random() >= 0.02:
            return told
        at = self.dice.randrange(len(told))
        return told[:at] + bytes((self.dice.randrange(256),)) + told[at + 1 :]

    # -- what is pressed ------------------------------------------------------------------------

    def _press(self, number: int) -> None:
        dice, lead = self.dice, self.lead
        if number < self.quiet_until:
            return
        lead.heard()
        for button in tuple(self.down):
            if dice.random() < 0.02:
                lead.button(button, False)
                self.down.discard(button)
        chance = dice.random()
        if chance < 0.012:
            button = dice.randrange(1, 7)
            lead.button(button, True)
            self.down.add(button)
            self.found.presses += 1
        elif chance < 0.0122:
            lead.stop()
        elif chance < 0.0124:
            lead.limp()
        elif chance < 0.0126:
            self.quiet_until = number + dice.randrange(100, 400)  # the remote is out of reach
        if lead.end[0] == ReportedMode.LIMP and dice.random() < 0.02:
            lead.standby()

    # -- what may not happen --------------------------------------------------------------------

    def _judge(self, index: int, part: Part, lacks: bool, mode: int, running: int) -> None:
        found = self.found
        has_power = part.off_until < found.frames
        part.silent = 0 if not lacks else part.silent + 1
        part.since_sound = 0 if lacks else part.since_sound + 1
        found.speed = max(found.speed, part.limits.worst_speed, self.limits.worst_speed)
        found.acceleration = max(
            found.acceleration, part.limits.worst_acceleration, self.limits.worst_acceleration
        )
        if not has_power or part.silent > LONG_SILENCE or part.frames < self._starting[index]:
            part.out_of_step = part.apart = 0
            return
        own_mode, _, own_running, _, _ = part.core.end
        wanted = 0
        for theirs, own in self._bits[index]:
            wanted |= own if running & theirs else 0
        is_starting = ReportedMode.STARTING in (mode, own_mode)
        is_same = own_mode == mode and (mode != ReportedMode.READY or own_running == wanted)
        # A board that was starting when the stop came is limp at once (TABLE.md 7).
        is_same |= (mode, own_mode) == (ReportedMode.STOPPING, ReportedMode.LIMP)
        # One that heard of a stop late still moves to its safe pose, whatever came after it.
        part.stopping = part.stopping + 1 if own_mode == ReportedMode.STOPPING else 0
        is_same |= 0 < part.stopping <= LONGEST_STOP
        if is_same or is_starting:
            part.out_of_step = 0
        else:
            part.out_of_step += 1
            found.out_of_step = max(found.out_of_step, part.out_of_step)
            assert part.out_of_step <= SECOND, (
                f"frame {found.frames}: board {part.table.address} is out of step: mode "
                f"{own_mode} for {mode}, cues {own_running:b} for {wanted:b}"
            )
        self._compare(part, mode, own_mode, plays_cue=bool(own_running & ~part.strands))

    def _compare(self, part: Part, mode: int, own_mode: int, plays_cue: bool) -> None:
        """How long the part is away from its twin in idle, while nothing is lost and both are
        ready. (In a cue that takes over a moving servo a twin may be held up by more.)"""
        found = self.found
        twin_mode = part.twin.end[0]
        ready = ReportedMode.READY
        if (
            (mode, own_mode, twin_mode) != (ready, ready, ready)
            or part.since_sound == 0
            or plays_cue
        ):
            part.apart = 0
            return
        if part.is_beside_twin():
            part.apart = 0
            return
        part.apart += 1
        found.beside_twin = max(found.beside_twin, part.apart)


def run(frames: int, seed: int, every: int = HOUR) -> Found:
    """Play so many frames; says every hour what was found so far."""
    creature = CreatureRun(seed)
    while creature.found.frames < frames:
        creature.frame()
        if creature.found.frames % every == 0:
            print(creature.found.words(), flush=True)
    return creature.found


def main() -> None:
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    print(run(round(hours * HOUR), seed).words())


if __name__ == "__main__":
    main()
