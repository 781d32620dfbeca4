"""`bellcrank read`: fetch the table that a board plays, and say in words what it holds."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import ReportedMode
from seqlang.command import WrongUse
from seqlang.command._board import connected, named, not_ready, port_options
from seqlang.command._form import format_option, say
from seqlang.command._led_boards import way_to
from seqlang.command._show import passed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from firmware_gen.compiler.show import CompiledBoard
    from firmware_gen.listing.disassemble import ListingLine
    from seqlang.meaning.write_table import TableText


@click.command(name="read")
@port_options
@click.option(
    "--show",
    "file",
    type=click.Path(dir_okay=False),
    help="Compare with this show, and call cues and outputs by their names in it.",
)
@click.option(
    "--board",
    "wanted",
    metavar="BOARD",
    help="A board that answers the one on the port: its address, or with --show its name.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the table into this file, as `bellcrank compile` does.",
)
@click.option(
    "--text",
    "text_out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the table as a cue text into this new file.",
)
@format_option
def command(
    port: str | None,
    baud: int,
    file: str | None,
    wanted: str | None,
    out: Path | None,
    text_out: Path | None,
    form: str,
) -> None:
    """Fetch the table that a board plays, and list it in words.

    The table's name is its SHA-256. A board keeps no other names: with --show they come from the
    text, if the board plays that show. The board plays on meanwhile.

    --text goes back to a cue text as far as a table allows. Comments say what to fill in (ratings,
    loads, supplies), and what of a cue cannot be said in statements.

    Example: bellcrank read --port virtual --show first.cues
    """
    if text_out is not None and text_out.exists():
        raise WrongUse(f"`{text_out}` is there already; `--text` takes a new file")
    show = None if file is None else passed(file, quiet=True).compiled
    with connected(port, baud) as (link, hello):
        data = link.table()
        if wanted is not None and (way := way_to(link, data, wanted, show)) is not link:
            link, hello, data = way, way.greet(), way.table()
        if not data:
            raise not_ready(ReportedMode.BLANK)
        who = named(link)
        board = next((each for each in show.boards if each.data == data), None) if show else None
        if out is not None:
            from firmware_gen.files import write_whole

            write_whole(out, data)
        lines = _lines(data, board)
        made = None if text_out is None else _write_text(text_out, data, board)
    facts = {
        "address": link.address,
        "bytes": len(data),
        "crc": f"{int.from_bytes(data[-2:], 'little'):04X}",
        "show": f"{hello.show:08x}",
        "sha256": hashlib.sha256(data).hexdigest(),
        "board": board and board.name,
    }
    if form == "json":
        told = [
            {"offset": line.offset, "bytes": line.data.hex(), "words": line.text} for line in lines
        ]
        click.echo(json.dumps({**facts, "lines": told}, indent=2))
        return
    from firmware_gen.listing.disassemble import listing

    say(f"{who} plays show {facts['show']}: {facts['bytes']} bytes, CRC {facts['crc']}")
    click.echo(f"  SHA-256 {facts['sha256']}")
    if board is not None:
        say(f"  this is the file's table for board `{board.name}`")
    elif show is not None:
        say("  it does not play this file: `bellcrank flash` puts it there")
    click.echo()
    click.echo(listing(lines))
    if out is not None:
        click.echo(f"\nwrote  {out}")
    if text_out is not None and made is not None:
        _tell_text(text_out, made)


def _write_text(path: Path, data: bytes, board: CompiledBoard | None) -> TableText:
    """Write the table as a cue text."""
    from firmware_gen.files import write_whole
    from seqlang.meaning.write_table import text_of_table

    made = text_of_table(data, board)
    write_whole(path, made.text.encode())
    return made


def _tell_text(path: Path, made: TableText) -> None:
    click.echo(f"\nwrote  {path}; its comments say what to fill in")
    for cue in made.left_out:
        say(f"       cue `{cue}` cannot be written in statements: it stands in comments")
    for cue in made.waiting:
        say(f"       cue `{cue}` moves nothing on this board: it needs the other boards' texts")


def _lines(data: bytes, board: CompiledBoard | None) -> Sequence[ListingLine]:
    from firmware_gen.listing.disassemble import TableError, disassemble, disassemble_board

    try:
        return disassemble(data) if board is None else disassemble_board(board)
    except TableError as error:
        raise LinkFailure(
            "refused",
            f"the board's table cannot be put into words: {error}",
            "`--out` keeps its bytes; another version of this program may have made it",
        ) from None
