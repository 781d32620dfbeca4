"""What a trim takes off the currents that checks find, and where it does not count.

Fifty pixels of 20 mA a colour take 3 A at full white, and 50 mA in the dark (1 mA a pixel, common
practice, no source).
"""

from __future__ import annotations

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source

SHOW = """supply pack
    source adapter 5 V, {adapter}
board box: atmega328p, address 1
    feed pack
    logic direct
strip tube: box pin PB0
    pixels 50{line}
safe pose rest
    tube off
cue glow
    tube fade to white in 2 s
remote
    button 1: go glow
    stop button 2
"""


def found(adapter: str, line: str = "") -> set[str]:
    made = load_text(Source("test.cues", SHOW.format(adapter=adapter, line=line)))
    assert made.show is not None
    return {one.name for one in check(made).findings} & {"supply-overload", "strip-over-supply"}


def test_an_overload_is_told_by_trimmed_light_and_the_noise_of_a_line_by_all_of_it() -> None:
    both = {"supply-overload", "strip-over-supply"}
    assert found("2 A") == both
    assert found("2 A", "\n    trim 30 %") == {"strip-over-supply"}  # 0.9 A and what is idle
    assert found("900 mA", "\n    trim 30 %") == both
    assert found("2 A", "\n    balance 100 %, 30 %, 20 %") == {"strip-over-supply"}
    assert found("1 A", "\n    balance 100 %, 30 %, 20 %") == both


def test_an_adapter_for_full_white_hears_nothing() -> None:
    assert found("4 A") == found("4 A", "\n    trim 30 %") == set()
