"""PHYSICS.md against the code: its figures, and the modules it names."""

from __future__ import annotations

import importlib
import re
from dataclasses import astuple
from pathlib import Path

import pytest

from firmware_gen.chips import CHIPS
from sim.rig.fuse import STANDARDS

PAGE = Path(__file__).parents[2] / "sim" / "PHYSICS.md"
TEXT = PAGE.read_text(encoding="utf-8")
FIGURES = re.findall(r"^\| `(\w+/\w+)\.(\w+)` \| ([\d.]+) \| ([^|]+) \| ([^|]+) \|$", TEXT, re.M)
STATUSES = ("exact", "read", "from memory", "common practice", "own")


def test_the_page_lists_figures() -> None:
    assert len(FIGURES) >= 20


@pytest.mark.parametrize("row", FIGURES, ids=lambda row: f"{row[0]}.{row[1]}")
def test_a_figure_is_the_code_s_and_carries_a_status(row: tuple[str, ...]) -> None:
    module, name, value, unit, status = row
    held = getattr(importlib.import_module(f"sim.{module.replace('/', '.')}"), name)
    assert float(value) == pytest.approx(held, rel=2e-6)
    assert unit.strip()
    assert any(word in status for word in STATUSES)


def test_the_table_of_fuses_is_the_code_s() -> None:
    rows = re.findall(r"^\| `([\w ]+)` \| (.+) \| (.+) \| (\d+) %.* \|$", TEXT, re.M)
    assert {row[0] for row in rows} == set(STANDARDS)
    for kind, carries, opens, long in rows:
        standard = STANDARDS[kind]  # type: ignore[index]
        assert points(carries) == standard.carries
        assert points(opens) == standard.opens
        assert int(long) == 100 * standard.continuous


def points(cell: str) -> tuple[tuple[float, float], ...]:
    """`135 %: 600; 200 %: 4 h` as shares and seconds."""
    found = re.findall(r"(\d+) %: ([\d.]+)( h)?", cell)
    return tuple((int(at) / 100, float(n) * (3600 if hours else 1)) for at, n, hours in found)


def test_the_page_has_the_figures_of_every_chip() -> None:
    rows = re.findall(
        r"^\| (\w+) \| ([\d.]+) A \| ([\d.]+) V \| ([\d.]+) V \| ([\d.]+) A \| ([\d.]+) V \|",
        TEXT,
        re.M,
    )
    stated = {title: tuple(map(float, values)) for title, *values in rows}
    assert stated == {chip.title: astuple(chip.electrics) for chip in CHIPS.values()}


def test_every_module_named_in_a_heading_exists_and_every_physics_module_is_named() -> None:
    named = set(re.findall(r"`(\w+/\w+)\.py`", TEXT))
    for name in named:
        assert (PAGE.parent / f"{name}.py").is_file(), name
    rooms = ("rig", "strain")
    physics = {f"{room}/{p.stem}" for room in rooms for p in (PAGE.parent / room).glob("[a-z]*.py")}
    unnamed = {"rig/resistor", "strain/torque_and_current"}  # their figures are
    assert physics - unnamed <= named


def test_every_function_of_the_physics_says_its_units_or_meaning() -> None:
    for name in sorted(set(re.findall(r"`(\w+/\w+)\.py`", TEXT))):
        module = importlib.import_module(f"sim.{name.replace('/', '.')}")
        for key, value in vars(module).items():
            public = callable(value) and not key.startswith("_")
            if public and getattr(value, "__module__", "") == module.__name__:
                assert value.__doc__, f"sim.{name}.{key}"
