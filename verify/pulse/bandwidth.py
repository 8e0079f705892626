"""What a sensor's limited bandwidth does to durations.

A sensor of first order with the 3 dB bandwidth B has the time constant 1 / (2 pi B). What it shows
of light is undone exactly for steps of time: the light's mean over a step follows from the two
values at its ends. It lengthens durations and leaves the energy alone.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.durations import durations_of
from verify.pulse.even import block_means

MOST_SAMPLES = 150_000
MOST_FINE = 400_000  # samples, of a recording that is made finer
FINE = 5.0  # steps to a time constant, where the recording has them
TELLS = 1.0  # time constants to a step, with which it can be told who is slow
CLEAN = 1e-3  # of the peak: noise, up to which straight lines between samples will do
BLUR = 0.5  # time constants, over which noisy light is averaged at most
LEAVES = 0.015  # of the peak: noise that it need not be averaged below
NOISY_SAMPLES = 1500  # that noisy light is looked at in
BELOW = 0.1  # of the peak, by which light cannot be below nothing
OVERSHOOT = 1.45  # times what follows a time constant later, that light does not begin with
SHORT = 4.0  # time constants of t.5, below which light may begin so
RISES = 0.5  # time constants, within which no sensor rises from 10 % to 90 % of the peak
SPIKE = 2.0  # time constants of t.5, below which it may: of a spike that the sensor drew out
JUMP = 0.3  # of the peak at least, that comes at once
EVEN = 0.1  # of it: light changes no more in a step beside it
DARK = 0.05  # of it: as good as nothing
SURE = 5.0  # deviations


@dataclass(frozen=True, slots=True)
class BandwidthEffect:
    """By what share the sensor lengthens durations; above 0 the true ones are shorter."""

    half: float | None  # of t.5: 0.072 for 7.2 %; None where it cannot be known
    tenth: float | None  # of t.1
    constant_s: float  # the sensor's time constant [s]
    too_fast: bool  # the recording is faster than such a sensor can be
    undone: bool  # found by undoing the sensor; else by sending the pulse through it once more
    exact: bool  # no noise to speak of is in it


def bandwidth_effect(
    value: NDArray[np.float64], step_s: float, noise: float, bandwidth_hz: float,
    rise_s: float | None = None,
) -> BandwidthEffect:  # fmt: skip
    """What a sensor does to the durations of a pulse.

    A recording that a sensor of this bandwidth can have made is taken as made by it: the true
    pulse is found from it, and compared. One that is too fast for it, or too coarse to tell, is
    taken as true, and sent through such a sensor.

    Parameters
    ----------
    value : (samples,) light above the baseline, evenly spaced, dark at its beginning.
    step_s : time between samples [s].
    noise : standard deviation of a value.
    bandwidth_hz : of the sensor, where it shows 3 dB less.
    rise_s : from 10 % to 90 % of the peak [s], where that is known.

    References
    ----------
    check-values 3.4.
    """
    constant_s = 1 / (2 * math.pi * bandwidth_hz)
    most = min(max(int(constant_s / FINE / step_s), 1), max(value.size // 100, 1))
    block = max(-(-value.size // MOST_SAMPLES), 1)
    while block < most and _own_noise(noise, block, step_s, constant_s) > CLEAN * value.max():
        block = min(2 * block, most)  # the finer the steps, the more undoing makes of noise
    value, step_s = block_means(value, block), step_s * block
    noise /= math.sqrt(block)
    half_s = int((value > 0.5 * value.max()).sum()) * step_s
    tells = step_s <= TELLS * constant_s
    light, own_noise = _undone(value, step_s, constant_s, noise, 1)
    fast = tells and _is_too_fast(value, light, step_s, constant_s, own_noise, half_s, rise_s)
    if not tells or fast:
        through, fine_s = _through(value, step_s, constant_s)
        exact = noise <= CLEAN * float(value.max())
        half, tenth = _ratios(through, value, fine_s, step_s, noise)
        return BandwidthEffect(half, tenth, constant_s, fast, False, exact)
    reach, most = 1, max(int(BLUR * constant_s / step_s), 1)
    while own_noise > LEAVES * float(value.max()) and reach < most:
        reach = min(2 * reach, most)
        light, own_noise = _undone(value, step_s, constant_s, noise, reach)
    exact = own_noise <= CLEAN * float(value.max())
    half, tenth = _ratios(value, light, step_s, step_s, own_noise)
    return BandwidthEffect(half, tenth, constant_s, False, True, exact)


def _own_noise(noise: float, block: int, step_s: float, constant_s: float) -> float:
    """Noise of light that is undone from means over so many values."""
    keeps = math.exp(-block * step_s / constant_s)
    return noise / math.sqrt(block) * math.sqrt(1 + keeps**2) / (1 - keeps)


def _undone(
    value: NDArray[np.float64], step_s: float, constant_s: float, noise: float, reach: int
) -> tuple[NDArray[np.float64], float]:
    """The light's means over so many steps, weighted to their ends, and their noise."""
    reach = min(reach, value.size - 1)
    keeps = math.exp(-reach * step_s / constant_s)
    before = np.concatenate([np.full(reach, value[0]), value[:-reach]])
    light = (value - keeps * before) / (1 - keeps)
    return light, noise * math.sqrt(1 + keeps**2) / (1 - keeps)


