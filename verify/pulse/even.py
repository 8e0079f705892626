"""A trace with evenly spaced samples, and means over blocks of them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.trace.records import Trace

ALMOST_EVEN = 0.1  # steps by which a sample may be off an even clock and count as on it
FINEST = 0.1  # share of the steps that may be shorter than those of the even clock
MOST_SAMPLES = 3  # times those of the trace, that an even clock may need


@dataclass(frozen=True, slots=True, eq=False)
class Even:
    """Values at even steps of time."""

    start_s: float  # time of the first sample, in the time of the trace
    step_s: float  # between samples
    value: NDArray[np.float64]  # (samples,)
    recorded_step_s: float  # between the samples as they were recorded: the median

    def at_s(self, sample: float) -> float:
        """Time of a sample, or of a place between two."""
        return self.start_s + sample * self.step_s


def even_of(trace: Trace) -> Even:
    """A trace on an even clock; where its steps differ, by straight lines between samples."""
    time_s, count = trace.time_s, trace.time_s.size
    span_s = float(time_s[-1] - time_s[0])
    mean_s = span_s / (count - 1)
    start_s = float(time_s[0])
    steps = np.diff(time_s)
    if float(steps.max() - steps.min()) < ALMOST_EVEN * mean_s / count:
        return Even(start_s, mean_s, trace.value, mean_s)
    off_s = time_s - (start_s + mean_s * np.arange(count))  # of a clock rounded to few digits
    if max(float(off_s.max()), -float(off_s.min())) < ALMOST_EVEN * mean_s:
        return Even(start_s, mean_s, trace.value, mean_s)
    step_s = max(float(np.quantile(steps, FINEST)), mean_s / MOST_SAMPLES)
    clock = start_s + step_s * np.arange(int(span_s / step_s * (1 + 1e-9)) + 1)
    return Even(start_s, step_s, np.interp(clock, time_s, trace.value), float(np.median(steps)))


def block_means(value: NDArray[np.float64], block: int) -> NDArray[np.float64]:
    """Means over blocks of so many samples; what is left over at the end is left out."""
    if block == 1:
        return value
    whole = value.size // block
    return np.asarray(value[: whole * block].reshape(whole, block).mean(1))


def without_spikes(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Each sample replaced by the middle one of itself and its two neighbours."""
    if value.size < 3:
        return value
    left, here, right = value[:-2], value[1:-1], value[2:]
    middle = np.maximum(np.minimum(left, here), np.minimum(np.maximum(left, here), right))
    return np.concatenate([value[:1], middle, value[-1:]])
