"""A strip in a new show gets a converter where the servos' feed is too high for its pixels."""

from __future__ import annotations

import pytest

from seqlang.first_questions import servo_v
from seqlang.first_show import _light


@pytest.mark.parametrize(("rated", "said"), [("6.0 V", True), ("5.4 V", True), ("5.3 V", False)])
def test_a_strip_beside_servos_of_more_than_5_3_v_is_given_5_v(rated: str, said: bool) -> None:
    answers = {
        "light": "strip",
        "light-pin": "PD7",
        "pixels": "12",
        "rating": f"0.17 s/60deg, 9.4 kgf.cm, 2.1 A at {rated}",
    }
    assert servo_v(answers) == pytest.approx(float(rated.split()[0]))
    assert ("feed 5 V" in _light(answers, "glow")) is said
