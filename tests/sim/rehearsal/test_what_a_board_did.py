"""What a rehearsal writes down of a board, and how its outputs begin and end, worked by hand.

The rules are those of TABLE.md, sections 2, 3, 7, 10 and 12. A board with two servos is ready after
400 ms; a press counts from the frame before the one that takes it up.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    MINIMUM_JERK,
    UNIFORM,
    Binding,
    Board,
    Channel,
    Cue,
    Effect,
    Fade,
    Follow,
    Hold,
    InTurn,
    Lamp,
    Law,
    Move,
    Press,
    Rig,
    Score,
    Sensor,
    Shine,
    Show,
    Throw,
)
from sim.rehearsal.outputs import OutputRows
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rehearsal.trajectories import Trajectories
from sim.score.planned_moves import motion_limits
from tests.sim.small_shows import FAN, JAW, LURE, move, show_of

OPEN = Cue("open", "", move("jaw", 50, 1000))
BLOW = Cue("blow", "", InTurn((Throw("fan", True), Hold(400))))


def modes(played: Trajectories) -> list[tuple[str, float, float]]:
    return [(span.mode, span.start_ms, span.end_ms) for span in played.modes]


def powered(played: Trajectories) -> dict[str, list[tuple[float, float]]]:
    return {n: [(s.start_ms, s.end_ms) for s in row] for n, row in played.powered.items()}


def runs(played: Trajectories) -> list[tuple[str, float, float]]:
    return [(run.cue, run.start_ms, run.end_ms) for run in played.runs]


# -- what is written down --------------------------------------------------------------------------


def test_modes_and_pulses_from_start_over_stop_and_standby_to_the_end() -> None:
    """The stop counts from 1980 ms on and takes 1.5 s. The last frame's pulses are still sent."""
    presses = (
        Press(600, button=1),
        Press(2000, action="stop"),
        Press(4000, action="standby"),
    )
    played = rehearse(show_of(OPEN, stop_ms=1500), presses, 5000)
    assert modes(played) == [
        ("starting", 0.0, 400.0),
        ("ready", 400.0, 2000.0),
        ("stopping", 2000.0, 3480.0),
        ("limp", 3480.0, 4000.0),
        ("starting", 4000.0, 4400.0),
        ("ready", 4400.0, 5000.0),
    ]
    assert powered(played) == {
        "jaw": [(0.0, 3480.0), (4000.0, 5020.0)],
        "fin": [(200.0, 3480.0), (4200.0, 5020.0)],
    }


def test_a_servo_that_had_no_pulses_yet_has_none_after_limp() -> None:
    played = rehearse(show_of(OPEN), (Press(100, action="limp"),), 1000)
    assert powered(played) == {"jaw": [(0.0, 100.0)], "fin": []}
    assert modes(played) == [("starting", 0.0, 100.0), ("limp", 100.0, 1000.0)]


def test_the_second_servo_has_its_pulses_after_200_ms() -> None:
    """A limp in that very frame comes before them."""
    for at_ms, spans in ((200, []), (201, [(200.0, 220.0)])):
        played = rehearse(show_of(OPEN), (Press(at_ms, action="limp"),), 1000)
        assert powered(played)["fin"] == spans


def test_a_board_that_is_ready_at_once_was_never_starting() -> None:
    show = show_of(BLOW)
    show = replace(show, rig=replace(show.rig, outputs=(FAN,)))
    played = rehearse(show, (Press(0, button=1), Press(500, button=1)), 1000)
    assert modes(played) == [("ready", 0.0, 1000.0)]
    # nothing begins before power-up; the second one goes on when the rehearsal ends
    assert runs(played) == [("blow", 0.0, 380.0), ("blow", 480.0, 880.0)]


def test_what_goes_on_at_the_end_is_cut_there() -> None:
    played = rehearse(show_of(OPEN, BLOW), (Press(610, button=1),), 1010)
    assert runs(played) == [("open", 600.0, 1010.0)]
    assert modes(played)[-1] == ("ready", 400.0, 1010.0)


def test_a_moment_lasts_no_time_and_never_less() -> None:
    moment = Cue("moment", "", Throw("fan", True))
    played = rehearse(show_of(moment), (Press(1000, button=1),), 2000)
    assert runs(played) == [("moment", 980.0, 980.0)]


def test_each_cue_of_a_button_that_is_refused_is_written_down() -> None:
    bindings = (Binding(1, "open"), Binding(1, "blow"), Binding(2, "blow"))
    show = show_of(OPEN, BLOW, bindings=bindings)
    presses = (Press(100, button=1), Press(205, cue="blow"), Press(200, button=30))
    played = rehearse(show, presses, 1000)
    assert [(one.cue, one.at_ms, one.board) for one in played.refusals] == [
        ("open", 100.0, "head"),
        ("blow", 100.0, "head"),
        ("blow", 220.0, "head"),
    ]


