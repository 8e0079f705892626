"""The peak of a pulse: not its noisy maximum, but that of the curve its top follows."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

TOPS = (0.7, 0.85, 0.93, 0.97)  # of the peak: what lies above, in one piece, is the top
FOLLOWS = 3.0  # deviations of the sum of squares, within which a curve follows the top
DARK_BEFORE, DARK_AFTER = 0.15, 0.45  # of the peak, next to the top: it begins or ends in a jump
DEGREES = (0, 1, 2, 3, 4)  # of the polynomials that a smooth top is tried by
SPARE = 3  # samples more than a curve has coefficients
CUSP_SAMPLES = 9  # of a top, for two curves that meet
CUSP_EDGE = 3  # samples from the top's ends, where they do not meet
CUSP_COST = 4  # coefficients that the choice of the place where they meet counts for


@dataclass(frozen=True, slots=True)
class Peak:
    """The highest light of a pulse."""

    value: float  # above the baseline
    u: float  # its standard uncertainty, by noise
    at: int  # sample where the smoothed trace is highest


@dataclass(frozen=True, slots=True)
class _Curve:
    """A curve that may be the top."""

    cost: float  # misfit and coefficients: the lower, the likelier
    peak: float
    u: float
    misfit: float  # of its sum of squares, in deviations of what noise makes


def peak_of(value: NDArray[np.float64], smooth: NDArray[np.float64], noise: float) -> Peak:
    """Find the peak.

    Parameters
    ----------
    value, smooth : (samples,) above the baseline, as recorded and without most of its noise.
    noise : standard deviation of a value.

    References
    ----------
    Schwarz, G. (1978), Estimating the dimension of a model, Annals of Statistics 6: 461-464, for
    the choice among curves.
    """
    at = int(np.argmax(smooth))
    curves: list[_Curve] = []
    for share in TOPS:  # the lower it begins, the more values tell; if a curve can follow it
        top, ends = _top(value, smooth, at, share * float(smooth[at]))
        found = [*_smooth_tops(top, ends, noise), *_cusps(top, noise)]
        curves = found or curves
        if not found or min(curve.misfit for curve in found) <= FOLLOWS:
            break
    if not curves:
        return Peak(float(smooth[at]), noise, at)
    # Each curve counts by how likely it is; how far they disagree is a part of what is not known.
    costs, peaks, deviations = (
        np.array([getattr(curve, name) for curve in curves]) for name in ("cost", "peak", "u")
    )
    weights = np.exp((costs.min() - costs) / 2)
    weights /= weights.sum()
    mean = float(weights @ peaks)
    return Peak(mean, float(np.sqrt(weights @ (deviations**2 + (peaks - mean) ** 2))), at)


def _top(
    value: NDArray[np.float64], smooth: NDArray[np.float64], at: int, least: float
) -> tuple[NDArray[np.float64], tuple[float, float]]:
    """Values about the highest one, in one piece above a level, and where light begins and ends.

    Light that jumps up or down did so somewhere in the step before or after: half way.
    """
    first, last, highest = at, at, float(smooth[at])
    bright = (smooth > least) | (value > least)  # beside a jump smoothing may have lost some
    while first > 0 and bright[first - 1]:
        first -= 1
    while last < smooth.size - 1 and bright[last + 1]:
        last += 1
    top = value[first : last + 1]
    jumps_up = first > 0 and value[first - 1] < DARK_BEFORE * highest
    jumps_down = last < value.size - 1 and value[last + 1] < DARK_AFTER * highest
    return top, (-0.5 if jumps_up else 0.0, top.size - (0.5 if jumps_down else 1.0))


def _smooth_tops(
    top: NDArray[np.float64], ends: tuple[float, float], noise: float
) -> Iterator[_Curve]:
    """Polynomials, the highest place of each between the ends."""
    count = top.size
    middle, scale = (count - 1) / 2, max(count / 2, 1)
    places = (np.linspace(*ends, 4 * count + 1) - middle) / scale
    for degree in DEGREES:
        if count < degree + SPARE:
            return
        terms = np.vander((np.arange(count) - middle) / scale, degree + 1)
        found = np.linalg.lstsq(terms, top)[0]
        there = np.vander(places, degree + 1)
        highest = there[int((there @ found).argmax())]
        spread = highest @ np.linalg.inv(terms.T @ terms) @ highest
        left = top - terms @ found
        yield _Curve(
            _cost(left, degree + 1, noise),
            float(highest @ found),
            noise * float(np.sqrt(spread)),
            _misfit(left, degree + 1, noise),
        )


def _cusps(top: NDArray[np.float64], noise: float) -> Iterator[_Curve]:
    """Two lines or parabolas that meet in the peak, wherever they do."""
    count = top.size
    if count < CUSP_SAMPLES:
        return
    at = np.arange(count)
    for place in range(CUSP_EDGE, count - CUSP_EDGE + 1):
        off = (at - place) / count
        left, right = np.minimum(off, 0), np.maximum(off, 0)
        for degree in (1, 2):
            powers = range(1, degree + 1)
            sides = [side**power for side in (left, right) for power in powers]
            terms = np.column_stack([np.ones(count), *sides])
            if np.linalg.matrix_rank(terms) < terms.shape[1]:
                continue
            found = np.linalg.lstsq(terms, top)[0]
            if found[1] > 0 > found[degree + 1]:  # it rises to the peak and falls from it
                spread = np.linalg.inv(terms.T @ terms)[0, 0]
                coefficients = terms.shape[1] + 1 + CUSP_COST
                left_over = top - terms @ found
                yield _Curve(
                    _cost(left_over, coefficients, noise),
                    float(found[0]),
                    noise * float(np.sqrt(spread)),
                    _misfit(left_over, coefficients, noise),
                )


def _cost(left: NDArray[np.float64], coefficients: int, noise: float) -> float:
    """Misfit in variances of the noise, and a price for each coefficient."""
    return float(left @ left) / noise**2 + coefficients * float(np.log(left.size))


def _misfit(left: NDArray[np.float64], coefficients: int, noise: float) -> float:
    """By how many deviations a curve leaves more than noise would."""
    spare = max(left.size - coefficients, 1)
    return (float(left @ left) / noise**2 - spare) / float(np.sqrt(2 * spare))
