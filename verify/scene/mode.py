"""The value that most of a set of numbers share, though others are off to one side: a mode.

Numbers come with their own uncertainty and scatter about the shared value by some more, which is
found too. A mean or a median is pulled by what is off; the peak of the density is not, once that
is farther away than the scatter. What is nearer cannot be told apart: it goes into the uncertainty.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RESOLUTION = 0.012  # stop; finer peaks are one
CUT = 4.0  # deviations beyond which a value has no weight
AGREES = 3.0  # deviations that a value that agrees may be off
LEAST_OFF = 0.04  # stop; a value that is less off agrees, however little they scatter
MOST_OFF = 0.1  # stop; no value that is farther off agrees, unless its noise is as large
LEAST_SPREAD = 0.003  # stop
FIRST_SPREAD = 0.04  # stop, that the search for the scatter begins with
FEWEST_BESIDE = 8  # values on one side of the mode, that tell of the scatter
ROUNDS, CLOSE = 12, 1e-5  # of the search; stop
TRIED = 128  # places at most, that the peak is looked for at
# Of the scatter: what values off to one side, too near to be told apart, may move the mode by. If
# all the scatter is their doing, a share p of them moves the mean by √(p / (1 - p)) of it: half.
ONE_SIDED = 1.0
FULL = 0.8  # of the most scatter that is looked for, above which it may be more
LEAST_U = 0.002  # stop
TRIMMED = 0.973  # standard deviation of a normal one cut at three deviations


@dataclass(frozen=True, slots=True, eq=False)
class Mode:
    """The value that most share."""

    value: float
    u: float  # standard uncertainty of it
    spread: float  # standard deviation of the values about it, beyond their own uncertainty
    agrees: NDArray[np.bool_]  # (values,) whether one agrees with it
    share: float  # of the values, that agree
    rival: float | None  # the next value that many share; None if there is none
    rival_share: float  # of the values, that agree with that


def mode_of(
    values: NDArray[np.float64],
    u: NDArray[np.float64],
    noise: NDArray[np.float64] | None = None,
) -> Mode:
    """The mode of some values, brought nearer by a mean of those in it that are not far off.

    Parameters
    ----------
    values : (values,) at least one, all finite [stop].
    u : (values,) standard uncertainty of each, 0 or more [stop].
    noise : (values,) the part of it that is certain to be noise; None: all of it.

    References
    ----------
    Parzen, E. (1962), On estimation of a probability density function and mode, Annals of
    Mathematical Statistics 33: 1065-1076.
    Beaton, A. E., Tukey, J. W. (1974), Technometrics 16: 147-185 (biweight).
    """
    noise = u if noise is None else noise
    value, spread = _refined(values, u, _densest(values, u))
    agrees = _agreeing(values, u, noise, value, spread)
    rest = ~agrees
    rival, rival_share = None, 0.0
    if rest.any():
        at = _densest(values[rest], u[rest])
        rival, beside = _refined(values[rest], u[rest], at)
        rival_share = float((_agreeing(values, u, noise, rival, beside) & rest).mean())
    return Mode(
        value=value,
        u=_uncertainty(values - value, u, spread, agrees),
        spread=spread,
        agrees=agrees,
        share=float(agrees.mean()),
        rival=rival,
        rival_share=rival_share,
    )


def _densest(values: NDArray[np.float64], u: NDArray[np.float64]) -> float:
    """The value about which values lie most densely, each as wide as it is unsure."""
    width = np.hypot(u, RESOLUTION)
    places = np.sort(values)[:: max(1, len(values) // TRIED)]
    apart = (places[:, None] - values) / width
    density = np.exp(-0.5 * apart * apart) @ (1 / width)
    return float(places[np.argmax(density)])


def _refined(
    values: NDArray[np.float64], u: NDArray[np.float64], start: float
) -> tuple[float, float]:
    """A mode brought nearer, and the scatter about it; see :func:`mode_of`."""
    value, spread = start, FIRST_SPREAD
    for _ in range(ROUNDS):
        spread = _spread(values, u, value, spread)
        scale = np.hypot(u, max(spread, LEAST_SPREAD))
        off = (values - value) / (CUT * scale)
        weight = np.where(np.abs(off) < 1, (1 - off**2) ** 2, 0) / scale**2
        total = float(weight.sum())
        if total == 0:
            break
        before, value = value, float(weight @ values) / total
        if abs(value - before) < CLOSE:
            break
    return value, spread


def _spread(
    values: NDArray[np.float64], u: NDArray[np.float64], value: float, before: float
) -> float:
    """Scatter about a mode beyond the values' own u: that of the calmer of its two sides.

    What is off to one side makes that side wide; the other shows the scatter as it is.
    """
    off = values - value
    reach = AGREES * np.hypot(u, max(before, LEAST_SPREAD))
    near = np.abs(off) <= reach
    sides = [near & (off >= 0), near & (off <= 0)]
    told = [side for side in sides if np.count_nonzero(side) >= FEWEST_BESIDE] or [near]
    excess = []
    for side in told:
        weight = 1 / np.hypot(u[side], max(before, LEAST_SPREAD)) ** 2
        variance = (off[side] / TRIMMED) ** 2 - u[side] ** 2
        excess.append(float(weight @ variance / weight.sum()))
    return min(math.sqrt(max(min(excess), 0.0)), FIRST_SPREAD)


def _agreeing(
    values: NDArray[np.float64],
    u: NDArray[np.float64],
    noise: NDArray[np.float64],
    value: float,
    spread: float,
) -> NDArray[np.bool_]:
    """Whether each value agrees with a mode."""
    reach = np.maximum(LEAST_OFF, AGREES * np.hypot(u, spread))
    most = np.maximum(MOST_OFF, AGREES * noise)
    return np.asarray(np.abs(values - value) <= np.minimum(reach, most))


def _uncertainty(
    off: NDArray[np.float64], u: NDArray[np.float64], spread: float, agrees: NDArray[np.bool_]
) -> float:
    """Standard uncertainty of a mode: by the scatter, and by what may be hidden in it.

    Parameters
    ----------
    off : (values,) from the mode.
    """
    if not agrees.any():
        return FIRST_SPREAD
    scale = np.hypot(u[agrees], LEAST_SPREAD)
    mean = math.sqrt(1 / float((1 / scale**2).sum()))
    hidden = spread
    if spread >= FULL * FIRST_SPREAD:  # more than is looked for: all that agrees tells of it
        hidden = max(spread, math.sqrt(max(float((off[agrees] ** 2 - u[agrees] ** 2).mean()), 0)))
    return math.hypot(mean, ONE_SIDED * hidden, LEAST_U)
