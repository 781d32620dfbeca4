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
    from seqlang.remedy_rounds import Offer, Rounds

_QUESTION: Final = "change it? [y]es, [n]o, [a]ll, [q]uit"


def mend(file: str, *, every: bool) -> None:
    """Put the remedies that pass, and that are wanted, into the file.

    Raises WrongUse where nobody can be asked, or where the file cannot be written.
    """
    from firmware_gen.files import write_whole
    from seqlang.remedy_rounds import Rounds
    from seqlang.text.indentation import read

    if not every and not sys.stdin.isatty():
        raise WrongUse("there is no terminal to ask on; `--fix --yes` changes without asking")
    path = Path(file)
    raw = path.read_bytes()
    _demand_writable(path, file)
    text, wrong = read(path)
    if wrong is not None:
        return
    whole = text if text.endswith("\n") else text + "\n"
    rounds = Rounds(file, whole)
    advice = _answered(rounds, every)
    if rounds.changes:
        if path.read_bytes() != raw:
            raise WrongUse(f"`{file}` was changed by something else meanwhile; nothing was written")
        new = rounds.text if text.endswith("\n") else rounds.text.removesuffix("\n")
        write_whole(path, _as_before(new, raw))
    _tell(file, rounds, advice)


def _demand_writable(path: Path, file: str) -> None:
    """A file that is marked as not to be written stays, though its folder would let it go."""
    if not os.access(path, os.W_OK) or not path.stat().st_mode & 0o222:
        raise WrongUse(f"`{file}` cannot be written")


def _as_before(text: str, raw: bytes) -> bytes:
    """The text with the line ends and the mark that the file had."""
    if raw.count(b"\r\n") * 2 > raw.count(b"\n"):
        text = text.replace("\n", "\r\n")
    mark = codecs.BOM_UTF8 if raw.startswith(codecs.BOM_UTF8) else b""
    return mark + text.encode("utf-8")


def _answered(rounds: Rounds, every: bool) -> int:
    """Asks for each remedy, or takes all; how many of advice were left without asking."""
    advice = 0
    for offer in rounds.offers():
        asked = not every
        if every and offer.finding.severity == "advice":
            rounds.leave(offer)  # it would change what the show does, and nothing is wrong
            advice += 1
            continue
        click.echo(_shown(offer, rounds))
        answer = _asked() if asked else "y"
        if answer == "q":
            break
        if answer == "a":
            every = True
        if answer in ("y", "a"):
            rounds.take(offer)
        else:
            rounds.leave(offer)
    return advice


def _shown(offer: Offer, rounds: Rounds) -> str:
    """A finding and its change, line by line."""
    finding = offer.finding
    head = f"{finding.span.path}:{offer.line}: {finding.severity}: {finding.message}"
    lines = [f"{head}  ({finding.name})"]
    if len(offer.before) == len(offer.after):
        for old, new in zip(offer.before, offer.after, strict=True):
            lines += [f"  - {old.rstrip()}", f"  + {new.rstrip()}"]
    else:
        lines += [f"  - {line.rstrip()}" for line in offer.before]
        lines += [f"  + {line.rstrip()}" for line in offer.after]
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
            f"  {len(rounds.failing)} remedies alone would not pass and are not offered; the "
            "findings below say what helps"
            if len(rounds.failing) > 1
            else "  1 remedy alone would not pass and is not offered; the findings below say what "
            "helps"
        )
    if rounds.waiting:
        noun = "1 remedy waits" if rounds.waiting == 1 else f"{rounds.waiting} remedies wait"
        click.echo(f"  {noun} until the whole text can be read")
    if advice:
        click.echo("  advice is never followed unasked: run without `--yes` to be asked")
    click.echo()
