"""button-not-wired: a button of the remote is wired to no board.

What: where boards have inputs, each button in use arrives at one of them.

Why: a button that reaches no board does nothing, unless a main controller sends it over the link.
With the stop button that is worst: the one who holds the remote presses it, and the part moves on.

Example:

    input 1: body pin PC0
    remote
        button 2: go chew

Instead:

    input 2: body pin PC0

Source of the limit: this tool's rule (a warning: the link can press any button).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding


def check(context: Context) -> Iterator[Finding]:
    rig = context.show.rig
    wired = {wire.button for wire in rig.inputs}
    wired |= {band.button for channel in rig.channels for band in channel.bands}
    if context.partial or not wired:
        return
    score = context.show.score
    for binding in score.bindings:
        if binding.button not in wired:
            yield Finding(
                "warning",
                "button-not-wired",
                f"button {binding.button} starts `{binding.cue}` and is wired to no board",
                context.span(binding.mark, "button"),
                label="arrives at no input",
                help="give a board an input for it, or use one of the buttons "
                + ", ".join(str(number) for number in sorted(wired)),
            )
    if score.stop_button is not None and score.stop_button not in wired:
        yield Finding(
            "warning",
            "button-not-wired",
            f"the stop button, button {score.stop_button}, is wired to no board",
            context.place("stop", "button"),
            label="arrives at no input: nobody can stop the show without the link",
            help=f"give a board an input for it: `input {score.stop_button}: BOARD pin PIN`",
        )
    used = {binding.button for binding in score.bindings} | {score.stop_button}
    places = [(wire.button, f"wired to `{wire.board}`", wire.mark) for wire in rig.inputs]
    places += [
        (band.button, f"a band of channel `{channel.name}`", band.mark)
        for channel in rig.channels
        for band in channel.bands
    ]
    for button, where, mark in places:
        if button not in used:
            yield Finding(
                "warning",
                "button-not-wired",
                f"button {button} is {where} and does nothing",
                context.span(mark, "button"),
                label="no line under `remote` uses it",
            )
