"""Every command answers `--help` with an example that runs; the shells complete as documented."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest

from seqlang.command import group

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
NAMES = group.list_commands(click.Context(group))


def help_of(*words: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "seqlang", *words, "--help"],
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": "80"},
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def examples_of(text: str) -> list[str]:
    """The examples in a help text, each on a line of its own."""
    return re.findall(r"^  Example: (bellcrank .*)$", text, re.M)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the shows, and a home whose virtual board plays one of them."""
    folder = tmp_path_factory.mktemp("place")
    shutil.copytree(ROOT / "shows", folder / "shows")
    shutil.copy(ROOT / "shows" / "first" / "first.cues", folder)
    assert run("bellcrank flash first.cues --port virtual", folder).returncode == 0
    return folder


def home_of(folder: Path) -> dict[str, str]:
    ours = ("XDG_STATE_HOME", "XDG_CONFIG_HOME")
    kept = {key: value for key, value in os.environ.items() if key not in ours}
    return {**kept, "HOME": str(folder), "APPDATA": str(folder), "PYTHONPATH": str(ROOT)}


def run(line: str, folder: Path) -> subprocess.CompletedProcess[str]:
    program, *words = shlex.split(line)
    assert program == "bellcrank"
    return subprocess.run(
        [sys.executable, "-m", "seqlang", *words],
        capture_output=True,
        text=True,
        cwd=folder,
        env=home_of(folder),
        timeout=300,
    )


@pytest.mark.parametrize("name", [n for n in NAMES if n != "board"])
def test_the_examples_of_a_command_run(name: str, place: Path) -> None:
    text = help_of(name)
    lines = examples_of(text)
    assert lines, "say `Example: bellcrank ...` in the command's docstring"
    assert len(lines) == text.count("Example:")
    for line in lines:
        assert line.split()[1] == name
        done = run(line, place)
        assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C comes in other ways elsewhere")
def test_the_example_of_a_board_runs_until_it_is_interrupted(place: Path) -> None:
    (line,) = examples_of(help_of("board"))
    started = subprocess.Popen(
        [sys.executable, "-m", "seqlang", *shlex.split(line)[1:]],
        stdout=subprocess.PIPE,
        text=True,
        cwd=place,
        env=home_of(place),
    )
    assert started.stdout is not None
    assert "virtual board on socket://" in started.stdout.readline()
    time.sleep(0.2)
    started.send_signal(signal.SIGINT)
    assert "ended" in started.stdout.read()
    started.stdout.close()
    assert started.wait(timeout=30) == 0


def test_the_help_of_the_whole_command_has_an_example_too() -> None:
    assert examples_of(help_of()) == ["bellcrank demo"]


@pytest.mark.parametrize("name", NAMES)
def test_no_help_is_wider_than_a_terminal(name: str) -> None:
    assert max(map(len, help_of(name).splitlines())) <= 80


# -- completion --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def on_the_path(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """An environment in which `bellcrank` is this program."""
    folder = tmp_path_factory.mktemp("bin")
    script = folder / "bellcrank"
    script.write_text(f'#!/bin/sh\nPYTHONPATH={ROOT} exec {sys.executable} -m seqlang "$@"\n')
    script.chmod(0o755)
    return {**os.environ, "PATH": f"{folder}{os.pathsep}{os.environ['PATH']}"}


def line_for(shell: str) -> str:
    """What README says to put into the shell's own file."""
    found = re.search(rf"^\| {shell}[^|]*\| `(.*)` \|$", README, re.M)
    assert found is not None
    return found[1].replace("\\|", "|")


