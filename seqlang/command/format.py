"""`bellcrank format`: shows in the canonical layout."""

from __future__ import annotations

import errno
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from seqlang.command import SHOW_HAS_ERRORS, WRONG_USAGE, WrongUse, say_error

if TYPE_CHECKING:
    from seqlang.text.findings import Finding
    from seqlang.text.format import Formatted

STDIN: Final = "-"


@click.command(name="format")
@click.argument("files", nargs=-1, required=True, type=click.Path(dir_okay=False))
@click.option(
    "--check", "only_check", is_flag=True, help="Change nothing; name the files that would change."
)
def command(files: tuple[str, ...], only_check: bool) -> int:
    """Lay shows out in one way; no word changes.

    Spaces, indentation, blank lines and columns become the usual ones; words and comments stay, and
    so do the tables. A file that cannot be read as a show is left as it is. With `-` for a file,
    text comes from the standard input and goes to the standard output. Exit status 1: a file could
    not be read as a show, or, with --check, would change; 2: a file could not be opened or written.

    Example: bellcrank format shows/first/first.cues
    """
    if len(files) > 1 and STDIN in files:
        raise WrongUse("`-` stands alone: it reads one show from the standard input")
    if files == (STDIN,):
        return 0 if _from_input(only_check) else SHOW_HAS_ERRORS
    results = [_file(name, only_check) for name in files]
    return WRONG_USAGE if None in results else 0 if all(results) else SHOW_HAS_ERRORS


def _from_input(only_check: bool) -> bool:
    """Lay out what comes in; whether all is well."""
    from seqlang.text.indentation import MOST_BYTES, decoded

    text, finding = decoded(sys.stdin.buffer.read(MOST_BYTES + 1), STDIN)
    made = _made(STDIN, text, finding)
    if made is None:
        return False
    if only_check:
        return _same(STDIN, made.text == text)
    sys.stdout.buffer.write(made.text.encode())
    return True


def _file(name: str, only_check: bool) -> bool | None:
    """Lay out one file; whether all is well. None, and why is said, if it cannot be opened or
    written: the other files have their turn all the same."""
    try:
        return _laid_out(name, only_check)
    except OSError as error:
        if error.filename is None:  # our own words could not be written
            raise
        say_error(f"`{name}`: {(error.strerror or str(error)).lower()}")
        return None


def _laid_out(name: str, only_check: bool) -> bool:
    """Lay out one file; whether all is well."""
    from firmware_gen.files import write_whole
    from seqlang.text.indentation import MOST_BYTES, decoded

    path = Path(name)
    with path.open("rb") as file:
        old = file.read(MOST_BYTES + 1)
    text, finding = decoded(old, name)
    made = _made(name, text, finding)
    if made is None:
        return False
    content = made.text.encode()
    if b"\r\n" in old.partition(b"\n")[0] + b"\n":  # a file keeps the line ends of its system
        content = content.replace(b"\n", b"\r\n")
    if only_check:
        return _same(name, content == old)
    if content != old:
        if path.read_bytes() != old:
            raise OSError(errno.EBUSY, "changed by something else meanwhile; left as it is", name)
        write_whole(path, content)
        click.echo(f"laid out  {name}")
    return True


def _made(name: str, text: str, finding: Finding | None) -> Formatted | None:
    """The text laid out; None, and why is shown, if it cannot be read as a show."""
    from seqlang.text.format import formatted
    from seqlang.text.render import columns_of, summary, wants_colour
    from seqlang.text.render import text as shown
    from seqlang.text.source import Source

    source = Source(name, text if text.endswith("\n") else text + "\n")
    made = formatted(source) if finding is None else None
    findings = (finding,) if finding is not None else made.findings if made else ()
    if not findings:
        return made
    colour = wants_colour(sys.stderr)
    words = shown(findings, {name: source}, colour=colour, columns=columns_of(sys.stderr))
    click.echo(f"{words}\n{name}: {summary(findings)}; left as it is", err=True, color=colour)
    return None


def _same(name: str, same: bool) -> bool:
    if not same:
        click.echo(f"would change  {name}")
    return same
