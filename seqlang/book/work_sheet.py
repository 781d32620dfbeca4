"""Power, run time, and how hard each servo and each supply is worked."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import TYPE_CHECKING

from seqlang.book.paper import BLANK, facts, paragraph, section, subtitle, table
from seqlang.checks.figures import figure
from seqlang.use_in_words import use_in_words

if TYPE_CHECKING:
    from seqlang.book.matter import BookMatter
    from seqlang.summary import Worst
    from sim.model import Show
    from sim.strain.sizing import Sizes
    from sim.strain.supply_sizes import SupplySize


def work_sheet(matter: BookMatter) -> str:
    """The figures of `bellcrank size` and of the tail of `bellcrank check`."""
    sizes = matter.sizes
    return section(
        "power",
        "Power, run time, and how hard all is worked",
        *(part for one in sizes.supplies for part in _supply(one)),
        paragraph(_mix(sizes, matter.show)),
        subtitle("The mix of an hour"),
        table(
            ("Cue", "Share of the time"),
            [(s.cue or "standing by", f"{100 * s.share:.1f} %") for s in sizes.mix.shares],
        ),
        subtitle("How hard each servo is worked"),
        paragraph(
            "Shares of what the servo can do at the lowest voltage. `both` counts torque and speed "
            "together; it must stay under `at most`."
        ),
        table(("Servo", "Torque", "Speed", "Both", "At most", "Hardest in"), _servos(matter)),
        subtitle("How hard each supply is worked"),
        table(
            ("Supply", "Peak", "Limit", "Lowest", "At board", "Cues at the peak"), _peaks(matter)
        ),
        subtitle("The show, all cues one after another") if matter.score else "",
        _picture(matter.score),
    )


def _supply(one: SupplySize) -> Iterator[str]:
    yield subtitle(f"Supply `{one.supply}`")
    rows = [("Current", f"peak {one.peak_a:.2f} A, mean {one.mean_a:.2f} A, rms {one.rms_a:.2f} A")]
    if one.run_time_h is not None and one.has_ah is not None:
        rows.append(("Battery", f"{1000 * one.has_ah:.0f} mAh lasts {_hours(one.run_time_h)}"))
    if one.wanted_h is not None and one.capacity_ah is not None:
        needs = f"{_hours(one.wanted_h)}, which takes {1000 * one.capacity_ah:.0f} mAh"
        rows.append(("Wanted", needs))
    for feed in one.feeds:
        rows.append((f"At board {feed.board}", f"never under {feed.lowest_v:.2f} V"))
    rows += [("Mind", caution) for caution in one.cautions]
    yield facts(rows)
    if one.run_time_h is not None:
        yield table(("Measured run time", "Air, C", "Date", "Age of the pack"), [4 * (BLANK,)])


def _hours(hours: float) -> str:
    if not isfinite(hours) or hours >= 100.0:
        return "over 100 h"
    return f"{int(hours)} h {int(hours * 60) % 60:02d} min"


def _mix(sizes: Sizes, show: Show) -> str:
    words = "The figures come from models and data sheets, not from measurements of your part."
    words += f" Run time, mean and rms are for this use: {use_in_words(show, sizes.mix)}."
    return words


def _servos(matter: BookMatter) -> Iterator[tuple[str, ...]]:
    for one in matter.summary.servos:
        shares = map(_share, (one.torque, one.speed, one.line))
        yield one.servo, *shares, f"{100 * one.allowed:.0f} %", one.line.cue


def _share(worst: Worst) -> str:
    return f"{100 * worst.share:.0f} %" if worst.share < 100 else "no end"


def _peaks(matter: BookMatter) -> Iterator[tuple[str, ...]]:
    for one in matter.summary.supplies:
        limit = "none" if one.limit_a is None else f"{figure(one.limit_a)} A ({one.limit})"
        lowest = f"{one.lowest_v:.2f} V"
        yield one.supply, f"{one.peak_a:.2f} A", limit, lowest, one.board, ", ".join(one.cues)


def _picture(score: bytes | None) -> str:
    from base64 import b64encode

    if score is None:
        return paragraph("Its picture is left out: all cues together take too long for one.")
    data = b64encode(score).decode("ascii")
    words = "The rehearsal over time: angles, light and current"
    return f'<img alt="{words}" src="data:image/png;base64,{data}">'
