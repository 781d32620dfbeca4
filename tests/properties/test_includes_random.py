"""How a show is cut into files changes nothing about what it says."""

from __future__ import annotations

import tempfile
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import seqlang
from seqlang.loading import load
from seqlang.meaning.write_show import without_marks
from seqlang.text.pieces import pieces_of

ROOT = Path(__file__).parents[2]
DEMOS = sorted((ROOT / "shows").glob("*/*.cues"))


def put_together(path: Path) -> str:
    """The text of a show with what it includes in the places of the lines that include it."""
    lines = []
    for line in path.read_text(encoding="utf-8").splitlines(keepends=True):
        file = line.removeprefix('include "').rstrip('"\n') if line.startswith("include") else ""
        lines.append(put_together(path.parent / file) if file else line)
    return "".join(lines)


def cut_into_files(chance: Random, path: Path, folder: Path) -> Path:
    """The show of a file in several: at some of its statements another file goes on.

    A file that is included may itself be cut, and lie deeper.
    """
    text = put_together(path)
    starts = [start for start, _ in pieces_of(text)][1:]
    inner = 0

    def write(where: Path, start: int, end: int, depth: int) -> None:
        nonlocal inner
        inside = [cut for cut in starts if start < cut < end]
        pairs = min(len(inside) // 2, chance.choice((0, 1, 1, 2)))
        chosen = sorted(chance.sample(inside, 2 * pairs))
        parts, at = [], start
        for first, last in zip(chosen[::2], chosen[1::2], strict=True) if depth < 4 else ():
            inner += 1
            name = f"{chance.choice(('', 'parts/'))}part{inner}.cues"
            parts += [text[at:first], f'include "{name}"\n']
            write(where.parent / name, first, last, depth + 1)
            at = last
        where.parent.mkdir(parents=True, exist_ok=True)
        where.write_text("".join([*parts, text[at:end]]), encoding="utf-8")

    write(folder / path.name, 0, len(text), 0)
    return folder / path.name


@settings(max_examples=25)
@given(st.sampled_from(DEMOS), st.integers(0, 2**32))
def test_a_demo_cut_into_files_says_the_same(path: Path, seed: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        cut = load(cut_into_files(Random(seed), path, Path(folder)))
    assert cut.findings == ()
    whole = load(path)
    assert without_marks(cut.show) == without_marks(whole.show)
    for mark in cut.origins:  # every value stands in a file, under the same words
        there, here = cut.origins[mark].span, whole.origins[mark].span
        words = cut.sources[there.path].text[there.start : there.end]
        assert words == whole.sources[here.path].text[here.start : here.end]


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_a_demo_cut_into_files_has_the_same_tables_and_findings(path: Path, tmp_path: Path) -> None:
    cut = seqlang.load(cut_into_files(Random(5), path, tmp_path))
    whole = seqlang.load(path)
    assert len(cut.loaded.sources) > 1
    assert cut.tables == whole.tables
    assert sorted((f.name, f.message) for f in cut.findings) == sorted(
        (f.name, f.message) for f in whole.findings
    )
