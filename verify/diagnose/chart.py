"""The individuals and moving-range chart: what a series does by itself, and what is beyond that."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from verify.diagnose.change import rank_change
from verify.diagnose.records import ChartLimits, Signal
from verify.diagnose.run_rules import ON_ONE_SIDE, run_rules

# Of the range of two normal values, by their standard deviation: mean, deviation, median.
D2 = 2 / math.sqrt(math.pi)  # 1.128379
D3 = math.sqrt(2 - 4 / math.pi)  # 0.852502
MEDIAN_RANGE = math.sqrt(2) * float(stats.norm.ppf(0.75))  # 0.953873
LIMIT = 3.0  # standard deviations: beyond it, 1 value of 370 lies by chance
LEAST_VALUES = 5  # fewer give no limits worth the name
RARE = 0.01  # a change of level that chance brings about less often is one
GROSS = 5.0  # standard deviations: a base has nothing in it that is farther off
RANGE_RULE = "moving range"  # the rule of a jump between neighbours


@dataclass(frozen=True, slots=True)
class Individuals:
    """Limits of single values and of the differences between neighbours, in their unit."""

    centre: float
    sigma: float  # standard deviation by the mean moving range
    upper: float
    lower: float
    mean_range: float
    upper_range: float  # limit of the moving range; its lower one is 0


def individuals(values: NDArray[np.float64]) -> Individuals:
    """Limits by the mean of the values and the mean moving range.

    Parameters
    ----------
    values : (values,) in the order of time. Between those on both sides of a NaN there is no range.

    References
    ----------
    Shewhart's chart for individuals, as in ISO 7870-2; constants d2 and d3 of two values, unrounded
    (2.66 and 3.267 in print are 3/d2 and 1 + 3 d3/d2).
    """
    ranges = np.abs(np.diff(values))
    mean_range = float(np.nanmean(ranges))
    centre, sigma = float(np.nanmean(values)), mean_range / D2
    return Individuals(
        centre,
        sigma,
        centre + LIMIT * sigma,
        centre - LIMIT * sigma,
        mean_range,
        mean_range * (1 + LIMIT * D3 / D2),
    )


def steady_stretch(values: NDArray[np.float64]) -> int:
    """Values before the first lasting change of level; all of them where there is none.

    Parameters
    ----------
    values : (values,) in the order of time, all finite.
    """
    count = len(values)
    while count >= LEAST_VALUES:
        turn = rank_change(values[:count])
        if turn.chance is None or turn.chance > RARE:
            break
        count = turn.after
    return count if count >= LEAST_VALUES else len(values)


def chart_of(
    values: NDArray[np.float64], files: Sequence[Path], on_one_side: int = ON_ONE_SIDE
) -> ChartLimits | None:
    """Limits by the first steady stretch of a series, and which of all its frames are beyond them.

    A frame of that stretch that is grossly off, by the median moving range, is no part of what is
    usual: the limits are found without it.

    Parameters
    ----------
    values : (frames,) in the order of time, all finite [stop].
    files : of them.
    on_one_side : see :func:`run_rules`.

    Returns
    -------
    The limits; None of fewer than :data:`LEAST_VALUES` frames.
    """
    if len(values) < LEAST_VALUES:
        return None
    limits = individuals(_usual(values[: steady_stretch(values)]))
    signals = [(s.at, s.rule) for s in run_rules(values, limits.centre, limits.sigma, on_one_side)]
    jumps = np.abs(np.diff(values)) > limits.upper_range
    found: list[tuple[int, str]] = [
        *signals,
        *((int(at) + 1, RANGE_RULE) for at in np.flatnonzero(jumps)),
    ]
    found.sort(key=lambda signal: signal[0])
    return ChartLimits(
        limits.centre,
        limits.upper,
        limits.lower,
        limits.upper_range,
        tuple(Signal(files[at], rule) for at, rule in found),
    )


def _usual(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values with NaN in the place of what is grossly off; as they are where most would be."""
    sigma = float(np.median(np.abs(np.diff(values)))) / MEDIAN_RANGE
    off = np.abs(values - np.median(values)) > GROSS * sigma
    kept = np.where(off, np.nan, values)
    enough = np.count_nonzero(~np.isnan(np.diff(kept))) >= LEAST_VALUES - 1
    return kept if sigma > 0 and enough else values
