"""`bellcrank calibrate`: what it shows, what it writes, and when it writes nothing."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from seqlang.command import ShowFailed, WrongUse, group

SHIPPED = Path(__file__).parents[2] / "shows" / "first" / "first.cues"
OLD = "    pulse       1000 us at 0 deg, 2000 us at 90 deg\n"
NEW = "    pulse       1012 us at 0 deg, 1985 us at 88 deg\n"
POINTS = ("1012 us at 0 deg", "1985 us at 88 deg")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(group, ["calibrate", *arguments], standalone_mode=False)


@pytest.fixture
def show(tmp_path: Path) -> Path:
    return Path(shutil.copy(SHIPPED, tmp_path / "first.cues"))


def test_without_write_it_only_says_what_would_change(show: Path) -> None:
    done = run(str(show), "flap", *POINTS)
    assert (done.exception, done.return_value) == (None, 0)
    assert f":12: `flap`\n  - {OLD}  + {NEW}" in done.output
    assert "at 70 deg: 1786.0 us; before: 1777.8 us" in done.output  # 1012 + 973 * 70 / 88
    assert "nothing written" in done.output
    assert show.read_bytes() == SHIPPED.read_bytes()


def test_with_write_only_the_numbers_change(show: Path) -> None:
    done = run(str(show), "flap", *POINTS, "--write")
    assert (done.exception, done.return_value) == (None, 0)
    assert show.read_bytes() == SHIPPED.read_bytes().replace(OLD.encode(), NEW.encode())
    again = run(str(show), "flap", ", ".join(POINTS), "--write")
    assert "has these points already" in again.output


def test_line_ends_and_a_missing_last_one_stay(show: Path) -> None:
    raw = SHIPPED.read_bytes().rstrip(b"\n").replace(b"\n", b"\r\n")
    show.write_bytes(raw)
    assert run(str(show), "flap", *POINTS, "--write").return_value == 0
    assert show.read_bytes() == raw.replace(OLD.strip().encode(), NEW.strip().encode())


def test_what_the_check_finds_now_is_said_and_is_the_status(show: Path) -> None:
    done = run(str(show), "flap", "1012 us at 2 deg", "1985 us at 60 deg", "--write")
    assert done.return_value == 1
    now = done.output.partition("found no longer:")[0]
    assert "ends at 70 deg, beyond its last calibration point at 60 deg" in now
    assert "at 70 deg: beyond the measured points; before: 1777.8 us" in now
    assert "1012 us at 2 deg, 1985 us at 60 deg" in show.read_text()
    mended = run(str(show), "flap", *POINTS, "--write")
    assert mended.return_value == 0
    assert "beyond its last" in mended.output.partition("found no longer:")[2]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["flop", *POINTS], "there is no servo `flop`"),
        (["flap", "1012 us"], "is not a point"),
        (["flap", "1 ms at 0 mm, 2 ms at 9 mm"], "is a length"),
    ],
)
def test_points_that_do_not_fit_are_wrong_usage_and_write_nothing(
    show: Path, arguments: list[str], words: str
) -> None:
    done = run(str(show), *arguments, "--write")
    assert isinstance(done.exception, WrongUse)
    assert words in str(done.exception)
    assert show.read_bytes() == SHIPPED.read_bytes()


def test_a_show_that_cannot_be_read_is_mended_first(show: Path) -> None:
    text = show.read_text().replace("travel      0 deg", "trvel      0 deg")
    show.write_text(text)
    done = run(str(show), "flap", *POINTS, "--write")
    assert isinstance(done.exception, ShowFailed)
    assert "mend what cannot be read" in str(done.exception)
    assert show.read_text() == text


def test_a_file_that_must_not_be_written_stays(show: Path) -> None:
    os.chmod(show, 0o444)
    done = run(str(show), "flap", *POINTS, "--write")
    assert isinstance(done.exception, WrongUse)
    assert "cannot be written" in str(done.exception)


def test_a_file_that_changes_meanwhile_stays_as_it_became(
    show: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from seqlang.command import calibrate

    real = calibrate.read_and_check

    def slow(path: str) -> object:
        found = real(path)
        show.write_text(show.read_text() + "# edited\n")
        return found

    monkeypatch.setattr(calibrate, "read_and_check", slow)
    done = run(str(show), "flap", *POINTS, "--write")
    assert isinstance(done.exception, WrongUse)
    assert "changed by something else meanwhile" in str(done.exception)
    assert OLD in show.read_text()
    assert show.read_text().endswith("# edited\n")
