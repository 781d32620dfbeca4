"""The preview: one self-contained page in which the boards of a show run, and can be pressed.

`parts/` holds the page's own text, style and modules. They are put together here without a change:
the modules one behind the other, in the order in which they need one another, as one module. So the
page fetches nothing, and opens from a folder as well as from a server.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from firmware_gen.page.boards import boards, chips, laws, text_of
from firmware_gen.page.remote import drawn_buttons, drawn_sources, sayings, script, without_button
from firmware_gen.page.trims import NOT_SAID, SaidTrims, trimmed_lights
from sim.model import Lamp, Strip
from sim.pictures.creature import creature
from sim.pictures.efforts import Efforts, efforts
from sim.pictures.figures import WorkFigures, work_figures
from sim.rulebook import FRAME_MS

if TYPE_CHECKING:
    from firmware_gen.checked_table import CheckedTable
    from firmware_gen.compiler.show import CompiledShow
    from sim.arrays import Array
    from sim.rehearsal.trajectories import Trajectories

PARTS: Final = Path(__file__).with_name("parts")
MODULES: Final = (
    "packed",
    "colour",
    "board",
    "rig",
    "record",
    "take",
    "space",
    "creature",
    "layout",
    "stage",
    "lights",
    "sticks",
    "band",
    "remote",
    "plugs",
    "keys",
    "effort",
    "readings",
    "trims",
    "notes",
    "page",
)
"""In the order in which they need one another; all names at their tops differ."""

_IMPORT: Final = re.compile(r"^import [^;]+;\n", re.M)
_EXPORT: Final = re.compile(r"^export ", re.M)
_FULL: Final = int(np.iinfo(np.uint16).max)
"""Figures go into the page as shares of their greatest, in 16 bits."""


@dataclass(frozen=True, slots=True)
class PageNote:
    """A finding as the page shows it.

    `at_ms`: moments of the rehearsal that it is about; none if it is about no moment. `eye`: it
    says that a light is hard on the eyes.
    """

    severity: Literal["error", "warning", "advice"]
    name: str
    message: str
    place: str
    at_ms: tuple[float, ...] = ()
    eye: bool = False


LIVE: Final = "live"
"""The module of a page that is served: it listens for versions of its show."""


def page(
    compiled: CompiledShow,
    tables: Mapping[str, CheckedTable],
    played: Trajectories,
    notes: Iterable[PageNote] = (),
    said_trims: SaidTrims = NOT_SAID,
) -> str:
    """The page as text, for a show that passed, and a rehearsal of it.

    `said_trims`: see `page_data`.
    """
    return laid_out(page_data(compiled, tables, played, notes, said_trims))


def laid_out(data: Mapping[str, Any], *, live: bool = False) -> str:
    """The page around its data; `live`: it asks whoever serves it for changes."""
    return _filled(
        "page.html",
        TITLE=html.escape(data["title"]),
        DATA=as_json(data).replace("<", "\\u003c"),
        MODULE=module(live=live),
    )


def waiting(findings: str) -> str:
    """The page of a show that is being written and has errors yet."""
    return _filled("waiting.html", FINDINGS=html.escape(findings))


def as_json(value: object) -> str:
    """Without spaces, in one line."""
    return json.dumps(value, separators=(",", ":"))


def module(*, live: bool = False) -> str:
    """All modules as one: what they take of one another is there, above them."""
    names = (*MODULES, LIVE) if live else MODULES
    texts = ((PARTS / f"{name}.js").read_text(encoding="utf-8") for name in names)
    return "\n".join(_EXPORT.sub("", _IMPORT.sub("", text)) for text in texts)


def palette() -> str:
    """The colours of all pages, light and dark, as custom properties of CSS."""
    return (PARTS / "palette.css").read_text(encoding="utf-8")


def _filled(name: str, **filling: str) -> str:
    filling["STYLE"] = palette() + (PARTS / "page.css").read_text(encoding="utf-8")
    text = (PARTS / name).read_text(encoding="utf-8")
    return re.sub(r"__([A-Z]+)__", lambda found: filling[found[1]], text)


def page_data(
    compiled: CompiledShow,
    tables: Mapping[str, CheckedTable],
    played: Trajectories,
    notes: Iterable[PageNote] = (),
    said_trims: SaidTrims = NOT_SAID,
) -> dict[str, Any]:
    """What the page is told of a show, for JSON.

    `said_trims`: by name of a light, the percents of its trim and its balance as the text has them;
    those of others follow from their tables.
    """
    said = tuple(notes)
    show = compiled.show
    lit = any(isinstance(one, Lamp | Strip) for one in show.rig.outputs)
    return {
        "title": show.score.title or "Preview",
        "frame_ms": FRAME_MS,
        "chips": chips(compiled),
        "boards": boards(compiled, tables),
        "sayings": {name: list(map(text_of, both)) for name, both in sayings(show).items()},
        "buttons": drawn_buttons(show),
        "sources": drawn_sources(show),
        "others": without_button(show.score),
        "titles": {cue.name: cue.title for cue in show.score.cues},
        "idle": list(show.score.idle),
        "lost_ms": show.score.lost_ms if show.score.lost_cue else None,
        "trims": trimmed_lights(compiled, said_trims),
        "parts": [asdict(part) for part in creature(show)],
        "tilt_deg": show.rig.wearer.tilt_deg,
        "lit": lit,
        "hard_on_eyes": lit and any(note.eye for note in said),
        "rehearsal": {
            "frames": played.length_ms // FRAME_MS + 1,
            "script": script(played),
            "figures": _figures(work_figures(played)),
        },
        "efforts": _efforts(efforts(played.show.rig)) | {"laws": _packed(laws(compiled))},
        "notes": [asdict(note) for note in said],
    }


def _figures(found: WorkFigures) -> dict[str, Any]:
    rows = {
        kind: {name: _row(row) for name, row in getattr(found, kind).items()}
        for kind in ("torque", "limit", "current", "feed_a", "board_v")
    }
    return {"frames": found.frames, **rows}


def _efforts(found: Efforts) -> dict[str, Any]:
    packed = _packed(asdict(found))
    assert isinstance(packed, dict)
    return packed


def _packed(value: Any) -> Any:
    """The same with every array as a row from its least to its greatest value."""
    if isinstance(value, dict):
        return {name: _packed(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_packed(one) for one in value]
    return _signed_row(value) if isinstance(value, np.ndarray) else value


def _signed_row(values: Array) -> dict[str, Any]:
    least, most = float(values.min()), float(values.max())
    if most == least:
        values = values[:1]
    shares = np.rint((values - least) / ((most - least) or 1.0) * _FULL).astype("<u2")
    return {"least": least, "most": most, "shares": text_of(shares.tobytes())}


def _row(values: Array) -> dict[str, Any]:
    """Shares of the greatest value, so that any row keeps four digits."""
    finite = np.nan_to_num(values, posinf=0.0)
    most = float(finite.max(initial=0.0)) or 1.0
    shares = np.clip(np.rint(finite / most * _FULL), 0, _FULL).astype("<u2")
    return {"most": most, "shares": text_of(shares.tobytes())}
