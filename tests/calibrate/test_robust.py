"""verify/calibrate/robust.py: slopes, bounded means and intervals against references."""

import math

import numpy as np
import pytest
from calibration_sets import bounded_mean
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, optimize, stats

from verify.calibrate.robust import (
    BOUND,
    COST,
    bounded_fit,
    half_width,
    median_slope,
)

# check-values 8.5: the example of Sen (1968), with its 93 % interval.
SEN_T = np.array([1.0, 2, 3, 4, 10, 12, 18])
SEN_Y = np.array([9.0, 15, 19, 20, 45, 55, 78])
# Copper in wholemeal flour [ug/g], the `chem` data of R's MASS package (Analytical Methods
# Committee 1989, The Analyst 114: 1693-1702); from memory, as are its results.
FLOUR = [
    2.9, 3.1, 3.4, 3.4, 3.7, 3.7, 2.8, 2.5, 2.4, 2.4, 2.7, 2.2,
    5.28, 3.37, 3.03, 3.03, 28.95, 3.77, 3.4, 2.2, 3.5, 3.6, 3.7, 3.7,
]  # fmt: skip
# Sums of at most 24 numbers of size 10 are as exact as this.
ROUNDING = 1e-9


def pull(values: NDArray[np.float64], at: float, scale: float) -> float:
    """What values pull in sum at a place, none harder than the bound."""
    return float(np.clip((values - at) / scale, -BOUND, BOUND).sum())


def test_slope_of_the_published_example() -> None:
    assert median_slope(SEN_T, SEN_Y, 0.93) == pytest.approx((4, 26 / 7, 35 / 8), rel=1e-12)


@pytest.mark.parametrize("seed", range(40))
def test_slope_agrees_with_scipy_ties_or_not(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(3, 25))
    x = rng.normal(size=count) if seed % 2 else rng.integers(0, 4, count).astype(float)
    y = 0.9 * x + (rng.normal(0, 0.1, count) if seed % 4 < 2 else rng.integers(0, 3, count))
    x[0], x[1] = -1, 5  # never all at one place
    found = stats.theilslopes(y, x, 0.95)
    assert median_slope(x, y) == pytest.approx(
        (found.slope, found.low_slope, found.high_slope), rel=1e-9
    )


def test_slope_of_two_points_is_their_own() -> None:
    assert median_slope(np.array([1.0, 3.0]), np.array([0.0, 1.0])) == (0.5, 0.5, 0.5)


def test_a_third_of_gross_errors_less_one_leaves_the_slope() -> None:
    # check-values 8.5: the breakdown point is 29 %.
    x = np.arange(12.0)
    y = x.copy()
    y[[2, 6, 11]] += (50, -80, 200)
    assert median_slope(x, y)[0] == pytest.approx(1, abs=0.3)
    assert np.polyfit(x, y, 1)[0] > 3  # what is not robust goes along


@given(st.lists(st.floats(-10, 10), min_size=1, max_size=24), st.floats(0.01, 5))
def test_bounded_mean_is_where_what_pulls_is_balanced(values: list[float], scale: float) -> None:
    data = np.array(values)
    found = bounded_mean(values, scale)
    near = 1e-6 + 1e-5 * scale
    assert pull(data, found - near, scale) >= -ROUNDING
    assert pull(data, found + near, scale) <= ROUNDING


def test_bounded_mean_of_the_published_flour() -> None:
    # R: MASS::huber(chem) gives mu 3.206724 with k = 1.5 and s = 0.526323 (from memory).
    assert bounded_mean(FLOUR, 0.526323 * 1.5 / BOUND) == pytest.approx(3.206724, abs=2e-6)


def test_within_the_bound_it_is_the_mean() -> None:
    assert bounded_mean([0.1, 0.2, 0.6], 1.0) == pytest.approx(0.3, abs=1e-12)


def test_at_a_small_scale_it_is_the_median() -> None:
    assert bounded_mean([0.1, 0.25, 0.9, 5.0, -3.0], 1e-5) == pytest.approx(0.25, abs=1e-4)


