"""Pictures: labelled with units, alike each time, and drawn for rigs of any kind."""

from __future__ import annotations

import re
import struct
import warnings
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from small_shows import HEAD, JAW, move, show_of

from sim.model import (
    Adapter,
    Cue,
    InTurn,
    Lamp,
    Load,
    Press,
    Repeat,
    Rig,
    Score,
    Show,
    Supply,
    Throw,
    Together,
)
from sim.pictures import plot_look
from sim.pictures.plot_cues import lanes, quiet_spans
from sim.pictures.plot_data import Plotted
from sim.pictures.plot_look import DPI, FAR, name_in
from sim.pictures.plot_plane import along_motion
from sim.pictures.plot_servo import available_nm
from sim.pictures.plots import pictures, plane_figure, plotted, score_figure, servo_figure
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.trajectories import CueRun, ModeSpan
from sim.rig import servo as servo_model

SHOW = show_of(
    Cue("snap", "", InTurn((move("jaw", 50, 300), Throw("fan", True), move("jaw", 4, 500)))),
    Cue("wave", "", Repeat(move("fin", 30, 400), 2)),
)
PRESSES = (Press(600, button=1), Press(900, button=2), Press(2400, cue="snap"))
PLAYED = rehearse(SHOW, PRESSES, 4000)
SHOWN = plotted(PLAYED)


def words(figure: Figure) -> str:
    found = [text.get_text() for text in figure.texts]
    for panel in figure.axes:
        found += [text.get_text() for text in panel.texts]
        found += [panel.get_xlabel(), panel.get_ylabel()]
        legend = panel.get_legend()
        found += [text.get_text() for text in legend.get_texts()] if legend else []
    return "\n".join(found)


def test_the_score_names_every_output_and_cue_with_units() -> None:
    text = words(score_figure(SHOWN))
    for word in ("Test", "jaw\ndeg", "fin\ndeg", "lure", "belly", "fan", "snap", "wave", "time, s"):
        assert word in text


def test_a_servos_picture_has_units_on_every_panel() -> None:
    text = words(servo_figure(SHOWN, "jaw"))
    for word in ("Servo jaw", "angle\ndeg", "speed\ndeg/s", "acceleration\ndeg/s²", "torque\nN.m"):
        assert word in text
    assert "1.00 N.m, 400 deg/s at 6 V" in text


def test_the_plane_tells_the_hardest_instant() -> None:
    rig = replace(
        SHOW.rig, outputs=(replace(JAW, load=Load(friction_nm=0.05)), *SHOW.rig.outputs[1:])
    )
    shown = plotted(rehearse(replace(SHOW, rig=rig), PRESSES, 4000))
    text = words(plane_figure(shown, "jaw"))
    share = np.max(shown.work.servos["jaw"].share)
    assert f"hardest: {share:.0%} of all" in text
    assert "torque along the motion, N.m" in text


def test_cues_of_a_servo_without_a_load_stand_beside_each_other_in_its_plane() -> None:
    cues = (Cue("nod", "", move("jaw", 50, 300)), Cue("drop", "", move("jaw", 4, 500)))
    presses = (Press(600, cue="nod"), Press(1600, cue="drop"))
    shown = plotted(rehearse(show_of(*cues), presses, 4000))
    assert not np.any(shown.work.servos["jaw"].torque_nm)
    figure = plane_figure(shown, "jaw")
    panel = figure.axes[0]
    lines = {line.get_label(): np.asarray(line.get_xdata(), dtype=float) for line in panel.lines}
    places = {name: set(lines[name][~np.isnan(lines[name])]) for name in ("nod", "drop")}
    assert places == {"nod": {1.0}, "drop": {0.0}}
    low, high = panel.get_xlim()
    assert low < 0.0 < 1.0 < high
    assert "no torque" in panel.get_xlabel()
    assert "hardest" in words(figure)


