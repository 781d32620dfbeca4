"""A motion picture of one cue, for a show whose lights are not hard on the eyes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from firmware_gen.files import write_whole
from seqlang.command import ShowFailed, WrongUse
from seqlang.command._page_notes import OF_EYES
from seqlang.command._progress import working
from seqlang.command._show import demanded, read_and_check
from seqlang.text.names import nearest
from sim.pictures.motion_picture import (
    MOST_BYTES,
    STEPS_MS,
    Kind,
    MotionPicture,
    PictureError,
    encoded,
    motion_picture,
)
from sim.rehearsal.run_through import LongRehearsalError, run_through
from sim.score.tree import named_cues

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from seqlang.text.findings import Finding
    from sim.model import Show
    from sim.rehearsal.trajectories import Trajectories

KINDS: Final[dict[str, Kind]] = {".gif": "gif", ".png": "png", ".apng": "png"}


def write_picture(file: str, target: Path, cue: str, *, dark: bool, quiet: bool) -> str:
    """Write it whole or not at all; what was written, in words.

    Raises `WrongUse` for a name or a length that cannot be, `ShowFailed` for light that flashes.
    """
    kind = KINDS.get(target.suffix.lower())
    if kind is None:
        raise WrongUse(f"{target}: a motion picture's name ends in .gif or .png")
    loaded, found = read_and_check(file)
    show = demanded(file, loaded, found, quiet=quiet).show
    _known(show, cue)
    if not dark:
        _refuse_hard_on_eyes(file, found.findings)
    try:
        played = run_through(show, (cue,))
        with working("drawing"):
            film, content = _small_enough(played, cue, kind, dark)
    except (LongRehearsalError, PictureError) as error:
        raise WrongUse(str(error)) from None
    write_whole(target, content)
    lasts = (film.length_ms - film.shown_ms[-1]) / 1000.0
    return (
        f"wrote {target}: {lasts:.2f} s, then still for {film.shown_ms[-1] / 1000.0:.1f} s; "
        f"{1000 / film.step_ms:g} pictures a second, {len(content) / 1e6:.2f} MB"
    )


def _known(show: Show, cue: str) -> None:
    known = [one.name for one in named_cues(show.score)]
    if cue not in known:
        near = nearest(cue, known)
        hint = f"did you mean `{near}`?" if near else f"the show has {', '.join(known)}"
        raise WrongUse(f"there is no cue `{cue}`; {hint}")


def _refuse_hard_on_eyes(file: str, findings: Iterable[Finding]) -> None:
    """Who is sent a picture has not asked for its flashes."""
    for finding in findings:
        if finding.name in OF_EYES:
            raise ShowFailed(
                f"{file}: no motion picture, as its lights are hard on the eyes "
                f"({finding.name}: {finding.message}); --dark draws them unlit"
            )


def _small_enough(
    played: Trajectories, cue: str, kind: Kind, dark: bool
) -> tuple[MotionPicture, bytes]:
    """In the finest steps in which the file stays under its limit."""
    content = b""
    for coarser in range(len(STEPS_MS)):
        try:
            film = motion_picture(played, cue, coarser)
        except PictureError:
            if not content:
                raise
            break
        if not dark and film.flashes():
            raise ShowFailed(
                f"cue `{cue}` flashes too often when it is shown over and over; "
                "--dark draws its lights unlit"
            )
        content = encoded(film, kind, dark=dark)
        if len(content) <= MOST_BYTES:
            return film, content
    raise PictureError(
        f"the motion picture of `{cue}` takes {len(content) / 1e6:.1f} MB, and at most "
        f"{MOST_BYTES / 1e6:g} MB are written; "
        "a shorter cue takes less, and a .gif less than a .png"
    )
