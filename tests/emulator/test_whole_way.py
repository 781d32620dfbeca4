"""From text to motion: what the pins did is what the rehearsal behind the plots says."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from firmware_gen.chips import FIRST
from firmware_gen.compiler.show import CompiledBoard
from firmware_gen.crc import cue_tag
from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import ONE_WAY, TRIGGER, RequestKind
from firmware_gen.player.outputs import Frame
from firmware_gen.player.player import Player
from firmware_gen.table.records import ServoRecord
from seqlang.check import check
from seqlang.loading import load
from sim.model import Press
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from tests.emulator.emulated import BYTE_CYCLES, FRAME_CYCLES, PORT, EmulatedBoard, Running
from tests.emulator.emulated_port import EmulatedPort
from tests.emulator.load_show import WIRINGS, in_slot, one_move_table
from tests.emulator.readings import (
    TICK_CYCLES,
    differences,
    find_frames,
    pulse_cycles,
)
from tests.unchecked import transfer_unchecked

ROOT = Path(__file__).resolve().parents[2]
SHOW = ROOT / "shows" / "anglerfish" / "anglerfish.cues"
SERVO_PINS = WIRINGS[FIRST.name].servos
NO_CUE = "no cue has this name"


@pytest.fixture(scope="module")
def board_of_show() -> CompiledBoard:
    checked = check(load(str(SHOW)))
    assert checked.show is not None
    return checked.show.compiled.boards[0]


def servo_pins(board: CompiledBoard) -> tuple[int, ...]:
    return tuple(one.pin for one in board.table.outputs if isinstance(one, ServoRecord))


def play(
    flash: bytes, compiled: CompiledBoard, triggers: list[tuple[int, str]], frames: int
) -> tuple[EmulatedBoard, list[int]]:
    """Run the chip; each trigger (ms from power-up, cue) goes out one-way. Cycles of their ends."""
    board = EmulatedBoard(flash, in_slot(compiled.data))
    ends = []
    for seq, (at_ms, cue) in enumerate(triggers):
        kind = RequestKind.TRIGGER | ONE_WAY
        payload = TRIGGER.pack(cue_tag(cue))
        data = encode(LinkFrame(compiled.table.address, kind, seq & 255, payload))
        board.run_until(at_ms * 16000)
        board.send(data)
        ends.append(board.cycle + len(data) * BYTE_CYCLES)
    board.run_until((frames + 4) * FRAME_CYCLES)
    return board, ends


def pulses_due_ms(flash: bytes, compiled: CompiledBoard) -> int:
    """Whole ms into each 20 ms from power-up at which pulses begin; the start's length moves it."""
    board, _ = play(flash, compiled, [], 20)
    with board:
        return find_frames(board, servo_pins(compiled)).first % FRAME_CYCLES // 16000


def expected(
    board: EmulatedBoard, compiled: CompiledBoard, requests: list[tuple[int, str]], count: int
) -> list[Frame]:
    """What the integer player shows, each request heard in the frame in which the chip heard it."""
    frames = find_frames(board, servo_pins(compiled))
    player = Player(compiled.data)
    due: dict[int, list[str]] = {}
    for end, cue in requests:
        due.setdefault(frames.hearing(end), []).append(cue)
    shown = []
    for frame in range(count):
        for cue in due.get(frame, ()):
            player.trigger(cue_tag(cue))
            player.heard()
        shown.append(player.frame())
    return shown


