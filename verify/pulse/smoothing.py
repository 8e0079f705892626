"""Light against time without most of its noise, with its edges kept.

A sample's light is that of a straight line through its neighbours, on one side of it or on both,
over as many of them as agree with fewer: near an edge these are those on the sample's own side.
"""

import numpy as np
from numpy.typing import NDArray

REACHES = (2, 3, 4, 6, 8, 11, 15, 20, 28)  # samples on a side, one after the other
AGREE = 2.2  # standard deviations within which a longer line must agree with all shorter ones
BACK, BOTH, ON = (True, False), (True, True), (False, True)  # which sides a line goes through


def edge_kept(
    value: NDArray[np.float64], noise: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Values without most of their noise, and their standard uncertainties, (samples,) each.

    Parameters
    ----------
    value : (samples,) evenly spaced.
    noise : standard deviation of a single value, above 0.

    References
    ----------
    Goldenshluger, A. and Nemirovski, A. (1997), On spatially adaptive estimation of nonparametric
    regression, Mathematical Methods of Statistics 6: 135-170 (intersection of intervals).
    """
    lines = [_one_way(value, noise, *sides) for sides in (BACK, BOTH, ON)]
    values = np.stack([line[0] for line in lines])
    deviations = np.stack([line[1] for line in lines])
    surest = deviations.argmin(0)[None]
    return (
        np.take_along_axis(values, surest, axis=0)[0],
        np.take_along_axis(deviations, surest, axis=0)[0],
    )


def _one_way(
    value: NDArray[np.float64], noise: float, back: bool, on: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The same by lines through one side, or both."""
    count = value.size
    at = np.arange(count)
    sums = np.concatenate([[0.0], np.cumsum(value)])
    weighted = np.concatenate([[0.0], np.cumsum(value * at)])
    found, deviation = value.copy(), np.full(count, noise)
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
        found, deviation = np.where(agree, line, found), np.where(agree, own, deviation)
    return found, deviation
