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
    """Write a page on which you watch a show before it is built.

    Every cue is played once, as its buttons would start it. Open the page in any browser.

    Example: bellcrank preview first.cues --out first.html
    """
    from pathlib import Path

    from firmware_gen.files import write_whole
    from seqlang.command._show import passed
    from sim.pictures.page import page
    from sim.rehearsal.run_through import LongRehearsalError, run_through

    show = passed(file, quiet=form == "json").show
    try:
        text = page(run_through(show))
    except LongRehearsalError as error:
        raise WrongUse(f"{error}; `bellcrank plot` does both: --cue and --press") from None
    target = Path(out) if out else Path(file).with_suffix(".html")
    write_whole(target, text.encode("utf-8"))
    told = f"wrote {target}" if form == "text" else json.dumps({"files": [str(target)]}, indent=2)
    click.echo(told)
