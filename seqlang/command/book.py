"""`bellcrank book FILE`: a document to print for whoever builds, wears and helps."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

import click

from seqlang.command import WrongUse
from seqlang.command._form import format_option
from seqlang.command._progress import working

if TYPE_CHECKING:
    from seqlang.book.matter import BookMatter
    from seqlang.check import Checked, CheckedShow
    from seqlang.loading import Loaded
    from sim.model import Show


@click.command("book")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option(
    "--out",
    "-o",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The book to write, .html or .pdf [FILE-book.html].",
)
@format_option
def command(file: str, out: Path | None, form: str) -> None:
    """Write a show's book, to print.

    It has the cautions, a checklist, the cue sheet for the helper, the parts, the wiring of each
    board, fuses and wires, a calibration sheet, and the run time. Its number is the one that
    `bellcrank status` says of a board. Only a show that passes its check gets a book.

    A PDF is printed by the browser `chromium`. Without it, write HTML and print that from any
    browser.

    Example: bellcrank book first.cues --out first-book.html
    """
    from firmware_gen.files import write_whole
    from seqlang.book.pages import book_page
    from seqlang.book.printing import NoPrintError, as_pdf
    from seqlang.command._show import demanded, read_and_check

    target = out or Path(file).with_name(f"{Path(file).stem}-book.html")
    kind = target.suffix.lower()
    if kind not in (".html", ".pdf"):
        raise WrongUse(f"`{target}`: the name of a book ends in .html or .pdf")
    loaded, found = read_and_check(file)
    checked = demanded(file, loaded, found, quiet=form == "json")
    with working("gathering the book"):
        page = book_page(_matter(loaded, found, checked))
    content = page.encode("utf-8")
    if kind == ".pdf":
        try:
            with working("printing"):
                content = as_pdf(page)
        except NoPrintError as error:
            raise WrongUse(str(error)) from None
    write_whole(target, content)
    told = {"files": [str(target)], "show": f"{checked.compiled.number:08x}"}
    click.echo(f"wrote {target}" if form == "text" else json.dumps(told, indent=2))


def _matter(loaded: Loaded, found: Checked, checked: CheckedShow) -> BookMatter:
    from seqlang.book.matter import BookMatter
    from seqlang.summary import Summary
    from seqlang.text.render import is_caution
    from sim.strain.sizing import size

    texts = loaded.sources.values()
    return BookMatter(
        checked.compiled,
        tuple((Path(t.path).name, sha256(t.text.encode("utf-8")).hexdigest()) for t in texts),
        found.summary or Summary((), ()),
        size(checked.show),
        tuple(finding for finding in found.findings if is_caution(finding)),
        _score(checked.show),
    )


def _score(show: Show) -> bytes | None:
    """The picture of all cues one after another; None if that takes too long."""
    from sim.pictures.plots import pictures
    from sim.rehearsal.run_through import LongRehearsalError, run_through

    try:
        played = run_through(show)
    except LongRehearsalError:
        return None
    return next(content for _, content in pictures(played, "png"))
