"""Rates of serial ports against the tables of the data sheet.

"Examples of UBRRn Settings for Commonly Used Oscillator Frequencies" at 16 MHz, ATmega328P and
ATmega640 to 2561 (from memory): UBRR and the error in percent, at plain and at double speed.
"""

from __future__ import annotations

import pytest

from firmware_gen.chips import CHIPS, Chip
from firmware_gen.serial_rates import TOLERANCE, divisor, is_made, rates

PLAIN = {
    2_400: (416, -0.1),
    9_600: (103, 0.2),
    19_200: (51, 0.2),
    38_400: (25, 0.2),
    76_800: (12, 0.2),
    250_000: (3, 0.0),
    500_000: (1, 0.0),
    1_000_000: (0, 0.0),
}
DOUBLE = {57_600: (34, -0.8), 115_200: (16, 2.1), 230_400: (8, -3.5)}


@pytest.mark.parametrize(("baud", "sheet"), PLAIN.items())
def test_a_rate_is_made_as_the_data_sheet_says(baud: int, sheet: tuple[int, float]) -> None:
    found = divisor(16_000_000, baud)
    if not found.double:
        assert (found.ubrr, round(100 * found.error, 1)) == sheet
    else:  # twice the samples, so twice the divisor or one nearer
        assert abs(found.error) < abs(sheet[1]) / 100 + 0.0005


@pytest.mark.parametrize(("baud", "sheet"), DOUBLE.items())
def test_double_speed_comes_nearer_where_plain_speed_is_coarse(
    baud: int, sheet: tuple[int, float]
) -> None:
    found = divisor(16_000_000, baud)
    assert found.double
    assert (found.ubrr, round(100 * found.error, 1)) == sheet


def test_115200_is_beyond_what_the_receiver_stands_and_its_neighbours_are_not() -> None:
    assert divisor(16_000_000, 115_200).error > TOLERANCE
    assert not is_made(16_000_000, 115_200)
    assert is_made(16_000_000, 57_600)
    assert is_made(16_000_000, 76_800)


def test_a_crystal_for_serial_rates_makes_115200_and_not_250000() -> None:
    # The same tables at 14.7456 MHz: 115.2k has UBRR 7 and no error, 250k is off by 7.8 or 5.3 %.
    assert divisor(14_745_600, 115_200) == (7, False, 0.0)
    assert rates(14_745_600) == (19_200, 38_400, 57_600, 76_800, 115_200)


@pytest.mark.parametrize("chip", CHIPS.values(), ids=lambda chip: chip.name)
def test_the_rates_of_a_radio_leave_out_what_the_chip_does_not_make(chip: Chip) -> None:
    assert rates(chip.clock_hz) == (19_200, 38_400, 57_600, 76_800, 250_000)
