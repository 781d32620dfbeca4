"""The small broken shows in `findings/`: what their headers say of them, and the show mended.

    # finds: servo-speed         its findings; advice only where it is meant
    # says: ...                  part of the message of the first of them
    # Half the jaw's way ...     a remark
    # instead of: fuse 2 A       every line of the show that reads like this ...
    # write: fuse 7.5 A          ... becomes this one, or these; without one it is left out

Where nothing stands instead, the show is mended with what the first finding itself proposes.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding, applied
from seqlang.text.source import Source

FOLDER = Path(__file__).parent / "findings"
SHOWS = sorted(FOLDER.glob("*.cues"))


@dataclass(frozen=True)
class BrokenShow:
    """A broken show; `finds` has what it is made for first."""

    path: Path
    text: str
    finds: tuple[str, ...]
    says: str
    remark: str
    changes: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def name(self) -> str:
        return self.finds[0]


def example(path: Path) -> BrokenShow:
    text = path.read_text(encoding="utf-8")
    return BrokenShow(
        path,
        text,
        tuple(header(text, "finds").split(", ")),
        header(text, "says"),
        text.splitlines()[2].removeprefix("# "),
        tuple(_changes(text)),
    )


def header(text: str, key: str) -> str:
    found = re.search(rf"^# {key}: (.*)$", text, re.MULTILINE)
    assert found is not None, f"the show has no `# {key}:` line"
    return found[1]


def _changes(text: str) -> list[tuple[str, tuple[str, ...]]]:
    changes: list[tuple[str, tuple[str, ...]]] = []
    for key, words in re.findall(r"^# (instead of|write):(?: (.*))?$", text, re.MULTILINE):
        if key == "instead of":
            changes.append((words, ()))
        else:
            changes[-1] = (changes[-1][0], (*changes[-1][1], words))
    return changes


def found_in(text: str, path: Path = FOLDER / "include-circle.cues") -> list[Finding]:
    """What checking a show finds, but for the cautions; what it includes lies in `parts/`."""
    found = check(load_text(Source(str(path), text))).findings
    return [finding for finding in found if not finding.name.startswith("caution-")]


def mended(one: BrokenShow) -> str:
    """The show as its header or its findings say that it should be."""
    if one.name in BY_HAND:
        return BY_HAND[one.name](one.text)
    if one.changes:
        return _rewritten(one)
    text = one.text
    for _ in range(20):
        fixes = [f.fix for f in found_in(text) if f.name == one.name and f.fix is not None]
        if not fixes:
            break
        text = applied(text, fixes[0])
    return text


def _rewritten(one: BrokenShow) -> str:
    lines = one.text.split("\n")
    for old, new in one.changes:
        wanted = old if old.startswith((" ", "\t")) else old.strip()
        at = [n for n, line in enumerate(lines) if line in (wanted, _indent(line) + wanted)]
        assert at, f"no line reads `{old}`"
        for n in reversed(at):
            before = "" if wanted != wanted.lstrip() else _indent(lines[n])
            lines[n : n + 1] = [before + line if line else "" for line in new]
    return "\n".join(lines)


def _indent(line: str) -> str:
    return line[: len(line) - len(line.lstrip())]


def _shorter(text: str) -> str:
    """Without the second half of the moves of a cue that goes on and on."""
    lines = text.split("\n")
    moves = [n for n, line in enumerate(lines) if line.startswith("    jaw to ")]
    return "\n".join(line for n, line in enumerate(lines) if n not in moves[len(moves) // 2 :])


def _one_board_less(text: str) -> str:
    return text[: text.rindex("board ")]


BY_HAND: dict[str, Callable[[str], str]] = {
    "table-too-large": _shorter,
    "rig-too-large": _one_board_less,
}
"""Shows of which too many lines change to list them."""