def test_pngs_are_a4_wide_at_the_most_and_readable() -> None:
    a4_in = 210 / 25.4  # ISO 216
    for name, content in pictures(PLAYED):
        assert content.startswith(b"\x89PNG"), name
        width, height = struct.unpack(">II", content[16:24])
        assert 1000 < width <= a4_in * 160
        assert 300 < height < 6000


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_same_rehearsal_gives_the_same_bytes(kind: str) -> None:
    small = Show(Rig(boards=(HEAD,), outputs=(JAW,)), Score("Small"))
    once, again = (dict(pictures(rehearse(small, (), 800), kind)) for _ in range(2))
    assert once == again


def test_svgs_are_svgs_without_a_date() -> None:
    found = dict(pictures(PLAYED, "svg"))
    assert set(found) == {
        "score.svg",
        "servo-jaw.svg",
        "plane-jaw.svg",
        "servo-fin.svg",
        "plane-fin.svg",
    }
    for content in found.values():
        assert content.startswith(b"<?xml")
        assert not re.search(rb"<dc:date>", content)


@pytest.mark.parametrize(
    "show",
    [
        Show(Rig(boards=(HEAD,), outputs=(Lamp("lure", "head", 22),)), Score("Lamp alone")),
        Show(Rig(boards=(HEAD,)), Score("Nothing")),
        Show(Rig(), Score("No board")),
        Show(Rig(boards=(HEAD,)), Score("$5 & <b> _x_ 灯\n")),
    ],
)
def test_rigs_of_any_kind_can_be_drawn(show: Show) -> None:
    assert dict(pictures(rehearse(show, (), 500)))["score.png"]


def test_a_limp_part_has_no_line() -> None:
    played = rehearse(SHOW, (Press(600, action="limp"),), 2000)
    panel = score_figure(plotted(played)).axes[1]
    heights = np.asarray(panel.lines[0].get_ydata() if len(panel.lines) == 1 else _command(panel))
    assert np.isnan(heights[-1])
    assert not np.isnan(heights[0])


def _command(panel) -> np.ndarray:
    return max((line.get_ydata() for line in panel.lines), key=len)


def test_runs_side_by_side_get_lanes_of_their_own() -> None:
    found = [
        CueRun("a", "head", 0.0, 1000.0),
        CueRun("b", "head", 500.0, 2000.0),
        CueRun("c", "head", 980.0, 1500.0),
        CueRun("d", "head", 1990.0, 3000.0),
    ]
    assert lanes(found) == [0, 1, 0, 0]


def test_the_torque_left_is_the_lines_less_the_margin() -> None:
    left = available_nm(SHOWN, SHOWN.servo("jaw"))
    # at rest: stall torque 1 N.m at the rated 6 V, margin 20 %
    assert left[0] == pytest.approx(0.8, rel=1e-6)
    assert left.max() == pytest.approx(0.8, rel=1e-6)
    assert left.min() < 0.8


def _panel(figure: Figure, name: str) -> Axes:
    return next(p for p in figure.axes if any(t.get_text().startswith(name) for t in p.texts))


def _fed(most_a: float) -> Plotted:
    """The show fed from an adapter that gives so much."""
    supply = Supply("pack", Adapter(6.0, most_a))
    boards = tuple(replace(board, supply="pack") for board in SHOW.rig.boards)
    rig = replace(SHOW.rig, supplies=(supply,), boards=boards)
    return plotted(rehearse(replace(SHOW, rig=rig), PRESSES, 4000))


@pytest.mark.parametrize(("times", "is_far"), [(FAR - 0.01, False), (FAR + 0.01, True)])
def test_a_far_limit_is_named_and_does_not_press_the_current_flat(
    times: float, is_far: bool
) -> None:
    peak = float(_fed(100.0).work.supplies["pack"].feed_a.max())
    shown = _fed(times * peak)
    panel = _panel(score_figure(shown), "pack")
    assert (panel.get_ylim()[1] < times * peak) == is_far
    assert peak < panel.get_ylim()[1] <= 2.5 * peak
    said = [text.get_text() for text in panel.texts]
    assert any(word.startswith("adapter") and word.endswith("↑") for word in said) == is_far


