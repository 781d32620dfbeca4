"""A page whose listings are files and whose commands are run: TUTORIAL.md, RECIPES.md.

In the order of the page, in an empty folder:

- a block of `cues` below a line that ends in "into `NAME`:" is written to that file, below "to
  `NAME`:" put at its end; below "in `NAME`:" each of its lines replaces the line that starts with
  the same word
- in a block of `console`, each line that starts with `$ ` is run on a terminal of 100 columns; what
  the page shows below it is what the terminal shows
- `bellcrank board` runs on in the background. A block of `board` shows all that it printed

`python -m tests.seqlang.played_page PAGE` runs a page and writes the outputs into it anew.
"""

from __future__ import annotations

import os
import re
import shlex
import signal
import socket
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from tests.seqlang.terminal import on_a_terminal

ROOT: Final = Path(__file__).parents[2]
PORT: Final = "7070"
"""The number that the page gives its board; a run takes a free one."""
_BLOCK: Final = re.compile(r"^```(cues|console|board)\n(.*?)^```$", re.M | re.S)
_PLACE: Final = re.compile(r"([Ii]nto|to|in) `([\w.]+)`:\s*\Z")


@dataclass
class Session:
    """A reader at work: the folder, and the board in another window."""

    folder: Path
    home: Path
    number: str = ""
    board: subprocess.Popen[str] | None = None
    statuses: list[tuple[str, int]] = field(default_factory=list)

    def environment(self) -> dict[str, str]:
        state = {"XDG_STATE_HOME": str(self.home), "HOME": str(self.home)}
        return {"PYTHONPATH": str(ROOT), "MPLBACKEND": "agg", **state}

    def run(self, line: str) -> str:
        """What a command shows; the board's first line if it is the board."""
        program, *words = shlex.split(line.replace(PORT, self.number or PORT))
        assert program == "bellcrank", line
        if words[0] == "board":
            return self._start_board(words)
        ended = on_a_terminal(
            *words, columns=100, lines=60, environment=self.environment(), folder=self.folder
        )
        self.statuses.append((line, ended.status))
        shown = "\n".join(ended.screen).strip("\n")
        return shown.replace(self.number, PORT) if self.number else shown

    def _start_board(self, words: list[str]) -> str:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.number = str(free.getsockname()[1])
        words = [word.replace(PORT, self.number) for word in words]
        self.board = subprocess.Popen(
            [sys.executable, "-m", "seqlang", *words],
            stdout=subprocess.PIPE,
            text=True,
            cwd=self.folder,
            env={**os.environ, **self.environment(), "PYTHONUNBUFFERED": "1"},
            preexec_fn=_take_interrupts,
        )
        assert self.board.stdout is not None
        return self.board.stdout.readline().rstrip().replace(self.number, PORT)

    def end_board(self) -> str:
        """Ctrl-C in the board's window; all it printed since its first line."""
        if self.board is None or self.board.stdout is None:
            return ""
        self.board.send_signal(signal.SIGINT)
        words = self.board.stdout.read()
        self.board.stdout.close()
        self.board.wait(timeout=30)
        self.board = None
        return words.strip("\n")

    def write(self, how: str, name: str, text: str) -> None:
        path = self.folder / name
        old = path.read_text() if path.exists() else ""
        if how.lower() == "into":
            path.write_text(text)
        elif how == "to":
            path.write_text(f"{old.rstrip()}\n\n{text}")
        else:
            for line in text.splitlines():
                first = line.split()[0]
                found = re.findall(rf"^\s*{re.escape(first)}\b.*$", old, re.M)
                assert len(found) == 1, f"`{first}` starts {len(found)} lines of {name}"
                old = old.replace(found[0], line)
            path.write_text(old)


def _take_interrupts() -> None:
    """A job in the background of a script inherits an interrupt that is ignored."""
    signal.signal(signal.SIGINT, signal.default_int_handler)


def played(page: str, session: Session) -> str:
    """The page with the outputs of this run."""
    made, at = [], 0
    try:
        for found in _BLOCK.finditer(page):
            made.append(page[at : found.start()])
            at = found.end()
            kind, body = found[1], found[2]
            if kind == "cues":
                place = _PLACE.search(page[: found.start()])
                assert place is not None, f"say where this goes: {body[:60]}"
                session.write(place[1], place[2], body)
            elif kind == "console":
                commands = [line for line in body.splitlines() if line.startswith("$ ")]
                body = "".join(f"{c}\n{_ended(session.run(c[2:]))}" for c in commands)
            else:
                body = _ended(session.end_board())
            made.append(f"```{kind}\n{body}```")
    finally:
        session.end_board()
    return "".join(made) + page[at:]


def _ended(text: str) -> str:
    return f"{text}\n" if text else ""


def main(name: str) -> None:
    path = ROOT / "seqlang" / name
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as home:
        session = Session(Path(folder), Path(home))
        path.write_text(played(path.read_text(), session))
    for line, status in session.statuses:
        print(status, line)


if __name__ == "__main__":
    main(sys.argv[1])
