"""The rule book holds each number of a board once: no module, no page and no text says another."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

from firmware_gen.chips import CHIPS, FIRST
from firmware_gen.link import protocol
from firmware_gen.link.protocol import EVERYBODY, NO_ADDRESS
from firmware_gen.player import in_step
from sim import noise, rulebook
from sim.rulebook import (
    ADDRESSES,
    BINDINGS,
    BUTTONS,
    CALIBRATION_POINTS,
    CLOCK_PER_MS,
    COLOURS,
    CUES,
    FRAME_CLOCK,
    FRAME_MS,
    INPUTS,
    LAWS,
    LEVEL_MAX,
    LONGEST_DURATION_MS,
    LONGEST_PERIOD_MS,
    LONGEST_SILENCE_MS,
    LONGEST_STOP_MS,
    LOOP_DEPTH,
    LOST_STEP_FRAMES,
    LOST_STEP_MS,
    MOST_TIMES,
    OPS_A_FRAME,
    OUTPUTS,
    PULSE_RANGE,
    PULSE_RANGE_US,
    RUNS,
    SEED_MAX,
    SENSORS,
    SHORTEST_PERIOD_MS,
    SILENCE_MAX_FRAMES,
    STOP_STEP_MS,
    THREADS,
    WIDTH_MAX,
)

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("sim", "firmware_gen", "seqlang")
BOOK = ROOT / "sim" / "rulebook.py"
ENTRIES = ROOT / "firmware_gen" / "chips"

NAMES = {name for name in vars(rulebook) if name.isupper()}

TELLING = {327, 2600, 5100, 5120, 5200, 16384, 25500, 32768}
TELLING |= {65000, 65534, 65535, 65536}
"""Values of the rule book that hardly mean anything else where they stand as a number."""

ELSEWHERE = {
    ("sim/light/patterns.py", 65536): "beats that words of 16 bits count (TABLE.md 3.4)",
    ("firmware_gen/board/played_as_shown.py", 65535): "a duty's range",
    ("firmware_gen/board/virtual_lines.py", 65536): "ports of TCP",
    ("firmware_gen/build/image.py", 65535): "an erased word",
    ("firmware_gen/crc.py", 65535): "the CRC's start",
    ("firmware_gen/link/host.py", 65536): "sessions",
    ("firmware_gen/link/protocol.py", 65535): "the link's counters",
    ("firmware_gen/player/light.py", 65535): "arithmetic in words of 16 bits (TABLE.md 3.4)",
    ("firmware_gen/table/layout.py", 32768): "what an i16 holds",
    ("firmware_gen/table/layout.py", 65535): "what a u16 holds",
    ("seqlang/command/board.py", 65535): "ports of TCP",
    ("seqlang/command/preview.py", 65535): "ports of TCP",
    ("seqlang/command/_phones.py", 65535): "ports of TCP",
}
"""Where such a number stands in a module, and what it means there."""


def modules() -> Iterator[Path]:
    """Every module but the rule book and the chips' entries."""
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            if path != BOOK and (path.parent != ENTRIES or path.stem in ("__init__", "chip")):
                yield path


def test_every_number_of_the_book_says_why() -> None:
    lines = BOOK.read_text(encoding="utf-8").splitlines()
    tree = ast.parse("\n".join(lines))
    for here, after in zip(tree.body, [*tree.body[1:], None], strict=True):
        if isinstance(here, ast.AnnAssign):
            assert isinstance(after, ast.Expr), ast.unparse(here)
            assert isinstance(after.value, ast.Constant), ast.unparse(here)


def test_no_module_states_a_number_of_the_book_again() -> None:
    found: dict[tuple[str, int], int] = {}
    for path in modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            value = node.value if isinstance(node, ast.Constant) else None
            if isinstance(value, int | float) and value in TELLING:
                found[(path.relative_to(ROOT).as_posix(), int(value))] = node.lineno
    assert {place: line for place, line in found.items() if place not in ELSEWHERE} == {}
    assert set(ELSEWHERE) <= set(found), "no longer there"


def test_no_module_gives_a_name_of_the_book_another_number() -> None:
    for path in modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
                continue
            names = node.targets if isinstance(node, ast.Assign) else [node.target]
            assigned = {one.id for one in names if isinstance(one, ast.Name)}
            if assigned & NAMES:
                parts = [one.value for one in ast.walk(node.value) if isinstance(one, ast.Constant)]
                words = [part for part in parts if not isinstance(part, int | float)]
                assert words, f"{path}:{node.lineno} gives {assigned & NAMES} another number"


