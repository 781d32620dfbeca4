"""One cue as a motion picture: the creature in true proportion, at true pace, over and over.

What is drawn is what the preview page draws; here it goes into a file that can be sent to somebody.
A picture is shown for whole frames of the board, so every picture is what the board does then. At
the end the last one stands still before the cue begins anew.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import ceil
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from PIL import Image

from sim.light.flash import Flashing, flashing
from sim.model import Servo
from sim.pictures.creature_drawing import CreatureDrawing, Instant
from sim.rehearsal.motion import MotionPiece
from sim.rehearsal.sampling import Samples, sample
from sim.rehearsal.trajectories import Fading, Trajectories
from sim.rulebook import FRAME_MS
from sim.strain.light_sources import light_sources

if TYPE_CHECKING:
    from sim.arrays import Array

STEPS_MS: Final = (40, 80, 160)
"""How long a picture may be shown. GIF counts in 10 ms (GIF89a, 23: delay time in 1/100 s); many
browsers show what asks for less than 20 ms slowly (common practice, no source)."""
REST_MS: Final = 1200
"""How long the last picture stands. Longer than the second in which flashes are counted."""
MOST_PICTURES: Final = 375
MOST_BYTES: Final = 8_000_000
"""Own limits: what can be sent to people, and made in a few hundred MB of memory."""
GIF_COLOURS: Final = 256
"""A GIF has no more (GIF89a, 19)."""
LOOKED_AT: Final = 24
"""Pictures from which the colours are chosen."""
LOOPS_JUDGED: Final = 3

Kind = Literal["gif", "png"]


class PictureError(ValueError):
    """A cue that makes no motion picture; the words say why, and what would."""


@dataclass(frozen=True)
class MotionPicture:
    """A cue's instants, each shown for `step_ms` but the last."""

    played: Trajectories
    cue: str
    samples: Samples
    turns_deg: dict[str, Array]
    """Of parts that turn round and round: how far they have come."""
    step_ms: int

    @property
    def shown_ms(self) -> list[int]:
        """How long each picture is shown."""
        return [self.step_ms] * (self.samples.times_ms.size - 1) + [REST_MS]

    @property
    def length_ms(self) -> int:
        return sum(self.shown_ms)

    def flashes(self) -> tuple[Flashing, ...]:
        """What flashes in the picture as it is shown over and over (WCAG 2.2, 2.3.1)."""
        lasts, count = np.array(self.shown_ms), len(self.shown_ms)
        times = np.arange(0, self.length_ms, FRAME_MS)
        which = np.searchsorted(np.cumsum(lasts), times, side="right")
        assert which[-1] == count - 1
        found = light_sources(self.played.show, self.samples)
        looped = np.tile(which, LOOPS_JUDGED)
        sources = {
            name: replace(one, rgb=one.rgb[looped], luminance=one.luminance[looped])
            for name, one in found.items()
        }
        return flashing(np.arange(looped.size) * float(FRAME_MS), sources)

    def instants(self) -> Iterator[Instant]:
        """What is drawn in each picture."""
        length = max(1, self.samples.times_ms.size - 1)
        for n in range(self.samples.times_ms.size):
            places = {name: float(one.angle_deg[n]) for name, one in self.samples.servos.items()}
            places |= {name: float(row[n]) for name, row in self.turns_deg.items()}
            yield Instant(
                places,
                {name for name, one in self.samples.servos.items() if not one.powered[n]},
                {name: float(one.luminance[n]) for name, one in self.samples.lamps.items()},
                {name: one.linear[n] for name, one in self.samples.strips.items()},
                {name for name, on in self.samples.switches.items() if on[n]},
                n / length,
            )