def test_each_piece_says_which_cue_it_is_of() -> None:
    body = InTurn((move("jaw", 9), Fade("lure", 50.0, 100), Throw("fan", True)))
    lit = Cue("all", "", InTurn((Effect("lure", "breathe", 700), body)))
    played = rehearse(show_of(lit), (Press(1000, button=1), Press(2500, action="stop")), 6000)
    assert [piece.cue for piece in played.motions["jaw"]] == [None, "all", None]
    assert [piece.cue for piece in played.lights["lure"]] == [None, None, "all", None]
    assert [piece.cue for piece in played.effects["lure"] if piece.effect] == ["all"] * len(
        [piece for piece in played.effects["lure"] if piece.effect]
    )
    assert [piece.cue for piece in played.switches["fan"]] == [None, "all", None, None]


def test_a_stop_takes_everything_to_its_safe_state_over_the_stop_time() -> None:
    body = InTurn((Throw("fan", True), Fade("lure", 90.0, 100), move("jaw", 30, 500), Hold(9000)))
    show = show_of(Cue("all", "", body), stop_ms=1000)
    played = rehearse(show, (Press(1000, button=1), Press(3000, action="stop")), 6000)
    jaw, fade = played.motions["jaw"][-1], played.lights["lure"][-1]
    assert (jaw.start_ms, jaw.end_ms, jaw.target_deg) == (2980.0, 3980.0, JAW.safe_deg)
    assert jaw.law == MINIMUM_JERK
    assert (fade.start_ms, fade.end_ms, fade.target) == (2980.0, 3980.0, (2 * LURE.safe_pct,))
    assert fade.law == UNIFORM
    thrown = played.switches["fan"]
    assert [(one.start_ms, one.on) for one in thrown][1:3] == [(980.0, True), (3000.0, False)]


# -- statements ------------------------------------------------------------------------------------


@pytest.fixture
def rows() -> OutputRows:
    show = show_of(OPEN)
    return OutputRows(show, "head", motion_limits(show))


def test_what_comes_late_is_shorter_by_that_and_takes_no_less_than_no_time(
    rows: OutputRows,
) -> None:
    for act in (move("jaw", 9, 100), Fade("lure", 50.0, 100)):
        assert rows.takes_ms(act) == 100
        assert [rows.takes_ms(rows.shortened(act, ms)) for ms in (0, 30, 99, 100, 101)] == [
            *[100, 70, 1, 0, 0]
        ]
        assert replace(rows.shortened(act, 30), duration_ms=100) == act
    for other in (Throw("fan", True), Effect("lure", "breathe", 700)):
        assert rows.takes_ms(other) == 0
        assert rows.shortened(other, 30) == other


def test_only_an_effect_is_one_and_only_a_move_goes_less_far(rows: OutputRows) -> None:
    """Half of the way from the safe 4 deg to 50 deg; 65536 is all of it."""
    others = (Fade("lure", 50.0, 100), Throw("fan", True))
    effect = Effect("lure", "breathe", 700)
    assert [rows.lays_effect(act) for act in (effect, move("jaw", 50), *others)] == [
        *[True, False, False, False]
    ]
    half, whole = (rows.scaled(move("jaw", 50), scale) for scale in (1 << 7, 1 << 8))
    assert isinstance(half, Move)
    assert isinstance(whole, Move)
    for other in (*others, effect):
        assert rows.scaled(other, 1) == other


def test_a_statement_takes_its_own_time_and_at_least_what_is_asked(rows: OutputRows) -> None:
    for ms, least_ms, lasts_ms in ((0, 0, 0), (100, 0, 100), (100, 99, 100), (100, 101, 101)):
        rows.stand_by(0)
        rows.act(Fade("lure", 50.0, ms), 256, "a", least_ms)
        assert rows.lights["lure"][-1].duration_ms == lasts_ms
        assert rows.output_end("lure") == 256 * (1 + lasts_ms)
        rows.act(Fade("lure", 90.0, ms), 256, "a")
        assert rows.lights["lure"][-1].duration_ms == ms
    rows.act(move("jaw", 9, 1000), 512, "a", 1500)
    assert rows.output_end("jaw") == rows.motions_end() == 512 + 1500 * 256
    assert rows.output_end("fan") == 0