# -- chips ----------------------------------------------------------------------------------------

WORDS = re.compile(
    "|".join([r"at(mega|tiny|xmega)", *CHIPS, *(c.tools.part for c in CHIPS.values())]), re.I
)


def strings_and_names(path: Path) -> Iterator[tuple[int, str]]:
    """All that a module says, but for docstrings, which may have examples."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.lineno, node.value
        elif isinstance(node, ast.Name):
            yield node.lineno, node.id
        elif isinstance(node, ast.ImportFrom):
            yield node.lineno, f"{node.module} {' '.join(alias.name for alias in node.names)}"


def test_only_its_entry_names_a_chip_in_python() -> None:
    naming = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in modules()
        for line, text in strings_and_names(path)
        if WORDS.search(text)
    ]
    assert naming == []


def test_nothing_in_the_core_names_a_chip() -> None:
    core = sorted((ROOT / "firmware_gen" / "core").iterdir())
    assert core
    assert [path.name for path in core if WORDS.search(path.read_text(encoding="utf-8"))] == []


def test_the_core_states_no_number_of_the_book_again() -> None:
    """Its generated headers apart, and shares of 16 bits, which arithmetic is full of."""
    telling = {value for value in TELLING if value not in (16384, 32768, 65535, 65536)}
    stated = [
        f"{path.name}: {found[0]}"
        for path in sorted((ROOT / "firmware_gen" / "core").glob("*.[ch]"))
        if "Generated by" not in path.read_text(encoding="utf-8")
        for found in re.finditer(r"\b(\d{3,5})(?=[uUlL]*\b)", code_of(path))
        if int(found[1]) in telling
    ]
    assert stated == []


def test_the_core_gives_no_name_of_the_book_a_number_of_its_own() -> None:
    """Nor does the chips' code: what the book names comes from the generated headers."""
    given = re.compile(
        r"(?:#define\s+|[{,]\s*)(?:BC_)?([A-Z][A-Z_]+)\s*(?:=\s*|\s)\(?(?:\(\w+\))?\d"
    )
    stated = [
        f"{path.name}: {name}"
        for path in sorted((ROOT / "firmware_gen").rglob("*.[ch]"))
        if "Generated by" not in path.read_text(encoding="utf-8")
        for name in given.findall(code_of(path))
        if name in NAMES
    ]
    assert stated == []


def code_of(path: Path) -> str:
    """A C file without its comments."""
    return re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)


@pytest.mark.parametrize("chip", CHIPS.values(), ids=lambda chip: chip.name)
def test_a_chip_is_an_entry_a_folder_and_an_image(chip: object) -> None:
    name = chip.name  # type: ignore[attr-defined]
    assert import_module(f"firmware_gen.chips.{name}").CHIP is chip
    assert list((ROOT / "firmware_gen" / name).glob("*.c"))
    assert (ROOT / "firmware_gen" / "images" / f"{name}.hex").is_file()


# -- the pages ------------------------------------------------------------------------------------


def plain(path: str) -> str:
    return " ".join((ROOT / path).read_text(encoding="utf-8").split())


def share(value: int) -> str:
    return f"{value / 1000:g} s"


