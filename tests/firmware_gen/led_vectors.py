"""Cases of boards that lead and that follow: random tables, random presses, losses, and silences.

A case of `led.json` has the fields of the other vectors, and

    heard     [frame, state in hexadecimal, moment]: heard before the frame of that number is played
    told      of a board that leads: digests of what it tells after each frame, as those of outputs
    stretches of one that follows: digests of its frames' stretches (i16 each)
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import Any, Final

from firmware_gen.chips import Chip
from firmware_gen.chips.atmega328p import CHIP as SMALL
from firmware_gen.chips.atmega2560 import CHIP as LARGE
from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import FOLLOWS, LEADS, LOOP_HELD
from firmware_gen.table.ops import ActOp, Delay, Loop, LoopBack, TableOp
from firmware_gen.table.records import CueRecord, LampRecord, RadioRecord, ServoRecord, Table
from tests.firmware_gen.random_tables import Request, random_requests, random_table
from tests.firmware_gen.second_led import SecondFollower, SecondLeader
from tests.firmware_gen.vector_files import STRETCH, digest

Heard = tuple[int, str, int]
FRAMES: Final = 350
IN_TIME: Final = 4096


@dataclass
class Script:
    """What happens to a board that follows, and to the one that leads it."""

    chip: Chip = LARGE
    loss: float = 0.0
    silences: float = 0.01
    head_start: int = 0
    """Frames that the board that leads has played before."""
    asked_here: bool = False
    spoilt: float = 0.0
    moments: Sequence[int] = (IN_TIME, IN_TIME, 0, 5119, 1535, 1536)
    jumps: float = 0.005


SCRIPTS: Final = (
    Script(),
    Script(loss=0.3, head_start=300),
    Script(loss=0.9, head_start=7),
    Script(asked_here=True, loss=0.3),
    Script(chip=SMALL, loss=0.3, head_start=7),
    Script(spoilt=0.05, loss=0.2, head_start=300),
    Script(asked_here=True, silences=0.02),
    Script(chip=SMALL, asked_here=True, silences=0.02),
)


def leading_case(seed: int) -> dict[str, Any]:
    dice = Random(seed)
    table = random_table(dice, LARGE)
    claims = (0, 0, 1, 3, 0x8000)
    cues = tuple(replace(cue, claims=dice.choice(claims)) for cue in table.cues)
    table = replace(table, role=LEADS, show=dice.randrange(2**32), cues=cues)
    requests = known_requests(table, random_requests(dice, table, FRAMES))
    return recorded(f"a board that leads, seed {seed}", table, requests, (), FRAMES)


def following_case(
    seed: int, script: Script, radio: tuple[RadioRecord, ...] = ()
) -> dict[str, Any]:
    dice = Random(seed)
    table = replace(random_table(dice, script.chip), show=dice.randrange(2**32))
    lead = Player(replace(table, role=LEADS, lost=None))
    requests = known_requests(table, random_requests(dice, table, FRAMES))
    own = known_requests(table, random_requests(dice, table, FRAMES)) if script.asked_here else []
    for _ in range(script.head_start):
        lead.frame()
    heard: list[Heard] = []
    silent_until = 0
    for number in range(FRAMES):
        for at, kind, first, second in requests:
            if at == number:
                ask(lead, kind, first, second)
        if dice.random() < script.silences:
            silent_until = number + dice.choice((5, 25, 60, 100))
        for _ in range(dice.choice((1, 2, 40)) if dice.random() < script.jumps else 0):
            lead.frame()
        lead.frame()
        state = lead.told
        assert state is not None
        if number >= silent_until and dice.random() >= script.loss:
            if dice.random() < script.spoilt:
                state = bytes(b ^ dice.choice((0, 0, 0, 255)) for b in state)
            heard.append((number, state.hex(), dice.choice(script.moments)))
    follower = replace(table, role=FOLLOWS, senses=table.senses + radio)
    way = " over a radio" if radio else ""
    return recorded(f"a board that follows{way}, seed {seed}", follower, own, heard, FRAMES)


def radio_case(seed: int) -> dict[str, Any]:
    """States that come late: less than a frame, just one, and more."""
    late = (1500, 5119, 5120, 5121, 16000, 25600)[seed % 6]
    return following_case(seed, Script(loss=0.2, head_start=7), (RadioRecord(seed % 4, late),))


def made_up_case(seed: int) -> dict[str, Any]:
    """States that no board that leads tells, one after another: any run, any age, any flags."""
    dice = Random(seed)
    chip = (LARGE, LARGE, SMALL)[seed % 3]
    table = random_table(dice, chip)
    while not any(cue.lets_go for cue in table.cues):
        table = random_table(dice, chip)
    table = replace(table, role=FOLLOWS, show=dice.randrange(2**32))
    favourite = next(cue for cue in table.cues if cue.lets_go)
    heard: list[Heard] = []
    live, silent_until, frame, mode = 0, 0, dice.randrange(65536), 2
    ages = [0] * 8
    for number in range(FRAMES):
        frame = (frame + 1) % 65536
        if dice.random() < 0.01:
            silent_until = number + dice.choice((10, 60))
        mode = dice.choice((0, 1, 2, 3, 4)) if dice.random() < 0.02 else mode if mode == 2 else 2
        live ^= 1 << dice.randrange(8) if dice.random() < 0.1 else 0
        run = dice.randrange(8) if dice.random() < 0.5 else 7 - seed % 2
        ages[run] = dice.choice((ages[run], ages[run], *range(8), dice.randrange(400), 4000))
        flags = run | dice.choice((0, 8, 8, 16, 24, 32, 32)) | (128 if dice.random() < 0.05 else 0)
        cue = dice.choice(table.cues) if dice.random() < 0.5 else favourite
        state = struct.pack("<HH", frame, table.show % 65536 ^ (dice.random() < 0.03))
        state += bytes((mode | 8 * (dice.random() < 0.5), live | 1 << run * (dice.random() < 0.9)))
        idle = number + dice.choice((0, 0, 0, 1, 2, 3)) if dice.random() < 0.1 else number
        state += idle.to_bytes(3, "little") + struct.pack("<BHB", flags, cue.tag, cue.tag % 3)
        state += ages[run].to_bytes(3, "little")
        if number >= silent_until and dice.random() < 0.5:
            heard.append((number, state.hex(), dice.randrange(3600, 4600)))
    own = random_requests(dice, table, FRAMES) if seed % 2 else []
    asked = sorted(
        [*known_requests(table, own), *((n, "heard", 0, 0) for n in range(0, FRAMES, 3))]
    )
    return recorded(f"a board that hears anything, seed {seed}", table, asked, heard, FRAMES)


def known_requests(table: Table, requests: Iterable[Request]) -> list[Request]:
    tags = {cue.tag for cue in table.cues}
    return [
        (at, kind, first, second)
        for at, kind, first, second in requests
        if kind != "jog" and not (kind == "trigger" and first not in tags)
    ]


def ask(player: Any, kind: str, first: int, second: int) -> None:
    match kind:
        case "trigger":
            player.trigger(first)
        case "button":
            player.button(first, bool(second))
        case _:
            getattr(player, kind)()


def recorded(
    title: str, table: Table, requests: Sequence[Request], heard: Sequence[Heard], frames: int
) -> dict[str, Any]:
    """A case with the reference player's outputs."""
    player = Player(table)
    raws, told, stretches = [], [], []
    for number in range(frames):
        for at, state, moment in heard:
            if at == number:
                player.hear_hub(bytes.fromhex(state), moment)
        for at, kind, first, second in requests:
            if at == number:
                ask(player, kind, first, second)
        raws.append(player.frame().raw)
        told.append(player.told or b"")
        stretches.append(struct.pack("<h", player.frame_stretch))
    return {
        "title": title,
        "table": encode(table).hex(),
        "frames": frames,
        "requests": [list(request) for request in requests],
        "heard": [list(one) for one in heard],
        "digests": _digests(raws),
        "told": _digests(told),
        "stretches": _digests(stretches),
        "end": [
            *(int(player.mode), player.live_runs, player.running_cues),
            *(player.refused, player.overruns),
        ],
    }


