"""`bellcrank preview FILE`: a page to watch and scrub."""

from __future__ import annotations

import json

import click

from seqlang.command import WrongUse
from seqlang.command._form import format_option


@click.command("preview")
@click.argument("file", type=click.Path())
@click.option("--out", type=click.Path(dir_okay=False), help="The page to write [FILE.html].")
@format_option
def command(file: str, out: str | None, form: str) -> None:
    """Write a page on which the show's boards run, before they are built.

    The page plays every cue once, as its buttons would start it. There you can go through the
    time, and press the remote's buttons yourself: the firmware's own code answers. Open it in any
    browser.

    Example: bellcrank preview first.cues --out first.html
    """
    from pathlib import Path

    from firmware_gen.files import write_whole
    from firmware_gen.page.page import page
    from seqlang.command._page_notes import page_notes
    from seqlang.command._show import demanded, read_and_check
    from sim.rehearsal.run_through import LongRehearsalError, run_through

    loaded, found = read_and_check(file)
    checked = demanded(file, loaded, found, quiet=form == "json")
    try:
        played = run_through(checked.show)
    except LongRehearsalError as error:
        raise WrongUse(f"{error}; `bellcrank plot` does both: --cue and --press") from None
    notes = page_notes(found.findings, checked.origins, loaded.sources, played)
    text = page(checked.compiled, checked.tables, played, notes)
    target = Path(out) if out else Path(file).with_suffix(".html")
    write_whole(target, text.encode("utf-8"))
    told = f"wrote {target}" if form == "text" else json.dumps({"files": [str(target)]}, indent=2)
    click.echo(told)
