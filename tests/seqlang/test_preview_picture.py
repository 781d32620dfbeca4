"""`bellcrank preview FILE --cue NAME --picture OUT`: a cue as a motion picture."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from seqlang.command import _motion_picture as writing
from seqlang.command import group
from tests.seqlang.show_text import LAMP, show

SNAP = "jaw to 40 deg in 1 s\njaw to 0 deg in 1 s"
STROBE = """\
repeat 120 times
    lure fade to 100% in 200 ms
    lure fade to 0% in 200 ms
"""


def asked(folder: Path, text: str, *words: str) -> Result:
    file = folder / "t.cues"
    file.write_text(text, encoding="utf-8")
    return CliRunner().invoke(group, ["preview", str(file), *words])


@pytest.mark.parametrize("name", ["snap.gif", "snap.png", "SNAP.GIF", "snap.apng"])
def test_a_cue_is_written_as_a_file_that_pillow_opens(tmp_path: Path, name: str) -> None:
    out = tmp_path / name
    told = asked(tmp_path, show(cues={"snap": SNAP}), "--cue", "snap", "--picture", str(out))
    assert told.exit_code == 0, told.output
    assert "s, then still for 1.2 s; 25 pictures a second" in told.output
    with Image.open(out) as file:
        assert getattr(file, "n_frames", 1) > 40
        assert file.format == ("GIF" if name.lower().endswith("gif") else "PNG")
    assert out.stat().st_size < writing.MOST_BYTES


def test_a_program_is_told_which_file_was_written(tmp_path: Path) -> None:
    out = tmp_path / "snap.gif"
    words = ("--cue", "snap", "--picture", str(out), "--format", "json")
    told = asked(tmp_path, show(cues={"snap": SNAP}), *words)
    assert json.loads(told.stdout) == {"files": [str(out)]}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--cue", "snap"), "name the picture with `--picture NAME.gif`"),
        (("--picture", "a.gif"), "name it with `--cue NAME`"),
        (("--dark",), "--dark draws the lights of a picture unlit: name the picture"),
        (("--cue", "snap", "--picture", "a.gif", "--serve"), "leave out --serve"),
        (("--cue", "snap", "--picture", "a.gif", "--out", "a.html"), "leave out --out"),
        (("--cue", "snap", "--cue", "snap", "--picture", "a.gif"), "`--cue` is given 2 times"),
        (("--cue", "snap", "--picture", "a.mp4"), "ends in .gif or .png"),
        (("--cue", "snup", "--picture", "a.gif"), "did you mean `snap`?"),
    ],
)
def test_a_picture_that_cannot_be_is_refused(
    tmp_path: Path, words: tuple[str, ...], says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    told = asked(tmp_path, show(cues={"snap": SNAP}), *words)
    assert told.exit_code == 2
    assert says in told.output
    assert list(tmp_path.iterdir()) == [tmp_path / "t.cues"]


def test_a_show_whose_light_is_hard_on_the_eyes_gets_none_but_a_dark_one(tmp_path: Path) -> None:
    """WCAG 2.2, 2.3: who is sent a picture has not asked for its flashes."""
    text = show(cues={"snap": SNAP, "alarm": STROBE}, rig=LAMP)
    out = tmp_path / "alarm.gif"
    out.write_bytes(b"an older one")
    told = asked(tmp_path, text, "--cue", "alarm", "--picture", str(out))
    assert told.exit_code == 1
    assert "long-strobe" in told.output
    assert "--dark" in told.output
    assert out.read_bytes() == b"an older one"
    told = asked(tmp_path, text, "--cue", "snap", "--picture", str(out), "--dark")
    assert told.exit_code == 0, told.output
    assert out.read_bytes()[:6] == b"GIF89a"


def test_a_show_with_errors_gets_no_picture(tmp_path: Path) -> None:
    text = show(cues={"snap": SNAP.replace("40", "400")})
    told = asked(tmp_path, text, "--cue", "snap", "--picture", str(tmp_path / "a.gif"))
    assert told.exit_code == 1
    assert not (tmp_path / "a.gif").exists()


def test_a_file_that_is_too_large_is_made_coarser_and_then_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "snap.gif"
    words = ("--cue", "snap", "--picture", str(out))
    text = show(cues={"snap": SNAP})
    assert asked(tmp_path, text, *words).exit_code == 0
    fine = out.stat().st_size
    monkeypatch.setattr(writing, "MOST_BYTES", fine - 1)
    told = asked(tmp_path, text, *words)
    assert told.exit_code == 0, told.output
    assert "12.5 pictures a second" in told.output
    assert out.stat().st_size < fine
    out.unlink()
    monkeypatch.setattr(writing, "MOST_BYTES", 1000)
    told = asked(tmp_path, text, *words)
    assert told.exit_code == 2
    assert "MB are written" in told.output
    assert not out.exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_picture_whose_words_find_no_room_is_there_and_that_is_told(tmp_path: Path) -> None:
    file, out = tmp_path / "t.cues", tmp_path / "snap.gif"
    file.write_text(show(cues={"snap": SNAP}), encoding="utf-8")
    words = ["preview", str(file), "--cue", "snap", "--picture", str(out)]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "seqlang", *words],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
        )
    assert done.returncode == 2
    assert "the work is done" in done.stderr
    assert out.read_bytes()[:6] == b"GIF89a"
