"""A board's table as text, with the lines that no table holds put in, and compiled again."""

from __future__ import annotations

from dataclasses import replace

from firmware_gen.compiler.show import CompiledBoard, compile_show
from firmware_gen.table.records import ServoRecord, Table
from seqlang.loading import load_text
from seqlang.meaning.write_table import TableText, text_of_table
from seqlang.text.source import Source
from sim.model import Show

RATINGS = {
    "deg": "rating 0.10 s/60deg, 90 kgf.cm, 9 A at 6 V",
    "mm": "rating 4000 mm/s, 900 N, 9 A at 6 V",
    "rpm": "rating 900 rpm, 90 kgf.cm, 9 A at 6 V",
}
"""Of servos that can do anything: what is asked here is what a board plays."""


def rated(text: str) -> str:
    """The text with a rating for each servo in the place of the comment that asks for it."""
    unit, rows = "deg", []
    for line in text.splitlines():
        words = line.split()
        if words[:1] == ["travel"]:
            unit = words[2]
        asks = line.strip().startswith("# fill in: rating")
        rows.append(f"    {RATINGS[unit]}" if asks else line)
    return "\n".join(rows) + "\n"


def again(data: bytes, board: CompiledBoard | None = None) -> tuple[TableText, Show]:
    """The text of a table, and the show that it is."""
    said = text_of_table(data, board)
    found = load_text(Source("read.cues", rated(said.text)))
    errors = [one for one in found.findings if one.severity == "error"]
    assert errors == [], (errors, said.text)
    assert found.show is not None
    return said, found.show


def table_again(show: Show) -> Table:
    """The table of the only board of a show."""
    return compile_show(show).boards[0].table


def score_of(table: Table) -> Table:
    """The table without what follows from the motion of a whole show: limits and its number."""
    outputs = tuple(
        replace(one, speed_limit=1, acceleration_limit=1) if isinstance(one, ServoRecord) else one
        for one in table.outputs
    )
    return replace(table, outputs=outputs, show=0)
