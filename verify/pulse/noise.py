"""The noise of a recording, and the steps that its values come in."""

import math

import numpy as np
from numpy.typing import NDArray

LOOKED_AT = 20_000  # values that tell the step, and the noise
QUARTER = 0.3186  # standard deviations that a quarter of normal values do not exceed
OF_SECOND = math.sqrt(6)  # deviations of a second difference, in those of a value
ROUNDING = 1 / math.sqrt(12)  # standard deviation of what rounding to whole steps takes or adds
LEVELS = (3, 65_536)  # different values, with which they come in the steps of a recorder
FLOOR_SHARE, FLOOR_LEVELS = 0.3, 4  # of dark values at the lowest one, and how many others
FLOOR_LIFTS = 1 / math.sqrt(2 * math.pi)  # deviations, by which the mean is then too high
COARSEST = 1 / 15  # of the range: the step of four bits
BATCHES = 10  # that dark samples are divided into, to see how sure their mean is


def quantum_of(value: NDArray[np.float64]) -> float:
    """The step that values come in; 0 where they do not."""
    stride = max(value.size // LOOKED_AT, 1)
    levels = np.unique(value[::stride])
    if not LEVELS[0] <= levels.size <= LEVELS[1]:
        return 0.0
    gaps = np.diff(levels)
    gaps = gaps[gaps > 1e-9 * (levels[-1] - levels[0])]
    # Noise-free and continuous values have gaps of every size, codes have whole numbers of one.
    least = float(gaps.min())
    parts = gaps / least
    if least > COARSEST * float(levels[-1] - levels[0]):
        return 0.0
    of_codes = np.abs(parts - np.round(parts)).mean() < 0.02 * max(float(parts.mean()), 1)
    return least if of_codes and levels.size < value[::stride].size / 2 else 0.0


def quick_noise(value: NDArray[np.float64]) -> float:
    """Noise from sample to sample, by the calmest part of a recording, whatever its level does."""
    if value.size < 4:
        return 0.0
    bends = np.abs(value[2:] - 2 * value[1:-1] + value[:-2])
    bends = bends[:: max(bends.size // LOOKED_AT, 1)]
    at = bends.size // 4
    return float(np.partition(bends, at)[at]) / QUARTER / OF_SECOND


def noise_of(dark: NDArray[np.float64], quantum: float) -> float:
    """Standard deviation of values that should all be the same; a few may stick out.

    Of values that are all one code the noise is what rounding to it hides.
    """
    found = 0.0
    if dark.size > 1:
        dark = dark[:: max(dark.size // LOOKED_AT, 1)]
        off = dark - np.median(dark)
        typical = max(1.4826 * float(np.median(np.abs(off))), ROUNDING * quantum)
        kept = off[np.abs(off) <= 5 * typical] if typical > 0 else off
        found = float(kept.std(ddof=1)) if kept.size > 1 else 0.0
        if is_at_floor(dark):  # half of the noise is not shown: the other half tells
            found = max(found, math.sqrt(2 * float(np.mean((dark - dark.min()) ** 2))))
    return max(found, ROUNDING * quantum)


def is_at_floor(dark: NDArray[np.float64]) -> bool:
    """Whether a recorder that shows nothing below its zero cuts off the noise of what is dark."""
    lowest = float(dark.min())
    return bool(
        float(np.mean(dark == lowest)) > FLOOR_SHARE
        and np.unique(dark[:LOOKED_AT]).size >= FLOOR_LEVELS
    )


def u_of_mean(dark: NDArray[np.float64], noise: float, quantum: float) -> float:
    """Standard uncertainty of the mean of dark values, whether or not neighbours are alike."""
    u = noise / math.sqrt(max(dark.size, 1))
    if dark.size >= 4 * BATCHES:
        size = dark.size // BATCHES
        means = dark[: size * BATCHES].reshape(BATCHES, size).mean(1)
        u = max(u, float(means.std(ddof=1)) / math.sqrt(BATCHES))
    if quantum > 0:  # with less noise than a step, the mean of codes is not that of the light
        own = float(dark.std()) if dark.size > 1 else 0.0
        u = math.hypot(u, ROUNDING * quantum * max(0.0, 1 - 2 * own / quantum))
    if is_at_floor(dark):
        u = math.hypot(u, FLOOR_LIFTS * noise)
    return u
