"""Which tests stand nearest to a module: the one place that says so.

The first row whose pattern fits a module gives its tests, as folders or patterns below `tests/`;
`{room}` stands for the module's own folder. They are the tests of the module's own room and of the
rooms that lean on it directly. Where none of them imports a module, the tests that do join them.
"""

from __future__ import annotations

import ast
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

CHECKS = ("seqlang/checks", "seqlang/test_check*.py")
# what is said of parts that follow, of gestures and of boards on one line has files of its own
SAID = {
    "light": ("seqlang/test_strips_that_*.py", "seqlang/test_follows_*.py"),
    "remote": (
        *("seqlang/test_follows_*.py", "seqlang/test_gestures.py", "seqlang/test_listening.py"),
        *("seqlang/test_strips_that_*.py", "seqlang/test_presses_said_otherwise.py"),
    ),
    "supply": ("seqlang/test_watch_said.py",),
    "wiring": ("seqlang/test_sensors_said.py", "seqlang/test_second_chip.py"),
    "score": ("seqlang/test_choices.py", "seqlang/test_parts_that_spin.py"),
}
MOTION = (
    *("seqlang/checks/{room}", "seqlang/test_check*.py", "seqlang/test_parts_that_spin.py"),
    *("references/test_continuous_servo.py", "references/test_drum_and_rack.py"),
    *("references/test_linear_servo.py", "references/test_gripping.py"),
    *("references/test_pinch_limits.py", "references/test_sheet_ratings.py"),
)
PHYSICS = (
    *("sim/{room}", "sim/test_c*.py", "sim/test_physics_load.py", "sim/test_physics_page.py"),
    *("references/test_b*.py", "references/test_ch*.py", "references/test_[dg]r*.py"),
    *("references/test_fu*.py", "references/test_l*.py", "references/test_[hpuw]*.py"),
    *("references/test_resi*.py", "references/test_s*.py", "sim/test_sliding*.py"),
    *("references/test_continuous_servo.py", "references/test_following_through_gears.py"),
    "sim/test_wide_travel.py",
    *("seqlang/checks/motion", "seqlang/checks/calibration", "seqlang/checks/supply"),
    "seqlang/test_check_figures.py",
)
# not the long searches at random: the quickest tests of a change run first, they would never
STRAIN = (
    *("sim/{room}", "sim/test_physics_[e-l]*[!m].py", "sim/test_physics_[mrsu]*[!s].py"),
    *("sim/test_physics_margins.py", "sim/test_coupling.py", "references/test_heat_rms.py"),
    *("references/test_response_integrator.py", "references/test_gripping.py"),
    *("references/test_shortest_ruckig.py", "references/test_linear_servo.py"),
    *("references/test_continuous_servo.py", "references/test_following_through_gears.py"),
    *("references/test_drum_and_rack.py", "sim/test_sliding*.py", "sim/test_reachable_states.py"),
    *("seqlang/checks/motion", "seqlang/checks/supply", "seqlang/checks/light"),
    *("seqlang/test_strips_that_show_a_level.py", "sim/test_physics_patterns.py"),
    *("sim/test_physics_drawn_light_random.py", "seqlang/test_choices.py"),
)
REHEARSAL = (
    *("sim/{room}", "sim/test_rehears*.py", "sim/test_sampling.py", "sim/test_motion.py"),
    *("sim/test_run_through.py", "sim/test_takeover.py", "sim/test_overlaps*.py"),
    *("firmware_gen/test_player_[brv]*.py", "seqlang/test_letting_go.py"),
    *("properties/test_player_motion.py", "properties/test_player_rehearsal.py"),
)
SCORE = (
    *("sim/{room}", "sim/test_laws.py", "sim/test_score.py", "sim/test_threads.py"),
    *("sim/test_overlaps*.py", "sim/test_fitting.py", "seqlang/test_choices.py"),
    *("references/test_motion_laws.py", "references/test_double_s_ruckig.py"),
    "firmware_gen/test_fixed.py",
)
LIGHT = (
    *("sim/{room}", "sim/test_effects.py", "sim/test_strip_light.py"),
    *("sim/test_physics_patterns.py", "references/test_light*.py", "references/test_flash*.py"),
    "seqlang/checks/light",
)
PLAYER = (
    *("firmware_gen/test_player*.py", "firmware_gen/test_fixed.py"),
    *("firmware_gen/test_core_player.py", "firmware_gen/test_table_page.py"),
    *("properties/test_player*.py", "properties/test_tracking.py", "sim/test_rehears*.py"),
    *("firmware_gen/test_channels.py", "firmware_gen/test_presses.py"),
    *("firmware_gen/test_se[ns]*s.py", "firmware_gen/test_shine.py", "firmware_gen/test_watch*.py"),
    *("firmware_gen/test_board.py", "firmware_gen/test_live_parts.py"),
    "firmware_gen/test_hub_state_by_hand.py",
)
# not the sanitizers' run: it reserves more memory than a trial may have
CORE = (
    *("firmware_gen/test_core_[!s]*.py", "firmware_gen/test_core_slots.py"),
    "firmware_gen/test_second_check.py",
    "properties/test_core_random.py",
)

