"""Which version of a show each of its boards was given, and so which to plug in next.

It is remembered in one small file for each show, beside the cautions that were shown. A show is
known by its file, a version by its number, which is in every table. Boards that were flashed on
another computer are not known here. Where nothing can be written, nothing is remembered.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

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
        from firmware_gen.files import write_whole

        board = next(one for one in self._show.boards if one.board.address == address)
        versions = {**self._versions(), board.name: f"{self._show.number:08x}"}
        try:
            self._place().parent.mkdir(parents=True, exist_ok=True)
            write_whole(self._place(), json.dumps(versions, sort_keys=True).encode("utf-8"))
        except OSError:
            return

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

    def _has_it(self, name: str) -> bool:
        return self._versions().get(name) == f"{self._show.number:08x}"

    def _state(self, name: str) -> str:
        if name in self._versions():
            return "has another version of the show"
        return "was not given the show from this computer yet"

    def _versions(self) -> Mapping[str, str]:
        try:
            found = json.loads(self._place().read_bytes())
        except (OSError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}

    def _place(self) -> Path:
        from platformdirs import user_state_path

        return user_state_path("bellcrank", appauthor=False) / "boards-flashed" / self._name


def _called(board: CompiledBoard) -> str:
    return f"`{board.name}` (address {board.board.address})"
