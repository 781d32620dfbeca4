"""`bellcrank size`: what to buy, as the ratings a shop prints."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import click

from seqlang.command import ShowFailed
from seqlang.command._form import format_option
from seqlang.command._progress import working
from seqlang.text.render import broken, columns_of, summary, text, wants_colour
from seqlang.use_in_words import use_in_words
from sim.rulebook import EMPTY_FRAMES, FRAME_S, LOW_FRAMES

if TYPE_CHECKING:
    from sim.model import Show
    from sim.strain.light_sizes import LampSize, StripSize
    from sim.strain.servo_sizes import ServoSize, Straight
    from sim.strain.sizing import Sizes
    from sim.strain.supply_sizes import FeedSize, SupplySize
    from sim.strain.watch_sizes import WatchSize


@click.command(name="size")
@click.argument("file", type=click.Path(dir_okay=False))
@format_option
def command(file: str, form: str) -> None:
    """Say which servos, battery, fuse and wires a show needs.

    The show must be readable. It need not pass its check, so a servo in it may be too weak.

    Example: bellcrank size first.cues
    """
    from seqlang.loading import load

    loaded = load(file)
    if loaded.show is None or any(f.severity == "error" for f in loaded.findings):
        colour = wants_colour(sys.stderr)
        shown = text(loaded.findings, loaded.sources, colour=colour, columns=columns_of(sys.stderr))
        click.echo(shown, err=True, color=colour)
        raise ShowFailed(f"{file}: {summary(loaded.findings)}")
    from sim.score.threads import ThreadError
    from sim.strain.sizing import size

    try:
        with working("sizing"):
            sizes = size(loaded.show)
    except ThreadError as error:
        raise ShowFailed(f"{file}: {error}; `bellcrank check {file}` shows where") from error
    if form == "json":
        click.echo(as_json(sizes))
        return
    columns = columns_of(sys.stdout)
    for line in as_text(sizes, loaded.show).split("\n"):
        click.echo(broken(line, columns, _WORDS_AT if line.startswith(" ") else 2))


_WORDS_AT = 15
"""Column at which the words of a row start."""


def as_json(sizes: Sizes) -> str:
    """All figures in the units their names tell; infinite and unknown ones are null."""
    from dataclasses import asdict
    from math import isfinite

    def known(value: object) -> object:
        if isinstance(value, dict):
            return {key: known(inner) for key, inner in value.items()}
        if isinstance(value, list | tuple):
            return [known(inner) for inner in value]
        return None if isinstance(value, float) and not isfinite(value) else value

    return json.dumps(known(asdict(sizes)), indent=2, ensure_ascii=False)


def as_text(sizes: Sizes, show: Show) -> str:
    """The report on a show for a person: servos, supplies, lamps, what the figures rest on."""
    lines = [*_servos(sizes), *_supplies(sizes), *_lamps(sizes.lamps)]
    lines += [*_strips(sizes.strips), *_watches(sizes.watches), *_basis(sizes, show)]
    return "\n".join(lines)


def table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> Iterator[str]:
    """Columns as wide as their widest entry; first and last stand left, the others right."""
    cells = [head, *rows]
    widths = [max(len(row[i]) for row in cells) for i in range(len(head))]
    for row in cells:
        aligned = [row[0].ljust(widths[0])]
        aligned += [cell.rjust(w) for cell, w in zip(row[1:-1], widths[1:-1], strict=True)]
        yield "  " + "  ".join([*aligned, row[-1]]).rstrip()


def _servos(sizes: Sizes) -> Iterator[str]:
    if not sizes.servos:
        return
    yield "servos: buy at least"
    strength = _of_all(sizes.servos, "torque", "force")
    head = ("", strength, "speed", "at", "set by", "")
    yield from table(head, [row for one in sizes.servos for row in (_servo(one), _present(one))])
    yield from _made_up(sizes.servos)
    yield ""
    yield "what the show asks of them, without margin"
    asked = ("", "holds", "at", f"peak {strength}", "peak speed", "rms over 10 min")
    yield from table(asked, [_asked(one) for one in sizes.servos])
    yield ""


def _of_all(servos: Iterable[ServoSize], turning: str, straight: str) -> str:
    """What stands over a column of servos that turn, of rods, or of both."""
    kinds = {turning if one.straight is None else straight for one in servos}
    return " or ".join(kind for kind in (turning, straight) if kind in kinds)


def _servo(one: ServoSize) -> tuple[str, ...]:
    if one.straight is not None:
        return _straight(one, one.straight)
    slowest = one.seconds_per_60deg
    return (
        one.servo,
        "no servo" if one.torque_kgf_cm is None else f"{one.torque_kgf_cm:.1f} kgf.cm",
        "any" if slowest is None else _sold(one, slowest),
        f"{one.voltage_v:.1f} V",
        "its drive locks" if one.torque_kgf_cm is None else one.set_by,
        _verdict(one),
    )


def _present(one: ServoSize) -> tuple[str, ...]:
    """The ratings of the servo that is there, below those to buy: side by side they are too wide
    for a terminal, and the verdict would stand on a line of its own.
    """
    rod = one.straight
    strength = f"{one.has_kgf_cm:.1f} kgf.cm" if rod is None else f"{rod.has_n:.0f} N"
    speed = _sold(one, one.has_seconds_per_60deg) if rod is None else f"{rod.has_mm_s:.0f} mm/s"
    return ("  now", strength, speed, "", "", "")


def _verdict(one: ServoSize) -> str:
    return "enough" if one.enough else "too weak"


def _sold(one: ServoSize, seconds_per_60deg: float) -> str:
    """A servo's speed as it is sold: seconds for 60 deg, or turns a minute."""
    if one.place_unit == "rpm":
        return f"{10.0 / seconds_per_60deg:.0f} rpm"
    return f"{seconds_per_60deg:.2f} s/60deg"