def _digests(rows: Sequence[bytes]) -> list[str]:
    return [digest(rows[start : start + STRETCH]) for start in range(0, len(rows), STRETCH)]


# -- by hand ---------------------------------------------------------------------------------------

SERVO: Final = ServoRecord(LARGE.pin("PA0"), (0, 9000), 120, 600, 4500, ((0, 1000), (9000, 5000)))
_TWO: Final = (SERVO, replace(SERVO, pin=LARGE.pin("PA1")))
A, B, C, D, E = range(0x100, 0x105)
"""Tags: A and C move the first servo, B the second, D and E the first after many ops."""
_SHOW: Final = 77


def _many(times: int, *more: TableOp) -> tuple[TableOp, ...]:
    return (Loop(times), Delay(10), LoopBack(), *more, Delay(5000))


BY_HAND: Final = Table(
    LARGE.chip_id,
    2,
    outputs=_TWO,
    cues=(
        CueRecord(A, 1, 1, 1, 0),
        CueRecord(B, 2, 0, 1, 1),
        CueRecord(C, 1, 1, 1, 2),
        CueRecord(D, 1, 0, 1, 3),
        CueRecord(E, 1, 0, 1, 4),
        CueRecord(0x105, 3, 0, 1, 5, strand=True),
    ),
    threads=(
        (ActOp(0, 8000, 1500, True), Loop(LOOP_HELD), Delay(100), LoopBack(), ActOp(0, 2000, 900)),
        (ActOp(1, 8000, 1500, True), Delay(3000)),
        (ActOp(0, 1000, 1500, True), Delay(3000)),
        _many(30, ActOp(0, 6000, 500), ActOp(1, 6000, 500)),
        _many(31, ActOp(0, 3000, 500)),
        (ActOp(0, 4000, 700), ActOp(1, 5000, 800, True), Delay(300), ActOp(0, 5000, 700, True)),
    ),
    glide=20,
    enable_interval=2,
    show=_SHOW,
    role=FOLLOWS,
)

