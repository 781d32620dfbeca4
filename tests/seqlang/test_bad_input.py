"""Bad input of every kind ends in a clear message and the right status, quickly."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from rig_text import RIG, loaded, names

from seqlang.command import group
from seqlang.loading import Loaded, load
from seqlang.text.indentation import MOST_NESTED

ONE_SPACE_A_LEVEL = "cue a\n" + "".join(" " * (n + 1) + "together\n" for n in range(5000))
FLAT = "cue a\n" + "".join(f"{'    ' * (n + 1)}in turn\n" for n in range(1000))

BAD_FILES = {
    "empty": (b"", "empty-show"),
    "blank": (b"\n \n\t\n# nothing\n", "empty-show"),
    "binary": (bytes(range(256)) * 50, "not-text"),
    "latin 1": ('show "Größe"\n'.encode("latin-1"), "not-text"),
    "10 MB of one line": (b"x" * 10_000_000, "line-too-long"),
    "10 MB of brackets": (b"(" * 10_000_000, "line-too-long"),
    "900 brackets": (b"cue a\n    hold " + b"(" * 900 + b"\n", "nested-too-deep"),
    "33 MB": (b"# x\n" * 8_250_000, "file-too-large"),
    "5 MB of comments": (b"# comment\n" * 500_000, "file-too-large"),
    "5,000 nested blocks": (ONE_SPACE_A_LEVEL.encode(), "nested-too-deep"),
    "1,000 nested blocks": (FLAT.encode(), "nested-too-deep"),
    "tabs and spaces": (b"cue a\n    hold 1 s\n\thold 2 s\n", "mixed-indent"),
    "tab after spaces": (b"cue a\n  \thold 1 s\n", "mixed-indent"),
    "uneven": (b"cue a\n    together\n        hold 1 s\n      hold 2 s\n", "uneven-indent"),
    "unknown unit": (b"cue a\n    hold 1 parsec\n", "unknown-unit"),
    "division by zero": (b"cue a\n    hold (1 s / (1 - 1))\n", "division-by-zero"),
    "not a number": (b"cue a\n    hold nan\n", "not-a-number"),
    "infinite": (b"cue a\n    hold Infinity\n", "not-a-number"),
    "500 digits": (b"cue a\n    hold " + b"9" * 500 + b" s\n", "number-out-of-range"),
    "an exponent": (b"cue a\n    hold 1e999999999 s\n", "unknown-unit"),
    "a thousand minus signs": (b"cue a\n    hold (" + b"-" * 900 + b"3 s)\n", "syntax"),
    "duplicate names": (b"cue a\n    hold 1 s\ncue a\n    hold 1 s\n", "duplicate-name"),
    "a cue that plays itself": (b"cue a\n    play a\n", "cue-calls-itself"),
    "days": (b"cue a\n    repeat 9999 times\n        hold 1 h\n", "repeat-too-long"),
    "days by nesting": (
        b"cue a\n    repeat 999 times\n        repeat 999 times\n            hold 1 s\n",
        "repeat-too-long",
    ),
    "a lone carriage return": (b"cue a\r    hold 1 parsec\r", "unknown-unit"),
    "a form feed": (b"cue a\n    hold\x0c1 s\n", "syntax"),
}


@pytest.mark.parametrize("kind", BAD_FILES)
def test_a_bad_file_ends_in_the_finding_that_is_named_for_it(kind: str, tmp_path: Path) -> None:
    data, name = BAD_FILES[kind]
    path = tmp_path / "bad.cues"
    path.write_bytes(data)
    assert set(names(load(path))) == {name}


@pytest.mark.parametrize("kind", BAD_FILES)
def test_the_check_of_a_bad_file_has_status_1_and_says_why(kind: str, tmp_path: Path) -> None:
    data, name = BAD_FILES[kind]
    path = tmp_path / "bad.cues"
    path.write_bytes(data)
    done = CliRunner().invoke(group, ["check", str(path)], standalone_mode=False)
    assert done.exception is None
    assert done.return_value == 1
    assert f"({name})" in done.output
    assert "Traceback" not in done.output
    assert list(tmp_path.iterdir()) == [path]


def test_sums_of_every_length_and_depth_that_fit_are_worked_out() -> None:
    long = " + ".join(["1 ms"] * 100)
    deep = "(" * 15 + "1 s" + ")" * 15
    assert names(loaded(f"cue a\n    hold ({long})\n    hold {deep}\n")) == []


def test_blocks_may_nest_as_deep_as_is_said() -> None:
    def nested(depth: int) -> str:
        return "cue a\n" + "".join(
            f"{'  ' * level}{'in turn' if level < depth else 'hold 1 s'}\n"
            for level in range(1, depth + 1)
        )

    assert names(loaded(nested(MOST_NESTED))) == []
    assert names(loaded(nested(MOST_NESTED + 1))) == ["nested-too-deep"]


def test_a_chain_of_ten_thousand_cues_is_no_trouble() -> None:
    chain = "".join(f"cue c{n}\n    play c{n + 1}\n" for n in range(10_000))
    found = loaded(chain + "cue c10000\n    hold 1 s\n")
    assert set(names(found)) == {"nested-too-deep", "show-too-long"}


def test_a_circle_of_ten_thousand_cues_is_no_trouble() -> None:
    text = "".join(f"cue c{n}\n    play c{(n + 1) % 10_000}\n" for n in range(10_000))
    found = loaded(text)
    assert "cue-calls-itself" in names(found)


def test_cues_that_double_each_other_are_stopped_before_they_fill_the_memory() -> None:
    text = "cue c0\n    hold 1 ms\n" + "".join(
        f"cue c{n}\n    play c{n - 1}\n    play c{n - 1}\n" for n in range(1, 20)
    )
    assert set(names(loaded(text))) == {"show-too-long"}


def well_told(found: Loaded) -> bool:
    """A show, or a reason why not; each finding in words and at a place within its file."""
    for finding in found.findings:
        assert finding.message
        assert finding.span.path in found.sources
        text = found.sources[finding.span.path].text
        assert 0 <= finding.span.start <= finding.span.end <= len(text) + 1
    return found.show is not None or bool(found.findings)


@settings(max_examples=150)
@given(st.text(max_size=300))
def test_no_text_raises(text: str) -> None:
    assert well_told(loaded(text))


@settings(max_examples=60)
@given(st.binary(max_size=300))
def test_no_bytes_raise(data: bytes) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.cues"
        path.write_bytes(data)
        assert well_told(load(path))


SEED_TEXT = (Path(__file__).parents[2] / "shows/anglerfish/anglerfish.cues").read_text()
PIECES = [*SEED_TEXT.split(), "(", ")", ",", "\n", "    ", "nan", "-1", "1/0", '"', "#", "\t"]


@settings(max_examples=60)
@given(st.integers(0, 2**32))
def test_a_show_with_pieces_swapped_cut_and_doubled_never_raises(seed: int) -> None:
    chance = random.Random(seed)
    text = SEED_TEXT
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(text))
        until = at + chance.randint(0, 12)
        text = text[:at] + chance.choice(PIECES) + text[until:]
    found = loaded(text)
    for finding in found.findings:
        assert 0 <= finding.span.start <= finding.span.end <= len(text) + 1
        assert finding.message


def test_lines_of_a_show_in_any_order_never_raise() -> None:
    lines = RIG.splitlines()
    for seed in range(30):
        random.Random(seed).shuffle(lines)
        assert well_told(loaded("\n".join(lines)))


def test_a_file_that_is_not_there_has_status_2_and_no_traceback(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "seqlang", "check", str(tmp_path / "none.cues")]
    done = subprocess.run(command, capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "none.cues" in done.stderr
