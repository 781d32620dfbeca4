"""What the commands that write program memory share: choosing a board, merging, the uploader."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firmware_gen.build.uploader import UPLOADER, UploadStoppedError, run, uploader_path
from seqlang.command import BoardFailed, WrongUse

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from firmware_gen.build.uploader import Upload
    from firmware_gen.checked_table import CheckedTable
    from firmware_gen.chips import Chip
    from firmware_gen.compiler.show import CompiledBoard
    from seqlang.check import CheckedShow

CAUTION = (
    "take the servos' supply off the board first: while the firmware is written, and until a show "
    "is on the board, its pins float and servos may twitch"
)


def chosen(show: CheckedShow, name: str | None) -> CompiledBoard:
    """The board of that name, or the only one there is."""
    boards = show.compiled.boards
    names = ", ".join(f"`{board.name}`" for board in boards)
    if name is None and len(boards) == 1:
        return boards[0]
    for board in boards:
        if board.name == name:
            return board
    if not boards:
        raise WrongUse("the show has no board: add one, `board NAME: ...`")
    if name is None:
        raise WrongUse(f"the show has boards {names}; say which one with `--board`")
    raise WrongUse(f"the show has no board `{name}`; it has {names}")


def write_merged(table: CheckedTable, path: Path, *, boot_loader: bool) -> int:
    """Write the chip's image with a board's table behind the firmware; its size in bytes.

    `boot_loader`: leave room for one. Raises ImageError where the table has no room.
    """
    from firmware_gen.build import image as images
    from firmware_gen.files import write_whole

    memory = images.read_hex(images.shipped(table.chip).read_text("ascii"))
    whole = images.merge(memory, table, boot_loader=boot_loader)
    write_whole(path, images.write_hex(whole).encode("ascii"))
    return len(whole)


def must_have_uploader() -> None:
    if uploader_path() is None:
        raise BoardFailed(
            f"the uploader `{UPLOADER}` is not installed\n"
            f"  help: install it (Debian and Ubuntu: apt install {UPLOADER}; macOS: brew install "
            f"{UPLOADER}; Windows: from its releases page), then repeat"
        )


def install(steps: Sequence[Upload], chip: Chip) -> None:
    """Call the uploader for each step, its progress and its words going where ours go."""
    must_have_uploader()
    for step in steps:
        click.echo(f"== {step.purpose}")
        try:
            status = run(step.words)
        except (KeyboardInterrupt, UploadStoppedError) as stopped:
            why = "interrupted" if isinstance(stopped, KeyboardInterrupt) else str(stopped)
            raise BoardFailed(
                f"{why}: the board may hold half a firmware now; then it plays nothing\n"
                "  help: look at the cable, and repeat the command; the boot loader and the shows "
                "in its slots\n  are not touched"
            ) from None
        if status:
            raise BoardFailed(
                f"the uploader ended with status {status}\n"
                "  help: check the port and that nothing else uses it; an older boot loader has "
                f"the rate {chip.tools.old_boot_baud}, a newer one needs `--way urclock`. If "
                "writing had begun,\n  the board plays nothing until this is repeated; its boot "
                "loader and the shows in its slots are not touched"
            )
