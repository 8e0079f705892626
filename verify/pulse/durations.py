"""Durations of a pulse at levels of its peak, and how sure they are.

t.x runs from the first to the last crossing of x of the peak above the baseline (ISO 2827).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.crossing import Crossing, Shape, first_and_last
from verify.pulse.jumps import jumps_of
from verify.pulse.peak import Peak, peak_of
from verify.pulse.records import LEVELS
from verify.pulse.smoothing import smoothed


@dataclass(frozen=True, slots=True)
class Durations:
    """What is known of one pulse's times."""

    peak: Peak
    seconds: dict[float, float | None]  # by level; None where it cannot be known
    u_seconds: dict[float, float | None]  # their standard uncertainties
    spans: dict[float, tuple[float, float] | None]  # first and last crossing [sample]


def durations_of(
    value: NDArray[np.float64], step_s: float, noise: float, u_baseline: float
) -> Durations:
    """Durations at every level.

    Parameters
    ----------
    value : (samples,) light above the baseline, evenly spaced, one pulse and what is around it.
    step_s : time between samples [s].
    noise : standard deviation of a value.
    u_baseline : standard uncertainty of the baseline.
    """
    smooth = smoothed(value, noise)
    jumps = jumps_of(value, smooth, noise)
    peak = peak_of(value, smooth.value, jumps, noise)
    shape = Shape(value, smooth.value, jumps, noise, peak.value)
    seconds: dict[float, float | None] = {}
    deviations: dict[float, float | None] = {}
    spans: dict[float, tuple[float, float] | None] = {}
    for level in LEVELS:
        u_level = math.hypot(level * peak.u, (1 - level) * u_baseline)
        ends = first_and_last(shape, level * peak.value, u_level)
        if ends is None or ends[0].place >= ends[1].place:
            seconds[level] = deviations[level] = spans[level] = None
            continue
        first, last = ends
        seconds[level] = (last.place - first.place) * step_s
        deviations[level] = _u(first, last, u_level) * step_s
        spans[level] = first.place, last.place
    return Durations(peak, seconds, deviations, spans)


def _u(first: Crossing, last: Crossing, u_level: float) -> float:
    """Standard uncertainty of the time between two crossings [sample].

    A level that is too high moves both towards each other.
    """
    moved = u_level * (1 / first.slope + 1 / last.slope)
    return math.hypot(first.u, last.u, moved)
