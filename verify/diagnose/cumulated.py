"""Charts that add up what single values hide: the tabular CUSUM and the moving average."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """Sums of what is beyond the target by more than the allowance."""

    upper: NDArray[np.float64]  # (values,) 0 or more
    lower: NDArray[np.float64]  # the same of what is below
    first_beyond: int | None  # place of the first value at which one passes the limit, from 0


@dataclass(frozen=True, slots=True, eq=False)
class Ewma:
    """An exponentially weighted moving average."""

    values: NDArray[np.float64]  # (values,) each with the value of its place in it
    upper: float  # limit
    lower: float
    first_beyond: int | None  # place of the first average beyond a limit, from 0


def cusum(values: NDArray[np.float64], target: float, allowance: float, limit: float) -> Cusum:
    """Tabular CUSUM of both sides.

    Parameters
    ----------
    values : (values,) in the order of time.
    target : what they should be.
    allowance : K, half of the shift that matters; ``limit`` : H. Both in the unit of the values.

    References
    ----------
    Page, E. S. (1954), Continuous inspection schemes, Biometrika 41: 100-115.
    """
    upper = _held_at_zero(values - target - allowance)
    lower = _held_at_zero(target - values - allowance)
    return Cusum(upper, lower, _first((upper > limit) | (lower > limit)))


def ewma(
    values: NDArray[np.float64], start: float, weight: float, sigma: float, width: float = 3.0
) -> Ewma:
    """Exponentially weighted moving average with the limits that it has in the long run.

    Parameters
    ----------
    values : (values,) in the order of time.
    start : the average before the first of them, and the centre of the limits.
    weight : of the value of the day, above 0 and up to 1.
    sigma : standard deviation of single values.
    width : of the limits, in standard deviations of the average.

    References
    ----------
    Roberts, S. W. (1959), Control chart tests based on geometric moving averages, Technometrics 1:
    239-250.
    """
    averages, _ = signal.lfilter([weight], [1, weight - 1], values, zi=[(1 - weight) * start])
    reach = width * sigma * float(np.sqrt(weight / (2 - weight)))
    found = np.asarray(averages, float)
    return Ewma(found, start + reach, start - reach, _first(np.abs(found - start) > reach))


def _held_at_zero(steps: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sums of steps that begin anew wherever they would fall below 0."""
    total = np.cumsum(steps)
    return np.asarray(total - np.minimum.accumulate(np.minimum(total, 0.0)))


def _first(there: NDArray[np.bool_]) -> int | None:
    """The first place of what is there."""
    return int(np.argmax(there)) if there.any() else None
