"""The peak of a pulse: not its noisy maximum, but that of the curves its top may follow."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.curves import Curves, curves_through

TOPS = (0.7, 0.85, 0.93, 0.97)  # of the peak: what lies above, in one piece, is the top
FOLLOWS = 2.0  # deviations of the sum of squares, within which a curve follows the top
MOST = 64  # values of a top; of more, neighbours are averaged
FINE = 4  # places for each value, among which the highest is sought

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Peak:
    """The highest light of a pulse."""

    value: float  # above the baseline
    u: float  # its standard uncertainty, by noise
    at: int  # sample where the smoothed trace is highest


@dataclass(frozen=True, slots=True, eq=False)
class _Top:
    """Values about the highest one, and the places between which light is highest [value]."""

    values: Values
    noise: float
    begins: float  # half a value before the first where light jumps up to it
    ends: float


def peak_of(value: Values, smooth: Values, jumps: NDArray[np.intp], noise: float) -> Peak:
    """Find the peak.

    Parameters
    ----------
    value, smooth : (samples,) above the baseline, as recorded and without most of its noise.
    jumps : the last sample before each jump.
    noise : standard deviation of a value.

    References
    ----------
    Schwarz, G. (1978), Estimating the dimension of a model, Annals of Statistics 6: 461-464, for
    the price of a coefficient: the freer a curve, the more noise is in its highest place.
    """
    at = int(np.argmax(smooth))
    best: tuple[_Top, Curves] | None = None
    for share in TOPS:  # the lower it begins, the more values tell; if a curve can follow it
        top = _top(value, smooth, jumps, noise, at, share * float(smooth[at]))
        curves = curves_through(top.values, top.noise, math.log(top.values.size))
        if curves is None:
            break
        best = top, curves
        if curves.misfit <= FOLLOWS:
            break
    if best is None:
        return Peak(float(smooth[at]), noise, at)
    return Peak(*_highest(*best), at)


def _highest(top: _Top, curves: Curves) -> tuple[float, float]:
    """The mean of the curves' highest light, and its standard uncertainty."""
    half = (top.values.size - 1) / 2
    places = np.linspace(top.begins, top.ends, FINE * top.values.size + 1) / half - 1
    light, terms = curves.at(places)
    each, where = np.arange(light.shape[0]), light.argmax(1)
    peaks, weights = light[each, where], curves.weights
    mean = float(weights @ peaks)
    variances = top.noise**2 * curves.variances(terms[each, where]) + (peaks - mean) ** 2
    return mean, math.sqrt(float(weights @ variances))


def _top(
    value: Values, smooth: Values, jumps: NDArray[np.intp], noise: float, at: int, least: float
) -> _Top:
    """Values about the highest one, in one piece above a level and between jumps.

    Light that jumps up or down did so somewhere in the step before or after: half way.
    """
    first, last = at, at
    bright = (smooth > least) | (value > least)  # beside a jump smoothing may have lost some
    jumping = np.zeros(value.size, bool)
    jumping[jumps] = True
    while first > 0 and bright[first - 1] and not jumping[first - 1]:
        first -= 1
    while last < value.size - 1 and bright[last + 1] and not jumping[last]:
        last += 1
    ups, downs = first > 0 and jumping[first - 1], jumping[last]
    count = last - first + 1
    times = -(-count // MOST)
    begins, ends = (-0.5 if ups else 0.0), count - (0.5 if downs else 1.0)
    kept = count // times * times
    values = value[first : first + kept].reshape(-1, times).mean(1)
    middle = (times - 1) / 2  # of the first value, in samples
    return _Top(
        values, noise / math.sqrt(times), (begins - middle) / times, (ends - middle) / times
    )
