"""`bellcrank editor`: the language server, for any text editor that speaks the protocol."""

from __future__ import annotations

import click

from seqlang.command import WrongUse


@click.command(name="editor")
@click.option(
    "--colouring", is_flag=True, help="Print where the colouring grammar for editors stands."
)
def command(colouring: bool) -> None:
    """Serve a text editor over standard input and output.

    The editor starts this command by itself; started by hand it waits for one. It speaks the
    Language Server Protocol: findings while you type, completion, what a part is and how hard it
    works, definitions, renaming, layout, corrections. EDITOR.md says how to connect an editor.

    Example: bellcrank editor --colouring
    """
    if colouring:
        from pathlib import Path

        from seqlang import editor

        click.echo(Path(editor.__file__).with_name("cues.tmLanguage.json"))
        return
    try:
        from seqlang.editor.server import make_server
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in ("pygls", "lsprotocol", "cattrs", "attrs"):
            raise
        raise WrongUse(
            f"the package `{error.name}` is missing; `pip install '.[editor]'` in Bellcrank's "
            "folder brings it"
        ) from None
    make_server().start_io()