CUT: Final = replace(
    BY_HAND,
    outputs=(LampRecord(LARGE.pin("PE3"), 0), LampRecord(LARGE.pin("PE4"), 0)),
    cues=(CueRecord(A, 3, 0, 1, 0), CueRecord(0x105, 3, 0, 1, 1, strand=True)),
    threads=(
        (
            *(ActOp(0, 160, 0), ActOp(1, 160, 0), Delay(210)),
            *(ActOp(0, 40, 0), ActOp(1, 40, 400), Delay(5000)),
        ),
        (ActOp(0, 80, 0), ActOp(1, 80, 0), Delay(60000)),
    ),
)
"""Two lamps: ten frames after its start the cue cuts the one to another light and fades the other,
within a frame."""


def told(frame: int, *, mode: int = 2, show: int = _SHOW, live: int = 0, **run: int) -> str:
    """A state in hexadecimal, of a board that is ready as soon as this one; `run`: its number (if
    any is told; 0 is the strand's), tag, order, age and flags."""
    state = struct.pack("<HHBB", frame, show, mode, live) + (frame - 4).to_bytes(3, "little")
    if "number" not in run:
        return (state + struct.pack("<BHB", 128, 0, 0) + bytes(3)).hex()
    flags = run["number"] | run.get("flags", 0)
    state += struct.pack("<BHB", flags, run["tag"], run.get("order", 0))
    return (state + run.get("age", 0).to_bytes(3, "little")).hex()