@pytest.mark.parametrize(
    ("page", "words"),
    [
        *(
            ("firmware_gen/TABLE.md", words)
            for words in (
                "| angle of a part | i16, 0.01 deg |",
                '| pulse width | u16, 0.5 us ("tick") |',
                f"| light level | u8, half a percent of CIE L*, 0 to {LEVEL_MAX} |",
                f"of the board, {ADDRESSES[0]} to {ADDRESSES[-1]} |",
                f"| outputs | 0 to {OUTPUTS};",
                f"| colours | 0 to {COLOURS} |",
                f"| inputs | 0 to {INPUTS} |",
                f"| bindings | 0 to {BINDINGS} |",
                f"| cues | 0 to {CUES} |",
                f"| laws | 1 to {LAWS} |",
                f"| in {LOST_STEP_MS} ms, 0: never |",
                f"| {BUTTONS[0]} to {BUTTONS[-1]}, 0: none |",
                f"in {STOP_STEP_MS} ms, at least 1 |",
                f"u8 points ({CALIBRATION_POINTS[0]} to {CALIBRATION_POINTS[-1]})",
                f"pulses from {PULSE_RANGE[0]} to {PULSE_RANGE[1]}",
                f"u16 period ms (at least {SHORTEST_PERIOD_MS})",
                f"in ms, at most {LONGEST_DURATION_MS}.",
                f"nest at most {LOOP_DEPTH} deep",
                f"once per frame ({FRAME_MS} ms). Time is a u32 in 1/{CLOCK_PER_MS} ms",
                f"Frame n (from 0) has time {FRAME_CLOCK} n",
                f"at time t - {FRAME_CLOCK}",
                f"grows by one frame, up to {SILENCE_MAX_FRAMES}",
                f"the silence is at least {LOST_STEP_FRAMES} L frames",
                f"If {OPS_A_FRAME} ops were executed",
                f"If none of the {RUNS} runs would then be free",
                f"threads it needs at most, 1 to {THREADS})",
                f"would exceed {THREADS}: refused",
                f"in units of {rulebook.CAP_STEP}; 0: no cap",
                f"x and s are Q16, 0 to {rulebook.SHARE_ONE}",
                f"slope = {rulebook.SLOPE_ONE}",
                f"K under {rulebook.LEAST_OVERLAP} counts as 0",
                f"K is at most {rulebook.OVERLAP_ONE}",
                f"|D| >= 2^{rulebook.AHEAD_BITS} (0.32 deg)",
                f"Positions are i32 in 0.01 deg, Q{rulebook.ANGLE_BITS}",
                f"T = max(N - tb, Na, Nv, {rulebook.SHORTEST_MOTION_CLOCK})",
                f"A level is Q{rulebook.LEVEL_BITS} (0 to {LEVEL_MAX << rulebook.LEVEL_BITS})",
                f"up to {rulebook.SILENT_OPS_A_FRAME} ops of silent runs are executed",
                f"more than {rulebook.LATE_FRAMES} frames ago, it is carried forward",
                f"{rulebook.FOLLOWED_FRAMES} frames after the last one the board no longer follows",
                f"When {rulebook.IDLE_ERA_FRAMES} frames have passed since the strands began",
                f"A start more than {rulebook.OLDEST_START_FRAMES} frames ago counts as",
                f"If the sum exceeds {THREADS}, runs end",
                f"if this is frame F + {rulebook.TWICE_FRAMES} or later, it was a *down*",
                f"down for {rulebook.STUCK_FRAMES} frames is *stuck*",
                f"A chip looks every {rulebook.LOOK_MS} ms",
                f"width is {rulebook.CHANNEL_RANGE[0]} to {rulebook.CHANNEL_RANGE[1]} ticks",
                f"After more than {rulebook.CHANNEL_GAP_FRAMES} of them the good pulses",
                f"has {rulebook.CHANNEL_GOOD} good pulses in a row becomes *live*",
                f"with {rulebook.CHANNEL_LOST_FRAMES} frames of silence is live no longer",
                f"lies more than {rulebook.CHANNEL_SLACK} ticks beyond one of its ends",
                f"A reading is a pin's voltage in 1/{rulebook.SENSOR_ONE} of the chip's supply",
                f"u16 quiet (0 to {rulebook.SENSOR_ONE - 1}), u16 rise",
                f"the voltage at that pin, in 1/{rulebook.SENSOR_ONE} of the chip's supply (10).",
                f"R is the reading of this frame, in 1/{rulebook.SENSOR_ONE} of the chip's supply",
                f"in 1/{rulebook.SENSOR_ONE} of the chip's supply, 0 to {rulebook.SENSOR_ONE - 1}.",
                f"leaves out what began more than {rulebook.LATE_FRAMES} frames ago",
                f"may have started later, by less than {rulebook.LATE_FRAMES} frames",
                f"Speeds are in 0.01 deg per ms, Q{rulebook.ANGLE_BITS}",
                f"It remembers y, a number in Q{rulebook.SENSOR_BITS}.",
                f"of v - {rulebook.FOLLOW_PLAY} to v + {rulebook.FOLLOW_PLAY} that is nearest",
                f"at most 2^{rulebook.FASTEST_FOLLOWING.bit_length() - 1}. G =",
                f"The memory M is {rulebook.WATCH_PART} V at the first reading",
                f"low frames are one more, up to {rulebook.LOW_FRAMES}",
                f"empty frames are one more, up to {rulebook.EMPTY_FRAMES}",
                f"in the mode starting, already at {rulebook.EMPTY_IN_STARTING_FRAMES}.",
                f"again each {rulebook.REMIND_FRAMES} such frames",
                f"| senses | 0 to {rulebook.SENSES};",
                f"at most {rulebook.ANSWERING} records",
                f"There are at most {rulebook.STRANDS}, with at most {THREADS} threads together",
                f"threads it needs at most, 1 to {THREADS})",
                f"cc, 0 to {rulebook.CALL_DEPTH - 1}, is how deep calls nest",
                f"at most {rulebook.CALL_DEPTH} calls are open in a thread",
                f"ll, 0 to {LOOP_DEPTH}, is how deep loops nest",
                f"W is 1 more, up to {rulebook.EFFECT_STEPS}.",
                f"toward W, by {rulebook.JOG_STEP} ticks at most",
                f"leaves the travel by more than 2^{rulebook.BRAKE_SLACK_BITS} (0.02 deg)",
                f"If more than {share(LONGEST_DURATION_MS)} are left, the thread's time becomes "
                f"T + {LONGEST_DURATION_MS * CLOCK_PER_MS}",
                f"the ceiling of (G - T) / {CLOCK_PER_MS}, at most {LONGEST_DURATION_MS},",
                f"values of the source: {rulebook.CHANNEL_RANGE[0]} to {rulebook.CHANNEL_RANGE[1]} "
                f"of a channel, 0 to {rulebook.SENSOR_ONE - 1} of a sensor",
            )
        ),
        (
            "firmware_gen/LINK.md",
            f"a sensor's in 1/{rulebook.SENSOR_ONE} of the chip's supply",
        ),
        *(
            ("firmware_gen/FIRMWARE.md", f"began more than {rulebook.LATE_FRAMES} frames {when}")
            for when in ("before this chip heard of it, the chip leaves it out", "before this chip")
        ),
        (
            "seqlang/checks/motion/duration_too_long.py",
            f"code (duration: at most {LONGEST_DURATION_MS} ms)",
        ),
        *(
            ("seqlang/LANGUAGE.md", words)
            for words in (
                f"its address on the link, {ADDRESSES[0]} to {ADDRESSES[-1]}.",
                f"calibration: {CALIBRATION_POINTS[0]} to {CALIBRATION_POINTS[-1]} points",
                f"it is button N, {BUTTONS[0]} to {BUTTONS[-1]}.",
                f"button N ({BUTTONS[0]} to {BUTTONS[-1]}) starts the cue",
                f"lasts {FRAME_MS} ms at least",
                f"(in {rulebook.DURATION_STEP_MS} ms, the shortest",
                f"`every` is {SHORTEST_PERIOD_MS} ms to {LONGEST_PERIOD_MS // 1000} s",
                f"`seed` is 0 to {SEED_MAX} (0)",
                f"`width` is 1 to {WIDTH_MAX} (1)",
                f"N times, 1 to {MOST_TIMES}, for a day at most",
                "angles of parts to 0.01 deg, light levels to half a percent",
                f"held for that time, {rulebook.SHORTEST_LONG_PRESS_MS / 1000:g} to "
                f"{share(rulebook.LONGEST_LONG_FRAMES * FRAME_MS)} ({rulebook.LONG_PRESS_MS} ms)",
                f"`back in` may be 0 s to {share(rulebook.LONGEST_GLIDE_MS)}.",
                f"Choices stand at most {rulebook.CHOICE_DEPTH} deep within one another. "
                f"At most {rulebook.WAYS_OF_A_PASS} ways may lead",
                f"from PULSE to PULSE`, {rulebook.CHANNEL_RANGE_US[0]} to "
                f"{rulebook.CHANNEL_RANGE_US[1]} us.",
                f"`falls in TIME`, up to {share(rulebook.LONGEST_FILTER_MS)}:",
                f"{FRAME_MS} ms to {share(LONGEST_DURATION_MS)} ({share(rulebook.FOLLOW_MS)})",
                f"below the limit for {share(rulebook.LOW_FRAMES * FRAME_MS)} without a break, "
                f"and empty after {share(rulebook.EMPTY_FRAMES * FRAME_MS)}. The board looks at a "
                f"mean, which takes {share(rulebook.WATCH_PART * FRAME_MS)} to follow",
                *(
                    f"at most {rulebook.LARGEST_ANGLE_DEG} {unit}"
                    for unit in ("deg to either side", "mm to either side", "rpm either way;")
                ),
            )
        ),
        *(
            ("seqlang/checks/wiring/board_overfull.py", words)
            for words in (
                f"at most {OUTPUTS} outputs a board",
                f"{INPUTS} inputs, {SENSORS} sensors and {CUES} cues",
                f"the time in a frame ({FRAME_MS} ms)",
                f"{FIRST.servos} of them servos and {FIRST.strips} of them strips, "
                f"{FIRST.pixels} pixels",
            )
        ),
        (
            "seqlang/checks/motion/duration_too_long.py",
            f"lasts at most {share(LONGEST_DURATION_MS)}, the stop {share(LONGEST_STOP_MS)}, the "
            f"silence before the cue for a lost remote {share(LONGEST_SILENCE_MS)}.",
        ),
        (
            "seqlang/checks/calibration/calibration_order.py",
            f"{CALIBRATION_POINTS[0]} to {CALIBRATION_POINTS[-1]} points, angles ascending",
        ),
        (
            "seqlang/checks/remote/button_bound_twice.py",
            f"TABLE.md gives buttons {BUTTONS[0]} to {BUTTONS[-1]}",
        ),
        ("seqlang/checks/wiring/address_clash.py", f"{ADDRESSES[0]} to {ADDRESSES[-1]}"),
        *(
            ("firmware_gen/TABLE.md", words)
            for words in (
                f"h = (seed 0x{noise.SEED_FACTOR:X}) ^ (a 0x{noise.BEAT_FACTOR:X})"
                f" ^ (b 0x{noise.PIXEL_FACTOR:X})",
                *(f"h = h 0x{factor:X};" for factor in noise.MIX_FACTORS),
                f"r = Mix(Mix(k ^ (rounds 0x{noise.BEAT_FACTOR:X})) + k)",
            )
        ),
        *(
            ("firmware_gen/LINK.md", words)
            for words in (
                f"room for at least {protocol.REQUESTS_A_FRAME} requests between two frames, "
                f"and for {protocol.STOPS_A_FRAME} more that are stop or limp.",
                f"Hello then says {protocol.MERGED_SLOT} for the current slot",
                f"late = {FRAME_CLOCK} w + m - {in_step.ARRIVAL}.",
                f"late is not within -{in_step.FARTHEST} to {in_step.FARTHEST}: "
                f"w = 1 if m < {in_step.ARRIVAL - FRAME_CLOCK // 2}, else 0",
                f"(late >> {in_step.GENTLENESS_BITS}) / {CLOCK_PER_MS} ms, "
                f"at least -{in_step.MOST_STRETCH} and at most {in_step.MOST_STRETCH}.",
            )
        ),
        *(
            ("sim/model/score.py", words)
            for words in (f"`seed` picks one of {SEED_MAX + 1} exactly repeating patterns",)
        ),
    ],
)
def test_the_pages_and_help_texts_say_the_same(page: str, words: str) -> None:
    assert words in plain(page)