def test_a_glide_goes_by_its_own_law_over_its_own_time(rows: OutputRows) -> None:
    rows.stand_by(0)
    rows.glide(move("jaw", 9, 100, "cycloidal"), 256, 800, "idle")
    jaw = rows.motions["jaw"][-1]
    assert (jaw.law, jaw.end_ms, jaw.target_deg, jaw.cue) == (MINIMUM_JERK, 801.0, 9.0, "idle")
    rows.glide(Fade("lure", 50.0, 100, Law("cycloidal")), 256, 800, "idle")
    lure = rows.lights["lure"][-1]
    assert (lure.law, lure.end_ms, lure.target, lure.cue) == (UNIFORM, 801.0, (100.0,), "idle")
    rows.glide(Throw("fan", True), 256, 800, "idle")
    assert [(one.start_ms, one.on) for one in rows.switches["fan"]] == [(0.0, False), (1.0, True)]


# -- what follows, and what shines -----------------------------------------------------------------

HEAD = Board("head", "atmega2560", 1)
VOICE = Sensor("voice", "head", 54)
GLOW = Lamp("glow", "head", 23, safe_pct=10.0)


def following(*cues: Cue, stop_ms: int = 1000) -> Show:
    """The jaw goes from 10 to 40 deg with a voice, one lamp from 20 to 80 %; another lamp shines
    with the jaw, from 20 % at 0 deg to 80 % at 30 deg."""
    rig = Rig(
        boards=(HEAD,),
        outputs=(JAW, LURE, GLOW),
        sensors=(VOICE,),
        follows=(
            Follow("jaw", "voice", 0.0, 1.0, 10.0, 40.0),
            Follow("lure", "voice", 0.0, 1.0, 20.0, 80.0),
        ),
        shines=(Shine("glow", "jaw", 0.0, 30.0, 20.0, 80.0),),
    )
    bindings = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, start=1))
    return Show(rig, Score("one", cues, bindings, stop_ms=stop_ms))


def put(at_ms: int, share: float) -> Press:
    return Press(at_ms, source="voice", value=share)


@pytest.mark.parametrize("what", ["stop", "limp", "cue"])
def test_what_follows_goes_on_from_where_it_is_when_something_takes_it(what: str) -> None:
    """It stands at 40 deg by then. Limp, it stays told to be there; a cue gives it back."""
    close = Cue("close", "", move("jaw", 5, 1000))
    press = Press(4000, button=1) if what == "cue" else Press(4000, action=what)  # type: ignore[arg-type]
    played = rehearse(following(close), (put(500, 1.0), press), 8000)
    span, *_ = played.followed["jaw"]
    assert span.end_ms == pytest.approx(4000.0 if what == "limp" else 3980.0, abs=20.0)
    angle = sample(played, np.arange(3900.0, 6000.0, 20.0)).servos["jaw"].angle_deg
    assert angle[:4] == pytest.approx([40.0] * 4, abs=0.1)
    assert np.abs(np.diff(angle)).max() < 2.0
    lowest = {"stop": JAW.safe_deg, "limp": 40.0, "cue": 5.0}[what]
    assert angle.min() == pytest.approx(lowest, abs=0.2)


@pytest.mark.parametrize(("share", "half_pct"), [(0.105, 52.0), (0.1075, 53.0), (0.5, 100.0)])
def test_a_lamp_that_is_taken_stays_at_the_nearest_level_that_a_table_has(
    share: float, half_pct: float
) -> None:
    """From 40 up to 160 half percents. A source trembles by 2 of 1023: of 108 and 110 it is
    taken to be at 106 and 108, for which the lamp is at 52.4 and 52.7."""
    wait = Cue("wait", "", InTurn((Hold(500), Fade("lure", 90.0, 100))))
    played = rehearse(following(wait), (put(500, share), Press(4000, button=1)), 6000)
    stays = next(one for one in played.lights["lure"] if one.start_ms >= 3900.0)
    assert stays.target == (half_pct,)
    assert stays.duration_ms == 20.0
    assert stays.origin[0] == pytest.approx(half_pct, abs=0.5)
    later = sample(played, [4200.0]).lamps["lure"].level_pct
    assert later == pytest.approx([half_pct / 2])


@pytest.mark.parametrize("follows", [False, True])
def test_a_lamp_that_is_taken_while_it_shines_goes_on_from_the_light_that_is_seen(
    follows: bool,
) -> None:
    """With the jaw at 10 deg, where its source or a cue has it: 40 %."""
    dim = Cue("dim", "", Fade("glow", 0.0, 1000))
    turn = Cue("turn", "", InTurn((move("jaw", 10, 500), Hold(9000))))
    show = following(dim, turn)
    if not follows:
        show = replace(show, rig=replace(show.rig, follows=show.rig.follows[1:]))
    presses = (Press(800, button=2), Press(4000, button=1))
    played = rehearse(show, presses[1:] if follows else presses, 8000)
    fading = next(one for one in played.lights["glow"] if one.cue == "dim")
    assert fading.origin == (pytest.approx(80.0, abs=0.1),)
    assert sample(played, [3960.0]).lamps["glow"].level_pct == pytest.approx([40.0], abs=0.1)


