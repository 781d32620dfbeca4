"""A board that leads and boards that follow: the reference, and the core held against it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import firmware_gen
from firmware_gen.chips.atmega328p import CHIP as SMALL
from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.link.frames import LinkFrame, decode, encode
from firmware_gen.link.protocol import HUB_KIND, ONE_WAY, ReportedMode
from firmware_gen.player import hub_state
from firmware_gen.player.hub_state import pack, unpack
from firmware_gen.player.in_step import ARRIVAL as IN_TIME
from firmware_gen.player.in_step import FARTHEST, MOST_STRETCH, InStep
from firmware_gen.player.outputs import Frame
from firmware_gen.player.player import Player
from firmware_gen.table.layout import FOLLOWS, LEADS, LOOP_HELD
from firmware_gen.table.ops import ActOp, Delay, Loop, LoopBack
from firmware_gen.table.records import BindingRecord, CueRecord, RadioRecord, ServoRecord, Table
from sim.rehearsal.leading import HubRun, HubState
from sim.rulebook import FRAME_CLOCK, IDLE_ERA_FRAMES, LATE_FRAMES, OLDEST_START_FRAMES
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.random_tables import random_requests, random_table

PAGES = Path(firmware_gen.__file__).parent
SECOND = 50  # frames
needs_compiler = pytest.mark.skipif(not available(), reason="there is no C compiler")


def asked(player: Any, kind: str, first: int, second: int) -> None:
    if kind == "trigger":
        player.trigger(first)
    elif kind == "button":
        player.button(first, bool(second))
    elif kind == "jog":
        player.jog(first, second)
    else:
        getattr(player, kind)()


def on_the_line(state: bytes, seq: int) -> bytes:
    return encode(LinkFrame(0, HUB_KIND | ONE_WAY, seq & 255, state))


# -- the core and the reference --------------------------------------------------------------------


@needs_compiler
@pytest.mark.parametrize("seed", range(8))
def test_the_core_leads_as_the_reference_does(seed: int) -> None:
    dice = Random(seed)
    table = replace(random_table(dice, CHIP), role=LEADS, show=dice.randrange(2**32))
    claims = (0, 0, 1, 3, 0x8000)
    cues = tuple(replace(cue, claims=dice.choice(claims)) for cue in table.cues)
    table = replace(table, cues=cues)
    tags = {cue.tag for cue in cues}
    reference, core = Player(table), ApartPlayer(table)
    requests = random_requests(dice, table, 400)
    for number in range(400):
        for at, kind, first, second in requests:
            if at == number and (kind != "trigger" or first in tags):
                asked(reference, kind, first, second)
                asked(core, kind, first, second)
        assert reference.frame().raw == core.frame(), f"frame {number}"
        state = reference.told
        assert state is not None
        assert core.told_bytes() == on_the_line(state, number), f"frame {number}"


@needs_compiler
@pytest.mark.parametrize("seed", range(4))
def test_a_leader_that_starts_anew_tells_nothing_of_what_was_before(seed: int) -> None:
    dice = Random(seed)
    table = replace(random_table(dice, CHIP), role=LEADS, show=dice.randrange(2**32))
    core = ApartPlayer(table)
    tags = [cue.tag for cue in table.cues]
    for played in (150, 100):
        core.start()
        core.told_bytes()
        reference = Player(table)
        for number in range(played):
            if number % 20 == 10:
                tag = dice.choice(tags)
                reference.trigger(tag)
                core.trigger(tag)
            if number == 140:
                reference.limp()
                core.limp()
            assert reference.frame().raw == core.frame(), f"frame {number}"
            assert core.told_bytes() == on_the_line(reference.told or b"", number)


@needs_compiler
@pytest.mark.parametrize("seed", range(24))
def test_the_core_follows_as_the_reference_does(seed: int) -> None:
    """Through losses, silences, jumps of the other's count, and requests of its own."""
    dice = Random(seed)
    table = replace(random_table(dice, (CHIP, SMALL)[seed // 2 % 2]), show=dice.randrange(2**32))
    leader = Player(replace(table, role=LEADS, lost=None))
    follower = replace(table, role=FOLLOWS)
    if table.chip == CHIP.chip_id and seed % 4 == 1:
        radio = RadioRecord(seed // 4 % 4, (700, 5120, 16000, 25600)[seed // 16 % 4])
        follower = replace(follower, senses=(*follower.senses, radio))
    reference, core = Player(follower), ApartPlayer(follower)
    tags = {cue.tag for cue in table.cues}
    requests = random_requests(dice, table, 500)
    own = random_requests(dice, table, 500) if seed % 4 == 0 else []
    loss, silent_until = (0, 0.3, 0.9)[seed % 3], 0
    for _ in range((0, 7, 300)[seed // 2 % 3]):
        leader.frame()
    for number in range(500):
        for at, kind, first, second in requests:
            if at == number:
                asked(leader, kind, first, second)
        for at, kind, first, second in own:
            if at == number and (kind != "trigger" or first in tags):
                asked(reference, kind, first, second)
                asked(core, kind, first, second)
        if dice.random() < 0.01:
            silent_until = number + dice.choice((5, 25, 60, 150))
        for _ in range(dice.choice((1, 2, 40)) if dice.random() < 0.005 else 0):
            leader.frame()
        leader.frame()
        state = leader.told
        assert state is not None
        if number >= silent_until and dice.random() >= loss:
            moment = dice.choice((IN_TIME, IN_TIME, 0, 5119, dice.randrange(FRAME_CLOCK)))
            if dice.random() < 0.01:
                state = state[:7] + bytes(b ^ dice.choice((0, 0, 255)) for b in state[7:])
            reference.hear_hub(state, moment)
            receive = core.receive if seed % 2 or table.chip != CHIP.chip_id else core.receive_apart
            receive(on_the_line(state, number), moment)
            assert reference.frame_stretch == core.lib.host_stretch(), f"frame {number}"
        assert reference.frame().raw == core.frame(), f"frame {number}"
        wanted = [
            reference.mode,
            reference.live_runs,
            reference.running_cues,
            reference.refused,
            reference.overruns,
        ]
        assert core.end == wanted, f"frame {number}"


# -- in step ---------------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(
    apart=st.floats(-0.01, 0.01),
    jitter=st.integers(0, 500),
    loss=st.sampled_from((0.0, 0.3)),
    seed=st.integers(0, 2**20),
    begins=st.floats(-3 * FRAME_CLOCK, 0),
    late=st.sampled_from((0, 1500, 5120, 18000)),
)
def test_two_boards_stay_within_a_frame_for_ten_minutes(
    apart: float, jitter: int, loss: float, seed: int, begins: float, late: int
) -> None:
    """Clocks apart, states that come early or late, 30 % lost, silences of 500 ms; also over a
    radio."""
    dice, step = Random(seed), InStep(late)
    mine, frames, follows, silent_until, settled = begins, 0, False, 0.0, 0
    worst = 0.0
    for number in range(10 * 60 * SECOND):
        now = float(number * FRAME_CLOCK) + late + dice.uniform(0, jitter)
        length = FRAME_CLOCK * (1 + apart)
        while mine + length + (step.stretch if follows else 0) <= now:
            mine += length + (step.stretch if follows else 0)
            frames += 1
        if dice.random() < 0.002:
            silent_until = now + 25 * FRAME_CLOCK
        if now < silent_until or dice.random() < loss:
            continue
        moment = min(FRAME_CLOCK - 1, max(0, int(now - mine)))
        own, jumped = step.arrived(frames, number % 2**16, moment, follows)
        assert abs(step.stretch) <= MOST_STRETCH
        assert not (jumped and follows)
        follows, settled = True, settled + 1
        if settled > SECOND:
            worst = max(worst, abs((frames - own) * FRAME_CLOCK + moment - late - IN_TIME))
    assert worst < FRAME_CLOCK


def test_a_count_that_is_far_off_is_taken_up_at_once() -> None:
    step = InStep()
    assert step.arrived(100, 40, IN_TIME, follows=False) == (100, True)
    assert step.arrived(101, 41, IN_TIME, follows=True) == (101, False)
    assert step.arrived(103, 42, IN_TIME, follows=True) == (102, False)
    assert step.stretch == MOST_STRETCH
    assert step.arrived(105, 43, IN_TIME, follows=True) == (105, True)
    assert step.arrived(106, 44, IN_TIME, follows=True) == (106, False)
    least = IN_TIME + FRAME_CLOCK - FARTHEST  # as early as may be, a frame before its own
    assert step.arrived(106, 45, least, follows=True) == (107, False)
    assert step.stretch == -MOST_STRETCH
    assert step.arrived(107, 46, least - 1, follows=True) == (106, True)  # nearer to that one


@needs_compiler
@pytest.mark.parametrize(
    ("frames_late", "moment", "stretch"),
    [
        # late = 5120 w + m - 4096; up to 7680 it is made good: late >> 2, 102 at most
        (2, 0, MOST_STRETCH),
        (2, 1536, MOST_STRETCH),
        (2, 1537, -MOST_STRETCH),  # 7681: counted anew, w = 0
        (-1, 1536, -MOST_STRETCH),  # -7680
        (-1, 1535, MOST_STRETCH),  # -7681: counted anew, w = 1
    ],
)
def test_core_and_reference_count_anew_beyond_a_frame_and_a_half(
    frames_late: int, moment: int, stretch: int
) -> None:
    """A run that has been joined stays so within these bounds, in the core as on the page."""
    leader, (follower,) = boards(2)
    hub = Player(leader)
    both = (Player(follower), ApartPlayer(follower))
    for player in (hub, *both):
        for _ in range(40):
            player.frame()
    told = unpack(hub.told or b"")[1]
    for frame, at in ((told.frame, IN_TIME), (told.frame + 1 - frames_late, moment)):
        state = pack(follower.show, replace(told, frame=frame % 2**16))
        both[0].hear_hub(state, at)
        both[1].receive_apart(on_the_line(state, frame), at)
        assert both[0].frame().raw == both[1].frame()
    assert both[0].frame_stretch == both[1].lib.host_stretch() == stretch


# -- a creature of several boards ------------------------------------------------------------------

WAVE, HOLD, REST = 0x1111, 0x2222, 0x3333
SERVO = ServoRecord(22, (0, 9000), 120, 600, 4500, ((0, 1000), (9000, 5000)))


def boards(count: int) -> tuple[Table, list[Table]]:
    """A leader and followers, each with a servo in the wave and in idle; all hold in it."""

    def threads(number: int) -> tuple[Any, ...]:
        lead = Delay(100 * number + 10)
        wave = (lead, ActOp(0, 9000, 1500, True), ActOp(0, 1000, 1500, True), Delay(500))
        hold = (Loop(0), ActOp(0, 6000, 2000, True), ActOp(0, 3000, 2000, True), LoopBack())
        rest = (Delay(10 * number + 10), ActOp(0, 4000, 2500, True), ActOp(0, 5000, 2600, True))
        return wave, hold, (*rest, Delay(1000 - 10 * number))

    def table(number: int, role: int) -> Table:
        cues = (
            CueRecord(WAVE, 1, 0, 1, 0, claims=1 if role == LEADS else 0),
            CueRecord(HOLD, 1, 2, 1, 1, claims=1 if role == LEADS else 0),
            CueRecord(REST, 1, 0, 1, 2, strand=True),
        )
        return Table(
            CHIP.chip_id,
            number + 1,
            outputs=(SERVO,),
            cues=cues,
            threads=threads(number),
            glide=25,
            enable_interval=5,
            show=77,
            role=role,
        )

    return table(0, LEADS), [table(number, FOLLOWS) for number in range(1, count)]


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
@pytest.mark.parametrize("tag", [WAVE, 0x7777])
def test_a_run_ends_when_its_number_is_told_of_a_cue_that_the_table_lacks(
    make: Any, tag: int
) -> None:
    """Its cue again, with the same order, is the same run; whatever else has its number ends it."""
    leader, (follower,) = boards(2)
    hub, node = Player(leader), make(follower)
    for number in range(60):
        if number == 40:
            hub.trigger(WAVE)
        hub.frame()
        state = hub.told or b""
        if number == 59:
            told = unpack(state)[1]
            assert told.run is not None
            state = pack(follower.show, replace(told, run=replace(told.run, cue=tag)))
        if isinstance(node, Player):
            node.hear_hub(state, IN_TIME)
        else:
            node.receive_apart(on_the_line(state, number), IN_TIME)
        node.frame()
    live = node.live_runs if isinstance(node, Player) else node.end[1]
    assert live == (2 if tag == WAVE else 1)  # the strand, and the run


class Creature:
    """The boards of a show on one line, which may lose what is told."""

    def __init__(
        self,
        make: Callable[[Table], Any] = Player,
        count: int = 5,
        tables: Callable[[int], tuple[Table, list[Table]]] = boards,
    ) -> None:
        lead, self.tables = tables(count)
        self.lead = Player(lead)
        self.make = make
        self.nodes: list[Any] = [make(table) for table in self.tables]
        self.frames = 0

    def frame(self, loses: Callable[[int], bool] = lambda _: False) -> list[int]:
        """Play one; the pulses of all servos."""
        pulses = [self.lead.frame().pulses[0]]
        state = self.lead.told
        assert state is not None
        for number, node in enumerate(self.nodes):
            if not loses(number):
                if isinstance(node, Player):
                    node.hear_hub(state, IN_TIME)
                else:
                    node.receive_apart(on_the_line(state, self.frames), IN_TIME)
            shown = node.frame()
            raw = shown.raw if isinstance(shown, Frame) else shown
            pulses.append(int.from_bytes(raw[:2], "little"))
        self.frames += 1
        return pulses

    def play(self, frames: int) -> list[list[int]]:
        return [self.frame() for _ in range(frames)]


FASTEST = 120 * 4000 / 90 / SECOND + 2
"""Ticks a frame at the servos' speed limit, and what rounding may add."""


def assert_quiet(rows: list[list[int]]) -> None:
    """No servo moves faster than its limit, wherever it has pulses."""
    for before, after in pairwise(rows):
        for one, other in zip(before, after, strict=True):
            assert one == 0 or other == 0 or abs(other - one) <= FASTEST


def running(node: Any) -> int:
    """The cues that run, as a mask."""
    return int(node.running_cues if isinstance(node, Player) else node.end[2])


def assert_in_step_after_losses(make: Callable[[Table], Any], frames: int, seed: int) -> None:
    """Random presses; 30 % of what is told is lost and now and then all of 500 ms. Boards are
    compared with twins that lose nothing: what they run, a second after the last loss, and where
    servos stand, some seconds after it. No servo is ever faster than its limit."""
    dice = Random(seed)
    lossy, sound = Creature(make), Creature()
    rows: list[list[int]] = []
    lost_until = sound_since = 0
    for number in range(frames):
        if dice.random() < 0.01:
            cue = dice.choice((WAVE, WAVE, HOLD))
            lossy.lead.trigger(cue)
            sound.lead.trigger(cue)
        is_lossy = number % 1000 < 700
        if is_lossy and dice.random() < 0.01:
            lost_until = number + 25
        chance = 1 if number < lost_until else 0.3 if is_lossy else 0
        lost = [dice.random() < chance for _ in lossy.nodes]
        sound_since = 0 if any(lost) else sound_since + 1
        rows.append(lossy.frame(lost.__getitem__))
        wanted = sound.frame()
        if sound_since >= SECOND:
            assert list(map(running, lossy.nodes)) == list(map(running, sound.nodes)), number
        if sound_since >= 5 * SECOND:
            assert max(map(abs, map(int.__sub__, rows[-1], wanted))) <= 4000 // 90, number
    assert_quiet(rows)


def test_five_boards_are_in_step_a_second_after_the_last_loss() -> None:
    assert_in_step_after_losses(Player, 3000, 1)


@needs_compiler
def test_five_cores_are_in_step_a_second_after_the_last_loss() -> None:
    assert_in_step_after_losses(ApartPlayer, 4000, 2)


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
@pytest.mark.parametrize("off_at", range(0, 240, 7))
def test_a_board_that_comes_back_in_a_cue_joins_it_quietly(make: Any, off_at: int) -> None:
    """Whatever moment it loses its power; the others do not notice."""
    creature, twin = Creature(make), Creature(make)
    for one in (creature, twin):
        one.play(60)
        one.lead.trigger(WAVE)
    rows, wanted = creature.play(off_at), twin.play(off_at)
    creature.nodes[1] = make(creature.tables[1])
    rows, wanted = creature.play(400), twin.play(400)
    assert_quiet(rows)
    for number in (0, 1, 3, 4):
        assert [row[number] for row in rows] == [row[number] for row in wanted]
    late = max(
        abs(row[2] - other[2]) for row, other in zip(rows[-100:], wanted[-100:], strict=True)
    )
    assert late <= 4000 // 90 // 10, "more than a tenth of a degree from its twin"


def test_a_cue_without_end_is_joined_and_let_go_of() -> None:
    creature = Creature()
    creature.play(60)
    creature.lead.trigger(HOLD)
    creature.play(333)
    creature.nodes[0] = Player(creature.tables[0])
    creature.play(100)
    assert creature.nodes[0].running_cues & 0b10
    creature.lead.trigger(WAVE)
    creature.play(2)
    assert [node.running_cues & 0b11 for node in creature.nodes] == [0b01] * 4


def resting_boards(count: int) -> tuple[Table, list[Table]]:
    """Idle moves each servo once in a minute; a cue in between takes it elsewhere."""
    lead, nodes = boards(count)

    def table(one: Table) -> Table:
        rest = (ActOp(0, 4000, 500, True), Delay(60_000))
        return replace(one, threads=(*one.threads[:2], rest))

    return table(lead), [table(node) for node in nodes]


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
@pytest.mark.parametrize("off_at", [0, 40, 90, 140])
def test_a_board_that_joined_a_cue_goes_back_to_idle_with_the_others_when_it_ends(
    make: Any, off_at: int
) -> None:
    """It has heard where idle wants its servo while the cue was caught up on."""
    creature = Creature(make, 2, resting_boards)
    creature.play(100)
    creature.lead.trigger(WAVE)
    creature.play(off_at)
    creature.nodes[0] = make(creature.tables[0])
    rows = creature.play(400 - off_at)
    assert_quiet(rows)
    assert creature.frame() == [round(1000 + 4000 * 4000 / 9000)] * 2


def short_idle_boards(count: int) -> tuple[Table, list[Table]]:
    """All boards have the same idle, to and fro."""
    lead, nodes = boards(count)
    idle = (ActOp(0, 4000, 700, True), ActOp(0, 6000, 1130, True))

    def table(one: Table) -> Table:
        return replace(one, threads=(*one.threads[:2], idle))

    return table(lead), [table(node) for node in nodes]


def assert_idle_begins_anew_alike(creature: Creature, frames: int) -> None:
    rows = creature.play(frames)
    assert_quiet(rows)
    assert all(len(set(row)) == 1 for row in rows)
    creature.nodes[0] = creature.make(creature.tables[0])  # and one that comes after it
    rows = creature.play(300)
    assert all(len(set(row)) == 1 for row in rows[-50:])


def test_boards_in_step_begin_idle_anew_in_the_same_frame_after_83_minutes() -> None:
    """As if the frames in between had been played: both count from so much earlier."""
    creature = Creature(Player, 2, short_idle_boards)
    creature.play(200)
    gone = IDLE_ERA_FRAMES - 300
    creature.lead._scheduler._idle_since -= gone
    creature.nodes[0]._scheduler._idle_start -= gone
    before = creature.lead._scheduler._idle_since
    assert_idle_begins_anew_alike(creature, 300)
    assert creature.lead._scheduler._idle_since == before + IDLE_ERA_FRAMES


@needs_compiler
def test_the_core_begins_idle_anew_after_83_minutes_as_the_reference_does() -> None:
    """The core plays all frames. Idle comes round each 100 frames, so the reference, which counts
    from so much earlier, stands where it would stand."""
    lead, _ = boards(1)
    idle = (ActOp(0, 4000, 900, True), ActOp(0, 6000, 1100, True))
    table = replace(lead, threads=(*lead.threads[:2], idle))
    reference, core = Player(table), ApartPlayer(table)
    gone = (IDLE_ERA_FRAMES - 500) // 100 * 100
    for _ in range(500):
        reference.frame()
    reference._scheduler._idle_since -= gone
    for _ in range(500 + gone):
        core.lib.host_frame()
    core.told_bytes()
    for number in range(500, 1200):
        assert reference.frame().raw == core.frame(), number
        told, said = reference.told, core.told_bytes()
        assert told is not None
        assert decode(said.strip(b"\0")).payload[2:] == told[2:], number
    assert reference._scheduler._idle_since > 0, "idle has begun anew"


@pytest.mark.long
@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
def test_boards_are_in_step_over_two_beginnings_of_idle(make: Any) -> None:
    creature = Creature(make, 2, short_idle_boards)
    creature.play(50)
    for number in range(2 * IDLE_ERA_FRAMES + 500):
        row = creature.frame()
        assert row[0] == row[1], number


PART = 0x4444


def held_boards(count: int) -> tuple[Table, list[Table]]:
    """A cue that goes on while button 1 is held, and its part for letting go, alike on all."""
    hold = (Loop(LOOP_HELD), ActOp(0, 8000, 1000, True), ActOp(0, 2000, 1000, True), LoopBack())
    part = (ActOp(0, 500, 900, True), Delay(400))
    lead, nodes = boards(count)

    def table(one: Table) -> Table:
        claims = 1 if one.role == LEADS else 0
        cues = (
            CueRecord(HOLD, 1, 0, 1, 0, lets_go=True, claims=claims),
            CueRecord(PART, 1, 0, 1, 1, claims=claims),
        )
        bindings = (BindingRecord(1, 0, while_held=False),)
        return replace(one, cues=cues, bindings=bindings, threads=(hold, part))

    return table(lead), [table(node) for node in nodes]


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
@pytest.mark.parametrize("lost", [0, 3, 5, 6, 40])
def test_what_a_held_cue_lets_go_is_let_go_by_every_board_at_the_same_time(
    make: Any, lost: int
) -> None:
    """Whatever is lost meanwhile. Without a loss the boards move alike to the tick; what is heard
    late begins late and ends as early, or, over five frames late, glides to where it should be."""
    creature = Creature(make, 2, held_boards)
    creature.play(40)
    creature.lead.button(1, True)
    held = creature.play(70)
    assert all(row[0] == row[1] for row in held)
    assert len({row[0] for row in held}) > 40
    creature.lead.button(1, False)
    late = [creature.frame(lambda _: True) for _ in range(lost)]
    rows = [*late, *creature.play(55 - lost)]
    assert_quiet([*held, *rows])
    assert running(creature.nodes[0]) == running(creature.lead) == 0b10
    ends = [max(n for n in range(1, len(rows)) if rows[n][k] != rows[n - 1][k]) for k in (0, 1)]
    if lost == 0:
        assert all(row[0] == row[1] for row in rows)
    elif lost <= 5:
        assert abs(ends[0] - ends[1]) <= 1
    creature.play(60)
    assert running(creature.nodes[0]) == running(creature.lead) == 0
    assert creature.frame() == [1000 + 500 * 4000 // 9000] * 2


@needs_compiler
def test_a_cue_that_let_go_before_it_was_joined_ends_also_in_a_place_that_was_idle_s() -> None:
    """The table before had idle in the place of this one's cue."""
    creature = Creature(ApartPlayer, 2, held_boards)
    node = creature.nodes[0]
    node.load(boards(2)[1][0])
    for _ in range(100):
        node.frame()
    assert node.end[1] > 0
    node.load(creature.tables[0])
    creature.play(40)
    creature.lead.button(1, True)
    for _ in range(20):
        creature.frame(lambda _: True)
    creature.lead.button(1, False)
    for _ in range(5):
        creature.frame(lambda _: True)
    creature.play(2)
    assert running(node) == running(creature.lead) == 0b10
    creature.play(150)
    assert running(node) == running(creature.lead) == 0


def crossing_boards(count: int) -> tuple[Table, list[Table]]:
    """A button starts two cues at once; the second takes one of the two servos of the first."""
    lead, nodes = boards(count)
    first = (ActOp(0, 8000, 1000), ActOp(1, 8000, 1000, True), Delay(4000))
    then = (ActOp(0, 1000, 1200, True), Delay(4000))

    def table(one: Table) -> Table:
        cues = tuple(
            CueRecord(tag, mask, 0, 1, n, claims=mask if one.role == LEADS else 0)
            for n, (tag, mask) in enumerate(((WAVE, 3), (HOLD, 1)))
        )
        bindings = tuple(BindingRecord(1, n, while_held=False) for n in (0, 1))
        outputs = (SERVO, replace(SERVO, pin=23))
        return replace(one, outputs=outputs, cues=cues, bindings=bindings, threads=(first, then))

    return table(lead), [table(node) for node in nodes]


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
@pytest.mark.parametrize(("lost", "starts"), [(0, 0), (1, 0), (2, 0), (3, 0), (1, 255), (2, 255)])
def test_of_two_cues_of_one_frame_the_later_has_the_output_whichever_is_heard_first(
    make: Any, lost: int, starts: int
) -> None:
    """Each is told three times, in turn: without the first state the second is joined first. After
    255 starts the order of the first is 255, and that of the second 0."""
    creature = Creature(make, 2, crossing_boards)
    creature.play(60)
    for _ in range(starts):
        creature.lead.trigger(HOLD)
        creature.play(1)
    creature.play(300 if starts else 0)
    assert running(creature.lead) == 0
    creature.lead.button(1, True)
    for _ in range(lost):
        creature.frame(lambda _: True)
    creature.play(80)
    assert running(creature.nodes[0]) == running(creature.lead) == 0b11
    assert creature.frame() == [1000 + 1000 * 4000 // 9000] * 2


def crossing_on_a_small_chip(count: int) -> tuple[Table, list[Table]]:
    lead, nodes = crossing_boards(count)
    return lead, [replace(node, chip=SMALL.chip_id) for node in nodes]


@pytest.mark.parametrize(("lost", "is_later"), [(0, True), (1, False), (2, True), (3, False)])
def test_a_small_chip_takes_starts_as_it_hears_of_them(lost: int, is_later: bool) -> None:
    """It keeps no ages: where the line lost the first states, the earlier cue may come last."""
    creature = Creature(Player, 2, crossing_on_a_small_chip)
    creature.play(60)
    creature.lead.button(1, True)
    for _ in range(lost):
        creature.frame(lambda _: True)
    creature.play(80)
    lead, node = creature.frame()
    assert lead == 1000 + 1000 * 4000 // 9000
    assert (node == lead) == is_later


def holding_boards(count: int) -> tuple[Table, list[Table]]:
    """A cue that brings its servo and stays for 12 s, while idle's statements go on."""
    hold = (ActOp(0, 9000, 1500, True), Delay(12000))
    rest = (Delay(400), ActOp(0, 4500, 300, True), Delay(200))
    lead, nodes = boards(count)

    def table(one: Table) -> Table:
        cues = (
            CueRecord(HOLD, 1, 0, 1, 0, claims=1 if one.role == LEADS else 0),
            CueRecord(REST, 1, 0, 1, 1, strand=True),
        )
        return replace(one, cues=cues, threads=(hold, rest))

    return table(lead), [table(node) for node in nodes]


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
def test_idle_that_is_caught_up_on_does_not_move_what_a_cue_joined_late_has(make: Any) -> None:
    """Idle's statements come after the cue's. Yet the servo glides to the cue's 90 deg, and to
    idle's 45 only when the cue has ended."""
    creature = Creature(make, 2, holding_boards)
    creature.play(60)
    creature.lead.trigger(HOLD)
    creature.play(300)
    creature.nodes[0] = make(creature.tables[0])
    rows = creature.play(200)
    assert_quiet(rows)
    assert rows[-1] == [1000 + 9000 * 4000 // 9000] * 2
    assert running(creature.nodes[0]) & 1
    creature.play(300)
    assert not running(creature.nodes[0]) & 1
    assert creature.frame() == [1000 + 4500 * 4000 // 9000] * 2


def hear_both(pair: tuple[Player, ApartPlayer], state: HubState, moment: int, alone: bool) -> None:
    """`alone`: the line between boards is a port of its own."""
    told = pack(77, state)
    pair[0].hear_hub(told, moment)
    receive = pair[1].receive_apart if alone else pair[1].receive
    receive(on_the_line(told, state.frame), moment)


@needs_compiler
@pytest.mark.parametrize("age", [IDLE_ERA_FRAMES - 1, IDLE_ERA_FRAMES + 1, 2**24 - 1])
def test_the_core_joins_what_is_older_than_any_time_that_it_counts_as_the_reference(
    age: int,
) -> None:
    """A state tells of 93 h, and the player's times reach back for less than three. (Run 0 is
    idle's here.)"""
    (node,) = boards(2)[1]
    pair = Player(node), ApartPlayer(node)
    for frame in range(300):
        run = HubRun(1, HOLD, 0, min(age + frame, 2**24 - 1), False, False, False)
        live = frozenset({1}) if frame >= 40 else frozenset[int]()
        state = HubState(frame, "ready", False, live, frame, run if live else None)
        hear_both(pair, state, IN_TIME, alone=True)
        assert pair[0].frame().raw == pair[1].frame(), f"frame {frame}"
    assert running(pair[0]) & 2


@needs_compiler
@pytest.mark.parametrize("age", [OLDEST_START_FRAMES - 1, OLDEST_START_FRAMES + 1, 40_000, 65_600])
def test_a_run_that_is_older_than_16_bits_tell_takes_nothing_from_one_that_started_later(
    age: int,
) -> None:
    """The later one is heard of first, and keeps the servo that both use."""
    (node,) = boards(2)[1]
    pair = Player(node), ApartPlayer(node)
    rows = []
    for frame in range(160):
        live = frozenset({1, 2}) if frame >= 40 else frozenset[int]()
        old = HubRun(1, HOLD, 7, age + frame, False, False, False)
        late = HubRun(2, WAVE, 9, 20 + frame - 40, False, False, False)
        told = (late, old)[frame % 2] if live else None
        hear_both(pair, HubState(frame, "ready", False, live, frame, told), IN_TIME, alone=True)
        rows.append(pair[0].frame().raw)
        assert rows[-1] == pair[1].frame(), f"frame {frame}"
    assert running(pair[0]) & 3 == 3
    highest = max(int.from_bytes(row[:2], "little") for row in rows)
    assert highest == 5000  # the wave's 90 deg; the other goes to 60


@needs_compiler
def test_strands_begin_anew_where_their_beginning_differs_by_two_frames_or_more() -> None:
    (node,) = boards(2)[1]
    ready = node.enable_interval  # of one servo: its strands begin in this frame

    def rows(start: int) -> list[bytes]:
        pair = Player(node), ApartPlayer(node)
        found = []
        for frame in range(200):
            state = HubState(frame, "ready", False, frozenset(), max(0, frame - start), None)
            if frame >= 20:
                hear_both(pair, state, IN_TIME, alone=True)
            found.append(pair[0].frame().raw)
            assert found[-1] == pair[1].frame(), f"frame {frame}"
        return found

    alone = Player(node)
    undisturbed = [alone.frame().raw for _ in range(200)]
    kept = [start for start in range(ready - 4, ready + 5) if rows(start) == undisturbed]
    assert kept == [ready - 1, ready, ready + 1]


@needs_compiler
@pytest.mark.parametrize("age", range(3, 9))
def test_a_small_core_leaves_out_what_is_too_old_also_where_the_leader_is_a_frame_ahead(
    age: int,
) -> None:
    (node,) = boards(2)[1]
    node = replace(node, chip=SMALL.chip_id)
    pair = Player(node), ApartPlayer(node)
    for frame in range(80):
        live = frozenset({1}) if frame >= 40 else frozenset[int]()
        # From 40 on each state is of the frame behind the one that this board is about to play.
        told = frame + (frame >= 40)
        run = HubRun(1, HOLD, 0, frame - 40 + age, False, False, False) if live else None
        state = HubState(told, "ready", False, live, told, run)
        hear_both(pair, state, IN_TIME if frame < 40 else 2000, alone=False)
        assert pair[0].frame().raw == pair[1].frame(), f"frame {frame}"
        assert running(pair[0]) == running(pair[1]), f"frame {frame}"
    assert (running(pair[0]) & 2 != 0) == (age <= LATE_FRAMES + 1)


def brought_into(mode: ReportedMode) -> Creature:
    creature = Creature()
    if mode != ReportedMode.STARTING:
        creature.play(60)
    if mode == ReportedMode.STOPPING:
        creature.lead.trigger(WAVE)
        creature.play(40)
        creature.lead.stop()
    if mode == ReportedMode.LIMP:
        creature.lead.limp()
    creature.play(2)
    assert {node.mode for node in creature.nodes} == {mode}
    return creature


@pytest.mark.parametrize("mode", list(ReportedMode)[1:])
@pytest.mark.parametrize("what", ["stop", "limp"])
def test_stop_and_limp_reach_every_board_within_two_frames(mode: ReportedMode, what: str) -> None:
    creature = brought_into(mode)
    getattr(creature.lead, what)()
    creature.play(2)
    ended = {ReportedMode.LIMP}
    if what == "stop" and mode == ReportedMode.READY:
        ended.add(ReportedMode.STOPPING)
    assert {node.mode for node in creature.nodes} <= ended
    creature.lead.trigger(WAVE)
    creature.play(200)
    assert all(pulse == 0 for pulse in creature.play(1)[0])
    creature.lead.standby()
    creature.play(60)
    assert {node.mode for node in creature.nodes} == {ReportedMode.READY}


def test_a_board_takes_a_jog_only_while_it_is_limp() -> None:
    player = Player(boards(1)[0])
    for _ in range(60):
        player.frame()
    assert not player.jog(0, 4000)
    player.limp()
    player.frame()
    assert player.jog(0, 4000)


def jogged(creature: Creature) -> Any:
    """Its first follower, made limp, and a servo of it turned."""
    node = creature.nodes[0]
    node.limp()
    creature.play(2)
    node.jog(0, 4000)
    assert creature.play(3)[-1][1] != 0
    return node


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
def test_a_stop_of_the_leader_ends_a_jog_on_a_board_that_follows(make: Any) -> None:
    creature = Creature(make, count=2)
    creature.play(60)
    node = jogged(creature)
    creature.lead.stop()
    creature.play(2)
    for _ in range(SECOND - 3):  # the rest begins anew as long as the leader is stopping
        node.jog(0, 4000)
        assert creature.frame()[1] == 0
    creature.play(3 * SECOND)
    node.jog(0, 4000)
    assert creature.frame()[1] != 0


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
def test_a_servo_is_jogged_on_a_board_that_follows_one_that_is_limp(make: Any) -> None:
    creature = Creature(make, count=2)
    creature.play(60)
    creature.lead.limp()
    creature.play(4)
    jogged(creature)
    assert all(row[1] != 0 for row in creature.play(SECOND - 5))


def test_a_board_that_follows_starts_nothing_by_itself() -> None:
    creature = Creature()
    creature.play(60)
    node = creature.nodes[0]
    assert node.follows
    node.trigger(WAVE)
    creature.play(1)
    assert (node.refused, node.running_cues & 1) == (1, 0)
    for _ in range(SECOND):
        node.frame()
    assert not node.follows
    node.trigger(WAVE)
    node.frame()
    assert (node.refused, node.running_cues & 1) == (1, 1)


def test_a_leader_of_another_show_stops_a_board_and_does_nothing_else() -> None:
    lead, (table,) = boards(2)
    other, node = Player(replace(lead, show=78)), Player(table)
    for _ in range(60):
        other.frame()
        node.hear_hub(other.told or b"", IN_TIME)
        node.frame()
    assert not node.follows
    other.stop()
    other.frame()
    node.hear_hub(other.told or b"", IN_TIME)
    node.frame()
    assert node.mode == ReportedMode.STOPPING


# -- the pages -------------------------------------------------------------------------------------


def test_the_state_is_laid_out_as_stated() -> None:
    page = (PAGES / "LINK.md").read_text("utf-8").split("## 7.")[1]
    rows = re.findall(r"^\| (\d+) \| u(\d+) \| (\w+) \|", page, re.MULTILINE)
    at = 0
    for offset, bits, _ in rows:
        assert int(offset) == at
        at += int(bits) // 8
    assert at == hub_state.PAYLOAD_BYTES
    assert f"at most {hub_state.OLDEST} |" in page


@given(st.binary(min_size=16, max_size=16))
def test_any_state_is_read_and_means_one_thing(payload: bytes) -> None:
    show, state = unpack(payload)
    assert unpack(pack(show, state)) == (show, state)


def test_a_state_tells_the_low_bits_of_what_is_long_and_no_age_over_the_greatest() -> None:
    """LINK.md, section 7: after 22 minutes frames begin again from 0, and ages stop."""
    run = HubRun(5, 0x1234, 200, 2**24 + 7, held=True, again=False, let_go=True)
    state = HubState(65536 + 9, "limp", True, frozenset({5, 7}), 0x030201, run)
    told = pack(0xAABBCCDD, state)
    wanted = [9, 0, 0xDD, 0xCC, 0x0C, 0xA0, 1, 2, 3, 0x2D, 0x34, 0x12, 200, 255, 255, 255]
    assert list(told) == wanted
    assert unpack(told) == (0xCCDD, replace(state, frame=9, run=replace(run, age=2**24 - 1)))


MODES = {
    "the leader is ready or starting": ("ready", "starting"),
    "stopping": ("stopping",),
    "limp after a stop": ("limp",),
    "limp at once": ("limp",),
}


def stated_ways() -> list[tuple[str, str, str]]:
    """The table of states in TABLE.md: where a board is, what happens, and where it is then."""
    section = (PAGES / "TABLE.md").read_text("utf-8").split("States and ways between them.")[1]
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in section.split("A local stop or limp")[0].splitlines()
        if line.startswith("|") and not line.startswith("| ---")
    ]
    head, *stated = rows
    assert [row[0] for row in stated] == ["starting", "ready", "stopping", "limp", STOPPED_HERE]
    return [
        (here, column, wanted)
        for here, *ways in stated
        for column, wanted in zip(head[1:], ways, strict=True)
    ]


@pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
def test_every_way_between_states_is_the_one_in_the_table(make: Any) -> None:
    for here, column, wanted in stated_ways():
        for leader in MODES.get(column, ("ready",)):
            assert went(make, here, column, leader) == wanted, f"{here}, {column}: {leader}"


STOPPED_HERE = "limp, stopped here"


def went(make: Any, here: str, column: str, leader: str) -> str:
    """Bring a board that follows into a state, let something happen, and say where it is then."""
    _, (table,) = boards(2)
    node = make(replace(table, stop_time=255))
    state = unpack(bytes(2) + (77).to_bytes(2, "little") + bytes((2, 0)) + bytes(10))[1]

    def tell(**more: Any) -> None:
        told = pack(77, replace(state, run=None, **more))
        if isinstance(node, Player):
            node.hear_hub(told, IN_TIME)
        else:
            node.receive_apart(on_the_line(told, 0), IN_TIME)

    def mode() -> str:
        found = node.mode if isinstance(node, Player) else ReportedMode(node.end[0])
        return found.name.lower()

    for _ in range(0 if here == "starting" else 60):
        node.frame()
    if here == STOPPED_HERE:
        node.limp()
    elif here in ("stopping", "limp"):
        tell(mode=here, limp_asked=here == "limp")
    node.frame()
    if column.startswith("local"):
        getattr(node, column.split()[1])()
    else:
        tell(mode=leader, limp_asked=column == "limp at once")
    node.frame()
    if mode() == "limp" and here == STOPPED_HERE:
        tell(mode="ready")
        node.frame()
        return STOPPED_HERE if mode() == "limp" else "limp"
    return mode()
