"""verify/times.py: short times as photographers read them."""

import pytest

from verify.times import duration_text, fraction_text, in_unit, unit_of


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.0, "0 µs"), (3e-6, "3.00 µs"), (452.4e-6, "452 µs"), (0.9996e-3, "1.00 ms"),
     (1.25e-3, "1.25 ms"), (13.29e-3, "13.3 ms"), (0.25, "250 ms")],
)  # fmt: skip
def test_three_digits_in_the_unit_that_fits(seconds: float, text: str) -> None:
    assert duration_text(seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(1 / 800, "1/800 s"), (1 / 803.4, "1/803 s"), (1 / 29674, "1/29700 s"),
     (1 / 75.26, "1/75.3 s"), (0.5, "0.5 s"), (0, "0 s")],
)  # fmt: skip
def test_fractions_of_a_second(seconds: float, text: str) -> None:
    assert fraction_text(seconds) == text


def test_a_limit_is_never_rounded_to_a_longer_time() -> None:
    assert fraction_text(1 / 803.4, shorter=True) == "1/804 s"
    assert fraction_text(1 / 12_010, shorter=True) == "1/12100 s"


def test_an_uncertainty_in_the_unit_of_what_it_is_about() -> None:
    unit = unit_of(4.01e-3)
    assert in_unit(60e-6, unit) == "0.06"
    assert unit.name == "ms"
