"""A recorder that does not pass what stays the same: AC coupling, as sound cards have."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.baseline import Light
from verify.pulse.even import block_means

MOST_BLOCKS = 4000
FEWEST_BLOCKS = 8  # after the flash, that show a recovery
DEEP = 5.0  # uncertainties of a mean, that the trace falls below its baseline
DEEP_SHARE = 0.004  # of the peak, at least
SURE = 4.0  # uncertainties of what is fitted
LEAVES = 0.5  # of the depth, that the fit may leave
SMOOTH = 5  # blocks
PASSES = 6  # of fitting where the light is out, and seeing where that is
LIT = 0.003  # of the light after the peak
HALF_BACK = 0.5  # of the depth, from which on too little is left to fit


@dataclass(frozen=True, slots=True)
class Coupling:
    """A first-order high-pass, as the recording shows it."""

    constant_s: float  # its time constant
    depth: float  # how far below the baseline the trace falls, as a share of the peak


def coupling_of(light: Light) -> Coupling | None:
    """The high-pass in a recording, from how it recovers after the last firing; None for none.

    What was recorded, plus its own integral over the time constant, is the light: after the flash
    that is nothing, and the time constant follows.
    """
    even, last = light.even, light.firings[-1]
    first = light.firings[0].begins + max(light.before.stop - 1, 0)
    value = even.value[first:]
    peak = float(value.max())
    block = -(-value.size // MOST_BLOCKS)
    means = block_means(value, block)
    step_s = even.step_s * block
    area = (np.cumsum(means) - means / 2) * step_s
    after = max((last.last - first) // block, int(means.argmax()))
    if means.size - after < FEWEST_BLOCKS + SMOOTH:
        return None
    smooth = _smooth(means[after:])
    lowest = int(smooth.argmin())
    depth = -float(smooth[lowest])
    u = math.hypot(light.noise / math.sqrt(block * SMOOTH), light.u_level)
    if depth < max(DEEP * u, DEEP_SHARE * peak):
        return None
    begins, rate = after + lowest + SMOOTH // 2, 0.0
    recovered = np.flatnonzero(smooth[lowest:] > -HALF_BACK * depth)
    latest = begins + int(recovered[0]) if recovered.size else begins
    for _ in range(PASSES):
        dark, own = means[begins:], area[begins:]
        if dark.size < FEWEST_BLOCKS:
            return None
        squares = float(own @ own)
        rate = -float(dark @ own) / squares
        left = dark + rate * own
        # Where the trace is lowest there may be light yet; without the coupling that is seen.
        true = _smooth(means[after:] + rate * area[after:])
        bright = np.flatnonzero(true > max(LIT * float(true.max()), 3 * u))
        if bright.size:
            begins = min(max(begins, after + int(bright[-1]) + SMOOTH), latest)
    spread = math.hypot(float(left.std()), light.noise / math.sqrt(block)) / math.sqrt(squares)
    if rate < SURE * spread or float(np.sqrt(np.mean(left**2))) > LEAVES * depth:
        return None
    return Coupling(1 / rate, depth / peak)


def _smooth(means: NDArray[np.float64]) -> NDArray[np.float64]:
    """Running means of a few blocks; fewer of them by what a mean needs."""
    return np.convolve(means, np.full(SMOOTH, 1 / SMOOTH), mode="valid")


def without_coupling(light: Light, coupling: Coupling) -> NDArray[np.float64]:
    """The light as a recorder without it would show it, (samples,)."""
    even = light.even
    first = light.firings[0].begins + max(light.before.stop - 1, 0)
    value = even.value
    area = np.zeros_like(value)
    area[first:] = (np.cumsum(value[first:]) - value[first:] / 2) * even.step_s
    return np.asarray(value + area / coupling.constant_s)
