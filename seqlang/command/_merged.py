"""`bellcrank flash --merged`: firmware and show together, by the board's boot loader, verified."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.build.image import ImageError
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import MERGED_SLOT
from seqlang.command import BoardFailed, ShowFailed, WrongUse
from seqlang.command._board import VIRTUAL, connected, end, named
from seqlang.command._form import say
from seqlang.command._upload import (
    CAUTION,
    Destination,
    chosen,
    must_have_uploader,
    port_for_firmware,
    put_firmware,
    write_merged,
)

if TYPE_CHECKING:
    from firmware_gen.build.uploader import UploadWay
    from firmware_gen.compiler.show import CompiledBoard
    from seqlang.check import CheckedShow

_BITS_A_BYTE: Final = 10
"""On a serial line: eight, a start and a stop bit."""


def put_merged(
    show: CheckedShow,
    name: str | None,
    port: str | None,
    baud: int,
    way: UploadWay | None,
    boot_baud: int | None,
) -> None:
    """Write a board's table with the firmware, and read it back through the link.

    `baud` is the link's rate, `boot_baud` the boot loader's. What is None is found out.
    """
    if port == VIRTUAL or (port or "").startswith("socket:"):
        raise WrongUse("`--merged` needs a serial port: only a real board has a boot loader")
    board = chosen(show, name)
    try:
        must_have_uploader()
        found = port_for_firmware(port, baud)
        with tempfile.TemporaryDirectory() as folder:
            image = Path(folder) / f"{board.name}.hex"
            size = write_merged(show.tables[board.name], image, boot_loader=True)
            _announce(board, found, size, boot_baud or board.chip.tools.boot_baud)
            put_firmware(Destination(found, baud, board.chip, way, boot_baud), lambda chip: image)
    except ImageError as error:
        raise ShowFailed(
            f"{error}\n  help: `bellcrank firmware --with FILE --way isp` writes it with a "
            "programmer"
        ) from None
    except LinkFailure as failure:
        end(failure)
    _read_back(board, found, baud)


def _announce(board: CompiledBoard, port: str, size: int, boot_baud: int) -> None:
    # Written, and read once to verify.
    about_s = 2 * size * _BITS_A_BYTE / boot_baud
    size_text = f"{len(board.data)} bytes, with the firmware {size}"
    say(f"table of board `{board.name}`: {size_text}, to {port}")
    say(f"caution: {CAUTION}")
    say(
        f"this takes about {max(1, round(about_s))} s; meanwhile the board plays nothing. If it is "
        "interrupted, the board has no whole firmware until this command is repeated; its boot "
        "loader and the shows in its slots are not touched"
    )


def _read_back(board: CompiledBoard, port: str, baud: int) -> None:
    """Greet the board that has just started; it must play what was written."""
    with connected(port, baud) as (link, hello):
        if hello.current_slot != MERGED_SLOT or link.table() != board.data:
            raise BoardFailed(
                f"{named(link)} does not play the table that was written\n"
                "  help: `bellcrank status` says what it plays; is another board on this port?"
            )
        click.echo(
            f"{named(link)} plays the new show: {len(board.data)} bytes behind the firmware, "
            "verified and read back; `bellcrank flash` of a smaller show takes its place"
        )
