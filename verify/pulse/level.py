"""The level of what is dark, how sure it is, and whether it drifts."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.even import block_means
from verify.pulse.noise import noise_of, quick_noise, u_of_mean

LOOKED_AT = 20_000  # blocks of what is dark
ENOUGH_DARK = 12  # samples before the flash, with which its level is known
FEWEST_DARK = 4  # samples at all; with fewer the baseline is a guess
GUESS_U = 0.02  # of the highest light, that a guessed baseline may be off by
AGREE = 3.0  # uncertainties within which what is dark before and after agrees
UNSURE_SHARE = 0.3  # of a difference between the two, that may lie under the flash
STICKS_OUT = 5.0  # deviations, beyond which a dark value does not count
DRIFT_BLOCKS = 40  # that a drift is seen in
DRIFT_SURE = 6.0  # uncertainties of a slope


@dataclass(frozen=True, slots=True)
class Level:
    """What is dark."""

    value: float
    noise: float  # standard deviation of a single sample
    u: float  # standard uncertainty of the level under the flash
    unsure: bool  # a guess: hardly anything is dark


def level_of(
    above: NDArray[np.float64], before: slice, after: slice, rough: float, quantum: float
) -> Level:
    """Level, noise and their sureness.

    What is dark before the flash counts; what comes after it only where there is too little of
    that, or where it agrees and makes the level surer.

    Parameters
    ----------
    above : (samples,) above a first idea of the level.
    before, after : what is dark.
    rough : a first idea of the noise.
    quantum : step that values come in; 0 where they do not.
    """
    first, last = above[before], above[after]
    last = last[last.size // 2 :]  # the later, the surer is the light out
    if first.size < FEWEST_DARK:
        if last.size < FEWEST_DARK:
            return Level(0.0, rough, max(GUESS_U * float(above.max()), rough), True)
        noise = max(noise_of(last, quantum), rough if last.size < ENOUGH_DARK else 0.0)
        return Level(_mean(last), noise, u_of_mean(last, noise, quantum), False)
    if first.size >= ENOUGH_DARK:
        noise = noise_of(first, quantum)
    else:  # of few samples the noise is not known, but their level is
        noise = noise_of(last if last.size >= ENOUGH_DARK else first, quantum)
        noise = max(noise, 0.0 if last.size >= ENOUGH_DARK else quick_noise(above))
    level, u = _mean(first), u_of_mean(first, noise, quantum)
    if last.size >= ENOUGH_DARK:
        other, u_other = _mean(last), u_of_mean(last, noise, quantum)
        apart = abs(other - level)
        if u > 0 and u_other > 0 and apart <= AGREE * math.hypot(u, u_other):
            weights = np.array([u**-2, u_other**-2])
            level = float(weights @ [level, other] / weights.sum())
            u = float(weights.sum()) ** -0.5
        elif other > level:  # what lies lower afterwards is a recorder's doing, looked at later
            u = math.hypot(u, UNSURE_SHARE * apart)
    return Level(level, noise, u, False)


def _mean(dark: NDArray[np.float64]) -> float:
    """Mean of dark values without a few that stick out."""
    dark = block_means(dark, -(-dark.size // LOOKED_AT))
    off = np.abs(dark - np.median(dark))
    typical = 1.4826 * float(np.median(off))
    kept = dark[off <= STICKS_OUT * typical] if typical > 0 else dark
    return float(kept.mean())


@dataclass(frozen=True, slots=True)
class Drift:
    """A level that rises or falls evenly."""

    slope: float  # [unit a sample]
    u_slope: float
    middle: float  # sample where it is at the level


def drift_of(above: NDArray[np.float64], before: slice) -> Drift | None:
    """Whether the level drifts before the flash; None where it does not, or cannot be told."""
    dark = above[before]
    block = dark.size // DRIFT_BLOCKS
    if block < 1:
        return None
    means = block_means(dark, block)
    at = block * (np.arange(means.size) - (means.size - 1) / 2)
    spread = float(at @ at)
    slope = float(at @ means) / spread
    left = means - means.mean() - slope * at
    u_slope = float(left.std(ddof=2)) / math.sqrt(spread)
    if abs(slope) <= DRIFT_SURE * u_slope:
        return None
    return Drift(slope, u_slope, (block * means.size - 1) / 2)
