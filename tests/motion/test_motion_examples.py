"""Example speeds: marked as what they are, and judged as a subject of that speed is."""

import pytest
from courses import rectangle

from verify.motion.examples import COMMON_PRACTICE, EXAMPLES, examples_of
from verify.motion.kernel import spread_of
from verify.plan.motion import Sensor

SPREAD = spread_of(rectangle(0.001), 0.001)


def test_they_are_of_common_practice() -> None:
    assert [example.name for example in EXAMPLES] == ["hair", "jump", "pour", "splash"]
    assert {example.basis for example in EXAMPLES} == {COMMON_PRACTICE}
    assert all(0.5 <= example.speed_m_s <= 10 for example in EXAMPLES)


def test_each_under_a_flash() -> None:
    """80 % of speed x time x magnification (check-values 7.1) of a cut pulse."""
    found = examples_of(SPREAD, 0.02, Sensor(pitch_um=4.0), (1.5, 20.0))
    assert [one.example for one in found] == list(EXAMPLES)
    for one in found:
        width_px = 0.8 * one.example.speed_m_s * 0.001 * 0.02 * 1e6 / 4
        assert one.width_px == pytest.approx(width_px, rel=1e-6)
        assert one.verdict == ("slight" if width_px <= 20 else "smeared")
        assert one.longest_tenth_s == pytest.approx(0.001 * 1.5 / width_px, rel=1e-6)
    unknown = examples_of(SPREAD, 0.02, Sensor(), (1.5, 3.0))
    assert {(one.width_px, one.verdict, one.longest_tenth_s) for one in unknown} == {
        (None, None, None)
    }
