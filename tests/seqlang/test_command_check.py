"""`bellcrank check` and what every subcommand shares: statuses, formats, no traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from rig_text import RIG

from seqlang import command

SHOWS = sorted((Path(__file__).parents[2] / "shows").glob("*/*.cues"))


def run(*arguments: str) -> tuple[int, str, str]:
    done = subprocess.run(
        [sys.executable, "-m", "seqlang", *arguments], capture_output=True, text=True
    )
    return done.returncode, done.stdout, done.stderr


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.stem)
def test_a_shipped_show_passes(path: Path) -> None:
    status, out, err = run("check", str(path))
    assert (status, err) == (0, "")
    assert "error" not in out
    assert "warning" not in out


def test_a_show_with_errors_has_status_1_and_a_count(tmp_path: Path) -> None:
    path = tmp_path / "x.cues"
    path.write_text(RIG + "cue a\n    jwa to 3 deg in 1 s\n")
    status, out, err = run("check", str(path))
    assert (status, err) == (1, "")
    assert "(unknown-name)" in out
    assert "1 error" in out.splitlines()[-1]
    assert "\x1b" not in out


def test_json_is_all_that_is_printed(tmp_path: Path) -> None:
    path = tmp_path / "x.cues"
    path.write_text(RIG + "cue a\n    jwa to 3 deg in 1 s\n")
    status, out, _ = run("check", str(path), "--format", "json")
    record = json.loads(out)
    assert status == 1
    assert record["passed"] is False
    assert [f["name"] for f in record["findings"] if f["severity"] == "error"] == ["unknown-name"]


@pytest.mark.parametrize(
    "arguments",
    [
        ("check",),
        ("check", "."),
        ("check", "x", "--format", "poem"),
        ("chek", "x"),
        ("--nonsense",),
    ],
)
def test_wrong_usage_has_status_2(arguments: tuple[str, ...]) -> None:
    status, out, err = run(*arguments)
    assert status == 2
    assert out == ""
    assert "Traceback" not in err


def test_a_misspelt_command_is_answered_with_the_nearest() -> None:
    assert "did you mean `check`?" in run("chek", "x")[2]


def test_help_and_version_have_status_0() -> None:
    status, out, _ = run("--help")
    assert status == 0
    assert "check" in out
    assert run("--version")[1].startswith("bellcrank ")


def test_a_file_without_permission_is_named_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.cues"
    path.write_text("")

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(SystemExit) as end:
        command.main(["check", str(path)])
    assert end.value.code == 2
    assert capsys.readouterr().err == f"error: `{path}`: permission denied\n"


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """A subcommand `fail` that raises what the test puts in `failing.error`."""

    def fail() -> None:
        raise monkeypatch.error  # type: ignore[attr-defined]

    made = click.Command("fail", callback=fail)
    monkeypatch.setattr(command.Subcommands, "get_command", lambda *_: made, raising=True)
    return monkeypatch


@pytest.mark.parametrize(
    ("error", "status", "words"),
    [
        (ZeroDivisionError("x\ny"), 4, "mistake in bellcrank itself"),
        (RecursionError(), 4, "mistake in bellcrank itself"),
        (MemoryError(), 4, "mistake in bellcrank itself"),
        (command.ShowFailed("the show"), 1, "error: the show"),
        (command.BoardFailed("no answer"), 3, "error: no answer"),
        (command.WrongUse("no cue"), 2, "error: no cue"),
        (KeyboardInterrupt(), 130, "stopped"),
        (OSError(28, "No space left on device", "out.bin"), 2, "`out.bin`: no space left"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_whatever_goes_wrong_ends_in_one_line_and_a_status(
    failing: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    error: BaseException,
    status: int,
    words: str,
) -> None:
    failing.error = error  # type: ignore[attr-defined]
    with pytest.raises(SystemExit) as end:
        command.main(["fail"])
    err = capsys.readouterr().err
    assert end.value.code == status
    assert words in err
    assert len(err.strip().splitlines()) == 1
    assert "Traceback" not in err


@pytest.mark.parametrize(("wave_ms", "status"), [(900, 0), (100, 1)])
@pytest.mark.parametrize("lines_read", [0, 1])
def test_the_status_tells_of_the_show_though_the_reader_stops_reading(
    tmp_path: Path, wave_ms: int, status: int, lines_read: int
) -> None:
    path = tmp_path / "first.cues"
    shipped = (SHOWS[0].parents[1] / "first" / "first.cues").read_text(encoding="utf-8")
    path.write_text(shipped.replace("in 900 ms", f"in {wave_ms} ms"), encoding="utf-8")
    started = subprocess.Popen(
        [sys.executable, "-m", "seqlang", "check", str(path), "--format", "json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert started.stdout is not None
    assert started.stderr is not None
    for _ in range(lines_read):
        started.stdout.readline()
    started.stdout.close()
    assert started.stderr.read() == b""
    started.stderr.close()
    assert started.wait(timeout=60) == status


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("status", ["passes", "fails"])
def test_words_that_a_full_disk_does_not_take_are_told_in_one_line(
    status: str, tmp_path: Path
) -> None:
    show = SHOWS[0]
    if status == "fails":
        show = tmp_path / "wrong.cues"
        show.write_text("cue snap\n    jaw to 40\n")
    words = [sys.executable, "-m", "seqlang", "check", str(show)]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True)
    assert done.returncode == (2 if status == "passes" else 1)
    told = "error: the work is done, but the last of its output could not be written"
    assert done.stderr == f"{told} (no space left on device)\n"


def test_a_name_that_the_terminal_cannot_show_is_no_failure(tmp_path: Path) -> None:
    path = tmp_path / "x.cues"
    path.write_text("cue \u6df1\u6d77\n    hold 3\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "seqlang", "check", str(path)],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
    )
    assert done.returncode == 1
    assert b"missing-unit" in done.stdout


def test_every_subcommand_says_what_it_is_for() -> None:
    for name in command.group.list_commands(click.Context(command.group)):
        done = CliRunner().invoke(command.group, [name, "--help"])
        assert done.exit_code == 0, name
        assert len(done.output.splitlines()) > 3