def test_light_torque_fills_its_panel_and_the_allowed_torque_is_named() -> None:
    panel = _panel(servo_figure(SHOWN, "fin"), "torque")
    need = float(np.max(np.abs(SHOWN.work.servos["fin"].torque_nm)))
    allowed = float(np.min(available_nm(SHOWN, SHOWN.servo("fin"))))
    is_far = allowed > FAR * need
    assert any("allowed at least" in text.get_text() for text in panel.texts) == is_far
    assert panel.get_ylim()[1] >= (need if is_far else allowed)


def test_each_cue_in_the_plane_has_a_line_and_a_mark_of_its_own() -> None:
    """`snap` comes again after `nod`: what lies between is no way of it, and is not joined."""
    cues = (Cue("snap", "", move("jaw", 50, 300)), Cue("nod", "", move("jaw", 10, 500)))
    presses = [Press(at, cue=name) for at, name in ((600, "snap"), (1200, "nod"), (2000, "snap"))]
    shown = plotted(rehearse(show_of(*cues), presses, 3000))
    lines = {line.get_label(): line for line in plane_figure(shown, "jaw").axes[0].lines}
    gaps = {
        name: np.isnan(np.asarray(lines[name].get_xdata(), dtype=float)).sum()
        for name in ("snap", "nod")
    }
    assert gaps == {"snap": 1, "nod": 0}
    looks = {(lines[name].get_marker(), lines[name].get_color()) for name in gaps}
    assert len(looks) == 2


def test_how_far_a_part_lags_has_a_scale_of_its_own() -> None:
    panel = _panel(servo_figure(SHOWN, "jaw"), "will be")
    samples = SHOWN.samples.servos["jaw"]
    off = (SHOWN.response_deg["jaw"] - samples.angle_deg)[samples.powered]
    most = float(np.abs(off).max())
    assert 0.0 < most < panel.get_ylim()[1] < 1.3 * most


def test_the_score_has_ticks_at_the_ends_of_a_travel_and_between_them() -> None:
    servo = SHOWN.servo("jaw")
    ticks = [float(tick) for tick in _panel(score_figure(SHOWN), "jaw").get_yticks()]
    assert (ticks[0], ticks[-1]) == servo.travel_deg
    assert len(ticks) > 2
    assert ticks == sorted(ticks)


def test_braking_lies_left_of_zero() -> None:
    torque, speed = np.array([1.0, 1.0, -1.0, -0.5]), np.array([10.0, -10.0, -10.0, 0.0])
    assert along_motion(torque, speed).tolist() == [1.0, -1.0, 1.0, 0.5]


def test_boards_in_step_show_a_cue_once() -> None:
    from small_shows import BACK, TAIL

    both = show_of(Cue("both", "", Together((move("jaw", 50), move("tail", 20)))))
    rig = Rig(boards=(HEAD, BACK), outputs=(*both.rig.outputs, TAIL))
    played = rehearse(Show(rig, both.score), (Press(1000, button=1),), 3000)
    assert len(played.runs) == 2
    assert [run.cue for run in plotted(played).cues()] == ["both"]


def test_boards_that_begin_with_idle_one_after_the_other_show_it_once() -> None:
    """One without a servo is ready at once, others wake their parts first."""
    show = show_of(Cue("sway", "", move("jaw", 20, 500)))
    show = replace(show, score=replace(show.score, idle=("sway",)))
    played = rehearse(show, [], 1000)
    runs = tuple(CueRun("sway", *span) for span in (("a", 0, 900), ("b", 580, 1000)))
    (run,) = plotted(replace(played, runs=runs)).cues()
    assert (run.start_ms, run.end_ms) == (0, 1000)
    again = tuple(CueRun("sway", "a", *span) for span in ((0, 400), (600, 1000)))
    assert len(plotted(replace(played, runs=again)).cues()) == 2


