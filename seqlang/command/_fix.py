"""`bellcrank check --fix`: remedies into the file, each asked or all at once."""

from __future__ import annotations

import codecs
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from seqlang.command import WrongUse

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from seqlang.remedy_rounds import FileChange, Offer, Rounds

_QUESTION: Final = "change it? [y]es, [n]o, [a]ll, [q]uit"


def mend(file: str, *, every: bool) -> None:
    """Put the remedies that pass, and that are wanted, into the file.

    Raises WrongUse where nobody can be asked, or where the file cannot be written.
    """
    from seqlang.remedy_rounds import Rounds
    from seqlang.text.indentation import read

    if not every and not sys.stdin.isatty():
        raise WrongUse("there is no terminal to ask on; `--fix --yes` changes without asking")
    path = Path(file)
    before = {file: path.read_bytes()}
    demand_writable(path)
    text, wrong = read(path)
    if wrong is not None:
        return
    rounds = Rounds(file, text if text.endswith("\n") else text + "\n")
    advice = _answered(rounds, every, before)
    if rounds.changes:
        _written(rounds, before)
    _tell(file, rounds, advice)


def _written(rounds: Rounds, before: Mapping[str, bytes]) -> None:
    """Every changed file is written whole; none if one of them has changed meanwhile."""
    from firmware_gen.files import write_whole

    content: dict[Path, bytes] = {}
    for name, raw in before.items():
        if Path(name).read_bytes() != raw:
            raise changed_meanwhile(name)
        text = rounds.texts[name]
        had_end = raw.endswith((b"\n", b"\r"))
        content[Path(name)] = _as_before(text if had_end else text.removesuffix("\n"), raw)
    for path, data in content.items():
        write_whole(path, data)


def demand_writable(path: Path) -> None:
    """A file that is marked as not to be written stays, though its folder would let it go."""
    if not os.access(path, os.W_OK) or not path.stat().st_mode & 0o222:
        raise WrongUse(f"`{path}` cannot be written")


def _as_before(text: str, raw: bytes) -> bytes:
    """The text with the line ends and the mark that the file had."""
    if raw.count(b"\r\n") * 2 > raw.count(b"\n"):
        text = text.replace("\n", "\r\n")
    mark = codecs.BOM_UTF8 if raw.startswith(codecs.BOM_UTF8) else b""
    return mark + text.encode("utf-8")


def _answered(rounds: Rounds, every: bool, before: dict[str, bytes]) -> int:
    """Asks for each remedy, or takes all; how many of advice were left without asking.

    `before` is filled with the files that are to be changed, as they are. Raises WrongUse for one
    that cannot be written.
    """
    advice = 0
    for offer in rounds.offers():
        asked = not every
        if every and offer.finding.severity == "advice":
            rounds.leave(offer)  # it would change what the show does, and nothing is wrong
            advice += 1
            continue
        click.echo(_shown(offer))
        answer = _asked() if asked else "y"
        if answer == "q":
            break
        if answer == "a":
            every = True
        if answer in ("y", "a"):
            for change in offer.changes:
                if change.path not in before:
                    before[change.path] = _unchanged(change.path, rounds)
            rounds.take(offer)
        else:
            rounds.leave(offer)
    return advice


def _unchanged(name: str, rounds: Rounds) -> bytes:
    """An included file that is about to be changed for the first time. Raises WrongUse."""
    from seqlang.text.indentation import decoded

    path = Path(name)
    demand_writable(path)
    raw = path.read_bytes()
    if decoded(raw, name)[0].removesuffix("\n") != rounds.sources[name].text.removesuffix("\n"):
        raise changed_meanwhile(name)
    return raw


def changed_meanwhile(name: str) -> WrongUse:
    return WrongUse(f"`{name}` was changed by something else meanwhile; nothing was written")


def _shown(offer: Offer) -> str:
    """A finding and its change, line by line."""
    finding = offer.finding
    lines: list[str] = []
    for change in offer.changes:
        if not lines:
            head = f"{change.path}:{change.line}: {finding.severity}: {finding.message}"
            lines.append(f"{head}  ({finding.name})")
        else:
            lines.append(f"{change.path}:{change.line}: with it")
        lines += changed_lines(change)
    if offer.fix.bench:
        lines.append(f"  on the bench: {offer.fix.bench}")
    return printable(lines)


def changed_lines(change: FileChange) -> list[str]:
    """What was, what becomes of it, line by line where as many lines stay."""
    if len(change.before) == len(change.after):
        pairs = zip(change.before, change.after, strict=True)
        return [line for a, b in pairs for line in (f"  - {a.rstrip()}", f"  + {b.rstrip()}")]
    return [
        *(f"  - {line.rstrip()}" for line in change.before),
        *(f"  + {line.rstrip()}" for line in change.after),
    ]


def printable(lines: Iterable[str]) -> str:
    """Lines of somebody's file: nothing in them acts on a terminal."""
    return "\n".join("".join(c if c.isprintable() else "?" for c in line) for line in lines)


def _asked() -> str:
    while True:
        answer = str(click.prompt(_QUESTION, prompt_suffix=": ", show_default=False, default="n"))
        letter = answer.strip().lower()[:1]
        if letter in ("y", "n", "a", "q"):
            return letter


def _tell(file: str, rounds: Rounds, advice: int) -> None:
    changes = "1 change" if rounds.changes == 1 else f"{rounds.changes} changes"
    click.echo(f"{file}: {changes if rounds.changes else 'nothing changed'}")
    if rounds.failing:
        click.echo(
            f"  {len(rounds.failing)} remedies are not offered, as none of them passes by itself; "
            "the findings below say what helps"
            if len(rounds.failing) > 1
            else "  1 remedy is not offered, as it does not pass by itself; the findings below say "
            "what helps"
        )
    if rounds.waiting:
        noun = "1 remedy waits" if rounds.waiting == 1 else f"{rounds.waiting} remedies wait"
        click.echo(f"  {noun} until the whole text can be read")
    if advice:
        click.echo("  advice is never followed unasked: run without `--yes` to be asked")
    click.echo()
