"""verify/diagnose/change.py: the Nile's break, and a published median slope."""

import numpy as np
import pytest
from published_series import NILE, SEN_TIMES, SEN_VALUES
from scipy import stats

from verify.diagnose.change import (
    MOST_POINTS,
    largest_sum,
    median_slope,
    rank_change,
    two_levels,
)


def test_two_levels_of_the_nile() -> None:
    """Check-values 8.5 (Cobb 1978, near 1898): after 28; means and sums of squares as computed."""
    found = two_levels(NILE)
    assert found.after == 28
    assert 1871 + found.after - 1 == 1898
    assert found.before_mean == pytest.approx(1097.75, abs=5e-3)
    assert found.after_mean == pytest.approx(849.9722, abs=5e-5)
    assert found.one_level == pytest.approx(2_835_156.75, abs=5e-3)
    assert found.two_levels == pytest.approx(1_597_457.19, abs=5e-3)


def test_largest_sum_of_the_nile() -> None:
    """Check-values 8.5: 4995.2 at 28."""
    found = largest_sum(NILE)
    assert found.after == 28
    assert found.size == pytest.approx(4995.2, abs=0.05)


def test_ranks_of_the_nile() -> None:
    """Check-values 8.5: Pettitt's U is 1617, its chance about 3.6e-7."""
    found = rank_change(NILE)
    assert (found.after, found.size) == (28, 1617)
    assert found.chance == pytest.approx(3.6e-7, abs=0.05e-7)


def test_squares_and_ranks_against_every_split() -> None:
    values = np.random.default_rng(2).normal(0, 1, 25)
    values[18:] += 2
    squares = [
        np.square(values[:k] - values[:k].mean()).sum()
        + np.square(values[k:] - values[k:].mean()).sum()
        for k in range(1, 25)
    ]
    assert two_levels(values).after == int(np.argmin(squares)) + 1
    assert two_levels(values).two_levels == pytest.approx(min(squares))
    signs = np.sign(values[None, :] - values[:, None])
    sums = [abs(signs[:k, k:].sum()) for k in range(1, 25)]
    assert rank_change(values).size == pytest.approx(max(sums))


def test_a_change_by_ranks_is_not_drawn_by_single_values() -> None:
    values = np.random.default_rng(5).normal(0, 0.03, 60)
    values[[58, 59]] -= 5
    assert two_levels(values).after == 58
    chance = rank_change(values).chance
    assert chance is not None
    assert chance > 0.2


def test_chance_of_a_change_in_a_steady_series() -> None:
    """Pettitt's chance is an upper bound for a short series: fewer than 1 % have less than 0.01."""
    rng = np.random.default_rng(8)
    chances = [rank_change(rng.normal(0, 1, 50)).chance or 0.0 for _ in range(600)]
    assert np.mean(np.array(chances) < 0.01) < 0.012


def test_two_values() -> None:
    values = np.array([1.0, 2.0])
    assert two_levels(values).after == 1
    assert largest_sum(values).size == pytest.approx(0.5)
    assert rank_change(values).after == 1
    assert two_levels(np.ones(5)).two_levels == 0


def test_a_published_median_slope() -> None:
    """Sen (1968), check-values 8.5: slope 4, interval of 93 % from 26/7 to 35/8."""
    found = median_slope(SEN_TIMES, SEN_VALUES, 0.93)
    assert found.slope == 4
    assert found.intercept == 4
    assert found.low == pytest.approx(26 / 7)
    assert found.high == pytest.approx(35 / 8)


def test_a_published_median_of_slopes() -> None:
    """Check-values 8.5 (statisticshowto.com): ten slopes, median 756.5."""
    assert np.median([-340, 130, 496, 561, 713, 800, 851, 952, 1184, 1327]) == 756.5
    pairs = [
        (b - a) / (t - s)
        for k, (s, a) in enumerate(zip(SEN_TIMES, SEN_VALUES, strict=True))
        for t, b in zip(SEN_TIMES[k + 1 :], SEN_VALUES[k + 1 :], strict=True)
    ]
    assert (len(pairs), min(pairs), max(pairs)) == (21, 1, 6)
    assert median_slope(SEN_TIMES, SEN_VALUES).slope == np.median(pairs)


def test_a_slope_of_many_values() -> None:
    """Taken together by medians: as good a slope, and no array of all pairs."""
    rng = np.random.default_rng(6)
    times = np.arange(10_007.0)
    values = 3 + 1e-5 * times + rng.normal(0, 0.03, len(times))
    values[::7] -= 1
    found = median_slope(times, values)
    assert found.low < 1e-5 < found.high
    assert found.high - found.low < 1e-6
    few = slice(0, MOST_POINTS)
    assert median_slope(times[few], values[few]).slope == pytest.approx(
        stats.theilslopes(values[few], times[few])[0]
    )
