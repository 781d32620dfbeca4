"""The shared vectors as they lie in the folder, and a player's answers to them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any, Protocol

FOLDER = Path(__file__).parent / "vectors"
STRETCH = 50
"""Frames that share a digest."""

PLAYED = ("rules", "by_hand", "random")
"""The files whose cases are played."""

CHECKED = ("refused", "checked")
"""The files whose tables are checked."""


class PlainPlayer(Protocol):
    """What a player must offer to be held against the vectors."""

    def frame(self, requests: Iterable[tuple[str, int, int]]) -> bytes: ...

    def end_state(self) -> list[int]: ...


def held(name: str) -> list[dict[str, Any]]:
    """The cases of a file."""
    found = json.loads((FOLDER / f"{name}.json").read_text(encoding="ascii"))
    assert isinstance(found, list)
    return found


def digest(raws: Iterable[bytes]) -> str:
    """The first 8 bytes of SHA-256 over the outputs of some frames, in hexadecimal."""
    return sha256(b"".join(raws)).hexdigest()[:16]


def first_difference(player: PlainPlayer, case: Mapping[str, Any]) -> str | None:
    """Where a player leaves a case; None if it answers all of it."""
    asked: dict[int, list[tuple[str, int, int]]] = {}
    for frame, kind, a, b in case["requests"]:
        asked.setdefault(frame, []).append((kind, a, b))
    shown = dict(case["shown"])
    for start in range(0, case["frames"], STRETCH):
        raws = []
        for number in range(start, min(start + STRETCH, case["frames"])):
            raws.append(player.frame(asked.get(number, ())))
            if shown.get(number, raws[-1].hex()) != raws[-1].hex():
                return f"frame {number}"
        if digest(raws) != case["digests"][start // STRETCH]:
            return f"frames from {start} on"
    return None if player.end_state() == case["end"] else f"end {player.end_state()}"