def test_what_follows_a_sensor_alone_needs_no_more_than_its_value() -> None:
    """From the first frame in which the board is ready to the end of the rehearsal."""
    played = rehearse(following(), (put(500, 1.0),), 6000)
    ready = next(span for span in played.modes if span.mode == "ready")
    for name in ("jaw", "lure"):
        (span,) = played.followed[name]
        assert span.times_ms[0] == ready.start_ms
    seen = sample(played, [5000.0])
    assert seen.servos["jaw"].angle_deg == pytest.approx([40.0], abs=0.1)
    assert seen.lamps["lure"].level_pct == pytest.approx([80.0], abs=0.2)


# -- a source that is lost -------------------------------------------------------------------------

STICK = Channel("stick", "head", 35, ())


def steered(*idle: Cue) -> Show:
    """A part and a lamp that follow a stick: at 1.5 ms at 30 deg and at 60 %."""
    rig = Rig(
        boards=(HEAD,),
        outputs=(JAW, LURE, GLOW),
        channels=(STICK,),
        follows=(
            Follow("jaw", "stick", 1000.0, 2000.0, 10.0, 50.0),
            Follow("lure", "stick", 1000.0, 2000.0, 20.0, 100.0),
        ),
    )
    names = tuple(cue.name for cue in idle)
    return Show(rig, Score("one", idle, (), idle=names, glide_ms=1500))


@pytest.mark.parametrize("idles", [False, True])
def test_what_follows_goes_the_way_back_when_its_source_is_lost(idles: bool) -> None:
    """The last pulse comes in frame 149; the 25th that is missing is that of frame 174. From the
    frame before, at 3460 ms, all goes to rest, or to what idle wants. It is held until then."""
    row = (move("jaw", 20, 100), Fade("lure", 40.0, 100), Hold(60_000))
    show = steered(*[Cue("idle", "", InTurn(row))] * idles)
    presses = (Press(0, source="stick", value=1500.0), Press(3000, source="stick", value=None))
    played = rehearse(show, presses, 6000)
    held, jaw = played.motions["jaw"][-2:]
    assert (held.start_ms, jaw.start_ms, jaw.end_ms) == (3460.0, 3460.0, 4960.0)
    assert held.target_deg == pytest.approx(30.0, abs=0.01)
    assert (jaw.target_deg, jaw.cue) == ((20.0, "idle") if idles else (JAW.safe_deg, None))
    still, lure = played.lights["lure"][-2:]
    assert (still.start_ms, still.end_ms, still.target) == (3460.0, 3480.0, (120.0,))
    assert (lure.start_ms, lure.end_ms) == (3460.0, 4960.0)
    assert (lure.target, lure.cue) == (((80.0,), "idle") if idles else ((10.0,), None))
    # a lamp that follows nothing goes on as it was
    assert [one.start_ms for one in played.lights["glow"]][2:] == []
    for name in ("jaw", "lure"):
        (span,) = played.followed[name]
        assert span.end_ms == pytest.approx(3460.0, abs=0.01)


def test_a_source_that_comes_back_is_followed_again_from_where_its_output_is() -> None:
    presses = (
        Press(0, source="stick", value=1500.0),
        Press(3000, source="stick", value=None),
        Press(5000, source="stick", value=2000.0),
    )
    played = rehearse(steered(), presses, 8000)
    _, second = played.followed["jaw"]
    # ten good pulses from frame 250 on: it is live in frame 259
    assert second.times_ms[0] == 5180.0
    assert second.place[0] == pytest.approx(JAW.safe_deg)
    assert sample(played, [7900.0]).servos["jaw"].angle_deg == pytest.approx([50.0], abs=0.1)


def test_what_follows_on_a_board_that_is_led_is_taken_from_where_it_is_too() -> None:
    """The part stands at 40 deg. The cue is joined in frame 200, and counts from the one before."""
    led = following(Cue("close", "", move("jaw", 5, 1000)))
    boards = (Board("hub", "atmega328p", 2, leads=True), HEAD)
    played = rehearse(
        replace(led, rig=replace(led.rig, boards=boards)),
        (put(500, 1.0), Press(4000, button=1)),
        4800,
    )
    (span,) = played.followed["jaw"]
    assert span.end_ms == pytest.approx(3980.0, abs=0.01)
    angle = sample(played, np.arange(3900.0, 4800.0, 20.0)).servos["jaw"].angle_deg
    assert angle[:4] == pytest.approx([40.0] * 4, abs=0.1)
    assert np.abs(np.diff(angle)).max() < 2.0
    assert angle[-1] < 10.0
