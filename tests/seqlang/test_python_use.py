"""A show opened, checked, played, sampled and drawn from Python, as PYTHON.md says."""

from __future__ import annotations

import doctest
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import seqlang
from seqlang.loading import load
from sim.model import Press
from sim.rehearsal.sampling import sample

ROOT = Path(__file__).parents[2]
OWL = ROOT / "shows" / "owl" / "owl.cues"


@pytest.fixture(scope="module")
def owl() -> seqlang.OpenShow:
    return seqlang.load(OWL)


def test_every_line_of_the_page_runs_and_says_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("MPLBACKEND", "agg")
    failed, tried = doctest.testfile(
        str(ROOT / "seqlang" / "PYTHON.md"), module_relative=False, globs={"folder": tmp_path}
    )
    assert (failed, tried > 20) == (0, True)
    assert (tmp_path / "head.png").read_bytes().startswith(b"\x89PNG")


def test_a_press_is_written_as_for_the_command_or_given_as_a_value(owl: seqlang.OpenShow) -> None:
    written = owl.rehearse("2 at 5 s for 900 ms", "stop at 9 s")
    given = owl.rehearse(Press(5000, button=2, held_ms=900), Press(9000, action="stop"))
    assert written.trajectories == given.trajectories


@pytest.mark.parametrize(
    ("press", "words"),
    [
        ("9 at 2 s", "button 9 does nothing"),
        ("gret at 2 s", "did you mean `greet`"),
        ("1 at noon", "is not a time"),
        ("1", "is not a press"),
    ],
)
def test_what_cannot_be_pressed_is_an_error_that_says_what_can(
    owl: seqlang.OpenShow, press: str, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        owl.rehearse(press)


def test_wrong_names_are_errors_that_list_the_known_ones(owl: seqlang.OpenShow) -> None:
    with pytest.raises(ValueError, match="the show has blink, watch"):
        owl.rehearse(cues=["wave"])
    with pytest.raises(ValueError, match="the show has head, lids"):
        owl.rehearse().plot("beak")
    with pytest.raises(ValueError, match="give presses or cues, not both"):
        owl.rehearse("1 at 2 s", cues=["greet"])


def test_a_show_with_errors_has_findings_and_nothing_else() -> None:
    broken = seqlang.load_string("cue wave\n    jaw to 30 deg in 1 s\nidle: go wave", "t.cues")
    assert [finding.name for finding in broken.findings] == ["unknown-name"]
    assert not broken.passes
    for ask in (lambda: broken.show, lambda: broken.tables, broken.rehearse):
        with pytest.raises(seqlang.FaultyShowError, match=r"t\.cues:2:5"):
            ask()


def test_a_file_that_is_not_there_raises_what_python_raises(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        seqlang.load(tmp_path / "nothing.cues")


def test_samples_are_those_of_the_trajectories(owl: seqlang.OpenShow) -> None:
    played = owl.rehearse()
    found = played.samples(rate_hz=40, from_ms=1000, to_ms=3000)
    assert np.array_equal(found.times_ms, np.arange(1000.0, 3001.0, 25.0))
    again = sample(played.trajectories, found.times_ms)
    for name, servo in found.servos.items():
        assert np.array_equal(servo.angle_deg, again.servos[name].angle_deg)
    assert played.samples().times_ms[-1] == played.length_ms // 20 * 20


def test_a_span_without_length_is_one_instant(owl: seqlang.OpenShow) -> None:
    found = owl.rehearse().samples(from_ms=1000.0, to_ms=1000.0)
    assert found.times_ms.tolist() == [1000.0]


@pytest.mark.parametrize(
    "asked",
    [
        {"rate_hz": 0.0},
        {"rate_hz": -1.0},
        {"rate_hz": float("nan")},
        {"rate_hz": 1e12},
        {"from_ms": 5000.0, "to_ms": 1000.0},
    ],
)
def test_a_span_without_samples_or_with_too_many_is_an_error(
    owl: seqlang.OpenShow, asked: dict[str, float]
) -> None:
    with pytest.raises(ValueError, match="there must be at least one"):
        owl.rehearse().samples(**asked)


def test_nothing_is_sampled_before_power_up(owl: seqlang.OpenShow) -> None:
    played = owl.rehearse()
    with pytest.raises(ValueError, match="-1 ms is before power-up"):
        played.samples(from_ms=-1.0)
    assert played.samples(from_ms=0.0, to_ms=0.0).times_ms.tolist() == [0.0]


def test_one_cue_may_be_named_without_a_list_and_names_may_come_one_by_one(
    owl: seqlang.OpenShow,
) -> None:
    name = owl.show.score.cues[0].name
    pressed = owl.rehearse(cues=[name]).presses
    assert pressed
    assert owl.rehearse(cues=name).presses == pressed
    assert owl.rehearse(cues=dict.fromkeys([name]).keys()).presses == pressed


@pytest.mark.parametrize(
    "text",
    ["", "\0", 'show "s"\0', 'show "\ud800"', 'show "s"\r\n', '\ufeffshow "s"', 'show "s"\r# x'],
    ids=ascii,
)
def test_a_text_is_read_as_a_file_that_holds_it(text: str, tmp_path: Path) -> None:
    path = tmp_path / "s.cues"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    found = [(one.name, one.message) for one in seqlang.load(path).findings]
    opened = seqlang.load_string(text, name=str(path))
    assert [(one.name, one.message) for one in opened.findings] == found
    assert opened.passes == seqlang.load(path).passes


def test_the_tables_are_those_that_a_board_gets(owl: seqlang.OpenShow) -> None:
    from seqlang.check import check

    checked = check(load(OWL)).show
    assert checked is not None
    assert owl.tables == {board.name: board.data for board in checked.compiled.boards}


def test_importing_the_package_loads_nothing_heavy() -> None:
    """The command starts with this import."""
    code = "import sys, seqlang; print(sorted({'lark', 'numpy', 'matplotlib'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_the_package_has_no_other_names() -> None:
    with pytest.raises(AttributeError, match="has no attribute 'render'"):
        _ = seqlang.render  # type: ignore[attr-defined]