def in_shell(shell: str, script: str, environment: dict[str, str]) -> str:
    path = shutil.which(shell)
    if path is None:
        pytest.skip(f"LEFT OUT: there is no {shell} here")
    plain = {"bash": ["--norc"], "zsh": ["-f"], "fish": ["--no-config"]}[shell]
    done = subprocess.run(
        [path, *plain, "-c", script], capture_output=True, text=True, env=environment, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


OWL = ROOT / "shows" / "owl" / "owl.cues"
COMPLETED = [
    ("bellcrank ch", {"check"}),
    ("bellcrank st", {"standby", "status", "stop"}),
    ("bellcrank check --q", {"--quiet"}),
    ("bellcrank check --format s", {"sarif"}),
    ("bellcrank explain caution-p", {"caution-pinch"}),
    ("bellcrank explain suppl", {"supply", "supply-overload"}),
    ("bellcrank board --chip atm", {"atmega2560", "atmega328p"}),
    (f"bellcrank plot {OWL} --cue gr", {"greet"}),
    (f"bellcrank trigger --list --show {OWL} gr", {"greet"}),
]


@pytest.mark.parametrize(("typed", "expected"), COMPLETED)
def test_bash_completes(typed: str, expected: set[str], on_the_path: dict[str, str]) -> None:
    words = typed.split()
    script = (
        f"{line_for('bash')}\n"
        f"COMP_WORDS=({' '.join(words)}); COMP_CWORD={len(words) - 1}\n"
        "_bellcrank_completion bellcrank\n"
        'printf "%s\\n" "${COMPREPLY[@]}"\n'
    )
    assert set(in_shell("bash", script, on_the_path).split()) == expected


@pytest.mark.parametrize(("typed", "expected"), COMPLETED)
def test_fish_completes(typed: str, expected: set[str], on_the_path: dict[str, str]) -> None:
    script = f"{line_for('fish')}\ncomplete --do-complete '{typed}'\n"
    shown = in_shell("fish", script, on_the_path)
    assert {line.split("\t")[0] for line in shown.splitlines()} == expected


def test_zsh_takes_the_line(on_the_path: dict[str, str]) -> None:
    script = (
        "autoload -Uz compinit && compinit -u -D\n"
        f"{line_for('zsh')}\n"
        "print -r -- ${_comps[bellcrank]}\n"
    )
    assert in_shell("zsh", script, on_the_path).strip() == "_bellcrank_completion"


def test_without_a_show_on_the_line_cues_are_those_of_the_shows_in_the_folder(
    tmp_path: Path, on_the_path: dict[str, str]
) -> None:
    (tmp_path / "one.cues").write_text('cue wave "Waves"\n    hold 1 s\n\ncue wait\n    hold\n')
    (tmp_path / "two.cues").write_bytes(b"\xff\xfe\ncue wag\n")
    (tmp_path / "three.cues").mkdir()
    environment = {
        **on_the_path,
        "_BELLCRANK_COMPLETE": "bash_complete",
        "COMP_WORDS": "bellcrank trigger wa",
        "COMP_CWORD": "2",
        "PYTHONPATH": str(ROOT),
    }
    done = subprocess.run(
        [sys.executable, "-m", "seqlang"],
        capture_output=True,
        text=True,
        env=environment,
        cwd=tmp_path,
    )
    assert done.stdout.split() == ["plain,wave", "plain,wait", "plain,wag"]
    assert done.stderr == ""


def test_the_name_of_a_file_is_left_to_the_shell(on_the_path: dict[str, str]) -> None:
    """bash gets the kind `file` for the argument and completes it by itself."""
    environment = {
        **on_the_path,
        "_BELLCRANK_COMPLETE": "bash_complete",
        "COMP_WORDS": "bellcrank check fir",
        "COMP_CWORD": "2",
    }
    done = subprocess.run(
        [sys.executable, "-m", "seqlang"], capture_output=True, text=True, env=environment, cwd=ROOT
    )
    assert done.stdout.strip() == "file,fir"


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("bellcrank chekc ", "2"),
        ("bellcrank \udcff x", "2"),
        ("bellcrank '' x", "2"),
        ("bellcrank $(x) --", "2"),
        ("bellcrank check", "zz"),
        ("bellcrank check 'open", "99"),
        (None, None),
    ],
)
@pytest.mark.parametrize("shell", ["bash_complete", "zsh_complete", "fish_complete", "foo"])
def test_what_no_completion_can_make_sense_of_leaves_the_line_alone(
    typed: str | None, number: str | None, shell: str, on_the_path: dict[str, str]
) -> None:
    """Whatever was said would stand in the middle of the line that somebody types."""
    environment = {**on_the_path, "_BELLCRANK_COMPLETE": shell}
    if typed is not None and number is not None:
        environment |= {"COMP_WORDS": typed, "COMP_CWORD": number}
    done = subprocess.run(
        [sys.executable, "-m", "seqlang"], capture_output=True, text=True, env=environment, cwd=ROOT
    )
    assert done.stderr == ""
    assert done.returncode in (0, 1)
