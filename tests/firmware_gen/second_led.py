"""A second board that leads or follows, written from sections 7 of TABLE.md and LINK.md alone.

It is a second player (`second_player.py`) with what these sections add. `variations/led.txt` and
`variations/line.txt` change its rules one by one; the vectors in `led.json` must notice each.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass

from tests.firmware_gen.second_player import (
    CLAIMS,
    FOLLOWS,
    FRAME,
    LEADS,
    LIMP,
    READY,
    RUNS,
    STARTING,
    STOPPING,
    THREADS,
    Cue,
    Effect,
    Request,
    Run,
    SecondPlayer,
)
from tests.firmware_gen.second_presses import SENSES

JOINING = {2}  # chips that join, by their numbers
IDLE_ERA = 250000


@dataclass
class ToldRun:
    """What a board that leads keeps of a run."""

    cue: int
    order: int
    since: int
    held: bool
    again: bool
    let_go: bool = False
    news: int = 3


class SecondLeader(SecondPlayer):
    """A board that leads; `state()` is what it tells after a frame."""

    def __init__(self, data: bytes) -> None:
        self.told: dict[int, ToldRun] = {}
        self.starts = self.idle_since = 0
        self.last = RUNS - 1
        self.limp_asked = False
        self.by_itself = False
        super().__init__(data)

    def free_number(self) -> int:
        free = [n for n in range(RUNS) if self.runs[n] is None]
        return next((n for n in free if n not in self.told), free[0])

    def before_requests(self) -> None:
        if self.mode == READY and self.next_frame - self.idle_since == IDLE_ERA:
            self.idle_since = self.next_frame
            for number, run in enumerate(self.runs):
                if run is not None and run.is_strand:
                    begin_anew(self, number, run, self.time - FRAME)

    def start_strands(self) -> None:
        self.idle_since = self.next_frame
        super().start_strands()

    def begin(self, index: int, cue: Cue, button: int | None, is_strand: bool = False) -> None:
        number = self.free_number()
        super().begin(index, cue, button, is_strand)
        run = self.runs[number]
        if run is not None and not is_strand:
            self.told[number] = ToldRun(index, self.starts, self.next_frame, run.held, run.again)
            self.starts = (self.starts + 1) % 256

    def end_run(self, number: int) -> None:
        super().end_run(number)
        told = self.told.get(number)
        if told and self.by_itself and told.news > 0:
            told.held = False
        else:
            self.told.pop(number, None)

    def end_everything(self) -> None:
        super().end_everything()
        self.told.clear()

    def ends(self, number: int, run: Run) -> None:
        self.by_itself = True
        super().ends(number, run)
        self.by_itself = False

    def release(self, button: int) -> None:
        for number, run in enumerate(self.runs):
            if run is not None and run.button == button and run.held:
                told = self.told[number]
                told.held, told.news = False, 3
                if self.table.cues[run.cue].has_part:
                    told.let_go, told.since = True, self.next_frame
        super().release(button)

    def enter_limp(self) -> None:
        if self.mode != LIMP:
            self.limp_asked = not self.stop_is_over
        super().enter_limp()

    @property
    def stop_is_over(self) -> bool:
        """Whether limp is the end of a stop: it is entered in step 5."""
        return self.in_step_5

    in_step_5 = False

    def after_threads(self) -> None:
        self.in_step_5 = True

    def frame(self, requests: Iterable[Request]) -> bytes:
        self.in_step_5 = False
        return super().frame(requests)

    def telling(self) -> int | None:
        """The run that is told of."""
        news = max((told.news for told in self.told.values()), default=0)
        if news:
            return min(n for n, told in self.told.items() if told.news == news)
        turns = [(self.last + 1 + n) % RUNS for n in range(RUNS)]
        return next((n for n in turns if n in self.told), None)

    def state(self) -> bytes:
        """LINK.md section 7: the payload after the last frame."""
        frame = self.next_frame - 1
        tells_stop = self.mode == LIMP and self.rested <= 10  # LINK.md 7.1
        mode = (
            STOPPING
            if tells_stop
            else self.mode | (8 if self.mode == LIMP and self.limp_asked else 0)
        )
        live = sum(1 << n for n in self.told)
        idle = frame - self.idle_since if self.mode == READY else 0
        number = self.telling()
        flags, tag, order, age = 128, 0, 0, 0
        if number is not None:
            told = self.told[number]
            flags = number | told.held << 3 | told.again << 4 | told.let_go << 5
            tag, order = self.table.cues[told.cue].tag, told.order
            age = min(frame - told.since, 16777215)
            self.last = number
            told.news = max(0, told.news - 1)
            if told.news == 0 and self.runs[number] is None:
                del self.told[number]
        form = struct.pack("<HHBB", frame % 65536, self.table.show, mode, live)
        form += idle.to_bytes(3, "little") + struct.pack("<BHB", flags, tag, order)
        return form + age.to_bytes(3, "little")


def begin_anew(player: SecondPlayer, number: int, run: Run, time: int) -> None:
    """A run's threads end, and it gets its first one."""
    player.leave(number)
    run.start = run.end = time
    player.fork(number, player.table.cues[run.cue].code, time)


