"""What `check` promises: one run, a fixed order, and a seal that nothing else can give."""

from __future__ import annotations

import importlib
import pkgutil
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import seqlang.checks
import shows
from seqlang import cautions
from seqlang.check import CheckedShow, check
from seqlang.loading import load
from tests.seqlang.show_text import LAMP, checked, show

HERE = Path(__file__).parent
FINDINGS = HERE / "findings"
DEMOS = sorted(Path(shows.__file__).parent.glob("*/*.cues"))

OPENS = {"snap": "jaw to 50 deg in 900 ms"}


def small(**changes: Any) -> str:
    """A small show without a feed; `changes` as for `show`."""
    return show(
        supply=None,
        rig=LAMP,
        poses="safe pose shut\n    jaw 4 deg\n",
        **{"jaw": {"travel": "2 deg to 55 deg"}, "cues": OPENS, **changes},
    )


def modules() -> list[str]:
    return [
        info.name
        for info in pkgutil.walk_packages(seqlang.checks.__path__, "seqlang.checks.")
        if hasattr(importlib.import_module(info.name), "check")
    ]


def names_in(module: str) -> list[str]:
    """The kinds of finding that a check's first line names, before the colon."""
    doc = importlib.import_module(module).__doc__ or ""
    return re.findall(r"[a-z]+(?:-[a-z]+)+", doc.split(":")[0])


# -- the seal ---------------------------------------------------------------------------------


def test_nothing_but_check_makes_a_checked_show() -> None:
    show = load(DEMOS[0]).show
    assert show is not None
    with pytest.raises(TypeError, match=r"only seqlang\.check"):
        CheckedShow(show, {}, None, {}, object())  # type: ignore[arg-type]


def test_a_show_with_an_error_is_not_sealed() -> None:
    result = check(load(FINDINGS / "servo-speed.cues"))
    assert result.failed
    assert result.show is None


def test_a_show_with_warnings_alone_is_sealed() -> None:
    result = check(load(FINDINGS / "unreachable-cue.cues"))
    assert any(f.severity == "warning" for f in result.findings)
    assert not result.failed
    assert result.show is not None


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_a_demo_show_passes_with_real_margins(path: Path) -> None:
    result = check(load(path))
    assert result.show is not None
    assert [f for f in result.findings if f.severity != "advice"] == []
    assert result.summary is not None
    for servo in result.summary.servos:
        assert servo.line.share <= servo.allowed
    assert all(board.fits for board in result.show.compiled.boards)


# -- one run, a fixed order -------------------------------------------------------------------


def test_all_findings_of_a_file_come_out_in_one_run() -> None:
    body = "jaw to 70 deg in 900 ms\njaw to 4 deg in 90 ms\nlure fade to 50% in 70 s"
    text = small(cues={'snap "Three mistakes"': body})
    names = [f.name for f in checked(text).findings if f.severity == "error"]
    assert names == ["target-outside-travel", "servo-speed", "duration-too-long"]


def test_findings_stand_in_the_order_of_the_text() -> None:
    for path in sorted(FINDINGS.glob("*.cues")):
        starts = [f.span.start for f in check(load(path)).findings]
        assert starts == sorted(starts)


def test_a_servo_with_a_broken_calibration_gets_one_finding_not_ten() -> None:
    text = small().replace("2100 us at 90 deg", "2100 us at 90 deg, 1200 us at 100 deg")
    names = [f.name for f in checked(text).findings if f.severity == "error"]
    assert names == ["calibration-order"]


@pytest.mark.parametrize(
    ("written", "slip", "name"),
    [
        ("go snap", "go snapp", "unknown-name"),
        ("jaw to 50", "jaww to 50", "unknown-name"),
        ("in 900 ms", "in 900 msec", "unknown-unit"),
        ("stop button 2", "stop buton 2", None),
        ("pin PB1", "pin PX1", None),
        ("rating 0.15", "ratng 0.15", None),
    ],
)
def test_a_slip_in_a_line_gives_no_findings_about_what_it_made_missing(
    written: str, slip: str, name: str | None
) -> None:
    text = small().replace(written, slip)
    found = [f for f in checked(text).findings if f.severity != "advice"]
    assert len(found) == 1, found
    assert name is None or found[0].name == name


def test_checking_twice_gives_the_same_findings() -> None:
    path = FINDINGS / "interrupted-overload.cues"
    assert check(load(path)).findings == check(load(path)).findings


def test_a_clash_shows_both_places() -> None:
    for name in ("pin-clash", "output-driven-twice", "button-bound-twice", "address-clash"):
        path = FINDINGS / f"{name}.cues"
        finding = next(f for f in check(load(path)).findings if f.name == name)
        assert finding.related, name
        assert finding.related[0][0] != finding.span


def test_each_caution_is_shown_once() -> None:
    names = [f.name for f in check(load(DEMOS[0])).findings if f.name.startswith("caution-")]
    assert "caution-pinch" in names
    assert len(names) == len(set(names))


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_the_cautions_defer_to_local_codes_and_licensed_practice_once(path: Path) -> None:
    notes = [note for f in check(load(path)).findings for note in f.notes]
    assert notes.count(cautions.DEFER) == 1
    for words in ("local codes", "venue", "licensed practice"):
        assert words in cautions.DEFER


def test_a_limit_comes_with_what_was_asked_and_the_unit() -> None:
    own = {name for module in modules() for name in names_in(module)}
    for path in sorted(FINDINGS.glob("*.cues")):
        for finding in check(load(path)).findings:
            if finding.limit is not None and finding.name in own:
                assert finding.asked is not None, finding
                assert finding.unit is not None, finding


# -- the checks themselves --------------------------------------------------------------------


@pytest.mark.parametrize("module", modules())
def test_a_check_says_what_why_example_instead_and_where_its_limit_is_from(module: str) -> None:
    doc = importlib.import_module(module).__doc__ or ""
    places = [doc.find(f"\n{part}") for part in ("What:", "Why:", "Example", "Instead:")]
    places.append(doc.find("\nSource of the limit:"))
    assert -1 not in places
    assert places == sorted(places)
    assert names_in(module), "the first line names the kinds of finding"


@pytest.mark.parametrize("module", modules())
def test_each_kind_of_finding_has_a_small_broken_show(module: str) -> None:
    without = {"table-refused"}  # a fault of no known text: what can be written is caught before
    headers = "\n".join(p.read_text().split("\n")[0] for p in FINDINGS.glob("*.cues"))
    for name in names_in(module):
        if not name.startswith("caution-") and name not in without:
            assert name in headers.replace(",", " ").split(), name


def test_checking_imports_neither_plots_nor_ports_nor_scipy() -> None:
    code = (
        "import sys\n"
        "from seqlang.check import check\n"
        "from seqlang.loading import load\n"
        f"check(load({str(DEMOS[0])!r}))\n"
        "heavy = {'matplotlib', 'serial', 'scipy'} & {m.split('.')[0] for m in sys.modules}\n"
        "sys.exit(repr(heavy) if heavy else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