def test_how_gross_an_error_is_makes_no_difference() -> None:
    sound = [0.02, -0.04, 0.05, -0.01, 0.0]
    found = [bounded_mean([*sound, gross], 0.05) for gross in (1.0, 50.0, 1e6)]
    assert found == pytest.approx([found[0]] * 3, abs=1e-6)
    # It pulls as one at the bound does; the five sound ones are all within theirs.
    assert found[0] == pytest.approx((sum(sound) + BOUND * 0.05) / 5, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_a_fit_with_a_group_is_the_least_of_the_bounded_loss(seed: int) -> None:
    rng = np.random.default_rng(seed)
    terms = np.column_stack([np.ones(12), np.arange(12) >= 8]).astype(float)
    values = terms @ [0.2, -0.3] + rng.normal(0, 0.05, 12)
    values[[1, 9]] += 0.4

    def loss(found: NDArray[np.float64]) -> float:
        off = np.abs(values - terms @ found)
        near = off <= BOUND * 0.05
        return float(np.where(near, off**2 / 2, BOUND * 0.05 * (off - BOUND * 0.025)).sum())

    best = optimize.minimize(loss, [0.0, 0.0], method="Nelder-Mead", tol=1e-12).x
    assert bounded_fit(terms, values, 0.05) == pytest.approx(best, abs=1e-5)


def test_cost_is_the_variance_of_the_bounded_mean() -> None:
    # Huber (1964): E[psi^2] / E[psi']^2 under the normal density.
    squared = integrate.quad(lambda z: np.clip(z, -BOUND, BOUND) ** 2 * stats.norm.pdf(z), -9, 9)[0]
    inside = integrate.quad(stats.norm.pdf, -BOUND, BOUND)[0]
    assert pytest.approx(squared / inside**2, rel=1e-6) == COST
    assert 1.05 < COST < 1.15


@pytest.mark.parametrize("count", [2, 3, 8, 24])
@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_interval_of_scatter_alone_is_students(count: int, confidence: float) -> None:
    values = np.random.default_rng(count).normal(0, 0.05, count)
    u = float(values.std(ddof=1) / math.sqrt(count))
    low, high = stats.t.interval(confidence, count - 1, loc=0, scale=u)
    found = half_width(u, count - 1, 0.0, confidence)
    assert (-found, found) == pytest.approx((low, high), rel=1e-9)


def test_interval_of_what_is_known_before_is_the_normal_one() -> None:
    assert half_width(0.0, 3, 0.08) == pytest.approx(1.959964 * 0.08, rel=1e-6)
    assert half_width(0.08, math.inf, 0.0) == pytest.approx(1.959964 * 0.08, rel=1e-6)


def test_effective_degrees_by_the_formula() -> None:
    # JCGM 100:2008, G.2b with one term of few degrees: 5^4 / (3^4 / 4) = 30.864 degrees; t is
    # between its tabled values 2.042 for 30 and 2.021 for 40 (table G.2 there: 2.04, 2.02).
    found = half_width(0.03, 4, 0.04)
    assert found == pytest.approx(stats.t.ppf(0.975, 30.8642) * 0.05, rel=1e-6)
    assert 2.021 * 0.05 < found < 2.042 * 0.05


def test_nothing_unsure_has_no_width() -> None:
    assert half_width(0.0, 5, 0.0) == 0


@pytest.mark.parametrize("tiny", [1e-300, 1e-100, 1e-20])
def test_a_vanishing_scatter_is_none(tiny: float) -> None:
    assert half_width(tiny, 3, 0.08) == pytest.approx(half_width(0.0, 3, 0.08), rel=1e-12)


@pytest.mark.parametrize(("count", "common_u"), [(3, 0.0), (3, 0.03), (5, 0.08), (12, 0.02)])
def test_interval_holds_the_truth_as_often_as_it_says(count: int, common_u: float) -> None:
    rng = np.random.default_rng(85)
    draws = 1000
    values = rng.normal(0, 0.05, (draws, count))
    off = values.mean(1) + rng.normal(0, common_u, draws)
    widths = [half_width(float(u), count - 1, common_u)
              for u in values.std(axis=1, ddof=1) / math.sqrt(count)]  # fmt: skip
    held = int((np.abs(off) <= widths).sum())
    # Welch and Satterthwaite are good to about 1 % here, so from 94 to 97 % and chance on top.
    assert stats.binom.ppf(0.001, draws, 0.94) <= held <= stats.binom.ppf(0.999, draws, 0.97)