# boards that lead and follow: the reference and the core, each held against the other
WIRED = ("firmware_gen/test_following.py",)
LINKED = (
    *("firmware_gen/test_board_core.py", "firmware_gen/test_second_board.py"),
    *("firmware_gen/test_core_[lns]*[!d].py", *WIRED),
)
CHECKED = (
    *("firmware_gen/test_second_check.py", "firmware_gen/test_core_check_effort.py"),
    *("firmware_gen/test_core_player.py", "firmware_gen/test_bars.py"),
)
SENSED = ("firmware_gen/test_sensors.py", "firmware_gen/test_source_request.py")
# the core's parts for what a larger chip senses, each held against the reference and by hand
SENSES = (
    ("check", ("firmware_gen/test_live_records.py", "firmware_gen/test_records_*.py", *CHECKED)),
    *(("bar", ("firmware_gen/test_bars.py",)), ("watch", ("firmware_gen/test_watch*.py",))),
    *(("shine", ("firmware_gen/test_shine.py", "firmware_gen/test_live_parts.py")),),
    ("channels", ("firmware_gen/test_channels.py", "firmware_gen/test_presses.py")),
    *(("sensors", SENSED), ("sources", (*SENSED, "firmware_gen/test_live_parts.py"))),
    ("presses", ("firmware_gen/test_presses.py", "firmware_gen/test_senses_vectors.py")),
    ("tracking", ("firmware_gen/test_live_parts.py", "properties/test_tracking.py")),
    ("relay", ("firmware_gen/test_core_relay.py", "firmware_gen/test_core_[jl]*e*.py")),
)
PICTURES = (
    *("sim/pictures", "sim/test_motion_picture.py", "sim/test_pin_drawing.py"),
    "sim/test_plots.py",
    *("seqlang/test_preview_picture.py", "seqlang/test_command_plot.py"),
    *("seqlang/test_parts_that_spin.py", "seqlang/test_mounted_parts.py"),
)

NEAREST: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("sim/pictures/*", PICTURES),
    ("sim/rig/*", PHYSICS),
    ("sim/strain/*", STRAIN),
    ("sim/score/*", (*SCORE, *REHEARSAL)),
    ("sim/light/*", (*LIGHT, "sim/test_physics_eye.py")),
    *((f"sim/rehearsal/{name}.py", (*WIRED, *REHEARSAL)) for name in ("following", "leading")),
    ("sim/rehearsal/*", (*REHEARSAL, "sim/test_score.py", "sim/test_strip_light.py")),
    ("sim/*", ("sim", "references")),
    ("seqlang/checks/motion/*", MOTION),
    *(
        (f"seqlang/checks/{room}/*", ("seqlang/checks/{room}", "seqlang/test_check*.py", *said))
        for room, said in SAID.items()
    ),
    ("seqlang/checks/*/*", ("seqlang/checks/{room}", "seqlang/test_check*.py")),
    ("seqlang/checks/*", CHECKS),
    ("seqlang/text/*", ("seqlang", "properties/test_show_text_round_trip.py")),
    ("seqlang/*", ("seqlang",)),
    *((f"firmware_gen/core/bc_{name}.c", tests) for name, tests in SENSES),
    *((f"firmware_gen/core/bc_{name}.c", WIRED) for name in ("follow", "lead")),
    *((f"firmware_gen/core/bc_{name}.c", LINKED) for name in ("frames", "link", "store")),
    ("firmware_gen/core/*.c", (*CORE, *WIRED)),
    ("firmware_gen/player/[hi]*.py", (*WIRED, *PLAYER)),
    ("firmware_gen/player/*", (*PLAYER, *WIRED)),
    ("firmware_gen/*", ("firmware_gen", "properties/test_table_random.py")),
)


def nearest(module: str) -> tuple[str, ...]:
    """The files of the tests nearest to a module, both as paths from the project's root."""
    patterns = next((tests for pattern, tests in NEAREST if fnmatch(module, pattern)), ())
    found: set[Path] = set()
    for pattern in patterns:
        for path in (ROOT / "tests").glob(pattern.format(room=Path(module).parent.name)):
            found |= set(path.rglob("test_*.py")) if path.is_dir() else {path}
    importing = _importing(module.removesuffix(".py").replace("/", "."))
    if importing.isdisjoint(found):
        found |= importing
    return tuple(sorted(str(path.relative_to(ROOT)) for path in found))


def _importing(name: str) -> frozenset[Path]:
    """The files of tests that import a module themselves."""
    return frozenset(path for path, names in _imports().items() if name in names)


@cache
def _imports() -> dict[Path, frozenset[str]]:
    """What each file of tests imports: modules, and whatever else it takes out of them."""
    found: dict[Path, frozenset[str]] = {}
    for path in (ROOT / "tests").rglob("test_*.py"):
        names: set[str] = set()
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                names |= {one.name for one in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                names |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
        found[path] = frozenset(names)
    return found
