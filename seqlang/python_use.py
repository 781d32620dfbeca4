"""Bellcrank from Python: read a show, ask what is wrong, play it, get arrays and pictures.

For notebooks and scripts; `import seqlang` offers all of it. PYTHON.md shows it at work.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final

from seqlang.loading import Loaded
from seqlang.loading import load as load_file
from seqlang.loading import load_string as load_text_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from seqlang.check import Checked
    from seqlang.text.findings import Finding
    from sim.model import Press, Show
    from sim.rehearsal.sampling import Samples
    from sim.rehearsal.trajectories import Trajectories

FEWEST_HZ: Final = 0.001
MOST_SAMPLES: Final = 50_000_000
"""More would fill the memory of a small computer."""


class FaultyShowError(ValueError):
    """A show has errors, so it cannot be played; the message is what `bellcrank check` prints."""


def load(path: str | Path) -> OpenShow:
    """The show in a file. What is wrong with it is in its `findings`.

    Raises OSError if the file cannot be opened.
    """
    return OpenShow(load_file(path))


def load_string(text: str, name: str = "show.cues") -> OpenShow:
    """A show from text in memory; `name` stands in its findings."""
    return OpenShow(load_text_of(text, name))


@dataclass(frozen=True)
class OpenShow:
    """A show as it was read. It is checked when that is first asked for, once."""

    loaded: Loaded = field(repr=False)

    @cached_property
    def checked(self) -> Checked:
        """The outcome of every check, with the summary of how hard each part works."""
        from seqlang.check import check

        return check(self.loaded)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, in the order of the text."""
        return self.checked.findings

    @property
    def passes(self) -> bool:
        """Whether the show has no error. Warnings, advice and cautions may stand."""
        return self.checked.show is not None

    @property
    def show(self) -> Show:
        """Rig and Score. Raises FaultyShowError if the show has errors."""
        if self.checked.show is None:
            raise FaultyShowError(self.report())
        return self.checked.show.show

    @property
    def tables(self) -> Mapping[str, bytes]:
        """By board, the bytes that it plays. Raises FaultyShowError if the show has errors."""
        if self.checked.show is None:
            raise FaultyShowError(self.report())
        return {board.name: bytes(board.data) for board in self.checked.show.compiled.boards}

    def report(self, colour: bool = False) -> str:
        """The findings as `bellcrank check` prints them."""
        from seqlang.text.render import text

        return text(self.findings, self.loaded.sources, colour=colour)

    def rehearse(self, *presses: str | Press, cues: Collection[str] | None = None) -> Played:
        """The show as it plays.

        `presses`: what is pressed and when, as in `"1 at 2 s"`, `"2 at 5 s for 900 ms"`,
        `"lure at 8 s"`, `"stop at 9 s"`, or where a channel or a sensor stands from then on, as in
        `"stick 1700 us at 4 s"`, `"stick none at 9 s"`; times count from power-up. Without them
        every cue is played once, or each of `cues`.

        Raises FaultyShowError if the show has errors, ValueError for what cannot be pressed
        and for what takes many hours to play.
        """
        from seqlang.presses import parse_press
        from sim.rehearsal.run_through import played_out, run_through
        from sim.score.tree import named_cues

        show = self.show
        if presses and cues is not None:
            raise ValueError(
                "give presses or cues, not both; a press can name a cue: `lure at 8 s`"
            )
        if not presses:
            if cues is not None:  # the name of one cue is a collection of letters, too
                cues = (cues,) if isinstance(cues, str) else tuple(cues)
            known = [cue.name for cue in named_cues(show.score)]
            for name in cues or ():
                if name not in known:
                    raise ValueError(f"there is no cue `{name}`; the show has {', '.join(known)}")
            return Played(run_through(show, cues))
        pressed = [parse_press(one, show) if isinstance(one, str) else one for one in presses]
        return Played(played_out(show, pressed))


@dataclass(frozen=True)
class Played:
    """A rehearsed show: exact between any two moments, and sampled where arrays are asked for."""

    trajectories: Trajectories = field(repr=False)

    @property
    def length_ms(self) -> int:
        return self.trajectories.length_ms

    @property
    def presses(self) -> tuple[Press, ...]:
        """What was pressed."""
        return self.trajectories.presses

    def samples(
        self, rate_hz: float = 50.0, from_ms: float = 0.0, to_ms: float | None = None
    ) -> Samples:
        """Everything at even times, `rate_hz` of them a second: angles, speeds, light, switches.

        Times count from power-up. Strips take 48 bytes a pixel and time. Raises ValueError for a
        span or a rate that gives no samples, or too many.
        """
        import numpy as np

        from sim.rehearsal.sampling import sample

        end = self.length_ms if to_ms is None else to_ms
        count = (end - from_ms) * rate_hz / 1000.0
        if from_ms < 0.0:
            raise ValueError(f"{from_ms:g} ms is before power-up, where nothing can be sampled")
        if not rate_hz >= FEWEST_HZ or not 0.0 <= count <= MOST_SAMPLES:
            raise ValueError(
                f"from {from_ms:g} ms to {end:g} ms at {rate_hz:g} Hz there must be at least one "
                f"sample, and at most {MOST_SAMPLES:,}"
            )
        return sample(self.trajectories, from_ms + np.arange(int(count) + 1) * (1000.0 / rate_hz))

    def plot(self, servo: str | None = None, plane: bool = False) -> Figure:
        """A picture as a matplotlib figure; as the last line of a notebook's cell it is shown.

        Without a servo: the whole score. With one: its motion over time, or (`plane`) its work on
        its torque-speed line. Raises ValueError for a servo that the show does not have.
        """
        from sim.pictures.plot_look import look
        from sim.pictures.plots import plane_figure, plotted, score_figure, servo_figure

        with look():
            shown = plotted(self.trajectories)
            if servo is None:
                return score_figure(shown)
            if servo not in shown.samples.servos:
                known = ", ".join(shown.samples.servos) or "none"
                raise ValueError(f"there is no servo `{servo}`; the show has {known}")
            return (plane_figure if plane else servo_figure)(shown, servo)