def _straight(one: ServoSize, rod: Straight) -> tuple[str, ...]:
    return (
        one.servo,
        "no servo" if rod.force_n is None else f"{rod.force_n:.0f} N",
        f"{rod.speed_mm_s:.0f} mm/s",
        f"{one.voltage_v:.1f} V",
        "its drive locks" if rod.force_n is None else one.set_by,
        _verdict(one),
    )


def _made_up(servos: Iterable[ServoSize]) -> Iterator[str]:
    """Why a present servo does although one of its ratings falls short of the one to buy."""
    for one in servos:
        slow = one.seconds_per_60deg is not None and (
            one.has_seconds_per_60deg > one.seconds_per_60deg
        )
        effort = "torque" if one.straight is None else "force"
        if one.enough and slow:
            yield f"  {one.servo}: its speed is lower than that, but its {effort} makes up for it"
        elif one.enough and one.torque_kgf_cm is not None and one.has_kgf_cm < one.torque_kgf_cm:
            yield f"  {one.servo}: its {effort} is lower than that, but its speed makes up for it"


def _asked(one: ServoSize) -> tuple[str, ...]:
    if one.straight is not None:
        rod = one.straight
        return (
            one.servo,
            f"{rod.hold_n:.1f} N",
            f"{one.hold_deg:.0f} {one.place_unit}",
            f"{rod.peak_n:.1f} N",
            f"{one.peak_deg_s:.0f} mm/s",
            f"{rod.rms_n:.1f} N",
        )
    return (
        one.servo,
        f"{one.hold_kgf_cm:.2f} kgf.cm",
        f"{one.hold_deg:.0f} {one.place_unit}",
        f"{one.peak_kgf_cm:.2f} kgf.cm",
        f"{one.peak_deg_s / 6.0:.0f} rpm"
        if one.place_unit == "rpm"
        else f"{one.peak_deg_s:.0f} deg/s",
        f"{one.rms_kgf_cm:.2f} kgf.cm",
    )


REVERSAL = "while a servo at full speed turns back; a capacitor at its board can give it"


def _supplies(sizes: Sizes) -> Iterator[str]:
    for one in sizes.supplies:
        yield f"supply {one.supply}"
        yield _row("current", _currents(one.peak_a, one.mean_a, one.rms_a))
        if one.reversal_a > one.peak_a:
            yield _row("for a moment", f"{one.reversal_a:.2f} A, {REVERSAL}")
        if one.regulator_a is not None:
            before = _currents(one.source_peak_a, one.source_mean_a, one.source_rms_a)
            yield _row("regulator", f"at least {one.regulator_a:.2f} A")
            yield _row("at source", before)
        yield from _battery(one)
        yield _row("fuse", _fuse(one))
        yield _row("", one.fuse.reason)
        for feed in one.feeds:
            yield from _feed(feed)
        for caution in one.cautions:
            yield _row("caution", caution)
        yield ""


def _watches(watches: Iterable[WatchSize]) -> Iterator[str]:
    """What each board needs that watches its battery."""
    for one in watches:
        yield f"watch of the battery at board {one.board}"
        if one.upper_ohm is None or one.lower_ohm is None or one.at_pin_v is None:
            yield _row("divider", "none: the chip runs from the battery itself")
        else:
            yield _row("divider", f"{_ohms(one.upper_ohm)} over {_ohms(one.lower_ohm)} (E24, 1 %)")
            yield _row(
                "",
                f"{one.at_pin_v:.2f} V at the pin when full, {one.chip_v:.1f} V at most; the pin "
                f"looks into {_ohms(one.source_ohm or 0.0)}, 10 kohm at most",
            )
            if one.has_upper_ohm is not None and one.has_lower_ohm is not None:
                has = f"{_ohms(one.has_upper_ohm)} over {_ohms(one.has_lower_ohm)}"
                yield _row("now", has)
            yield _row("drains", f"{1000.0 * one.drain_a:.2f} mA all the time")
        yield _row("warns", f"below {one.warns_v:.2f} V for {LOW_FRAMES * FRAME_S:g} s")
        worst = f"a cell then has {one.lowest_v:.2f} V at worst"
        yield _row("stops", f"below {one.stops_v:.2f} V for {EMPTY_FRAMES * FRAME_S:g} s; {worst}")
        yield _row("caution", "it replaces no protection circuit of the pack")
        yield ""


