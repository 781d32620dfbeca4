"""Emulated boards of one show, one of which leads: their tables, their wires, what they did."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from firmware_gen.chips import CHIPS, Chip
from firmware_gen.crc import cue_tag
from firmware_gen.link.frames import LinkFrame
from firmware_gen.link.frames import encode as encode_frame
from firmware_gen.link.protocol import EVERYBODY, ONE_WAY, TRIGGER, RequestKind
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import FOLLOWS, LEADS, ORDERS
from firmware_gen.table.ops import ActOp, ForkTo, TableOp
from firmware_gen.table.records import (
    AnswersRecord,
    CueRecord,
    OutputRecord,
    RadioRecord,
    StripRecord,
    Table,
)
from tests.emulator.emulated import CLOCK_HZ, TX, EmulatedBoard, LineEnd, run_together
from tests.emulator.firmware import shipped_for
from tests.emulator.load_show import (
    COLOURS,
    LAWS,
    MINIMUM_JERK,
    MOVING,
    PIXELS,
    UNIFORM,
    WIRINGS,
    glimmer,
    in_slot,
    load_servos,
    servo,
    sweep,
    way_of,
)

Times: TypeAlias = npt.NDArray[np.float64]
HUB = CHIPS["atmega2560"]
SHOW = 0x5EED_0012
MOVE_MS = 60
STEP_S = 0.0005
CUES = ("go", "back")


def led_table(
    chip: Chip,
    address: int,
    role: int,
    *,
    loaded: bool = True,
    radio: RadioRecord | None = None,
    move_ms: int = MOVE_MS,
    answering: Sequence[int] = (),
    show: int = SHOW,
) -> Table:
    """All servos of the chip; cues `go` and `back` move the last one.

    `answering`: addresses of boards with a wire back, as far as the table says them.
    `loaded`: strands of idle keep all others moving, and a strip of 60 pixels glimmers.
    """
    pins = load_servos(chip)
    outputs: list[OutputRecord] = [servo(pin, n) for n, pin in enumerate(pins)]
    outputs.append(StripRecord(WIRINGS[chip.name].strip, PIXELS, ORDERS.index("grb"), 0, 0))
    last, strip = len(pins) - 1, len(pins)
    moved = tuple((ActOp(last, steps, move_ms, wait=True, law=UNIFORM),) for steps in (8000, 1000))
    cues = tuple(
        CueRecord(cue_tag(name), 1 << last, 0, 1, number) for number, name in enumerate(CUES)
    )
    threads: tuple[tuple[TableOp, ...], ...] = moved
    if loaded:
        threads = (*moved, *_load(last, strip, len(moved)))
        mask = (1 << len(outputs)) - 1 & ~(1 << last)
        load = CueRecord(
            *(cue_tag("load"), mask, 0, len(threads) - len(moved), len(moved)), strand=True
        )
        cues = (*cues, load)
    return Table(
        chip.chip_id,
        address,
        outputs=tuple(outputs),
        colours=COLOURS,
        laws=LAWS,
        cues=cues,
        threads=threads,
        enable_interval=1,
        show=show,
        role=role,
        senses=(*(() if radio is None else (radio,)), *map(AnswersRecord, answering)),
    )


def _load(servos: int, strip: int, first: int) -> tuple[tuple[TableOp, ...], ...]:
    """Threads that keep the first servos and a strip moving."""
    rows = [sweep(n, *way_of(n), MINIMUM_JERK) for n in range(min(MOVING, servos) - 1)]
    rows.append((glimmer(strip), *sweep(strip, 1, 2, 800, UNIFORM)))
    forks = tuple(ForkTo(first + n) for n in range(1, len(rows)))
    rows[0] = forks + rows[0]
    return tuple(rows)


@dataclass
class Led:
    """A board that leads and those that follow it, wired together and switched on."""

    hub: EmulatedBoard
    nodes: list[EmulatedBoard]
    wires: list[LineEnd]
    ppm: Sequence[float]
    backs: list[LineEnd] = field(default_factory=list)
    """Wires back to the board that leads."""
    seconds: float = 0.0
    _seq: int = 0

    @property
    def boards(self) -> list[EmulatedBoard]:
        return [self.hub, *self.nodes]

    def run(self, seconds: float) -> None:
        self.seconds += seconds
        run_together(self.boards, self.seconds)

    def trigger(self, name: str) -> float:
        """Ask the board that leads for a cue; when the request's last byte has arrived (s)."""
        return self._say(RequestKind.TRIGGER, TRIGGER.pack(cue_tag(name)))

    def limp(self) -> float:
        return self._say(RequestKind.LIMP)

    def stop(self) -> float:
        return self._say(RequestKind.STOP)

    def standby(self) -> float:
        return self._say(RequestKind.STANDBY)

    def _say(self, kind: RequestKind, payload: bytes = b"") -> float:
        self._seq = self._seq % 255 + 1
        data = encode_frame(LinkFrame(EVERYBODY, kind | ONE_WAY, self._seq, payload))
        self.hub.send(data)
        return self.seconds + len(data) * 40e-6


