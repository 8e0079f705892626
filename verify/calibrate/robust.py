"""Robust statistics of a few numbers: a bounded mean, a slope through medians, an honest interval.

All intervals are two-sided and of 95 % unless another share is given.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy import stats

CONFIDENCE = 0.95
BOUND = 1.2  # standard deviations beyond which a value pulls no harder
# What bounding costs where nothing is wrong: variance against that of the mean, for normal errors.
_INSIDE = 2 * stats.norm.cdf(BOUND) - 1
_PULL = _INSIDE - 2 * BOUND * stats.norm.pdf(BOUND) + 2 * BOUND**2 * stats.norm.sf(BOUND)
COST = float(_PULL / _INSIDE**2)
ROUNDS, CLOSE = 100, 1e-10  # of the iteration


def bounded_fit(
    terms: NDArray[np.float64], values: NDArray[np.float64], scale: float
) -> NDArray[np.float64]:
    """Coefficients of a linear model in which no value pulls harder than ``BOUND`` deviations.

    Parameters
    ----------
    terms : (values, terms) of full rank.
    values : (values,) to be explained.
    scale : standard deviation of the values about the model, above 0.

    References
    ----------
    Huber, P. J. (1964), Robust estimation of a location parameter, Annals of Mathematical
    Statistics 35: 73-101.
    """
    weights = np.ones(len(values))
    found = np.linalg.lstsq(terms, values)[0]
    for _ in range(ROUNDS):
        off = np.abs(values - terms @ found)
        weights = BOUND * scale / np.maximum(off, BOUND * scale)
        root = np.sqrt(weights)
        following = np.linalg.lstsq(terms * root[:, None], values * root)[0]
        step = float(np.abs(following - found).max())
        found = following
        if step < CLOSE:
            break
    return np.asarray(found)


def half_width(
    random_u: float, degrees: float, common_u: float, confidence: float = CONFIDENCE
) -> float:
    """Half of the interval of a mean with a part known from its scatter and a part known before.

    Parameters
    ----------
    random_u : standard uncertainty by the scatter of the values.
    degrees : of freedom that it was found with.
    common_u : standard uncertainty of what does not average out, known from elsewhere.
    confidence : 0 to 1.

    References
    ----------
    JCGM 100:2008, G.4.1: effective degrees of freedom (Welch, Satterthwaite).
    """
    total = math.hypot(random_u, common_u)
    if total == 0:
        return 0.0
    share = (random_u / total) ** 4
    effective = degrees / share if share > 0 else math.inf
    return float(stats.t.ppf(0.5 + confidence / 2, effective)) * total


def median_slope(
    x: NDArray[np.float64], y: NDArray[np.float64], confidence: float = CONFIDENCE
) -> tuple[float, float, float]:
    """Median of the slopes of all pairs, and its interval; pairs at one x are left out.

    Parameters
    ----------
    x, y : (values,) at least two of different x.
    confidence : 0 to 1.

    References
    ----------
    Sen, P. K. (1968), Estimates of the regression coefficient based on Kendall's tau, Journal of
    the American Statistical Association 63: 1379-1389.
    """
    first, second = np.triu_indices(len(x), 1)
    run = x[second] - x[first]
    apart = run != 0
    slopes = np.sort((y[second] - y[first])[apart] / run[apart])
    count = len(x)
    variance = count * (count - 1) * (2 * count + 5)
    for values in (x, y):
        ties = np.unique(values, return_counts=True)[1]
        variance -= int((ties * (ties - 1) * (2 * ties + 5)).sum())
    deviation = math.sqrt(max(variance, 0) / 18)
    # As many pairs are passed over at each end as agree or disagree by chance.
    reach = stats.norm.ppf(0.5 + confidence / 2) * deviation
    low = max(round((slopes.size - reach) / 2) - 1, 0)
    high = min(round((slopes.size + reach) / 2), slopes.size - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])
