"""Light against time without most of its noise, with its edges kept.

A sample's light is that of a straight line through its neighbours, on one side of it or on both,
over as many of them as agree with fewer: near an edge these are those on the sample's own side.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

REACHES = (2, 3, 4, 6, 8, 11, 15, 20, 28)  # samples on a side, one after the other
AGREE = 2.2  # standard deviations within which a longer line must agree with all shorter ones
SIDES = ((True, False), (True, True), (False, True))  # that a line goes through
ALONE = 7  # samples, of which most must be above a level

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """A straight line for every sample: (samples,) each."""

    value: Values  # at the sample
    u: Values  # its standard uncertainty
    slope: Values  # [unit a sample]
    u_slope: Values


@dataclass(frozen=True, slots=True, eq=False)
class Smoothed:
    """A trace without most of its noise."""

    value: Values  # (samples,) its edges kept
    behind: Lines  # by what comes before each sample, and the sample
    ahead: Lines  # by the sample and what comes after it


def smoothed(value: Values, noise: float) -> Smoothed:
    """Values without most of their noise.

    Parameters
    ----------
    value : (samples,) evenly spaced.
    noise : standard deviation of a single value, above 0.

    References
    ----------
    Goldenshluger, A. and Nemirovski, A. (1997), On spatially adaptive estimation of nonparametric
    regression, Mathematical Methods of Statistics 6: 135-170 (intersection of intervals).
    """
    behind, both, ahead = (_lines(value, noise, *sides) for sides in SIDES)
    ways = (behind, both, ahead)
    surest = np.stack([way.u for way in ways]).argmin(0)[None]
    light: Values = np.take_along_axis(np.stack([way.value for way in ways]), surest, axis=0)[0]
    # Single samples that noise lifts over a level are no crossing.
    return Smoothed(median_filter(light, ALONE, mode="nearest"), behind, ahead)


def _lines(value: Values, noise: float, back: bool, on: bool) -> Lines:
    """Lines through one side of each sample, or both, over as many as agree with fewer."""
    count = value.size
    at = np.arange(count)
    sums = np.concatenate([[0.0], np.cumsum(value)])
    weighted = np.concatenate([[0.0], np.cumsum(value * at)])
    kept = np.stack([value, np.full(count, noise), np.zeros(count), np.full(count, noise)])
    low, high = np.full(count, -np.inf), np.full(count, np.inf)
    agree = np.ones(count, bool)
    for reach in REACHES:
        first = np.maximum(at - (reach if back else 0), 0)
        last = np.minimum(at + (reach if on else 0) + 1, count)
        number = last - first
        middle = (first + last - 1) / 2
        spread = np.maximum(number * (number**2 - 1) / 12, 1e-9)
        total = sums[last] - sums[first]
        slope = (weighted[last] - weighted[first] - middle * total) / spread
        line = total / number + slope * (at - middle)
        own = noise * np.sqrt(1 / number + (at - middle) ** 2 / spread)
        low, high = np.maximum(low, line - AGREE * own), np.minimum(high, line + AGREE * own)
        agree &= low <= high
        kept = np.where(agree, np.stack([line, own, slope, noise / np.sqrt(spread)]), kept)
    return Lines(*kept)
