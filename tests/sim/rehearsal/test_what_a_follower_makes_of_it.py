"""What a board that follows makes of each state that it hears: TABLE.md, section 7, by hand.

The board has no servos, so it is ready in frame 0. States are made up here as a leader says them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import pytest

from sim.model import (
    Board,
    Cue,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Switch,
    Throw,
    Together,
)
from sim.rehearsal.following import FollowingScheduler
from sim.rehearsal.leading import HubRun, HubState
from sim.rehearsal.outputs import OutputRows
from sim.rehearsal.requests import Request
from sim.rehearsal.scheduler import Mode
from sim.rulebook import FRAME_CLOCK
from sim.score.planned_moves import motion_limits
from sim.score.threads import board_program
from sim.score.tree import Act

FANS = tuple(Switch(f"fan{n}", "arm", n) for n in range(12))
LAMP = Lamp("lamp", "arm", 30)
HUB = Board("hub", "atmega2560", 1, leads=True)
ARM = Board("arm", "atmega2560", 2)
FOLLOWED = 50
"""Frames after the last state until a board is alone."""


def lasting(name: str, *fans: int, ms: int = 60_000, let_go: str | None = None) -> Cue:
    throws: tuple[Step, ...] = tuple(Throw(f"fan{fan}", True) for fan in fans)
    return Cue(name, "", InTurn((*throws, Hold(ms))), let_go=let_go)


def wide(name: str, *fans: int) -> Cue:
    """A thread for each fan."""
    rows = (Repeat(InTurn((Throw(f"fan{fan}", True), Hold(400))), 50) for fan in fans)
    return Cue(name, "", Together(tuple(rows)))


def show_of(*cues: Cue, idle: tuple[str, ...] = (), **score: object) -> Show:
    whole = Score("t", cues, stop_button=30, idle=idle, **score)  # type: ignore[arg-type]
    return Show(Rig(boards=(HUB, ARM), outputs=(*FANS, LAMP)), whole)


@dataclass
class Bench:
    """The board that follows in a show, played frame by frame."""

    show: Show
    joins: bool = True
    frames: int = 0
    live: frozenset[int] = field(default_factory=frozenset)

    def __post_init__(self) -> None:
        self.outputs = OutputRows(self.show, "arm", motion_limits(self.show))
        program = board_program(self.show, "arm")
        self.board: FollowingScheduler[Act] = FollowingScheduler(
            program, self.outputs, joins=self.joins
        )

    def play(self, *requests: Request, frames: int = 1) -> None:
        """Frames in which nothing is heard; the first takes the requests."""
        for n in range(frames):
            self.outputs.shown = (self.frames - 1) * FRAME_CLOCK
            self.board.frame(self.frames, requests if n == 0 else (), -1)
            self.frames += 1

    def hear(
        self,
        run: HubRun | None = None,
        *,
        live: Iterable[int] | None = None,
        mode: Mode = "ready",
        asked: bool = False,
        idle_age: int | None = None,
        foreign: bool = False,
    ) -> None:
        """A frame in which a state of it is heard; `live`: as before, and the run that is told."""
        before = self.live if run is None else self.live | {run.number}
        self.live = before if live is None else frozenset(live)
        age = self.frames if idle_age is None else idle_age
        state = HubState(self.frames, mode, asked, self.live, age, run)
        if foreign:
            self.board.hear_foreign(state)
        else:
            self.board.hear(state, self.frames)
        self.play()

    @property
    def cues(self) -> dict[int, str]:
        return {number: str(run.cue.name) for number, run in sorted(self.board.runs.items())}

    @property
    def owned(self) -> dict[str, list[str]]:
        runs = self.board.runs.values()
        return {str(run.cue.name): sorted(map(str, run.owned)) for run in runs}

    def thrown(self, fan: int) -> list[float]:
        """When a fan was thrown by a cue, in ms."""
        return [row.start_ms for row in self.outputs.switches[f"fan{fan}"] if row.cue]


def told(
    number: int,
    cue: str,
    order: int = 0,
    age: int = 0,
    *,
    held: bool = False,
    again: bool = False,
    let_go: bool = False,
) -> HubRun:
    return HubRun(number, cue, order, age, held, again, let_go)


AB = show_of(lasting("a", 0, 1), lasting("b", 1, 2))


# -- who follows -----------------------------------------------------------------------------------


def test_a_board_follows_up_to_the_50th_frame_after_the_last_state() -> None:
    bench = Bench(AB)
    assert not bench.board.follows
    bench.hear(told(0, "a"))
    bench.play(frames=FOLLOWED - 1)
    assert bench.board.follows
    assert bench.cues == {0: "a"}
    bench.play()
    assert not bench.board.follows
    assert bench.cues == {}


def test_each_state_counts_the_50_frames_anew() -> None:
    bench = Bench(AB)
    bench.hear(told(0, "a"))
    bench.play(frames=FOLLOWED - 1)
    bench.hear()
    bench.play(frames=FOLLOWED - 1)
    assert bench.cues == {0: "a"}
    bench.play()
    assert bench.cues == {}


def test_what_was_started_here_goes_on_when_nobody_leads_any_more() -> None:
    """And what is asked starts again only then."""
    bench = Bench(AB)
    bench.hear(told(0, "a"))
    bench.play(Request("trigger", "b"), frames=FOLLOWED - 1)
    assert (bench.cues, bench.board.refused) == ({0: "a"}, 1)
    bench.play(Request("trigger", "b"))  # it is asked before the board finds itself alone
    assert (bench.cues, bench.board.refused) == ({}, 2)
    bench.play(Request("trigger", "b"), frames=2 * FOLLOWED)
    assert (bench.cues, bench.board.refused) == ({0: "b"}, 2)


def test_a_state_of_another_show_is_not_followed_and_not_counted() -> None:
    bench = Bench(AB)
    bench.hear(told(0, "a"), foreign=True)
    assert not bench.board.follows
    assert bench.cues == {}
    bench.hear(told(0, "a"))
    for _ in range(FOLLOWED - 1):
        bench.hear(told(1, "b", 1), foreign=True)
    assert bench.cues == {0: "a"}
    bench.hear(foreign=True)
    assert bench.cues == {}
    assert not bench.board.follows


def test_cues_that_wait_are_forgotten_by_who_follows() -> None:
    second = replace(lasting("b", 1, 2), conflict="wait")
    bench = Bench(show_of(lasting("a", 0, 1, ms=100), second))
    bench.play(Request("trigger", "a"), Request("trigger", "b"))
    bench.hear(live=())
    bench.play(frames=FOLLOWED + 20)
    assert bench.thrown(2) == []


# -- runs ------------------------------------------------------------------------------------------


def test_a_run_that_is_told_is_joined_where_the_table_has_it_and_the_list_names_it() -> None:
    bench = Bench(AB)
    bench.hear(told(3, "nobody knows it"))
    bench.hear(told(4, "a"), live=())
    assert bench.cues == {}
    bench.hear(told(4, "a"))
    assert bench.cues == {4: "a"}
    # it counts from the frame before its start on
    assert bench.thrown(0) == [20.0]


def test_what_is_told_again_is_the_same_run_and_another_order_another_one() -> None:
    bench = Bench(AB)
    bench.hear(told(0, "a", 7))
    bench.hear(told(0, "a", 7, 1, held=True))
    assert bench.thrown(0) == [-20.0]
    assert bench.board.runs[0].held
    bench.hear(told(0, "a", 7, 2))
    assert not bench.board.runs[0].held
    bench.hear(told(0, "a", 8, 0, held=True, again=True))
    assert bench.thrown(0) == [-20.0, 40.0]
    assert (bench.board.runs[0].held, bench.board.runs[0].again) == (True, True)
    bench.hear(told(0, "b", 8, 0))
    assert bench.cues == {0: "b"}


def test_a_place_that_gets_what_this_board_has_not_is_empty() -> None:
    bench = Bench(AB)
    bench.hear(told(0, "a"))
    bench.hear(told(0, "nobody knows it", 1))
    assert bench.cues == {}


def test_a_run_that_the_list_lacks_ends_and_one_that_was_not_joined_too() -> None:
    bench = Bench(AB)
    bench.play(Request("trigger", "b"))
    assert bench.cues == {0: "b"}
    bench.hear(told(1, "a"))
    assert bench.cues == {1: "a"}
    bench.hear()
    assert bench.cues == {1: "a"}
    bench.hear(live={0, 2})
    assert bench.cues == {}


def test_a_run_takes_its_outputs_from_all_others_and_ends_none() -> None:
    bench = Bench(show_of(lasting("a", 0, 1), lasting("b", 0, 1, 2)))
    bench.hear(told(0, "a", 0))
    bench.hear(told(1, "b", 1))
    assert bench.owned == {"a": [], "b": ["fan0", "fan1", "fan2"]}


@pytest.mark.parametrize(
    ("order", "other", "is_later"),
    [(5, 6, True), (5, 4, False), (255, 0, True), (0, 255, False), (0, 127, True), (0, 128, False)],
)
def test_of_two_starts_of_one_frame_the_order_modulo_256_says_which_was_later(
    order: int, other: int, is_later: bool
) -> None:
    """The other one is heard of first; if it started later, it keeps what both use."""
    bench = Bench(AB)
    bench.play()
    bench.hear(told(0, "b", other))
    bench.hear(told(1, "a", order, 1))
    taken = ["fan1", "fan2"] if is_later else ["fan2"]
    assert bench.owned["b"] == taken


@pytest.mark.parametrize(("ago", "is_later"), [(0, True), (1, True), (2, False)])
def test_of_two_starts_the_frame_says_which_was_later(ago: int, is_later: bool) -> None:
    """One is heard of in frame 2, of frame 1; the other one in frame 3, of `ago` frames earlier.

    Where both are of one frame the order decides: here the first one's is the greater.
    """
    bench = Bench(AB)
    bench.play(frames=2)
    bench.hear(told(0, "b", 9, 1))
    bench.hear(told(1, "a", 8, 4 - ago if ago < 2 else 1))
    assert bench.owned["b"] == (["fan1", "fan2"] if is_later else ["fan2"])


def test_a_small_board_takes_starts_as_it_hears_of_them() -> None:
    bench = Bench(AB, joins=False)
    bench.hear(told(0, "b", 9))
    bench.hear(told(1, "a", 8, 1))
    assert bench.owned["b"] == ["fan2"]


def test_a_place_of_a_strand_takes_no_run() -> None:
    strand = Cue("idle", "", Repeat(InTurn((Throw("fan5", True), Hold(500))), None))
    bench = Bench(show_of(strand, lasting("a", 0, 1), idle=("idle",)))
    bench.hear(told(0, "a"))
    assert bench.cues == {0: "idle"}
    bench.hear(told(1, "a"))
    assert bench.cues == {0: "idle", 1: "a"}


def test_a_run_that_ends_by_itself_stays_without_outputs_until_the_list_lacks_it() -> None:
    bench = Bench(show_of(lasting("a", 0, 1, ms=100), lasting("b", 1, 2)))
    bench.hear(told(0, "a"))
    bench.play(frames=6)
    assert bench.owned == {"a": []}
    bench.hear(live={0})
    assert bench.cues == {0: "a"}
    bench.hear(live=())
    assert bench.cues == {}


# -- room ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("threads", "joined"), [(4, True), (5, False)])
def test_what_is_more_than_ten_threads_with_those_that_live_is_not_joined(
    threads: int, joined: bool
) -> None:
    six = wide("six", *range(6))
    other = wide("other", *range(6, 6 + threads))
    bench = Bench(show_of(six, other))
    bench.hear(told(0, "six"))
    bench.hear(told(1, "other", 1))
    assert bench.cues == ({0: "six", 1: "other"} if joined else {0: "six"})


def test_where_room_is_short_those_end_that_the_list_does_not_name() -> None:
    bench = Bench(show_of(wide("six", *range(6)), wide("five", *range(6, 11))))
    bench.hear(told(0, "six"))
    bench.hear(told(1, "five", 1), live={1})
    assert bench.cues == {1: "five"}


def test_what_takes_the_place_of_another_needs_no_room_beside_it() -> None:
    bench = Bench(show_of(wide("six", *range(6)), wide("five", *range(6, 11))))
    bench.hear(told(0, "six"))
    bench.hear(told(0, "five", 1))
    assert bench.cues == {0: "five"}


# -- letting go ------------------------------------------------------------------------------------

PART = show_of(lasting("a", 0, 1, let_go="part"), lasting("part", 1, 2))


def test_what_is_told_as_let_go_lets_go_once() -> None:
    bench = Bench(PART)
    bench.hear(told(0, "a", held=True))
    bench.play(frames=9)
    bench.hear(told(0, "a", age=2, let_go=True))
    assert bench.cues == {0: "part"}
    # two frames ago, less the one before: what lies before the last frame begins there
    assert [run.began // FRAME_CLOCK for run in bench.board.runs.values()] == [7]
    bench.hear(told(0, "a", age=3, let_go=True))
    assert bench.cues == {0: "part"}
    assert not bench.board.runs[0].held
    assert len(bench.thrown(1)) == 2


@pytest.mark.parametrize("joins", [True, False])
def test_what_was_let_go_before_it_was_heard_of_starts_with_its_part_or_is_left_out(
    joins: bool,
) -> None:
    bench = Bench(PART, joins)
    bench.hear(told(0, "a", let_go=True))
    assert bench.cues == ({0: "part"} if joins else {})
    if joins:
        run = bench.board.runs[0]
        assert (run.held, run.again) == (False, False)


def test_a_cue_without_a_part_here_is_joined_as_it_is() -> None:
    bench = Bench(AB)
    bench.hear(told(0, "a", let_go=True, held=True))
    assert (bench.cues, bench.board.runs[0].held) == ({0: "a"}, True)
    bench.hear(told(0, "a", age=1, let_go=True))
    assert (bench.cues, bench.board.runs[0].held) == ({0: "a"}, False)


# -- what began late -------------------------------------------------------------------------------


@pytest.mark.parametrize("age", [0, 1, 4, 5, 6, 7])
@pytest.mark.parametrize("joins", [True, False])
def test_what_began_more_than_five_frames_ago_is_joined_in_silence_or_left_out(
    age: int, joins: bool
) -> None:
    """It lands in that very frame. A switch takes the state that is wanted at once, of the frame
    before; else it takes it no earlier than that."""
    bench = Bench(AB, joins)
    bench.play(frames=20)
    bench.hear(told(0, "a", age=age))
    assert bench.cues == ({0: "a"} if joins or age <= 5 else {})
    if bench.cues:
        assert bench.thrown(0) == [19 * 20.0]
        assert bench.board.runs[0].began == (20 - age - 1) * FRAME_CLOCK


@pytest.mark.parametrize("age", [5, 6])
def test_a_fade_that_began_late_ends_in_time_or_glides_to_where_it_should_be(age: int) -> None:
    """A second from 20 - age - 1 frames on. Five frames late it has 900 ms; later it glides."""
    fade = Cue("fade", "", Fade("lamp", 80.0, 1000))
    bench = Bench(show_of(fade, glide_ms=300))
    bench.play(frames=20)
    bench.hear(told(0, "fade", age=age))
    fading = bench.outputs.lights["lamp"][-1]
    assert (fading.start_ms, fading.target) == (380.0, (160.0,))
    assert fading.duration_ms == (900.0 if age == 5 else 300.0)


def test_what_is_behind_by_more_than_64_statements_lands_a_frame_later() -> None:
    """Thrown every 20 ms: a pass is an act, a wait and the loop's end. Begun so many frames ago
    there are two passes more by now, but for the last end, and the loop's beginning: of 19 frames
    21 acts, 21 waits, 20 ends and 1, which are 63."""
    row = Repeat(InTurn((Throw("fan0", True), Hold(20))), None)
    for age, lands_ms in ((19, 39 * 20.0), (20, 40 * 20.0)):
        bench = Bench(show_of(Cue("a", "", row)))
        bench.play(frames=40)
        bench.hear(told(0, "a", age=age))
        assert bool(bench.thrown(0)) == (age == 19)
        bench.play()
        assert bench.thrown(0)[0] == lands_ms


# -- idle ------------------------------------------------------------------------------------------

IDLE = show_of(
    Cue("idle", "", Repeat(InTurn((Throw("fan5", True), Hold(10_000))), None)), idle=("idle",)
)


@pytest.mark.parametrize(
    ("off", "anew"),
    [(-3, True), (-2, True), (-1, False), (0, False), (1, False), (2, True), (3, True)],
)
def test_strands_begin_anew_where_their_beginning_differs_by_two_frames(
    off: int, anew: bool
) -> None:
    """Here they began in frame 0, as if at -20 ms; there `off` frames later."""
    bench = Bench(IDLE)
    bench.play(frames=5)
    bench.hear(idle_age=5 - off)
    assert len(bench.thrown(5)) == (2 if anew else 1)
    if anew:
        run = bench.board.runs[0]
        assert run.began == (off - 1) * FRAME_CLOCK
    bench.hear(idle_age=6 - off)
    assert len(bench.thrown(5)) == (2 if anew else 1)


@pytest.mark.parametrize(
    ("age", "joins", "anew"), [(5, False, True), (6, False, False), (6, True, True)]
)
def test_a_small_board_leaves_strands_alone_that_began_too_long_ago(
    age: int, joins: bool, anew: bool
) -> None:
    bench = Bench(IDLE, joins)
    bench.play(frames=40)
    bench.hear(idle_age=age)
    assert len(bench.thrown(5)) == (2 if anew else 1)


# -- modes -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mode", "asked", "becomes"),
    [
        ("ready", False, "ready"),
        ("starting", False, "ready"),
        ("stopping", False, "limp"),  # nothing moves here: at once
        ("limp", False, "limp"),
        ("limp", True, "limp"),
    ],
)
def test_a_board_takes_the_mode_of_the_one_that_leads(
    mode: Mode, asked: bool, becomes: Mode
) -> None:
    bench = Bench(AB)
    bench.hear(told(0, "a"))
    bench.hear(mode=mode, asked=asked)
    assert bench.board.mode == becomes
    assert (bench.cues == {}) == (becomes == "limp")
    bench.hear(mode="ready")
    assert bench.board.mode == ("starting" if becomes == "limp" else "ready")
    bench.play()
    assert bench.board.mode == "ready"


@pytest.mark.parametrize("what", ["stop", "limp", "button"])
def test_what_was_stopped_here_stays_limp_until_the_leader_was_limp_or_a_standby_here(
    what: str,
) -> None:
    request = {
        "stop": Request("stop"),
        "limp": Request("limp"),
        "button": Request("down", button=30),
    }[what]
    for ends in ("limp", "standby"):
        bench = Bench(AB)
        bench.play(request)
        for mode in ("ready", "stopping", "ready"):
            bench.hear(mode=mode)
            assert bench.board.mode == "limp"
        if ends == "limp":
            bench.hear(mode="limp", asked=True)
            assert bench.board.mode == "limp"
        else:
            bench.play(Request("standby"))
        bench.hear(mode="ready")
        assert bench.board.mode in ("starting", "ready")


def test_a_button_that_stops_nothing_holds_no_board() -> None:
    bench = Bench(AB)
    bench.play(Request("down", button=3))
    bench.hear(mode="limp", asked=True)
    bench.hear(mode="ready")
    assert bench.board.mode == "starting"


def test_a_leader_of_another_show_makes_limp_and_never_starts() -> None:
    bench = Bench(AB)
    bench.hear(mode="limp", asked=True, foreign=True)
    assert bench.board.mode == "limp"
    bench.hear(mode="ready", foreign=True)
    assert bench.board.mode == "limp"
    bench.hear(mode="ready")
    assert bench.board.mode == "starting"
