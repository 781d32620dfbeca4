"""`bellcrank compile`: a show's byte tables, with an account of their bytes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from seqlang.command import WrongUse
from seqlang.command._form import format_option
from seqlang.command._show import demanded, read_and_check

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from firmware_gen.compiler.show import CompiledShow
    from seqlang.check import CheckedShow
    from seqlang.loading import Loaded


@click.command(name="compile")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option(
    "--out",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path(),
    help="Folder for the tables. Without it: the current folder.",
)
@click.option("--listing", is_flag=True, help="Show every byte of the tables in words.")
@format_option
def command(file: str, folder: Path, listing: bool, form: str) -> None:
    """Make the byte table of every board of a show.

    Writes one file for each board, named after show and board. The same show always gives the
    same bytes; two shows with the same digest are the same.

    Example: bellcrank compile first.cues --out tables
    """
    from firmware_gen.listing.account import account_text

    if listing and form != "text":
        raise WrongUse("`--listing` is for a person: it has no output for programs")
    loaded, checked = read_and_check(file)
    show = demanded(file, loaded, checked, quiet=True)
    compiled = show.compiled
    if form == "json":
        written = _write(show, folder, Path(file).stem)
        click.echo(json.dumps(_record(compiled, written), indent=2))
        return
    if listing:
        click.echo(_listings(compiled, loaded))
        click.echo()
    click.echo(account_text(compiled))
    for path in _write(show, folder, Path(file).stem).values():
        click.echo(f"wrote  {path}")


def _record(compiled: CompiledShow, written: Mapping[str, Path]) -> dict[str, object]:
    """The tables that were written, for a program."""
    boards = [
        {
            "board": board.name,
            "address": board.board.address,
            "chip": board.chip.name,
            "bytes": len(board.data),
            "slot_bytes": board.chip.slot_bytes,
            "fits": board.fits,
            "file": str(written[board.name]),
            "cues": [cue.name for cue in board.cues],
        }
        for board in compiled.boards
    ]
    return {"show": f"{compiled.number:08x}", "digest": compiled.digest, "boards": boards}


def _write(show: CheckedShow, folder: Path, stem: str) -> dict[str, Path]:
    """The files that were written, by board."""
    from firmware_gen.files import write_whole

    paths = {}
    for name, table in show.tables.items():
        path = folder / f"{stem}-{name}.table"
        write_whole(path, table.data)
        paths[name] = path
    return paths


def _listings(compiled: CompiledShow, loaded: Loaded) -> str:
    from firmware_gen.listing.disassemble import disassemble_board, listing

    where = _place(loaded)
    return "\n\n".join(
        f"{board.name}\n{listing(disassemble_board(board), where)}" for board in compiled.boards
    )


def _place(loaded: Loaded) -> Callable[[int], str]:
    """File and line of a mark; nothing for a mark that stands nowhere."""

    def where(mark: int) -> str:
        origin = loaded.origins.get(mark)
        if origin is None:
            return ""
        source = loaded.sources[origin.span.path]
        return f"{Path(source.path).name}:{source.line_number(origin.span.start)}"

    return where
