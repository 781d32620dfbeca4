"""What `bellcrank check` prints: a passing show takes one screen, errors come last."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from show_text import LAMP, block, servo, show
from terminal import on_a_terminal

from seqlang.check import Checked, check
from seqlang.command._report import Screen, report
from seqlang.command._summary import supply_table
from seqlang.loading import Loaded, load_text
from seqlang.text.render import is_caution
from seqlang.text.source import Source

SHIPPED = sorted((Path(__file__).parents[2] / "shows").glob("*/*.cues"))
LINES_OF_THE_SHELL = 2
"""The command as it was typed, and the next prompt."""
PINS = ("PB2", "PB3", "PD3", "PD5", "PD6", "PC0", "PC1")


def read(text: str) -> tuple[Loaded, Checked]:
    loaded = load_text(Source("test.cues", text))
    return loaded, check(loaded)


def reported(text: str, detail: str = "usual", screen: Screen | None = None) -> str:
    loaded, checked = read(text)
    return report(loaded, checked, detail, screen or Screen(80, 24))  # type: ignore[arg-type]


def printed(raw: str) -> list[str]:
    """Lines as they were sent to a terminal, before it breaks them; no colour, no progress."""
    return re.sub(r"\r[^\n]*?\x1b\[K|\x1b\[[\d;]*m|\r", "", raw).split("\n")


def crowded(**more: object) -> str:
    """Eight servos, the most that a board has, of which the last is worked hardest."""
    names = [f"part_{number}" for number in range(1, 8)]
    moves = "".join(f"{name} to 30 deg in 2 s\n{name} to 0 deg in 2 s\n" for name in names[:-1])
    moves += f"{names[-1]} to 30 deg in 400 ms\n{names[-1]} to 0 deg in 2 s\n"
    return show(
        rig=[servo(name, pin) for name, pin in zip(names, PINS, strict=True)],
        cues={"snap": "jaw to 40 deg in 1 s\njaw to 0 deg in 1 s\n" + moves},
        **more,  # type: ignore[arg-type]
    )


WRONG = "jaw to 40 deg in 20 ms\njaw to 0 deg in 1 s"


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_show_that_passes_takes_one_screen(path: Path) -> None:
    ended = on_a_terminal("check", path.name, folder=path.parent)
    assert ended.status == 0
    assert ended.raw.count("\n") + LINES_OF_THE_SHELL <= 24
    wide = [line for line in printed(ended.raw) if len(line) > 80]
    assert wide == []
    assert ended.screen[-1].startswith(f"{path.name}: ")


def test_a_show_with_as_many_servos_as_a_board_has_takes_one_screen() -> None:
    shown = reported(crowded())
    assert shown.count("\n") + 1 + LINES_OF_THE_SHELL <= 24
    assert "part_7" in shown  # the hardest is shown
    rows = re.findall(r"^(?:jaw|part_\d) .*%", shown, re.M)
    left = re.search(r"^\.\.\. and (\d) that are worked less; `--all` shows them$", shown, re.M)
    assert len(rows) + (int(left[1]) if left else 0) == 8


def test_of_many_cues_at_the_peak_a_line_names_those_that_fit_and_counts_the_rest() -> None:
    _, checked = read(show())
    assert checked.summary is not None
    names = tuple(f"snap_{number:02d}" for number in range(1, 31))
    supplies = tuple(replace(work, cues=names) for work in checked.summary.supplies)
    summary = replace(checked.summary, supplies=supplies)
    row = supply_table(summary, columns=80).splitlines()[1]
    assert len(row) <= 80
    shown = re.findall(r"snap_\d\d", row)
    (tail,) = re.findall(r" and \d+ more$", row)
    assert tuple(shown) == names[: len(shown)]
    assert tail == f" and {30 - len(shown)} more"
    assert len(f"{row}, {names[len(shown)]}") > 80
    assert ", ".join(names) in supply_table(summary)
    assert supply_table(summary, columns=20).endswith("snap_01 and 29 more")


def test_a_taller_terminal_shows_every_row() -> None:
    shown = reported(crowded(), screen=Screen(80, 50))
    assert len(re.findall(r"^(?:jaw|part_\d) .*%", shown, re.M)) == 8
    assert "worked less" not in shown


def test_every_caution_has_a_line_of_its_own_with_its_figures_in_every_check() -> None:
    for text in (show(rig=LAMP), show(cues={"snap": WRONG})):
        _, checked = read(text)
        cautions = [finding for finding in checked.findings if is_caution(finding)]
        assert len(cautions) >= 2
        for detail in ("quiet", "usual"):
            lines = reported(text, detail).splitlines()
            for finding in cautions:
                assert [line for line in lines if line.startswith(f"  {finding.message}")]
    assert "`jaw` stalls at 2 A" in reported(show())  # as the show's `rating` line says
    assert re.search(r"`jaw` with [\d.]+ N at its tip", reported(show()))


def test_the_energy_of_a_pack_is_its_capacity_at_its_middle_voltage() -> None:
    # 2 cells of 3.7 V (nominal, from memory) and 3 Ah: 22.2 Wh
    shown = reported(show(supply="source 2 li-ion cells, 3000 mAh\nregulator 6.0 V, 5 A"))
    assert "`pack` holds 22 Wh" in shown


def test_errors_stand_last_whatever_else_is_said() -> None:
    text = show(cues={"snap": WRONG}, rig=LAMP, supply="source adapter 6.0 V, 6 A\nfuse 5 A")
    text += block("cue forgotten", "jaw to 10 deg in 1 s")
    _, checked = read(text)
    kinds = {finding.severity for finding in checked.findings}
    assert kinds >= {"error", "warning"}
    shown = reported(text)
    first_error = shown.index(" error: ")
    for finding in checked.findings:
        if finding.severity == "warning" or is_caution(finding):
            assert shown.index(finding.message[:40]) < first_error
    for finding in checked.findings:
        if finding.severity == "error":
            assert finding.help is None or finding.help[:20] in shown


def test_no_warning_is_left_out_however_many_there_are() -> None:
    cues = "".join(block(f"cue spare_{n}", "jaw to 10 deg in 1 s") for n in range(20))
    shown = reported(show(score=cues))
    assert shown.count("(unreachable-cue)") == 20
    assert reported(show(score=cues), "all").count("^^^") >= 20


def test_one_warning_of_a_show_that_passes_stands_in_full_below_the_tables() -> None:
    shown = reported(show(score=block("cue spare", "jaw to 10 deg in 1 s")))
    assert shown.index("hardest in cue") < shown.index("(unreachable-cue)")
    assert "\n  try   " in shown


@pytest.mark.parametrize("warnings", [0, 1, 2])
def test_a_passing_show_with_a_few_warnings_takes_one_screen(tmp_path: Path, warnings: int) -> None:
    spare = "".join(block(f"cue spare_{n}", "jaw to 10 deg in 1 s") for n in range(warnings))
    path = tmp_path / "show.cues"
    path.write_text(crowded(score=spare))
    ended = on_a_terminal("check", "show.cues", folder=tmp_path)
    assert ended.status == 0
    told = re.sub(r"\r[^\n]*?\x1b\[K", "", ended.raw)  # progress leaves nothing behind
    assert told.count("(unreachable-cue)") == warnings
    assert told.count("\n") + LINES_OF_THE_SHELL <= 24
    assert ("`bellcrank explain unreachable-cue` tells more" in told) == bool(warnings)


def test_quiet_leaves_only_cautions_and_errors() -> None:
    spare = block("cue spare", "jaw to 10 deg in 1 s")
    quiet = reported(show(score=spare), "quiet")
    assert "caution-heat" in quiet
    assert "unreachable-cue" not in quiet
    assert "hardest in cue" not in quiet
    assert "servo-" in reported(show(cues={"snap": WRONG}, score=spare), "quiet")


def test_all_holds_every_finding_with_its_notes() -> None:
    _, checked = read(show(rig=LAMP))
    shown = " ".join(reported(show(rig=LAMP), "all").split())
    for finding in checked.findings:
        for words in finding.notes:
            assert words in shown


def test_advice_beyond_the_first_few_is_counted() -> None:
    bare = [servo(f"bare_{n}", pin, {"load": None}) for n, pin in enumerate(PINS[:5])]
    text = show(rig=bare)
    advice = [
        finding
        for finding in read(text)[1].findings
        if finding.severity == "advice" and not is_caution(finding)
    ]
    assert [finding.name for finding in advice].count("unloaded-servo") == 5
    shown = reported(text)
    assert len(re.findall("advice: ", shown)) == 3
    assert f"... and {len(advice) - 3} more" in shown
    assert reported(text, "all").count("(unloaded-servo)") == 5


@pytest.mark.parametrize("option", ["--quiet", "--all"])
def test_how_much_is_shown_is_a_question_of_the_text_alone(option: str) -> None:
    ended = on_a_terminal("check", str(SHIPPED[0]), option, "--format", "json")
    assert ended.status == 2
    assert "goes with the text" in ended.raw


def test_no_colour_goes_to_a_terminal_that_wants_none() -> None:
    plain = on_a_terminal("check", str(SHIPPED[0]), environment={"NO_COLOR": "1"})
    coloured = on_a_terminal("check", str(SHIPPED[0]))
    painted = re.compile(r"\x1b\[[\d;]*m")
    assert not painted.search(plain.raw)
    assert painted.search(coloured.raw)
    assert not painted.search(
        on_a_terminal("check", str(SHIPPED[0]), "--quiet", terminal="dumb").raw
    )
    assert plain.screen == coloured.screen


PACK = "source 2 li-ion cells, 3000 mAh\nregulator 5.5 V, 5 A\nfuse 5 A"
TAIL = (
    "supply wall\n    source adapter 6 V, 3 A\n"
    "board tail: atmega328p, address 2\n    feed wall, 300 mm of 18 AWG\n"
    "switch fan: tail pin PD4\n    draws 100 mA\n"
)
SPARE = block("cue spare", "hold 1 s")


def four_servos(supply: str, *more: str) -> str:
    names = ("part_1", "part_2", "part_3")
    moves = "".join(f"{name} to 30 deg in 2 s\n{name} to 0 deg in 2 s\n" for name in names)
    return show(
        supply=supply,
        rig=[
            *(servo(name, pin) for name, pin in zip(names, ("PB2", "PB3", "PC0"), strict=True)),
            *more,
        ],
        cues={"snap": "jaw to 40 deg in 1 s\njaw to 0 deg in 1 s\n" + moves},
        score=SPARE,
    )


BELLY = block("strip belly: body pin PD7", "pixels 30\ncap 900 mA")


@pytest.mark.parametrize(
    ("text", "warnings"),
    [
        (four_servos("source adapter 6.0 V, 6 A"), 1),
        (four_servos(PACK), 1),
        (four_servos(PACK, LAMP) + TAIL, 1),
        (four_servos(PACK, LAMP, BELLY) + TAIL, 2),
    ],
)
def test_four_servos_and_a_warning_take_one_screen_with_the_prompt(
    text: str, warnings: int, tmp_path: Path
) -> None:
    (tmp_path / "four.cues").write_text(text, encoding="utf-8")
    ended = on_a_terminal("check", "four.cues", folder=tmp_path)
    assert ended.status == 0
    words = "\n".join(ended.screen)
    assert re.search(rf"\b{warnings} warning", words)
    assert "jaw" in words
    assert "lowest" in words
    assert ended.raw.count("\n") + LINES_OF_THE_SHELL <= 24


def test_what_finds_no_room_moves_closer_and_every_line_stays() -> None:
    close = reported(four_servos(PACK, LAMP, BELLY) + TAIL)
    wide = reported(four_servos(PACK, LAMP, BELLY) + TAIL, screen=Screen(80, 60))
    assert re.search(r"\(caution-[a-z]+\)\nadvice: \d+, shown with `--all`\n\nservo ", close)
    for line in (
        "(caution-pinch)",
        "(caution-lithium)",
        "(strip-overvoltage)",
        "(unreachable-cue)",
    ):
        assert line in close
        assert line in wide
