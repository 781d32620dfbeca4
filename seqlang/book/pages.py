"""The whole book as one page of HTML: no script, nothing fetched, the same bytes for one show."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from seqlang.book.cue_sheet import cue_sheet
from seqlang.book.going_out_sheet import cautions_sheet, checklist
from seqlang.book.paper import facts, paragraph, table, words
from seqlang.book.rig_sheet import calibration_sheet, rig_sheet
from seqlang.book.wiring_sheet import supply_sheet, wiring_sheet
from seqlang.book.work_sheet import work_sheet

if TYPE_CHECKING:
    from seqlang.book.matter import BookMatter

_SHEETS: Final[tuple[tuple[str, str, Callable[[BookMatter], str]], ...]] = (
    ("cautions", "Cautions", cautions_sheet),
    ("checklist", "Before going out", checklist),
    ("cues", "Cue sheet for the helper", cue_sheet),
    ("rig", "What the rig is", rig_sheet),
    ("wiring", "Wiring of the boards", wiring_sheet),
    ("supply", "Supplies, fuses and wires", supply_sheet),
    ("calibration", "Calibration sheet", calibration_sheet),
    ("power", "Power, run time, and how hard all is worked", work_sheet),
)


def book_page(matter: BookMatter) -> str:
    """The book: a cover, and its sheets in the order of `_SHEETS`, each on new paper."""
    title = matter.show.score.title
    made = [(name, head, sheet(matter)) for name, head, sheet in _SHEETS]
    there = [(name, head, content) for name, head, content in made if content]
    listed = "".join(f'<li><a href="#{n}">{escape(h)}</a></li>' for n, h, _ in there)
    style = files("seqlang.book").joinpath("book.css").read_text(encoding="utf-8")
    style = style.replace("SHOWN", f"{_for_css(title)}   show {matter.number}")
    body = [_cover(matter), f"<nav><ol>{listed}</ol></nav>", _FILL, *(c for _, _, c in there)]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "style-src 'unsafe-inline'; img-src data:\">"
        f"<title>{escape(title)}: show book</title><style>{style}</style></head>"
        f"<body>{''.join(body)}</body></html>\n"
    )


_FILL: Final = (
    '<div class="fill"><span>Printed on</span><span>Built by</span><span>Worn by</span></div>'
)


def _for_css(text: str) -> str:
    """Text inside a string of a style sheet: no quote, escape, line or tag in it ends that."""
    return "".join(c if c.isalnum() or c in " .,:;-" else " " for c in text)


def _cover(matter: BookMatter) -> str:
    boards = [
        (
            board.name,
            str(board.board.address),
            board.chip.title,
            str(len(board.data)),
            sha256(board.data).hexdigest(),
        )
        for board in matter.compiled.boards
    ]
    return (
        f"<h1>{words(matter.show.score.title)}</h1>"
        + paragraph("Show book: for whoever builds, wears and helps.")
        + f'<p class="number">show {matter.number}</p>'
        + paragraph(
            "This book belongs to the show of this number. `bellcrank status` names the show that "
            "a board plays, `bellcrank read` its SHA-256. If they differ from those here, print a "
            "new book or put this show on the boards."
        )
        + table(("Board", "Address", "Chip", "Bytes", "SHA-256 of its table"), boards, "hashes")
        + facts([("All tables, SHA-256", matter.compiled.digest), *_texts(matter)])
    )


def _texts(matter: BookMatter) -> list[tuple[str, str]]:
    return [(f"Text {name}, SHA-256", digest) for name, digest in matter.files]
