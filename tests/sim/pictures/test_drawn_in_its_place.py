"""What is drawn lies where it should: limits, hatches, shades, the scale of a plane, poses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from sim.model import Adapter, Cue, Press, Show, Supply
from sim.pictures.creature import creature
from sim.pictures.plot_look import QUIET_FILL, limit_line, show_travel
from sim.pictures.plots import Plotted, plane_figure, plotted, score_figure
from sim.pictures.shelves import POSES, _chosen
from sim.rehearsal.rehearse import rehearse
from tests.sim.pictures.test_posing import ARM
from tests.sim.small_shows import HEAD, JAW, move, show_of

SHOW = show_of(Cue("open", "", move("jaw", 50, 400)), Cue("shut", "", move("jaw", 4, 500)))
PRESSES = (Press(600, button=1), Press(1400, button=2), Press(2400, action="stop"))


def fed() -> Plotted:
    """The show on a board that an adapter feeds."""
    boards = (replace(HEAD, supply="pack"),)
    rig = replace(SHOW.rig, supplies=(Supply("pack", Adapter(6.0, 5.0)),), boards=boards)
    return plotted(rehearse(replace(SHOW, rig=rig), PRESSES, 5000))


def panel() -> Axes:
    return Figure().add_subplot()


def panel_of(figure: Figure, name: str) -> Axes:
    return next(p for p in figure.axes if any(t.get_text().startswith(name) for t in p.texts))


def shades(of: Axes) -> list[tuple[float, float]]:
    """From when to when (s) a panel is shaded, in order."""
    spans = [(float(one.get_x()), float(one.get_width())) for one in of.patches]  # type: ignore[attr-defined]
    return sorted((x, x + wide) for x, wide in spans)


def test_a_limit_is_a_dashed_line_at_its_level_with_its_words_on_it() -> None:
    on = panel()
    limit_line(on, 2.5, "adapter 2.5 A", 9.0)
    (line,) = on.lines
    assert set(np.asarray(line.get_ydata(), dtype=float)) == {2.5}
    assert line.is_dashed()
    (words,) = on.texts
    assert words.get_position() == (9.0, 2.5)
    assert words.get_color() == line.get_color()


def test_beyond_the_ends_of_a_travel_a_tenth_of_it_is_hatched() -> None:
    on = panel()
    show_travel(on, -10.0, 30.0)
    assert on.get_ylim() == pytest.approx((-14.0, 34.0))
    hatched = sorted((one.get_y(), one.get_y() + one.get_height()) for one in on.patches)  # type: ignore[attr-defined]
    assert hatched == [pytest.approx((-14.0, -10.0)), pytest.approx((30.0, 34.0))]
    ends = {float(y) for line in on.lines for y in line.get_ydata()}
    assert ends == {-10.0, 30.0}


def test_modes_other_than_ready_are_shaded_over_the_cues_and_in_every_panel() -> None:
    shown = fed()
    figure = score_figure(shown)
    quiet = [
        (mode.start_ms / 1000.0, mode.end_ms / 1000.0)
        for mode in shown.trajectories.modes
        if mode.mode != "ready"
    ]
    assert len(quiet) == 3
    boxes = [
        one.get_paths()[0].get_extents()
        for one in figure.axes[0].collections
        if to_hex(one.get_facecolor()[0]) == QUIET_FILL  # type: ignore[index]
    ]
    assert sorted((box.x0, box.x1) for box in boxes) == [pytest.approx(one) for one in quiet]
    runs = [(run.start_ms / 1000.0, run.end_ms / 1000.0) for run in shown.cues()]
    for name in ("jaw", "fin", "pack"):
        found = shades(panel_of(figure, name))
        for one in (*quiet, *runs):
            assert any(one == pytest.approx(shade) for shade in found), name


@pytest.mark.parametrize("ends_ms", [(1800.0, 2500.0), (2500.0, 1800.0)])
def test_a_cue_of_several_boards_lasts_as_long_as_on_the_one_that_takes_longest(
    ends_ms: tuple[float, float],
) -> None:
    shown = fed()
    one = next(run for run in shown.trajectories.runs if run.cue == "open")
    runs = [
        replace(one, board=board, end_ms=end)
        for board, end in zip(("head", "back"), ends_ms, strict=True)
    ]
    both = replace(shown, trajectories=replace(shown.trajectories, runs=runs))
    assert [run.end_ms for run in both.cues()] == [2500.0]


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_plane_shows_more_torque_and_speed_than_the_servo_has_whichever_way(way: float) -> None:
    shown = fed()
    work = shown.work.servos["jaw"]
    hard = replace(
        work,
        torque_nm=np.full_like(work.torque_nm, way * 7.0),
        speed_deg_s=np.full_like(work.speed_deg_s, way * 5000.0),
    )
    over = replace(shown, work=replace(shown.work, servos={**shown.work.servos, "jaw": hard}))
    plane = plane_figure(over, "jaw").axes[0]
    behind, ahead = sorted(abs(end) for end in plane.get_xlim())
    assert ahead == pytest.approx(1.08 * 7.0)
    assert behind > 0.1 * ahead
    assert plane.get_ylim() == pytest.approx((0.0, 1.12 * 5000.0))


def test_room_is_made_for_both_ends_of_all_travels_at_once_and_for_what_lies_between() -> None:
    for index in range(4):
        poses = [_chosen(ARM, n, index) for n in range(POSES)]
        assert poses[:2] == [0.0, 90.0]
        assert all(0.0 <= one <= 90.0 for one in poses)
        assert len(set(poses)) == POSES


def test_how_hard_a_part_is_to_hold_is_looked_at_upright_and_leaning_if_its_wearer_leans() -> None:
    for tilt, several in ((0.0, False), (20.0, True)):
        wearer = replace(SHOW.rig.wearer, tilt_deg=tilt)
        rig = replace(SHOW.rig, wearer=wearer, outputs=(JAW,))
        (part,) = creature(Show(rig, SHOW.score))
        assert part.held is not None
        assert (len(part.held.shares) > 1) is several
