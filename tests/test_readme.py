"""README says what is so: its commands, its snippets and its finding come from this code."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.command import group
from seqlang.loading import load
from seqlang.text.render import text

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
FIRST = (ROOT / "shows" / "first" / "first.cues").read_text(encoding="utf-8")


def section(title: str) -> str:
    return re.split(r"^## ", README, flags=re.M)[
        [part.splitlines()[0] for part in re.split(r"^## ", README, flags=re.M)].index(title)
    ]


def block(kind: str, within: str = README) -> str:
    found = re.findall(rf"^```{kind}\n(.*?)^```$", within, flags=re.M | re.S)
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize("title", ["Run it", "Test it"])
def test_a_section_to_run_holds_one_command_line(title: str) -> None:
    assert len(block("sh", section(title)).splitlines()) == 1


def test_the_shown_cue_file_is_the_shipped_one() -> None:
    shipped = [line for line in FIRST.splitlines() if not line.startswith("#")]
    assert block("cues").splitlines() == shipped


def test_the_shown_mistake_is_found_as_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    wrong = FIRST.replace("flap to 50 deg in 900 ms", "flap to 50 deg in 200 ms")
    Path("first.cues").write_text(wrong, encoding="utf-8")
    loaded = load("first.cues")
    errors = [f for f in check(loaded).findings if f.severity == "error"]
    assert text(errors, loaded.sources, colour=False).strip() == block("text").strip()


def test_every_command_that_is_named_exists() -> None:
    named = set(re.findall(r"`bellcrank ([a-z]+)", README)) | {"stop", "limp", "standby"}
    assert named <= set(group.list_commands(None))  # type: ignore[arg-type]
    assert set(group.list_commands(None)) <= named  # type: ignore[arg-type]


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_every_file_that_is_linked_exists(page: str) -> None:
    words = (ROOT / page).read_text(encoding="utf-8")
    links = set(re.findall(r"\]\(([^)#:]+)\)", words))
    paths = set(re.findall(r"`((?:seqlang|sim|firmware_gen|shows|tests)/[\w./]*\w)`", words))
    assert {name for name in links | paths if not (ROOT / name).exists()} == set()
