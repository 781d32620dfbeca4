"""A bounded run of the fuzzers, what they found before, and that they would find something.

The long run is `python -m tests.fuzz --long` (a million inputs in all).
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from time import sleep

import pytest
from hypothesis import HealthCheck, given, settings

from seqlang.text.source import Source
from tests.fuzz import trying
from tests.fuzz.grammar_texts import RIG, grammar_texts
from tests.fuzz.targets import ROOT, TARGETS, FuzzTarget
from tests.fuzz.trying import KEPT, Broke, inputs, keep, shortest, tried

ONCE = sorted(path for path in KEPT.glob("*/*") if path.parent.name in TARGETS)
A_FEW = {
    "read": 60,
    "show": 60,
    "layout": 80,
    "editor": 40,
    "server": 15,
    "table": 250,
    "link": 250,
}


@pytest.mark.parametrize("path", ONCE, ids=lambda path: f"{path.parent.name}-{path.name[:8]}")
def test_what_broke_a_target_once_breaks_it_no_more(path: Path) -> None:
    assert tried(TARGETS[path.parent.name], path.read_bytes()) is None


@pytest.mark.parametrize("name", TARGETS)
def test_the_seeds_themselves_break_nothing(name: str) -> None:
    for data in TARGETS[name].seeds()[::7]:
        assert tried(TARGETS[name], data) is None


@pytest.mark.parametrize("name", TARGETS)
def test_spoilt_inputs_break_nothing(name: str) -> None:
    for data in islice(inputs(TARGETS[name], seed=20), A_FEW[name]):
        broke = tried(TARGETS[name], data)
        assert broke is None, f"{broke.how}\n{data!r}"


@pytest.mark.long
@pytest.mark.parametrize("name", TARGETS)
def test_many_spoilt_inputs_break_nothing(name: str) -> None:
    for data in islice(inputs(TARGETS[name], seed=21), 40 * A_FEW[name]):
        broke = tried(TARGETS[name], data)
        assert broke is None, f"{broke.how}\n{data!r}"


@settings(max_examples=40, suppress_health_check=list(HealthCheck), deadline=None)
@given(grammar_texts())
def test_texts_after_the_grammar_break_nothing(text: str) -> None:
    for name in ("show", "layout"):
        broke = tried(TARGETS[name], text.encode())
        assert broke is None, broke.how


def test_texts_after_the_grammar_are_read_line_by_line() -> None:
    """Else they would try the messages about syntax only."""
    from seqlang.text.parse import parse

    read = []

    @settings(max_examples=30, suppress_health_check=list(HealthCheck), database=None)
    @given(grammar_texts().filter(lambda text: "??" not in text))
    def look(text: str) -> None:
        read.append(not parse(Source("t.cues", text.removeprefix(RIG) + "\n")).findings)

    look()
    assert sum(read) > len(read) / 2


def test_the_long_run_is_a_million_inputs() -> None:
    assert sum(target.long_run for target in TARGETS.values()) == 1_000_000


def test_a_server_that_says_it_made_a_mistake_has_broken_its_target(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """So that an answer from a server whose insides broke is not taken for a good one."""
    from tests.seqlang.editor_client import EditorClient

    whole = EditorClient.findings

    def spoilt(client: EditorClient, *args: int) -> list[dict[str, object]]:
        client.logged.append("this is a mistake in bellcrank itself: planted")
        return whole(client, *args)

    assert tried(TARGETS["server"], b"show\n") is None
    monkeypatch.setattr(EditorClient, "findings", spoilt)
    broke = tried(TARGETS["server"], b"show\n")
    assert broke is not None
    assert "planted" in broke.how
    monkeypatch.undo()
    assert tried(TARGETS["server"], b"show\n") is None


def planted(name: str, spoils: bytes) -> FuzzTarget:
    """A target with a bug: it breaks on inputs in which these bytes stand, and their reverse."""

    def attempt(data: bytes) -> None:
        assert spoils not in data or spoils[::-1] in data, "planted"

    return replace(TARGETS[name], attempt=attempt)


@pytest.mark.parametrize(("name", "spoils"), [("show", "\u201c".encode()), ("table", b"\xff\x00")])
def test_a_planted_bug_is_found_made_short_and_kept(
    name: str, spoils: bytes, tmp_path: Path
) -> None:
    target = planted(name, spoils)
    found = next(
        broke for data in islice(inputs(target, seed=3), 3000) if (broke := tried(target, data))
    )
    short = shortest(found.data, lambda data: tried(target, data) is not None)
    assert short == spoils
    kept = keep(target, Broke(short, found.how), tmp_path)
    assert kept.read_bytes() == spoils
    assert kept.parent == tmp_path / name


def test_the_same_seed_gives_the_same_inputs() -> None:
    first, again, other = (list(islice(inputs(TARGETS["show"], n), 5)) for n in (5, 5, 6))
    assert first == again != other


def test_an_input_that_takes_long_has_broken_its_target() -> None:
    def slow(data: bytes) -> None:
        from time import process_time

        end = process_time() + 2.2
        while process_time() < end:
            pass

    broke = tried(replace(TARGETS["show"], attempt=slow), b"")
    assert broke is not None
    assert "TooSlowError" in broke.how


def test_the_command_runs_a_target_and_says_how_fast() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz", "table", "--inputs", "20"],
        capture_output=True,
        text=True,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "table: 20 inputs" in done.stdout


@pytest.mark.long
@pytest.mark.skipif(find_spec("atheris") is None, reason="no atheris: pip install -e '.[fuzz]'")
def test_the_run_that_is_led_by_coverage_reaches_its_end() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz", "table", "--inputs", "2000", "--coverage"],
        capture_output=True,
        text=True,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_shortening_what_only_makes_one_wait_ends_by_the_clock(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(trying, "MOST_SHORTENING_S", 0.05)
    waits = 0

    def breaks(_: bytes) -> bool:
        nonlocal waits
        waits += 1
        sleep(0.02)  # a server that does not answer: no processor time passes here
        return False

    shortest(bytes(500), breaks)
    assert 0 < waits < 10
