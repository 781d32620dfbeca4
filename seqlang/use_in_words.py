"""What use of a show a run time is for, in words: the same for checks, sizes and the show book."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sim.model import Show
    from sim.strain.usage import Mix

NOT_STATED = (
    "no `usage` is stated: all cues that end are taken one after another, without a pause, or what "
    "goes on without an end alone, if that takes more"
)


def use_in_words(show: Show, mix: Mix) -> str:
    """For example: in each hour `lure` 6 times and `chew` 20 times, else idle."""
    if not mix.stated:
        return NOT_STATED
    runs = [f"`{one.cue}` {_times(one.per_hour)}" for one in show.score.usage if one.per_hour > 0.0]
    told = " and ".join(filter(None, (", ".join(runs[:-1]), runs[-1]))) if runs else "no cue"
    if mix.crowded:
        return (
            f"the use stated for each hour takes {mix.asked:.3g} hours and is scaled down to fit: "
            f"{told}"
        )
    rests = "idle" if show.score.idle else "standing by"
    return f"in each hour {told}, else {rests}, or what goes on without an end if that takes more"


def _times(per_hour: float) -> str:
    return "once" if per_hour == 1.0 else f"{per_hour:g} times"
