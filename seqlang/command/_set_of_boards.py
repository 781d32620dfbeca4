"""Which version of a show each of its boards was given, and so which to plug in next.

It is remembered in one small file for each show, beside the cautions that were shown. A show is
known by its file, a version by its number, which is in every table. What is known of a board is
what it was given from this computer, and what it said when a command last looked at it with the
show at hand: by a plug of its own, or through the board that leads, where a wire goes back there.
Where nothing can be written, nothing is remembered.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from firmware_gen.link.failures import LinkFailure
from firmware_gen.table.layout import FOLLOWS, LEADS

if TYPE_CHECKING:
    from firmware_gen.compiler.show import CompiledBoard, CompiledShow


class SetOfBoards:
    """The boards of one show, as far as this computer has flashed them."""

    def __init__(self, path: str, show: CompiledShow) -> None:
        known_by = hashlib.sha256(os.fsencode(Path(path).resolve())).hexdigest()
        self._name = known_by[:32]
        self._show = show

    def remember(self, address: int) -> None:
        """The board of this address has the present version."""
        self.saw(address, self._show.number)

    def saw(self, address: int, number: int) -> None:
        """The board of this address has the version of this number; others are none of the show."""
        from firmware_gen.files import write_whole

        name = next((one.name for one in self._show.boards if one.board.address == address), None)
        known = self._versions()
        if name is None or known.get(name) == f"{number:08x}":
            return
        versions = {**known, name: f"{number:08x}"}
        try:
            self._place().parent.mkdir(parents=True, exist_ok=True)
            write_whole(self._place(), json.dumps(versions, sort_keys=True).encode("utf-8"))
        except OSError:
            return

    def mixed(self) -> LinkFailure | None:
        """What is wrong if boards of the show are known to have different versions; None: nothing
        is known to be wrong."""
        versions = self._versions()
        known = [one for one in self._show.boards if one.name in versions]
        if len({versions[one.name] for one in known}) < 2:
            return None
        others = [one for one in known if not self._has_it(one.name)]
        return _mixed(", ".join(f"{_called(one)} has {versions[one.name]}" for one in others))

    def left(self, address: int) -> list[CompiledBoard]:
        """The boards that are not known to have the present version, but for that address; the one
        that leads first."""
        found = [
            one
            for one in self._show.boards
            if one.board.address != address and not self._has_it(one.name)
        ]
        return sorted(found, key=lambda one: not one.board.leads)

    def words(self, address: int) -> Sequence[str]:
        """What is to be said behind a flash of the board of that address."""
        if len(self._show.boards) < 2:
            return ()
        left = self.left(address)
        if not left:
            return ("all boards of the show were given this version",)
        first, *others = left
        older = [one.name for one in left if one.name in self._versions()]
        found = [f"next, plug in board {_called(first)}, which {self._state(first.name)}"]
        if others:
            found.append(f"then: {', '.join(map(_called, others))}")
        if older and any(one.board.leads for one in self._show.boards):
            found.append(
                "until then the set is mixed: a board follows only a leader that has the same "
                "version of the show"
            )
        return found

    def knows(self, name: str) -> bool:
        """Whether that board had any version of the show."""
        return name in self._versions()

    def _has_it(self, name: str) -> bool:
        return self._versions().get(name) == f"{self._show.number:08x}"

    def _state(self, name: str) -> str:
        if name in self._versions():
            return "has another version of the show"
        return "was not given the show from this computer yet"

    def _versions(self) -> Mapping[str, str]:
        return _read(self._place())

    def _place(self) -> Path:
        return _folder() / self._name


def mixed_with(number: int, answering: int = 1) -> LinkFailure | None:
    """The same for the show that has this number, if any that was flashed here has: of several
    copies the one that was flashed last.

    `answering`: so many boards say now that they have it. Where these are all of the show's, what
    was remembered of them is out of date.
    """
    try:
        files = sorted(_folder().iterdir(), key=lambda file: file.stat().st_mtime, reverse=True)
    except OSError:
        return None
    for file in files:
        versions = _read(file)
        if f"{number:08x}" in versions.values() and answering < len(versions):
            others = [
                f"`{name}` has {version}"
                for name, version in sorted(versions.items())
                if version != f"{number:08x}"
            ]
            return _mixed(", ".join(others)) if others else None
    return None


def mixed_among(found: Sequence[tuple[str, int, int]]) -> LinkFailure | None:
    """The same for boards that answer now, each with what it is called, its role and its show.

    Without the show's file nothing but this is known: a board that follows, and none that leads
    with its version while one leads with another.
    """
    led = {number for _, role, number in found if role == LEADS}
    if not led:
        return None
    astray = [
        f"{name} has {number:08x}"
        for name, role, number in found
        if role == FOLLOWS and number not in led
    ]
    if not astray:
        return None
    leading = ", ".join(f"{number:08x}" for number in sorted(led))
    return _mixed(f"{', '.join(astray)}, and the board that leads has {leading}")


def _mixed(words: str) -> LinkFailure:
    return LinkFailure(
        "mixed-set",
        f"the boards have different versions of the show: {words}",
        "`bellcrank flash FILE` for each of them; a board follows only a leader with its version",
    )


def _folder() -> Path:
    from platformdirs import user_state_path

    return user_state_path("bellcrank", appauthor=False) / "boards-flashed"


def _read(file: Path) -> dict[str, str]:
    try:
        found = json.loads(file.read_bytes())
    except (OSError, ValueError):
        return {}
    if not isinstance(found, dict):
        return {}
    return {name: version for name, version in found.items() if isinstance(version, str)}


def _called(board: CompiledBoard) -> str:
    return f"`{board.name}` (address {board.board.address})"
