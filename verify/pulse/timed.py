"""Durations of one firing, or of several with the dark between them left out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.baseline import Light
from verify.pulse.durations import Durations, durations_of
from verify.pulse.even import block_means
from verify.pulse.find import STANDS_OUT
from verify.pulse.noise import ROUNDING
from verify.pulse.records import LEVELS

ENOUGH = 200  # samples inside t.5; more are averaged in blocks
FEWEST = 20  # samples inside t.5; where there are fewer, straight lines run between them
COARSE_U = 1 / math.sqrt(6)  # samples: two crossings, each anywhere between two
MOST_SAMPLES = 10_000  # of very many firings
AROUND = 40  # samples, at least, that are looked at before and after the light
BEFORE, AFTER = 1.0, 3.0  # of the time it stands out, that are looked at around it
LOOKED_DOWN_TO = 0.02  # of the peak, as an exponential decays
BARELY = 0.9  # of the peak, above which hardly any of it stands out
SPARE = 1.3  # times what that takes
LEAST_NOISE = 1e-4  # of the peak: curves are not followed more closely
JUMPS = 0.3  # of the peak from one sample to the next: light that was switched on
BLOCKS_OF_DARK = 16  # that tell how much noise is left in a block


@dataclass(frozen=True, slots=True, eq=False)
class Timed:
    """When light crosses what levels."""

    durations: Durations
    spans_s: dict[float, tuple[float, float] | None]  # by level, in the time of the trace
    begins: int  # samples of the recording that were looked at
    ends: int  # to before here
    time_s: NDArray[np.float64]  # (blocks,) of what was looked at, in the time of the trace
    value: NDArray[np.float64]  # (blocks,) its light
    noise: float  # standard deviation of one of these


def timed(light: Light, firings: Sequence[int]) -> Timed:
    """Durations from the first of some firings to the last one.

    Parameters
    ----------
    light : the recording.
    firings : which of its firings, in the order of time.
    """
    even = light.even
    pieces = [_around(light, n) for n in firings]
    inside = min(_inside(even.value[begins:ends]) for begins, ends in pieces)
    if light.firings[firings[0]].flickers:  # short ones after each other, not one long one
        inside = ENOUGH * max(pieces[0][1] - pieces[0][0], 1) // MOST_SAMPLES
        inside = max(inside, FEWEST)
    block, parts = max(-(-inside // ENOUGH), 1), max(-(-FEWEST // inside), 1)
    values, places = [], []
    for begins, ends in pieces:
        starts = begins + _until_aligned(even.value[begins:ends], block)
        means = block_means(even.value[starts:ends], block)
        at = np.arange((means.size - 1) * parts + 1) / parts
        values.append(means if parts == 1 else np.interp(at, np.arange(means.size), means))
        places.append(starts + (block - 1) / 2 + block * at)
    value, place = np.concatenate(values), np.concatenate(places)
    noise = max(_noise(light, block), LEAST_NOISE * float(value.max()))
    found = durations_of(value, even.step_s * block / parts, noise, light.u_level)
    numbers = np.arange(value.size)
    spans: dict[float, tuple[float, float] | None] = {}
    seconds = dict(found.seconds)
    for level in LEVELS:
        span = found.spans[level]
        if span is None:
            spans[level] = None
            continue
        first, last = (even.at_s(float(np.interp(end, numbers, place))) for end in span)
        spans[level] = first, last
        seconds[level] = last - first
    u_seconds = dict(found.u_seconds)
    if parts > 1:  # what light does between two samples is not known
        u_seconds = {
            level: None if u is None else math.hypot(u, COARSE_U * even.step_s)
            for level, u in u_seconds.items()
        }
    durations = Durations(found.peak, seconds, u_seconds, found.spans)
    time_s = even.start_s + even.step_s * place
    return Timed(durations, spans, pieces[0][0], pieces[-1][1], time_s, value, noise)


def _around(light: Light, firing: int) -> tuple[int, int]:
    """The samples of a firing with what is around it."""
    one = light.firings[firing]
    size = one.last - one.first + 1
    # The less of it stands out, the more of it is around that.
    peak = max(float(light.even.value[one.first : one.last + 1].max()), 1e-300)
    share = min(max(STANDS_OUT * light.noise / peak, LOOKED_DOWN_TO), BARELY)
    more = SPARE * math.log(LOOKED_DOWN_TO) / math.log(share)
    begins = max(one.begins, one.first - max(AROUND, int(max(BEFORE, more) * size)))
    return begins, min(one.ends, one.last + 1 + max(AROUND, int(max(AFTER, more) * size)))


def _until_aligned(value: NDArray[np.float64], block: int) -> int:
    """Samples to leave out at the start, so that no block has a jump of the light inside it.

    A block that is half dark would hide how high the light jumped.
    """
    if block == 1 or value.size < 2:
        return 0
    steps = np.diff(value)
    at = int(steps.argmax())
    return (at + 1) % block if steps[at] > JUMPS * value.max() else 0


def _inside(value: NDArray[np.float64]) -> int:
    """Samples inside t.5, nearly."""
    return max(int((value > 0.5 * value.max()).sum()), 1)


def _noise(light: Light, block: int) -> float:
    """Standard deviation of a mean over a block, as what is dark shows it."""
    if block == 1:
        return light.noise
    least = light.noise / math.sqrt(block)
    if light.noise < 0.5 * light.quantum:
        least = max(least, ROUNDING * light.quantum)
    dark = light.even.value[light.before]
    if dark.size < BLOCKS_OF_DARK * block:
        dark = light.even.value[light.after]
    if dark.size < BLOCKS_OF_DARK * block:
        return least
    means = block_means(dark, block)
    return max(least, 1.4826 * float(np.median(np.abs(means - np.median(means)))))