def led(
    stack: ExitStack,
    chips: Sequence[Chip],
    ppm: Sequence[float] = (),
    *,
    loaded: bool = True,
    radio: RadioRecord | None = None,
    move_ms: int = MOVE_MS,
    answers: bool = False,
) -> Led:
    """A board with the first chip leads those with the others; `ppm`: their clocks' errors.

    `radio`: has the place of the line; its bytes come at its rate. `answers`: all that follow have
    a wire back.
    """
    boards = []
    for number, chip in enumerate(chips):
        role = LEADS if number == 0 else FOLLOWS
        who = answering_of(chips, number) if answers else ()
        table = encode(
            led_table(
                *(chip, number + 1, role),
                loaded=loaded,
                radio=radio,
                move_ms=move_ms,
                answering=who,
            )
        )
        board = stack.enter_context(shipped_for(chip).board(in_slot(table)))
        board.set_clock(ppm[number] if ppm else 0.0)
        boards.append(board)
    hub, *nodes = boards
    errors = ppm or [0.0] * len(boards)
    backs = [node.answer(hub) for node in nodes] if answers else []
    return Led(hub, nodes, [hub.lead(node) for node in nodes], errors, backs)


def answering_of(chips: Sequence[Chip], number: int) -> Sequence[int]:
    """Who answers, as the table of a board says it: the first leads."""
    if number == 0:
        return range(2, len(chips) + 1)
    return (number + 1,) if chips[number].senses else ()


class LedPort:
    """A `BytePort` to the board that leads, in the common time of all."""

    def __init__(self, led: Led) -> None:
        self.led = led
        self.name = "emulated"
        self.baud = 250_000
        self._seen = len(led.hub.events())

    def write(self, data: bytes) -> None:
        self.led.hub.send(data)

    def read(self, timeout_s: float) -> bytes:
        end_s = self.now() + max(timeout_s, 1e-5)
        while True:
            rows = self.led.hub.events_since(self._seen)
            self._seen += len(rows)
            data = bytes(rows["a"][rows["kind"] == TX].astype("u1"))
            if data or self.now() >= end_s:
                return data
            self.led.run(min(STEP_S, end_s - self.now()))

    def now(self) -> float:
        return self.led.seconds

    def close(self) -> None:
        """Nothing to close."""


def last_servo(board: EmulatedBoard) -> int:
    """The pin of the servo that the cues move."""
    return load_servos(board.chip)[-1]


def starts(board: EmulatedBoard, ppm: float = 0.0, pin: int | None = None) -> Times:
    """When a servo that rested began to move, as its pulses say; the one that cues move (s of
    common time, which a clock that is fast by `ppm` counts too quickly)."""
    at, changed = _changes(board, pin)
    first = changed[np.insert(np.diff(changed) > 1, 0, True)] if len(changed) else changed
    return at[first] / (CLOCK_HZ * (1 + ppm * 1e-6))


def rests(board: EmulatedBoard, ppm: float = 0.0, pin: int | None = None) -> Times:
    """When a servo that moved came to rest, likewise."""
    at, changed = _changes(board, pin)
    last = changed[np.append(np.diff(changed) > 1, True)] if len(changed) else changed
    return at[last] / (CLOCK_HZ * (1 + ppm * 1e-6))


def _changes(board: EmulatedBoard, pin: int | None) -> tuple[Times, npt.NDArray[np.intp]]:
    """When pulses began, and which of them differ from the one before."""
    at, widths = board.pulses(last_servo(board) if pin is None else pin)
    return at, np.flatnonzero(np.diff(widths) != 0) + 1


def apart(led: Led, moments: Callable[..., Times] = starts) -> Times:
    """For each start (or rest) on the board that leads, how far from it the nearest one on another
    board is at most (s)."""
    own = moments(led.hub, led.ppm[0])
    rows = []
    for node, ppm in zip(led.nodes, led.ppm[1:], strict=True):
        theirs = moments(node, ppm)
        rows.append([float(np.abs(theirs - at).min(initial=np.inf)) for at in own])
    return np.max(np.array(rows), axis=0, initial=0.0)
