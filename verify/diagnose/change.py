"""Where a series changes its level, and which way it goes: change points and a median slope."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

MOST_POINTS = 1000  # that a slope is found from; more are taken together by their medians


@dataclass(frozen=True, slots=True)
class Change:
    """A series as two levels, one after the other."""

    after: int  # values before the change
    before_mean: float
    after_mean: float
    one_level: float  # sum of squares about one mean
    two_levels: float  # about the two


@dataclass(frozen=True, slots=True)
class Turn:
    """Where something summed up over a series is farthest from 0."""

    after: int  # values before it
    size: float  # how far it is off there, 0 or more
    chance: float | None = None  # that as much comes about without a change; None: not known


@dataclass(frozen=True, slots=True)
class Slope:
    """The median slope of a series."""

    slope: float  # in the unit of the values by that of the times
    intercept: float  # value at time 0
    low: float  # ends of its interval
    high: float


def two_levels(values: NDArray[np.float64]) -> Change:
    """The change between two levels that leaves the least squares.

    Parameters
    ----------
    values : (values,) two or more, in the order of time.
    """
    count = len(values)
    first = np.arange(1, count)
    off = np.cumsum(values - values.mean())[:-1]
    explained = off * off * count / (first * (count - first))
    after = int(first[np.argmax(explained)])
    one = float(np.square(values - values.mean()).sum())
    before, behind = values[:after], values[after:]
    two = np.square(before - before.mean()).sum() + np.square(behind - behind.mean()).sum()
    return Change(after, float(before.mean()), float(behind.mean()), one, float(two))


def largest_sum(values: NDArray[np.float64]) -> Turn:
    """Where the sum of departures from the mean is largest, above or below.

    Parameters
    ----------
    values : (values,) two or more, in the order of time.
    """
    off = np.abs(np.cumsum(values - values.mean())[:-1])
    after = int(np.argmax(off)) + 1
    return Turn(after, float(off[after - 1]))


def rank_change(values: NDArray[np.float64]) -> Turn:
    """A change by ranks: single values far off do not draw it to them.

    Parameters
    ----------
    values : (values,) two or more, in the order of time.

    References
    ----------
    Pettitt, A. N. (1979), A non-parametric approach to the change-point problem, Applied
    Statistics 28: 126-135.
    """
    count = len(values)
    ranks = np.asarray(stats.rankdata(values))
    off = np.abs(2 * np.cumsum(ranks)[:-1] - np.arange(1, count) * (count + 1))
    after = int(np.argmax(off)) + 1
    size = float(off[after - 1])
    return Turn(after, size, min(1.0, 2 * math.exp(-6 * size**2 / (count**3 + count**2))))


def median_slope(
    times: NDArray[np.float64], values: NDArray[np.float64], confidence: float = 0.95
) -> Slope:
    """Median of the slopes of all pairs of values, and its interval.

    Of more than :data:`MOST_POINTS` values neighbours are taken together by their medians, so that
    the cost grows no faster than their number.

    Parameters
    ----------
    times, values : (values,) two or more, of at least two times.
    confidence : of the interval, 0 to 1.

    References
    ----------
    Sen, P. K. (1968), Estimates of the regression coefficient based on Kendall's tau, Journal of
    the American Statistical Association 63: 1379-1389.
    """
    together = -(-len(values) // MOST_POINTS)
    if together > 1:
        times, values = _medians(times, together), _medians(values, together)
    found = stats.theilslopes(values, times, confidence)
    return Slope(
        float(found.slope), float(found.intercept), float(found.low_slope), float(found.high_slope)
    )


def _medians(values: NDArray[np.float64], together: int) -> NDArray[np.float64]:
    """Medians of so many neighbours each; what is left over at the end is left out."""
    whole = len(values) // together * together
    return np.asarray(np.median(values[:whole].reshape(-1, together), axis=1))