def _through(
    value: NDArray[np.float64], step_s: float, constant_s: float
) -> tuple[NDArray[np.float64], float]:
    """Light as the sensor shows it, and the step between its values, finer if it must be."""
    # Takes longer to import than all else of a recording, and few runs need it.
    from scipy.signal import lfilter  # noqa: PLC0415

    parts = min(max(math.ceil(FINE * step_s / constant_s), 1), max(MOST_FINE // value.size, 1))
    if parts > 1:
        at = np.arange((value.size - 1) * parts + 1) / parts
        value, step_s = np.interp(at, np.arange(value.size), value), step_s / parts
    keeps = math.exp(-step_s / constant_s)
    return np.asarray(lfilter([1 - keeps], [1, -keeps], value)), step_s


def _is_too_fast(
    value: NDArray[np.float64], light: NDArray[np.float64], step_s: float, constant_s: float,
    noise: float, half_s: float, rise_s: float | None,
) -> bool:  # fmt: skip
    """Whether undoing the sensor gives light that cannot be."""
    peak = float(value.max())
    if rise_s is not None and rise_s < RISES * constant_s and half_s > SPIKE * constant_s:
        return True
    if float(light.min()) < -BELOW * peak - SURE * noise:
        return True
    at = int(light.argmax())
    later = at + max(math.ceil(constant_s / step_s), 2)
    following = float(np.median(light[later : later + 3])) if later < light.size else 0.0
    overshoots = float(light[at]) > OVERSHOOT * max(following, 0.5 * peak) + SURE * noise
    return overshoots and half_s > SHORT * constant_s


def _ratios(
    slow: NDArray[np.float64], fast: NDArray[np.float64], slow_step_s: float, fast_step_s: float,
    noise: float,
) -> tuple[float | None, float | None]:  # fmt: skip
    """By what share t.5 and t.1 of the slow one are longer than those of the fast one."""
    clean = noise <= CLEAN * float(slow.max())
    of = _plain if clean else _careful
    slower, faster = of(slow, slow_step_s, noise), of(fast, fast_step_s, noise)
    half, tenth = (
        None if long is None or not short else long / short - 1
        for long, short in zip(slower, faster, strict=True)
    )
    return half, tenth


def _plain(
    value: NDArray[np.float64], step_s: float, noise: float
) -> tuple[float | None, float | None]:
    """t.5 and t.1 of values without noise, by straight lines between them."""
    at = int(value.argmax())
    peak = float(value[at])
    begun = _jump(value, int((value >= peak / 2).argmax()), -1)
    if begun is not None and at + 1 < value.size:  # what is highest came before the next sample
        peak += float(value[at] - value[at + 1]) * (at - begun)
    found: list[float | None] = []
    for level in (0.5, 0.1):
        above = np.flatnonzero(value >= level * peak)
        first, last = int(above[0]), int(above[-1])
        if first == 0 or last == value.size - 1:
            found.append(None)
            continue
        begins, ends = _place(value, first, -1, level * peak), _place(value, last, 1, level * peak)
        found.append((ends - begins) * step_s)
    return found[0], found[1]


def _place(value: NDArray[np.float64], at: int, way: int, level: float) -> float:
    """Where a level is crossed, from the sample above it that comes first or last."""
    jump = _jump(value, at, way)
    if jump is not None:
        return jump
    return at + way * float((value[at] - level) / (value[at] - value[at + way]))


def _jump(value: NDArray[np.float64], at: int, way: int) -> float | None:
    """Where light comes or goes at once, within a step or two; None where it does not.

    A value may be the mean over its step: the parts of two of them tell where it was.
    """
    if not 2 <= at < value.size - 2:
        return None
    inside, here, beside, beyond = (float(value[at + n * way]) for n in (-1, 0, 1, 2))
    gone, there = DARK * inside, (1 - DARK) * inside
    if inside < JUMP * float(value.max()) or beyond > gone or (beside > gone and here < there):
        return None
    if abs(float(value[at - 2 * way]) - inside) > EVEN * inside:
        return None  # it rises on
    return at - way / 2 + way * (beside + here) / inside


def _careful(
    value: NDArray[np.float64], step_s: float, noise: float
) -> tuple[float | None, float | None]:
    """The same of noisy values."""
    block = max(value.size // NOISY_SAMPLES, 1)
    found = durations_of(
        block_means(value, block), step_s * block, noise / math.sqrt(block), 0.0
    ).seconds
    return found[0.5], found[0.1]
