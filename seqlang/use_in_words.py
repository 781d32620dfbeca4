"""What use of a show a run time is for, in words: the same for checks, sizes and the show book."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sim.model import Show
    from sim.strain.usage import Mix

NOT_STATED = (
    "the text states no `usage`, so what takes more is counted: all cues that end, one after "
    "another without a pause; or, alone, what goes on without an end"
)


def use_in_words(show: Show, mix: Mix) -> str:
    """For example: in each hour `lure` 6 times and `chew` 20 times; for the rest idle."""
    if not mix.stated:
        return NOT_STATED
    runs = [f"`{one.cue}` {_times(one.per_hour)}" for one in show.score.usage if one.per_hour > 0.0]
    told = " and ".join(filter(None, (", ".join(runs[:-1]), runs[-1]))) if runs else "no cue"
    if mix.crowded:
        return (
            f"the use stated for each hour takes {mix.asked:.3g} hours, so it is scaled down to "
            f"one: {told}"
        )
    rests = "idle" if show.score.idle else "standing by"
    return (
        f"in each hour {told}; for the rest {rests}, or what goes on without an end if that takes "
        "more"
    )


def _times(per_hour: float) -> str:
    return "once" if per_hour == 1.0 else f"{per_hour:g} times"
