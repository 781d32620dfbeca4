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
from itertools import groupby

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
    yield from _unused(context)


def _unused(context: Context) -> Iterator[Finding]:
    """Buttons that are wired for nothing: one finding for each line that says so.

    A file that other shows include binds none of its buttons, and that is one thing to say.
    """
    rig, score = context.show.rig, context.show.score
    used = {binding.button for binding in score.bindings} | {score.stop_button}
    wires = [(wire.button, f"wired to `{wire.board}`", wire.mark) for wire in rig.inputs]
    wires += [
        (band.button, f"a band of channel `{channel.name}`", band.mark)
        for channel in rig.channels
        for band in channel.bands
    ]
    unused = [
        (button, where, context.span(mark, "button"))
        for button, where, mark in wires
        if button not in used
    ]
    if len(unused) > 1 and not score.bindings and score.stop_button is None:
        numbers = _numbers([button for button, _, _ in unused])
        yield Finding(
            "warning",
            "button-not-wired",
            f"buttons {numbers} are wired, and no line under `remote` uses a button",
            unused[0][2],
            label="does nothing",
            help="write below `remote` what a button starts, such as `button 1: go CUE`; a file "
            "that shows include may leave it to them",
        )
        return
    for _, group in groupby(unused, key=lambda one: (one[1], one[2].path, one[2].start)):
        rows = list(group)
        (_, where, span), *more = rows
        words = (
            f"buttons {_numbers([one[0] for one in rows])} are"
            if more
            else f"button {rows[0][0]} is"
        )
        yield Finding(
            "warning",
            "button-not-wired",
            f"{words} {where} and {'do' if more else 'does'} nothing",
            span,
            label=f"no line under `remote` uses {'them' if more else 'it'}",
        )


def _numbers(buttons: list[int]) -> str:
    """`1 and 2`, `1, 2 and 5`, `1 to 5`."""
    if len(buttons) > 2 and buttons == list(range(buttons[0], buttons[-1] + 1)):
        return f"{buttons[0]} to {buttons[-1]}"
    return ", ".join(map(str, buttons[:-1])) + f" and {buttons[-1]}"