@dataclass(frozen=True)
class Heard:
    """A state, as it is read."""

    frame: int
    """In this board's count."""
    show: int
    mode: int
    asked: bool
    live: int
    idle: int
    flags: int
    tag: int
    order: int
    age: int


@dataclass
class Joined:
    """What is known of a run that was joined."""

    order: int
    start: int


class SecondFollower(SecondPlayer):
    """A board that follows."""

    def __init__(self, data: bytes) -> None:
        self.newest: Heard | None = None
        self.list: Heard | None = None
        self.since = 50
        self.ahead = self.stretch = self.late = 0
        self.stopped_here = False
        self.joined: dict[int, Joined] = {}
        self.silent: set[int] = set()
        self.idle_start = 0
        self.cue_wants: dict[int, int] = {}
        self.cue_effects: dict[int, Effect] = {}
        super().__init__(data)
        self.joins = self.table.chip in JOINING
        for _ in range(data[23]):
            (kind,) = self.table.take("<B")
            fields = self.table.take(SENSES[kind])
            if kind == 9:
                self.late = fields[1]

    @property
    def follows(self) -> bool:
        return self.since < 50

    # LINK.md section 7

    def hear(self, payload: bytes, moment: int) -> None:
        if len(payload) != 16:
            return
        frame, show, mode, live = struct.unpack_from("<HHBB", payload)
        idle = int.from_bytes(payload[6:9], "little")
        flags, tag, order = struct.unpack_from("<BHB", payload, 9)
        age = int.from_bytes(payload[13:16], "little")
        if show == self.table.show:
            self.heard = True
            frame = self.keep_in_step(frame, moment)
        self.newest = Heard(
            frame, show, mode & 7, bool(mode & 8), live, idle, flags, tag, order, age
        )

    def keep_in_step(self, frame: int, moment: int) -> int:
        """The state's frame in this board's count."""
        n, moment = divmod(5120 * self.next_frame + moment - self.late, 5120)
        w = (n - frame - self.ahead + 32768) % 65536 - 32768
        late = 5120 * w + moment - 4096
        if not self.follows or not -7680 <= late <= 7680:
            w = 1 if moment < 1536 else 0
            self.ahead = (n - frame - w) % 65536
            late = 5120 * w + moment - 4096
            self.joined.clear()
        self.stretch = min(102, max(-102, late >> 2))
        return n - w

    # Requests

    def request(self, kind: str, a: int, b: int) -> None:
        if kind == "heard":
            return
        is_stop_button = kind == "button" and b != 0 and a == self.table.stop_button
        if kind in ("stop", "limp") or is_stop_button:
            self.stopped_here = True
        if kind == "standby":
            self.stopped_here = False
        super().request(kind, a, b)

    def may_start(self) -> bool:
        return self.mode == READY and not self.follows

    # Between steps 1 and 2

    def after_requests(self) -> None:
        state, self.newest, self.list = self.newest, None, None
        if state is not None:
            self.obey(state)
        if state is None or state.show != self.table.show:
            if self.since < 50:
                self.since += 1
                if self.since == 50:
                    self.be_alone()
            return
        self.list, self.since = state, 0
        self.waiting.clear()
        if self.mode == READY and state.mode == READY:
            self.follow_idle(state)
            number = state.flags & 7
            if state.flags < 128 and state.live >> number & 1:
                self.follow_run(state, number)

    def obey(self, state: Heard) -> None:
        if state.mode in (STOPPING, LIMP):
            at_once = state.mode == LIMP and state.asked
            if state.mode == LIMP:
                self.stopped_here = False
            if at_once or self.mode == STARTING:
                self.enter_limp()
            elif self.mode == READY:
                self.enter_stopping()
        elif self.mode == LIMP and not self.stopped_here and state.show == self.table.show:
            self.enter_starting()

    def be_alone(self) -> None:
        for number in sorted(self.joined):
            self.part_with(number)

    # Idle

    def start_strands(self) -> None:
        self.idle_start = self.next_frame
        super().start_strands()

    def is_too_late(self, start: int) -> bool:
        return not self.joins and self.next_frame - start > 5

    def follow_idle(self, state: Heard) -> None:
        start = state.frame - min(state.idle, IDLE_ERA)
        differs = (start - self.idle_start + 32768) % 65536 - 32768
        if -2 < differs < 2 or self.is_too_late(start):
            return
        self.idle_start = start
        for number, run in enumerate(self.runs):
            if run is not None and run.is_strand:
                begin_anew(self, number, run, FRAME * (start - 1))
                self.be_silent(number, start)

    # Runs

    def be_silent(self, number: int, start: int) -> None:
        self.silent.discard(number)
        if self.joins and self.next_frame - start > 5:
            self.silent.add(number)

    def follow_run(self, state: Heard, number: int) -> None:
        run = self.runs[number]
        if run is not None and run.is_strand:
            return
        tags = [cue.tag for cue in self.table.cues]
        if state.tag not in tags:
            if run is not None:
                self.part_with(number)
            return
        index = tags.index(state.tag)
        has_part = self.table.cues[index].has_part
        start = state.frame - min(state.age, IDLE_ERA)
        is_let_go = bool(state.flags & 32)
        if run is None or not self.is_same(number, run, state, index):
            if not self.is_too_late(start) and (self.joins or not is_let_go):
                self.join(state, number, index, start)
        elif is_let_go and has_part and run.cue == index:
            run.held = False
            self.let_go(number, run, FRAME * (start - 1))
            self.be_silent(number, start)
        else:
            run.held = bool(state.flags & 8)

    def is_same(self, number: int, run: Run, state: Heard, index: int) -> bool:
        known = self.joined.get(number)
        if known is None or known.order != state.order:
            return False
        part = index + 1 if self.table.cues[index].has_part else index
        return run.cue in (index, part)

    def join(self, state: Heard, number: int, index: int, start: int) -> None:
        cue = self.table.cues[index]
        if self.reserved(number) + cue.threads > THREADS:
            self.end_others(state)
            if self.reserved(number) + cue.threads > THREADS:
                return
        outputs = {n for n in cue.outputs if not self.is_taken_later(n, number, state, start)}
        for n in outputs:
            self.owner[n] = None
        if self.runs[number] is not None:
            self.part_with(number)
        self.joined[number] = Joined(state.order, start)
        self.gliding -= outputs
        with_part = bool(state.flags & 32) and cue.has_part
        played = index + 1 if with_part else index
        held = bool(state.flags & 8) and not with_part
        again = bool(state.flags & 16) and not with_part
        time = FRAME * (start - 1)
        reserved = self.table.cues[played].threads
        self.runs[number] = Run(played, reserved, time, None, held, again, time)
        for n in outputs:
            self.owner[n] = number
            if n in self.lights:
                self.lights[n].steady()
        self.fork(number, self.table.cues[played].code, time)
        self.be_silent(number, start)
        self.forget(outputs)

    def reserved(self, without: int) -> int:
        lives = {thread.run for thread in self.threads if thread is not None}
        return sum(
            run.reserved
            for n, run in enumerate(self.runs)
            if run is not None and n != without and n in lives
        )

    def is_taken_later(self, n: int, number: int, state: Heard, start: int) -> bool:
        """Whether a run that started after this one has an output."""
        owner = self.owner[n]
        if owner is None or owner == number or owner not in self.joined or not self.joins:
            return False
        other = self.joined[owner]
        ages = [min(self.next_frame - frame, 28672) for frame in (other.start, start)]
        order = (other.order - state.order + 128) % 256 - 128
        return ages[0] < ages[1] or (ages[0] == ages[1] and order > 0)

    def part_with(self, number: int) -> None:
        free = self.owned(number)
        self.end_run(number)
        self.give_back(free, self.time - FRAME)

    def end_run(self, number: int) -> None:
        super().end_run(number)
        self.joined.pop(number, None)
        self.silent.discard(number)

    def end_others(self, state: Heard) -> None:
        for number, run in enumerate(self.runs):
            is_named = state.live >> number & 1 and number in self.joined
            if run is not None and not run.is_strand and not is_named:
                self.part_with(number)

    def after_threads(self) -> None:
        if self.list is not None and self.mode == READY:
            self.end_others(self.list)

    def ends(self, number: int, run: Run) -> None:
        at = max(run.end, self.time - FRAME)
        free = self.owned(number)
        if number in self.joined:
            for n in free:
                self.owner[n] = None
            self.leave(number)
            self.silent.discard(number)
        else:
            self.end_run(number)
        self.give_back(free, at)

    # In silence

    def is_silent(self, number: int) -> bool:
        return number in self.silent

    def acts(self, number: int, n: int) -> bool:
        return self.owner[n] == number and number not in self.silent

    def notes(self, number: int, run: Run, n: int) -> bool:
        return run.is_strand or (self.owner[n] == number and number in self.silent)

    def note(self, run: Run, n: int, target: int) -> None:
        (self.wanted if run.is_strand else self.cue_wants)[n] = target

    def note_effect(self, run: Run, n: int, effect: Effect) -> None:
        (self.wanted_effects if run.is_strand else self.cue_effects)[n] = effect

    def begins(self, time: int, ms: int) -> tuple[int, int]:
        late = max(0, self.time - FRAME - time)
        return time + late, max(0, ms - late // 256)

    def execute(self) -> None:
        for _ in range(64):
            due = self.due(silent=True)
            if not due:
                break
            self.step(min(due)[1])
        for number in sorted(self.silent):
            if all(one.time > self.time for one in self.threads if one and one.run == number):
                self.land(number)
        super().execute()

    def land(self, number: int) -> None:
        self.silent.discard(number)
        run = self.runs[number]
        is_cue = run is not None and not run.is_strand
        of_strands = self.wanted, self.wanted_effects
        if is_cue:
            self.wanted, self.wanted_effects = self.cue_wants, self.cue_effects
        for n in self.owned(number):
            if n not in CLAIMS:
                self.go_back(n, self.time - FRAME)
        self.wanted, self.wanted_effects = of_strands
        if is_cue:
            self.forget(self.owned(number))

    def forget(self, outputs: Iterable[int]) -> None:
        for n in outputs:
            self.cue_wants.pop(n, None)
            self.cue_effects.pop(n, None)

    def end_everything(self) -> None:
        super().end_everything()
        self.forget(range(16))


def second_of(data: bytes) -> SecondPlayer:
    """The second player of a table of any role."""
    role = data[22]
    if role == LEADS:
        return SecondLeader(data)
    return SecondFollower(data) if role == FOLLOWS else SecondPlayer(data)
