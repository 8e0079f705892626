"""verify/pops/missed.py: the published table of pops, and up to which count a missed one shows."""

import math

import numpy as np
import pytest

from verify.exposure import add_f_numbers, exact_f_number, pops_stops
from verify.pops.missed import MOST_COUNTED, missed_stops, most_by_tolerance, most_tellable


@pytest.mark.parametrize(
    ("count", "more", "one_missed", "one_extra"),
    [
        (1, 0.0, None, 1.0),
        (2, 1.0, -1.0, 0.585),
        (3, 1.585, -0.585, 0.415),
        (4, 2.0, -0.415, 0.322),
        (5, 2.322, -0.322, None),
        (6, 2.585, -0.263, 0.222),
        (8, 3.0, -0.193, 0.170),
        (10, 3.322, -0.152, None),
        (12, 3.585, -0.1255, 0.1155),
        (16, 4.0, -0.0931, 0.0875),
        (20, 4.322, -0.074, None),
        (24, 4.585, None, None),
        (32, 5.0, -0.0458, None),
        (64, 6.0, None, None),
    ],
)
def test_published_table(
    count: int, more: float, one_missed: float | None, one_extra: float | None
) -> None:
    """Check-values 6.3: n pops, one missed, one extra."""
    assert pops_stops(count) == pytest.approx(more, abs=5.1e-4)
    assert -missed_stops(count, count - 1) == pytest.approx(more, abs=5.1e-4)
    if one_missed is not None:
        assert missed_stops(count) == pytest.approx(one_missed, abs=5.1e-4)
    if one_extra is not None:
        assert missed_stops(count, -1) == pytest.approx(one_extra, abs=5.1e-4)


def test_all_pops_missed() -> None:
    assert missed_stops(1) == -math.inf
    assert missed_stops(4, 4) == -math.inf


@pytest.mark.parametrize(("tolerance", "most"), [(1 / 6, 9), (0.1, 14), (0.05, 29)])
def test_largest_count_by_tolerance(tolerance: float, most: int) -> None:
    """Check-values 6.3: beyond it a level check alone cannot prove the count."""
    assert most_by_tolerance(tolerance) == most
    assert -missed_stops(most) > tolerance > -missed_stops(most + 1)


def test_equal_lights_add_in_squares() -> None:
    """Check-values 6.3: two of f/5.6 are f/8, four f/11; n pops multiply the f-number by sqrt n."""
    one = exact_f_number(5.6)
    assert add_f_numbers(one, one) == pytest.approx(exact_f_number(8))
    assert add_f_numbers(*[one] * 4) == pytest.approx(exact_f_number(11))


def test_largest_count_by_scatter() -> None:
    """Half of a pop is 1.96 deviations there, by simulation: right in 95 %."""
    assert most_tellable(0.0) == MOST_COUNTED
    assert most_tellable(1.0) == 0
    most = most_tellable(0.02)
    seen = np.exp2(np.random.default_rng(1).normal(0, 0.02, 20_000)) * most
    assert np.mean(np.round(seen) == most) == pytest.approx(0.95, abs=0.015)