@pytest.mark.parametrize(("begins_ms", "shown"), [(879, 1), (880, 2), (881, 2)])
def test_idle_that_begins_in_the_frame_in_which_another_board_s_ends_is_a_run_of_its_own(
    begins_ms: int, shown: int
) -> None:
    """A frame is 20 ms: what begins later than 20 ms before the end follows it."""
    show = show_of(Cue("sway", "", move("jaw", 20, 500)))
    played = rehearse(replace(show, score=replace(show.score, idle=("sway",))), [], 1000)
    runs = (CueRun("sway", "a", 0, 900), CueRun("sway", "b", begins_ms, 1000))
    assert len(plotted(replace(played, runs=runs)).cues()) == shown


@pytest.mark.parametrize(("end_ms", "shown"), [(600, []), (601, ["snap"])])
def test_a_run_without_length_is_not_shown(end_ms: int, shown: list[str]) -> None:
    """It was taken over in the frame in which it began."""
    runs = (CueRun("snap", "head", 600, end_ms),)
    assert [run.cue for run in plotted(replace(PLAYED, runs=runs)).cues()] == shown


def test_boards_that_stop_for_longer_than_others_have_one_name_for_each_moment() -> None:
    modes = [
        ModeSpan("hand", "ready", 0, 900),
        ModeSpan("hand", "limp", 900, 1170),
        ModeSpan("body", "starting", 0, 60),
        ModeSpan("body", "ready", 60, 900),
        ModeSpan("body", "stopping", 900, 1048),
        ModeSpan("body", "limp", 1048, 1170),
    ]
    expected = [("starting", 0, 60), ("stopping", 900, 1048), ("limp", 1048, 1170)]
    assert quiet_spans(modes) == expected
    assert quiet_spans(modes[::-1]) == expected


# -- told apart in grey, and by people who see fewer colours --------------------------------------

APART = 20.0
"""Least difference of colours (CIEDE2000) of two lines of one panel that are alike otherwise. Own
choice: some ten times what is just seen, as lines are thin."""


def seen_by() -> dict[str, np.ndarray]:
    """What linear sRGB becomes: for all, in greyscale (luminance), and for the colour-blind.

    Machado, Oliveira and Fernandes (2009), A Physiologically-based Model for Simulation of Color
    Vision Deficiency, table 1, at full severity, as colour-science has them.
    """
    import colour

    with warnings.catch_warnings():  # it says that tritanomaly is an approximation
        warnings.simplefilter("ignore", colour.utilities.ColourUsageWarning)
        matrices = {
            kind: np.array(colour.blindness.matrix_cvd_Machado2009(kind, 1.0))
            for kind in ("Protanomaly", "Deuteranomaly", "Tritanomaly")
        }
    luminance = np.tile([0.2126, 0.7152, 0.0722], (3, 1))  # IEC 61966-2-1
    return {"all": np.eye(3), "grey": luminance} | matrices


def as_seen(named: str, matrix: np.ndarray) -> np.ndarray:
    """CIE L*a*b* of a colour of the plots."""
    import colour
    from matplotlib.colors import to_rgb

    linear = np.clip(matrix @ colour.models.eotf_sRGB(np.array(to_rgb(named))), 0.0, 1.0)
    return np.asarray(
        colour.XYZ_to_Lab(colour.sRGB_to_XYZ(colour.models.eotf_inverse_sRGB(linear)))
    )


def series(panel: Axes) -> list[Line2D]:
    """The lines that carry data or limits.

    Thin straight ones only guide the eye; bars outside the panel say how long a button is held.
    """
    found = (one for one in panel.lines if one.get_linewidth() > 0.7 and one.get_clip_on())
    return [one for one in found if len(one.get_xdata()) > 1]


def form(line: Line2D) -> tuple[str, str, bool]:
    return str(line._dash_pattern), str(line.get_marker()), line.get_markerfacecolor() == "white"


def many_cues(count: int) -> Plotted:
    cues = [Cue(f"c{n}", "", InTurn((move("jaw", 20 + n, 300),))) for n in range(count)]
    shown = [Press(600 + 800 * n, cue=f"c{n}") for n in range(count)]
    return plotted(rehearse(show_of(*cues), tuple(shown), 1000 + 800 * count))


