"""`bellcrank check --fix`: what it changes, what it asks, and what it leaves alone."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from seqlang.command import WrongUse, group
from tests.seqlang.mistakes.base import with_line

SLIPS = (
    with_line("move", "jaw to 30° in 0,9 s;   # the comment stays")
    .replace("hold 600 ms", "wait 600 msec")
    .replace("lure cut to 40 %", "lure cut to 40")
)
MENDED = with_line("move", "jaw to 30 deg in 0.9 s   # the comment stays")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(group, ["check", *arguments], standalone_mode=False)


def answered(path: Path, answers: str) -> tuple[int, str]:
    """`bellcrank check --fix` on a pseudo-terminal, with these keys; its status and its words."""
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "seqlang", "check", "--fix", str(path)]
    with subprocess.Popen(
        command, stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
        os.write(ours, "".join(f"{answer}\n" for answer in answers).encode())
        words = process.communicate(timeout=120)[0]
    os.close(ours)
    os.close(theirs)
    return process.returncode, words


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "fins.cues"
    path.write_text(SLIPS, encoding="utf-8")
    return path


def test_all_remedies_are_made_and_comments_stay(show: Path) -> None:
    done = run("--fix", "--yes", str(show))
    assert (done.exception, done.return_value) == (None, 0)
    assert show.read_text(encoding="utf-8") == MENDED
    assert "3 changes" in done.output
    assert "  -     wait 600 msec\n  +     hold 600 ms\n" in done.output


def test_a_change_of_a_pin_says_which_wire_moves_everywhere(tmp_path: Path) -> None:
    path = tmp_path / "live.cues"
    path.write_text(with_line("stick", "channel stick: hub pin PA5"), encoding="utf-8")
    moved = "the wire of `stick` moves from PA5 to PL0"
    told = run(str(path)).output
    assert f"then   {moved}\n" in told
    found = json.loads(run("--format", "json", str(path)).output)["findings"]
    assert [one["fix"]["bench"] for one in found if one["fix"]] == [moved]
    sarif = json.loads(run("--format", "sarif", str(path)).output)["runs"][0]["results"]
    assert [one["fixes"][0]["description"]["text"] for one in sarif if "fixes" in one] == [moved]
    done = run("--fix", "--yes", str(path))
    assert f"  on the bench: {moved}\n" in done.output
    assert path.read_text(encoding="utf-8") == with_line("stick", "channel stick: hub pin PL0")


def test_a_change_of_words_says_nothing_of_the_bench(show: Path) -> None:
    assert "on the bench" not in run("--fix", "--yes", str(show)).output


def test_what_a_remedy_uncovers_is_mended_in_a_further_round(tmp_path: Path) -> None:
    path = tmp_path / "hasty.cues"
    path.write_text(with_line("move", "jaw to 30 deg in 0,1 s;"), encoding="utf-8")
    done = run("--fix", "--yes", str(path))
    assert done.return_value == 0
    assert "(syntax)" in done.output
    assert "(servo-speed)" in done.output


def test_advice_is_not_followed_unasked(show: Path) -> None:
    done = run("--fix", "--yes", str(show))
    assert "(interrupted-stretch)" not in done.output.partition("changes")[0]
    assert "jaw and left_fin to 20 deg in 900 ms" in show.read_text(encoding="utf-8")


def test_beside_a_line_that_cannot_be_read_no_warning_is_followed(tmp_path: Path) -> None:
    """What a check finds beside such a line was worked out without it."""
    path = tmp_path / "half.cues"
    slow = with_line("hold", "wings flutter").replace(
        "    jaw to 30 deg in 900 ms", "    jaw to 30 deg in 100 ms"
    )
    path.write_text(slow, encoding="utf-8")
    done = run("--fix", "--yes", str(path))
    assert done.return_value == 1
    assert "nothing changed" in done.output
    assert "until the whole text can be read" in done.output
    assert path.read_text(encoding="utf-8") == slow
    path.write_text(slow.replace("wings flutter", "hold 1 s"), encoding="utf-8")
    assert run("--fix", "--yes", str(path)).return_value == 0
    assert "jaw to 30 deg in 100 ms" not in path.read_text(encoding="utf-8")


def test_what_only_the_maker_knows_is_not_changed(tmp_path: Path) -> None:
    """5,000: five, or five thousand."""
    path = tmp_path / "odd.cues"
    text = with_line("hold", "hold 5,000 ms")
    path.write_text(text, encoding="utf-8")
    done = run("--fix", "--yes", str(path))
    assert done.return_value == 1
    assert "nothing changed" in done.output
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(("answers", "changes"), [("yyyn", 3), ("ny", 1), ("aq", 3), ("q", 0)])
def test_each_remedy_is_asked_for(show: Path, answers: str, changes: int) -> None:
    status, words = answered(show, answers + "q")
    made = f"{changes} change" if changes else "nothing changed"
    assert made in words
    assert words.count("change it?") >= min(len(answers), 1)
    assert status == (0 if changes == 3 else 1)


def test_without_a_terminal_nobody_can_be_asked(show: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "seqlang", "check", "--fix", str(show)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 2
    assert "--yes" in done.stderr
    assert show.read_text(encoding="utf-8") == SLIPS


def test_a_file_that_changes_while_it_is_asked_about_is_left_alone(show: Path) -> None:
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "seqlang", "check", "--fix", str(show)]
    with subprocess.Popen(
        command, stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
        assert process.stdout is not None
        words = ""
        while "change it?" not in words and (letter := process.stdout.read(1)):
            words += letter
        show.write_text(f"{SLIPS}# from another window\n", encoding="utf-8")
        os.write(ours, b"a\n")
        words += process.communicate(timeout=120)[0]
    os.close(ours)
    os.close(theirs)
    assert process.returncode == 2
    assert "changed by something else meanwhile; nothing was written" in words
    assert show.read_text(encoding="utf-8") == f"{SLIPS}# from another window\n"


def test_a_file_that_cannot_be_written_has_status_2_and_stays(show: Path) -> None:
    show.chmod(0o444)
    done = run("--fix", "--yes", str(show))
    assert isinstance(done.exception, WrongUse)
    assert done.exception.exit_code == 2
    assert show.read_text(encoding="utf-8") == SLIPS


@pytest.mark.parametrize("words", [["--yes"], ["--fix", "--yes", "--format", "json"]])
def test_what_does_not_go_together_is_wrong_use(show: Path, words: list[str]) -> None:
    assert isinstance(run(*words, str(show)).exception, WrongUse)


def test_line_ends_and_the_mark_of_a_file_stay(tmp_path: Path) -> None:
    path = tmp_path / "windows.cues"
    path.write_bytes(b"\xef\xbb\xbf" + SLIPS.rstrip("\n").replace("\n", "\r\n").encode())
    run("--fix", "--yes", str(path))
    want = b"\xef\xbb\xbf" + MENDED.rstrip("\n").replace("\n", "\r\n").encode()
    assert path.read_bytes() == want


def test_a_file_without_a_remedy_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "fine.cues"
    path.write_text(MENDED, encoding="utf-8")
    before = path.stat().st_mtime_ns
    done = run("--fix", "--yes", str(path))
    assert done.return_value == 0
    assert path.stat().st_mtime_ns == before
