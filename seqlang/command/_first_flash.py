"""The cautions stand in full before the first flash of a show; that they did is remembered.

A show is known by its file. When its cautions or their figures change, they are shown again. What
is remembered is one small file for each show in the user's folder for such things. Where that
cannot be read or written (a home without permission, a machine that forgets), they are shown each
time.
"""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from seqlang.command._board import VIRTUAL
from seqlang.command._report import Screen
from seqlang.text.render import is_caution, text

if TYPE_CHECKING:
    from seqlang.check import Checked
    from seqlang.loading import Loaded

_WHY = "they are shown once for each show, and again when their figures change"


class FirstFlash:
    """The cautions of one show before it reaches a board."""

    def __init__(self, path: str, loaded: Loaded, checked: Checked) -> None:
        self._cautions = [finding for finding in checked.findings if is_caution(finding)]
        self._sources = loaded.sources
        words = text(self._cautions, self._sources)
        self._digest = hashlib.sha256(os.fsencode(words)).hexdigest()
        show = hashlib.sha256(os.fsencode(Path(path).resolve())).hexdigest()
        self._name = show[:32]

    def warn(self, port: str | None) -> None:
        """Show the cautions unless they were shown; a virtual board hurts nobody."""
        if not self._cautions or _is_virtual(port) or self._is_remembered():
            return
        screen = Screen.of(sys.stderr)
        shown = text(self._cautions, self._sources, colour=screen.colour, columns=screen.columns)
        click.echo(shown + _WHY, err=True, color=screen.colour)

    def remember(self, port: str | None) -> None:
        """The show is on a board: its cautions need not be shown before the next flash."""
        if not self._cautions or _is_virtual(port):
            return
        from firmware_gen.files import write_whole

        try:
            self._place().parent.mkdir(parents=True, exist_ok=True)
            write_whole(self._place(), self._digest.encode("ascii"))
        except OSError:
            return

    def _is_remembered(self) -> bool:
        try:
            return self._place().read_bytes() == self._digest.encode("ascii")
        except OSError:
            return False

    def _place(self) -> Path:
        from platformdirs import user_state_path

        return user_state_path("bellcrank", appauthor=False) / "cautions-shown" / self._name


def _is_virtual(port: str | None) -> bool:
    return (port or "").partition(":")[0] == VIRTUAL
