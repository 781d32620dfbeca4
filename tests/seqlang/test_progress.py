"""Long work says on a terminal that it goes on, and leaves nothing behind."""

from __future__ import annotations

import subprocess
import sys

from terminal import on_a_terminal

LONG = (
    "import time\n"
    "from seqlang.command._progress import working\n"
    "with working('thinking'): time.sleep(1.8)\n"
    "print('done')\n"
)
SHORT = LONG.replace("1.8", "0.01")
FAILING = LONG.replace("time.sleep(1.8)", "time.sleep(1.0); raise SystemExit(3)")


def test_long_work_tells_for_how_long_it_has_gone_on() -> None:
    ended = on_a_terminal(program=("-c", LONG), only_stderr=True)
    assert "\rthinking, 1 s\x1b[K" in ended.raw
    assert ended.screen == []
    assert ended.out == "done\n"


def test_short_work_says_nothing() -> None:
    assert on_a_terminal(program=("-c", SHORT), only_stderr=True).raw == ""


def test_work_that_fails_leaves_a_clean_line_too() -> None:
    ended = on_a_terminal(program=("-c", FAILING), only_stderr=True)
    assert (ended.status, ended.screen) == (3, [])


def test_a_narrow_terminal_gets_one_line_of_it() -> None:
    wordy = LONG.replace("thinking", "thinking " * 20)
    assert on_a_terminal(program=("-c", wordy), columns=40, only_stderr=True).screen == []


def test_nothing_is_said_where_no_terminal_is_or_none_that_redraws() -> None:
    done = subprocess.run([sys.executable, "-c", LONG], capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("done\n", "")
    assert on_a_terminal(program=("-c", LONG), only_stderr=True, terminal="dumb").raw == ""