def _ohms(ohm: float) -> str:
    return f"{ohm / 1000:.3g} kohm"


def _row(name: str, words: str) -> str:
    return f"  {name:<{_WORDS_AT - 3}} {words}"


def _currents(peak_a: float, mean_a: float, rms_a: float) -> str:
    return f"peak {peak_a:.2f} A, mean {mean_a:.2f} A, rms {rms_a:.2f} A"


def _battery(one: SupplySize) -> Iterator[str]:
    if one.has_ah is None or one.run_time_h is None:
        return
    lasts = _hours(one.run_time_h)
    yield _row("battery", f"{one.has_ah * 1000:.0f} mAh lasts {lasts} in this use")
    if one.capacity_ah is not None and one.wanted_h is not None:
        wanted = _hours(one.wanted_h)
        yield _row("", f"{wanted} takes at least {one.capacity_ah * 1000:.0f} mAh")


def _hours(hours: float) -> str:
    if hours >= 100.0:
        return "over 100 h"
    minutes = int(hours * 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def _fuse(one: SupplySize) -> str:
    present = "" if one.has_fuse_a is None else f", now {one.has_fuse_a:g} A"
    rating = one.fuse.rating_a
    return f"{'none fits' if rating is None else f'{rating:g} A'}{present}"


def _feed(feed: FeedSize) -> Iterator[str]:
    yield _row(
        feed.board,
        f"never under {feed.lowest_v:.2f} V; peak {feed.peak_a:.2f} A, rms {feed.rms_a:.2f} A",
    )
    if feed.gauge_awg is not None:
        from sim.rig.wire import section_for

        needed, has = f"{feed.gauge_awg} AWG", f"{feed.has_gauge_awg} AWG"
        if feed.has_section_mm2 is not None:
            section = section_for(feed.gauge_awg)
            needed = needed if section is None else f"{section:g} mm2"
            has = f"{feed.has_section_mm2:g} mm2"
        yield _row("", f"{needed} or thicker, now {has}")
    yield _row("", feed.reason)


def _lamps(lamps: tuple[LampSize, ...]) -> Iterator[str]:
    if not lamps:
        return
    yield "lamps: a resistor in series with each LED"
    rows = []
    for one in lamps:
        series = one.resistor
        if series is None:
            rows.append((one.lamp, "none", "", "", f"{one.voltage_v:.1f} V is too low for it"))
            continue
        rating = "over 5 W" if series.rating_w is None else f"{series.rating_w:g} W"
        driver = "from the feed through a transistor"
        driver = driver if one.needs_driver else "straight from the pin"
        rows.append(
            (
                one.lamp,
                f"{series.preferred_ohm:g} ohm, {rating}",
                f"{1000 * series.current_a:.1f} mA",
                f"{1000 * series.power_w:.0f} mW",
                f"{one.leds} from {one.voltage_v:.1f} V: {1000 * one.total_a:.0f} mA, {driver}",
            )
        )
    yield from table(("", "resistor", "each", "heat", "lamp"), rows)
    yield ""


def _strips(strips: tuple[StripSize, ...]) -> Iterator[str]:
    if not strips:
        return
    yield "strips"
    rows = [
        (
            one.strip,
            f"{one.pixels}",
            f"{one.show_a:.2f} A",
            f"{one.white_a:.2f} A",
            "none" if one.cap_a is None else f"{one.cap_a:g} A",
            _beside(one),
        )
        for one in strips
    ]
    yield from table(("", "pixels", "in this show", "all white", "cap", ""), rows)
    yield ""


def _beside(one: StripSize) -> str:
    """What a strip needs beside its feed."""
    said = []
    if one.needs_converter:
        said.append(f"5 V pixels: a converter of their own, the feed has {one.voltage_v:.1f} V")
    if one.needs_shifter:
        said.append("a level shifter in the data line")
    return "; ".join(said)


def _basis(sizes: Sizes, show: Show) -> Iterator[str]:
    kept = 100.0 * sizes.margin
    yield f"the figures keep {kept:.0f} % of torque and speed as margin, in every declared posture"
    yield f"run time, mean and rms are for this use: {use_in_words(show, sizes.mix)}"
    yield (
        "heat, batteries and fuses follow common practice; for lithium packs, fuses and wiring the "
        "maker's instructions, local codes and licensed practice decide"
    )