def test_the_bounds_are_what_their_bytes_hold() -> None:
    assert tuple(us * rulebook.PULSE_STEPS_PER_US for us in PULSE_RANGE_US) == PULSE_RANGE
    assert 100 * rulebook.LARGEST_ANGLE_DEG <= 32767 < 100 * (rulebook.LARGEST_ANGLE_DEG + 1)
    assert LEVEL_MAX <= rulebook.BYTE_MAX
    assert BUTTONS[-1] < 32
    assert CUES <= 32
    assert OUTPUTS <= 16
    assert EVERYBODY < ADDRESSES[0] <= ADDRESSES[-1] < NO_ADDRESS
    # 24 bits of the clock: the longest wait differs from what has been due for 256 ms.
    assert (LONGEST_DURATION_MS + 256) * CLOCK_PER_MS < 2**24


PREVIEW = {
    "effort": {
        "POSITIONS": rulebook.ANGLE_STEPS_PER_DEG << rulebook.ANGLE_BITS,
        "CLOCK_S": 1000 * CLOCK_PER_MS,
        "FRAME_S": rulebook.FRAME_S,
    },
    "sticks": {"TICKS_PER_US": rulebook.PULSE_STEPS_PER_US, "SENSOR_ONE": rulebook.SENSOR_ONE},
    "trims": {"ONE": rulebook.TRIM_ONE},
}
"""What the preview page's modules of JavaScript state of the board."""


@pytest.mark.parametrize(
    ("module", "name", "value"),
    [(module, name, value) for module, found in PREVIEW.items() for name, value in found.items()],
)
def test_the_preview_page_has_the_numbers_of_the_book(module: str, name: str, value: float) -> None:
    text = (ROOT / f"firmware_gen/page/parts/{module}.js").read_text("utf-8")
    (stated,) = re.findall(rf"^(?:export )?const {name} = ([0-9.]+)(?: \* ([0-9]+))?;", text, re.M)
    first, second = stated
    assert float(first) * float(second or 1) == value
