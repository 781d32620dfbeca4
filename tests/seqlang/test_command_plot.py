"""`bellcrank plot`: pictures into a folder, and presses as a person writes them."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqlang.command import main
from seqlang.loading import load
from seqlang.presses import parse_press
from shows import __file__ as shows_folder
from sim.model import Press

OWL = Path(shows_folder).parent / "owl" / "owl.cues"
FIRST = Path(shows_folder).parent / "first" / "first.cues"


def status(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main([*arguments])
    return int(ended.value.code or 0)


def test_pictures_go_into_the_folder_and_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status("plot", str(FIRST), "--out", str(tmp_path / "new")) == 0
    written = sorted(path.name for path in (tmp_path / "new").iterdir())
    assert written == ["plane-flap.png", "score.png", "servo-flap.png"]
    said = capsys.readouterr().out
    assert all(str(tmp_path / "new" / name) in said for name in written)


def test_without_a_folder_pictures_go_beside_the_file(tmp_path: Path) -> None:
    copy = tmp_path / "first.cues"
    copy.write_bytes(FIRST.read_bytes())
    assert status("plot", str(copy), "--kind", "svg", "--press", "1 at 0.5 s") == 0
    assert (tmp_path / "first-plots" / "score.svg").read_bytes().startswith(b"<?xml")


def test_a_refused_press_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status("plot", str(FIRST), "--out", str(tmp_path), "--press", "1 at 40 ms") == 0
    assert "refuses cue `wave` at 0.04 s" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--cue", "gret"), "did you mean `greet`?"),
        (("--press", "1 at 3"), "`3` in `1 at 3` is not a time; write it like 2 s"),
        (("--press", "1 at 3 deg"), "is not a time"),
        (("--press", "1 at -3 s"), "lies outside 0 s to 24 h"),
        (("--press", "1 at 99 h"), "lies outside 0 s to 24 h"),
        (("--press", "1"), 'is not a press; write it like "1 at 2 s"'),
        (("--press", "77 at 1 s"), "button 77 does nothing in this show"),
        (("--press", "gret at 1 s"), "did you mean `greet`?"),
        (("--cue", "greet", "--press", "1 at 1 s"), "do not go together"),
        (("--kind", "gif"), "'gif' is not one of"),
    ],
)
def test_wrong_use_says_what_would_do(
    arguments: tuple[str, ...], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status("plot", str(OWL), "--out", str(tmp_path), *arguments) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_presses_are_read_as_written() -> None:
    show = load(OWL).show
    assert show is not None
    assert parse_press("1 at 2 s", show) == Press(2000, button=1, held_ms=100)
    assert parse_press(" 2 at 1.5 s for 900 ms ", show) == Press(1500, button=2, held_ms=900)
    assert parse_press("greet at 800ms", show) == Press(800, cue="greet")
    assert parse_press("stop at 9 s", show) == Press(9000, action="stop")
    with pytest.raises(ValueError, match="is not a time"):
        parse_press("1 at two s", show)