def figures() -> list[Figure]:
    return [
        score_figure(SHOWN),
        score_figure(_fed(3.0)),
        *(servo_figure(SHOWN, name) for name in SHOWN.samples.servos),
        *(plane_figure(SHOWN, name) for name in SHOWN.samples.servos),
        plane_figure(many_cues(14), "jaw"),
    ]


def test_lines_of_one_panel_differ_in_form_or_for_everybody_in_colour() -> None:
    compared = 0
    for figure in figures():
        for panel in figure.axes:
            for one, other in combinations(series(panel), 2):
                compared += 1
                if form(one) != form(other):
                    continue
                for matrix in seen_by().values():
                    assert _apart(one, other, matrix) >= APART, (one, other)
    assert compared > 20


def _apart(one: Line2D, other: Line2D, matrix: np.ndarray) -> float:
    import colour

    pair = [as_seen(line.get_color(), matrix) for line in (one, other)]
    return float(colour.delta_E(*pair, method="CIE 2000"))


def test_every_line_stands_out_from_white() -> None:
    """WCAG 2.2, 1.4.11: graphics need 3 to 1; the cues' pale shades behind them are decoration."""
    from matplotlib.colors import to_rgb

    from sim.light.lightness import colour_luminance, srgb_to_linear

    seen = 0
    for figure in figures():
        for panel in figure.axes:
            for line in series(panel):
                light = colour_luminance(srgb_to_linear(np.array(to_rgb(line.get_color()))))
                seen += 1
                assert 1.05 / (light + 0.05) >= 3.0, line.get_color()
    assert seen > 20


def test_shades_of_cues_that_follow_one_another_differ_in_grey() -> None:
    from sim.pictures.plot_look import CUE_FILLS

    grey = seen_by()["grey"]
    first, second = (as_seen(fill, grey)[0] for fill in CUE_FILLS)
    assert abs(first - second) >= 5.0


def test_fourteen_cues_have_fourteen_forms_in_the_plane() -> None:
    panel = plane_figure(many_cues(14), "jaw").axes[0]
    cues = [line for line in series(panel) if str(line.get_label()).startswith("c")]
    assert len({form(line) for line in cues}) == len(cues) == 14


# -- names of cues -------------------------------------------------------------------------------


def test_the_name_of_a_cue_never_crosses_the_edge_of_its_band() -> None:
    """Measured by the renderer, for cues of every length from a blink to a long one."""
    spans = [120, 400, 700, 1000, 1500, 2200, 3000, 5000]
    cues = [Cue(f"opens_{n}", "", InTurn((move("jaw", 30, ms),))) for n, ms in enumerate(spans)]
    starts = np.cumsum([600, *(ms + 900 for ms in spans)])
    presses = tuple(Press(int(at), cue=one.name) for at, one in zip(starts, cues, strict=False))
    shown = plotted(rehearse(show_of(*cues), presses, int(starts[-1]) + 500))
    figure = score_figure(shown)
    figure.canvas.draw()
    row = figure.axes[0]
    runs = {run.cue: (run.start_ms / 1000, run.end_ms / 1000) for run in shown.cues()}
    inside = 0
    for text in row.texts:
        box = text.get_window_extent().transformed(row.transData.inverted())
        for name, (start, end) in runs.items():
            if text.get_text() != name:
                continue
            within = start <= box.x0 and box.x1 <= end
            assert within or box.x0 >= end or box.y0 >= row.get_ylim()[1], name
            inside += within
            others = [span for other, span in runs.items() if other != name]
            if box.y0 < row.get_ylim()[1]:
                assert all(box.x1 <= a or box.x0 >= b for a, b in others)
    assert inside >= 2
    told = "\n".join(text.get_text() for text in row.texts)
    assert "opens_7" in told
    assert "opens_0" in told


def test_words_are_as_wide_as_the_renderer_draws_them() -> None:
    figure = Figure(figsize=(8, 2), dpi=100)
    for words in ("chew", "a long name of a cue", "WWW", "iii"):
        drawn = figure.text(0.0, 0.5, words, fontsize=50, family="DejaVu Sans")
        figure.canvas.draw()
        want = drawn.get_window_extent().width / 100.0 / 50.0
        assert name_in(words) == pytest.approx(want, rel=0.06)


