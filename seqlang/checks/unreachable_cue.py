"""unreachable-cue: nothing starts a cue.

What: each cue is bound to a button, is the idle cue or the cue for a lost remote.

Why: a cue that no button starts is usually a line forgotten under `remote`.

Example:

    cue chew "Chews"
        ...
    remote
        button 1: go lure

Instead:

    remote
        button 1: go lure
        button 2: go chew

Source of the limit: this tool's rule. A cue can still be started over the link by its name, so
this is a warning; it is not given when the show has no remote at all.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.scene import Scene
from seqlang.diagnostics import Finding


def check(scene: Scene) -> Iterator[Finding]:
    if not scene.show.score.bindings:
        return
    for cue in scene.show.score.cues:
        if cue.name not in scene.reachable:
            yield Finding(
                "warning",
                "unreachable-cue",
                f"nothing starts cue `{cue.name}`",
                scene.span(cue.mark, "name"),
                label="no button, not idle, not for a lost remote",
                help=f"bind it: `button {_free_button(scene)}: go {cue.name}`",
            )


def _free_button(scene: Scene) -> int:
    score = scene.show.score
    taken = {binding.button for binding in score.bindings} | {score.stop_button}
    return next((n for n in range(1, 32) if n not in taken), 31)