def test_the_pins_do_what_the_text_says_also_when_cues_interrupt_one_another(
    flash: bytes, board_of_show: CompiledBoard
) -> None:
    compiled = board_of_show
    due = pulses_due_ms(flash, compiled)
    draw = random.Random(11)
    names = [cue.name for cue in compiled.cues]
    moments, now = [], 2500
    for cue in (*names, *(draw.choice(names) for _ in range(25))):
        # Clear of the moment at which a frame is played, so that it is known which frame hears it.
        moments.append((20 * (now // 20) + due + draw.choice((-4, -1, 2, 5)), cue))
        now += draw.randrange(80, 900)
    count = now // 20 + 50
    board, ends = play(flash, compiled, moments, count)
    with board:
        seen = compare(board, compiled, ends, [cue for _, cue in moments], count)
    assert min(seen) > 100, "a servo hardly moved"


def compare(
    board: EmulatedBoard, compiled: CompiledBoard, ends: list[int], cues: list[str], count: int
) -> list[int]:
    """Pins against the player, frame by frame; how many different pulses each servo made."""
    pins = servo_pins(compiled)
    frames = find_frames(board, pins)
    shown = expected(board, compiled, list(zip(ends, cues, strict=True)), count)
    assert differences(board, compiled.table, frames, shown) == []
    return [len({frame.pulses[number] for frame in shown}) for number in range(len(pins))]


class WatchedPort(EmulatedPort):
    """Notes the cycle at which the last byte written so far is over."""

    written_cycle = 0

    def write(self, data: bytes) -> None:
        self.written_cycle = self.board.cycle + len(data) * BYTE_CYCLES
        super().write(data)


def test_a_blank_chip_takes_the_show_over_the_link_and_its_pins_do_what_the_text_says(
    flash: bytes, board_of_show: CompiledBoard
) -> None:
    compiled = board_of_show
    cues = ["lure", "swim", "startle", "chew", "glow", "ripple", "bow", "startle", "rest"]
    with EmulatedBoard(flash) as board:
        board.run(ms=200)
        port = WatchedPort(board)
        link = HostLink(port)
        link.greet()
        assert transfer_unchecked(link, compiled.data).slot == 0
        ends = []
        for number, cue in enumerate(cues):
            for _ in range(3 + number):
                board.run(ms=200)
                link.beacon()
            first = find_frames(board, servo_pins(compiled)).first
            phase = (board.cycle - first) % FRAME_CYCLES
            # Clear of the moment at which a frame is played: it is known which one hears it.
            board.run(cycles=FRAME_CYCLES - phase + 2 * 16000)
            reply = link.trigger(cue_tag(cue))
            assert reply.done
            ends.append(port.written_cycle)
        board.run(ms=1200)
        count = (board.cycle - first) // FRAME_CYCLES - 2
        assert min(compare(board, compiled, ends, cues, count)) > 100, "a servo hardly moved"


@pytest.mark.parametrize("cue", ["first", "last"])
def test_a_cue_on_the_chip_follows_the_rehearsal_within_one_tick(
    flash: bytes, board_of_show: CompiledBoard, cue: str
) -> None:
    compiled = board_of_show
    name = compiled.cues[0 if cue == "first" else -1].name
    checked = check(load(str(SHOW)))
    assert checked.show is not None
    count = 500
    # The remote is heard all the time, as in the rehearsal: triggers of no cue serve as its beacon.
    beacons = [(at_ms, NO_CUE) for at_ms in range(205, 20 * count, 300)]
    requests = sorted([*beacons, (3305 + 7, name)])
    board, all_ends = play(flash, compiled, requests, count)
    ends = [end for end, (_, each) in zip(all_ends, requests, strict=True) if each == name]
    with board:
        pins = servo_pins(compiled)
        frames = find_frames(board, pins)
        frame = frames.hearing(ends[0])
        trajectories = rehearse(
            checked.show.show, (Press(at_ms=20 * frame - 10, cue=name),), 20 * count
        )
        samples = sample(trajectories, np.arange(count) * 20.0)
        servos = [one for one in compiled.outputs if hasattr(one, "points")]
        for pin, servo in zip(pins, servos, strict=True):
            found = pulse_cycles(board, pin, frames, count) / TICK_CYCLES
            angle = samples.servos[servo.name].angle_deg
            points = sorted(servo.points, key=lambda point: point.angle_deg)
            wanted = 2 * np.interp(
                angle, [p.angle_deg for p in points], [p.pulse_us for p in points]
            )
            on = found > 0
            assert np.abs(found - wanted)[on].max() <= 1.0


def test_the_command_flashes_and_triggers_over_a_serial_port(flash: bytes) -> None:
    with EmulatedBoard(flash) as board:
        port = board.pty(pace=1.0)
        with Running(board):
            done = command("flash", str(SHOW), "--port", port)
            assert done.returncode == 0, done.stdout + done.stderr
            name = check(load(str(SHOW))).show.compiled.boards[0].cues[0].name
            done = command("trigger", name, "--port", port)
            assert done.returncode == 0, done.stdout + done.stderr


def command(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", "from seqlang.command import main; main()", *words],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=ROOT,
    )


@pytest.mark.long
def test_twenty_minutes_of_random_triggers_leave_every_pulse_as_the_player_says(
    flash: bytes,
) -> None:
    table = one_move_table()
    draw = random.Random(20)
    count = 20 * 60 * 50
    player = Player(table)
    with EmulatedBoard(flash, in_slot(table)) as board:
        board.log(PORT)
        requests, now = [], 1000
        while now < 20 * count - 1000:
            # Clear of the moment at which a frame is played: it is known which one hears it.
            at_ms = 20 * (now // 20) + draw.choice((5, 8, 11, 14))
            cue = draw.choice(("go", "back"))
            payload = TRIGGER.pack(cue_tag(cue))
            kind = RequestKind.TRIGGER | ONE_WAY
            data = encode(LinkFrame(table[5], kind, len(requests) & 255, payload))
            board.run_until(at_ms * 16000)
            board.send(data)
            requests.append((board.cycle + len(data) * BYTE_CYCLES, cue))
            now += draw.randrange(60, 700)
        board.run_until((count + 4) * FRAME_CYCLES)
        frames = find_frames(board, SERVO_PINS)
        due: dict[int, list[str]] = {}
        for end, cue in requests:
            due.setdefault(frames.hearing(end), []).append(cue)
        wanted = np.zeros((count, len(SERVO_PINS)), np.int64)
        for frame in range(count):
            for cue in due.get(frame, ()):
                player.trigger(cue_tag(cue))
            wanted[frame] = player.frame().pulses
        for number, pin in enumerate(SERVO_PINS):
            found = pulse_cycles(board, pin, frames, count) / TICK_CYCLES
            assert (found == wanted[:, number]).all()