def test_a_cue_too_short_for_its_name_is_named_above_its_press() -> None:
    cues = (
        Cue("a_name_of_some_length", "", InTurn((move("jaw", 12, 100),))),
        Cue("long", "", InTurn((move("fin", 30, 9000),))),
    )
    presses = (Press(700, button=1), Press(1000, cue="long"))
    shown = plotted(rehearse(show_of(*cues), presses, 12_000))
    texts = [text.get_text() for text in score_figure(shown).axes[0].texts]
    assert "a_name_of_some_length\n1" in texts
    assert plot_look.LEAST_SIZE >= 4.8


# -- words that stand side by side ---------------------------------------------------------------


def line_boxes(text: Text) -> list[tuple[str, Bbox]]:
    """Each line of a text and where it is drawn; the box of the whole is as wide as its widest."""
    lines, whole = text.get_text().split("\n"), text.get_window_extent()
    tall, found = whole.height / len(lines), []
    for n, line in enumerate(lines):
        half = name_in(line) * text.get_fontsize() * DPI / 2.0
        middle, top = (whole.x0 + whole.x1) / 2.0, whole.y1 - n * tall
        found.append((line, Bbox([[middle - half, top - tall], [middle + half, top]])))
    return found


def assert_no_words_lie_on_others(figure: Figure) -> None:
    figure.canvas.draw()
    boxes = [box for text in (*figure.texts, *figure.axes[0].texts) for box in line_boxes(text)]
    for (one, here), (other, there) in combinations(boxes, 2):
        beside = min(here.x1, there.x1) - max(here.x0, there.x0)
        above = min(here.y1, there.y1) - max(here.y0, there.y0)
        assert beside <= 0.0 or above <= 1.0, (one, other)


@pytest.mark.parametrize("apart_ms", [100, 300, 600, 1000, 1500])
def test_words_of_presses_close_together_do_not_lie_on_one_another(apart_ms: int) -> None:
    cues = [Cue(f"a_cue_named_{n}", "", InTurn((move("jaw", 12 + n, 100),))) for n in range(4)]
    presses = tuple(Press(600 + apart_ms * n, cue=one.name) for n, one in enumerate(cues))
    shown = plotted(rehearse(show_of(*cues), presses, 23_000))
    figure = score_figure(shown)
    assert_no_words_lie_on_others(figure)
    dots = [line for line in figure.axes[0].lines if line.get_marker() == "o"]
    assert len(dots) == len(presses)


def test_a_short_cue_beside_another_is_named_on_a_line_of_its_own() -> None:
    cues = [Cue(name, "", InTurn((move("jaw", 12, 100),))) for name in ("left_beat", "right_beat")]
    presses = (Press(8000, cue="left_beat"), Press(9000, cue="right_beat"))
    figure = score_figure(plotted(rehearse(show_of(*cues), presses, 23_000)))
    told = "\n".join(text.get_text() for text in figure.axes[0].texts)
    assert "left_beat" in told
    assert "right_beat" in told
    assert_no_words_lie_on_others(figure)


@pytest.mark.parametrize(
    "name", ["left_feather_1", "outermost_left_feather_10", "a" * 30, "_" * 12, "wing"]
)
def test_the_name_of_a_part_stays_clear_of_the_figures_of_its_axis(name: str) -> None:
    show = Show(Rig(boards=(HEAD,), outputs=(replace(JAW, name=name),)), Score("Names"))
    figure = score_figure(plotted(rehearse(show, (), 800)))
    figure.canvas.draw()
    panel = figure.axes[1]
    (said,) = panel.texts
    figures = [label.get_window_extent() for label in panel.get_yticklabels()]
    box, within = said.get_window_extent(), panel.get_window_extent()
    assert figures
    assert box.x0 >= 0.0
    assert box.x1 < min(one.x0 for one in figures)
    assert within.y0 <= box.y0
    assert box.y1 <= within.y1
    assert said.get_fontsize() >= plot_look.LEAST_SIZE
    if len(name) < 30:
        assert said.get_text().replace("\n", "").removesuffix("deg") == name


