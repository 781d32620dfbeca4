"""Pictures of a rehearsal: the whole score, each servo, and each servo's torque-speed plane."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from typing import TYPE_CHECKING, Literal

from sim.pictures.plot_data import Plotted, plotted
from sim.pictures.plot_look import look
from sim.pictures.plot_plane import plane_figure
from sim.pictures.plot_score import score_figure
from sim.pictures.plot_servo import servo_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from sim.rehearsal.trajectories import Trajectories

__all__ = ["Plotted", "pictures", "plane_figure", "plotted", "score_figure", "servo_figure"]


def pictures(
    trajectories: Trajectories, kind: Literal["png", "svg"] = "png"
) -> Iterator[tuple[str, bytes]]:
    """Every picture of a rehearsal, as a file's name and its content.

    The same rehearsal gives the same bytes.
    """
    shown = plotted(trajectories)
    yield f"score.{kind}", _drawn(score_figure(shown), kind)
    for name in shown.samples.servos:
        word = name.replace(" ", "_")
        yield f"servo-{word}.{kind}", _drawn(servo_figure(shown, name), kind)
        yield f"plane-{word}.{kind}", _drawn(plane_figure(shown, name), kind)


def _drawn(figure: Figure, kind: str) -> bytes:
    content = io.BytesIO()
    undated = {"Software": None} if kind == "png" else {"Date": None, "Creator": None}
    with look(), warnings.catch_warnings():
        # a letter that the font lacks is drawn as a box; the picture is still of use
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure.savefig(content, format=kind, metadata=undated)
    return content.getvalue()