def span_ms(played: Trajectories, cue: str) -> tuple[int, int]:
    """From the frame in which a cue begins to the one in which all that it moves stands.

    Raises `PictureError` if it did not run.
    """
    after = next((one.let_go for one in played.show.score.cues if one.name == cue), None)
    runs = [one for one in played.runs if one.cue in (cue, after)]
    if not any(one.cue == cue for one in runs):
        raise PictureError(f"cue `{cue}` did not start in its rehearsal")
    start = min(one.start_ms for one in runs if one.cue == cue)
    ends = [one.end_ms for one in runs]
    for row in (*played.motions.values(), *played.lights.values()):
        ends += [
            one.end_ms
            for one in row
            if isinstance(one, MotionPiece | Fading) and one.cue in (cue, after)
        ]
    first = int(start // FRAME_MS) * FRAME_MS
    last = min(max(ends), float(played.length_ms))
    return first, ceil(last / FRAME_MS) * FRAME_MS


def motion_picture(played: Trajectories, cue: str, coarser: int = 0) -> MotionPicture:
    """The motion picture of a cue in a rehearsal of it alone, in the finest steps that do.

    `coarser`: so many steps coarser. Raises `PictureError` if the cue is too long for all steps.
    """
    first, last = span_ms(played, cue)
    fits = [step for step in STEPS_MS if (last - first) / step + 1 <= MOST_PICTURES][coarser:]
    if not fits:
        most = STEPS_MS[-1] * (MOST_PICTURES - 1) / 1000.0
        lasts = (last - first) / 1000.0
        raise PictureError(
            f"cue `{cue}` takes {lasts:.0f} s, and a motion picture takes at most {most:.0f} s"
        )
    step = fits[0]
    frames = np.arange(first, last + FRAME_MS, FRAME_MS, dtype=np.float64)
    every = step // FRAME_MS
    times = first + step * np.arange(ceil((frames.size - 1) / every) + 1.0)
    turns = _turns(played, np.arange(first, times[-1] + FRAME_MS, FRAME_MS))
    return MotionPicture(
        played, cue, sample(played, times), {n: row[::every] for n, row in turns.items()}, step
    )


def _turns(played: Trajectories, times_ms: Array) -> dict[str, Array]:
    """Degrees that each part that spins has turned since the first of these frames."""
    spinning = [one for one in played.show.rig.outputs if isinstance(one, Servo) and one.load.spins]
    if not spinning:
        return {}
    found = sample(played, times_ms).servos
    for_a_frame = 6.0 * FRAME_MS / 1000.0  # deg for each rpm
    return {
        one.name: np.cumsum(np.where(found[one.name].powered, found[one.name].angle_deg, 0.0))
        * for_a_frame
        for one in spinning
        if one.name in found
    }


def encoded(film: MotionPicture, kind: Kind, *, dark: bool = False) -> bytes:
    """The file's content; `dark`: lights are drawn unlit. May be larger than `MOST_BYTES`."""
    drawing = CreatureDrawing(film.played.show, film.cue, dark=dark)
    pictures, lasts = _joined(film, drawing)
    content = io.BytesIO()
    first, *others = pictures
    options = {"save_all": True, "append_images": others, "loop": 0} if others else {}
    first.save(content, format=kind, duration=lasts if others else lasts[0], **options)
    return content.getvalue()


def _joined(film: MotionPicture, drawing: CreatureDrawing) -> tuple[list[Image.Image], list[int]]:
    """The pictures, those that follow one another and are equal as one, and how long each stands.

    All are in one palette, so that nothing that stands still shimmers.
    """
    palette = _palette(film, drawing)
    pictures: list[Image.Image] = []
    lasts: list[int] = []
    before = b""
    for instant, shown in zip(film.instants(), film.shown_ms, strict=True):
        picture = drawing.drawn(instant).quantize(palette=palette, dither=Image.Dither.NONE)
        data = picture.tobytes()
        if data == before:
            lasts[-1] += shown
            continue
        pictures.append(picture)
        lasts.append(shown)
        before = data
    return pictures, lasts


def _palette(film: MotionPicture, drawing: CreatureDrawing) -> Image.Image:
    """The colours that cover best what pictures from the whole cue show."""
    instants = list(film.instants())
    chosen = [drawing.drawn(one) for one in instants[:: -(-len(instants) // LOOKED_AT)]]
    width, height = drawing.size
    sheet = Image.new("RGB", (width, height * len(chosen)))
    for n, one in enumerate(chosen):
        sheet.paste(one, (0, n * height))
    return sheet.quantize(GIF_COLOURS - 1, method=Image.Quantize.MAXCOVERAGE)