def test_the_panels_of_a_servo_have_names_of_one_size_however_long_their_figures() -> None:
    """Five figures and a sign: a servo that gets to its greatest speed in some 10 ms."""
    fast = replace(JAW, ratings=(replace(JAW.ratings[0], speed_deg_s=1500.0),))
    show = Show(
        Rig(boards=(HEAD,), outputs=(fast,)), Score("S", (Cue("nod", "", move("jaw", 50, 80)),))
    )
    figure = servo_figure(plotted(rehearse(show, (Press(600, cue="nod"),), 2000)), "jaw")
    names = [text for panel in figure.axes[1:] for text in panel.texts[:1]]
    panel = _panel(figure, "acceleration")
    assert max(len(f"{tick:.0f}") for tick in panel.get_yticks()) >= 6
    (said,) = [text for text in panel.texts if text.get_text().startswith("acceleration")]
    assert said.get_fontsize() == plot_look.PANEL_SIZE
    assert names


@pytest.mark.parametrize("friction_nm", [0.03, 0.3])
@pytest.mark.parametrize("duration_ms", [4000, 250])
def test_each_axis_of_a_plane_shows_the_data_and_tells_a_limit_out_of_sight(
    friction_nm: float, duration_ms: int
) -> None:
    rig = Rig(boards=(HEAD,), outputs=(replace(JAW, load=Load(friction_nm=friction_nm)),))
    nods = Cue("nod", "", move("jaw", 50, duration_ms))
    shown = plotted(rehearse(Show(rig, Score("Nod", cues=(nods,))), (Press(600, cue="nod"),), 6000))
    panel = plane_figure(shown, "jaw").axes[0]
    work, line = shown.work.servos["jaw"], servo_model.line(shown.servo("jaw"), 6.0)
    kept = 1.0 - rig.wearer.margin
    told = "\n".join(text.get_text() for text in panel.texts)
    for data, limit, end, room, said in (
        (work.torque_nm, line.stall_nm, panel.get_xlim()[1], 1.08, "at rest:"),
        (work.speed_deg_s, line.speed_deg_s, panel.get_ylim()[1], 1.12, "unloaded:"),
    ):
        most, whole = float(np.max(np.abs(data))), float(limit)
        far = kept * whole > FAR * most
        assert end == pytest.approx(1.3 * most if far else room * whole)
        assert (f"{said} {kept * whole:.3g} " in told) == far
        assert (f"{whole:.3g} in all" in told) == far
    low = panel.get_xlim()[0]
    assert 0.1 * panel.get_xlim()[1] < -low < 0.2 * panel.get_xlim()[1]


@pytest.mark.parametrize("loads", [0.02, 0.35])
def test_the_line_is_drawn_and_named_where_it_passes_through_what_is_seen(loads: float) -> None:
    rig = Rig(boards=(HEAD,), outputs=(replace(JAW, load=Load(friction_nm=loads)),))
    show = Show(rig, Score("Nod", cues=(Cue("nod", "", move("jaw", 50, 700)),)))
    shown = plotted(rehearse(show, (Press(600, cue="nod"),), 6000))
    panel = plane_figure(shown, "jaw").axes[0]
    line = servo_model.line(shown.servo("jaw"), 6.0)
    kept = 1.0 - rig.wearer.margin
    x, y = panel.get_xlim()[1], panel.get_ylim()[1]
    assert x < float(line.stall_nm)
    assert y < float(line.speed_deg_s)
    passes = x / float(line.stall_nm) + y / float(line.speed_deg_s)
    labels = [drawn.get_label() for drawn in panel.lines]
    assert ("less the margin" in labels) == (passes > kept)
    assert ("all the servo has" in labels) == (passes > 1.0)
    assert (loads == 0.35) == (passes > kept)