def by_hand() -> list[dict[str, Any]]:
    def case(
        title: str,
        heard: Iterable[tuple[int, str]],
        requests: Sequence[Request] = (),
        table: Table = BY_HAND,
    ) -> dict[str, Any]:
        rows = [(frame, state, IN_TIME) for frame, state in heard]
        return recorded(title, table, requests, rows, 200)

    held = [
        (n, told(n, live=2, number=1, tag=A, age=n - 20, flags=8 * (n < 120)))
        for n in range(20, 200)
    ]
    other_cue = [
        (n, told(n, live=2, number=1, tag=A if n < 60 else B, order=n // 60))
        for n in (20, 30, *range(60, 200))
    ]
    same_frame = [
        (n, told(n, live=6, number=1 + n % 2, tag=(A, C)[n % 2], order=1 - n % 2, age=n - 20))
        for n in range(20, 180)
    ]
    unnamed = [(n, told(n, live=2 * (n < 30), number=1, tag=A, age=n - 20)) for n in range(20, 120)]
    limp = [(30, told(30, mode=12)), (60, told(60, show=_SHOW + 1)), (120, told(120))]
    waiting: list[Request] = [(20, "trigger", A, 0), (22, "trigger", C, 0)]
    return [
        case("a joined run is held, and then no longer", held),
        case("a run takes another's place", other_cue),
        case("of two runs of one frame the later is heard of first", same_frame),
        case("a board that is limp hears the leader of another show", limp),
        case("a cue waits when the leader is heard", [(30, told(30))], waiting),
        case("a run is not named in the frame in which it cuts and fades", unnamed, (), CUT),
        *(
            case(
                f"{ops} ops are made good",
                [(n, told(n, live=2, number=1, tag=tag, age=n - 20)) for n in range(80, 200)],
            )
            for ops, tag in ((64, D), (65, E))
        ),
    ]


SEEDS_OF_LEADERS: Final = (*range(200, 208), 408, 426)
SEEDS_OF_FOLLOWERS: Final = (*range(300, 324), 402, 415, 424, 432, 433, 445)
SEEDS_OVER_RADIO: Final = tuple(range(500, 506))
SEEDS_MADE_UP: Final = (0, 1, 2, 3, 10, 11, 21, 36, 43, 106, 124)


def all_cases() -> list[dict[str, Any]]:
    leading = [leading_case(seed) for seed in SEEDS_OF_LEADERS]
    following = [following_case(seed, SCRIPTS[seed % len(SCRIPTS)]) for seed in SEEDS_OF_FOLLOWERS]
    following += map(radio_case, SEEDS_OVER_RADIO)
    return [*leading, *following, *map(made_up_case, SEEDS_MADE_UP), *by_hand()]


def leaves(names: Mapping[str, Any], case: Mapping[str, Any]) -> str | None:
    """Where a second board (its names) leaves a case; None if it answers all of it."""
    data = bytes.fromhex(case["table"])
    leads = data[22] == LEADS
    board = (names["SecondLeader"] if leads else names["SecondFollower"])(data)
    heard: dict[int, list[tuple[str, int]]] = {}
    for frame, state, moment in case["heard"]:
        heard.setdefault(frame, []).append((state, moment))
    asked: dict[int, list[tuple[str, int, int]]] = {}
    for frame, kind, a, b in case["requests"]:
        asked.setdefault(frame, []).append((kind, a, b))
    corrects = data[4] == LARGE.chip_id
    rows: list[bytes] = []
    told: list[bytes] = []
    stretches: list[bytes] = []
    for number in range(case["frames"]):
        for state, moment in heard.get(number, ()):
            board.hear(bytes.fromhex(state), moment)
        rows.append(board.frame(asked.get(number, ())))
        told.append(board.state() if leads else b"")
        stretch = 0 if leads or not board.follows else board.stretch
        stretches.append(struct.pack("<h", stretch))
        if (number + 1) % STRETCH == 0 or number + 1 == case["frames"]:
            place = number // STRETCH
            for name, found in (("digests", rows), ("told", told), ("stretches", stretches)):
                if name == "stretches" and not corrects:
                    continue
                if digest(found) != case[name][place]:
                    return f"{name} before frame {number + 1}"
                found.clear()
    return None if board.end_state() == case["end"] else f"end {board.end_state()}"


SECOND: Final[Mapping[str, Any]] = {
    "SecondLeader": SecondLeader,
    "SecondFollower": SecondFollower,
}
