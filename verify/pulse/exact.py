"""Durations and energy of a course without noise, such as a model's.

Light runs straight from sample to sample, and there is none before the first and after the last.
"""

import numpy as np
from numpy.typing import NDArray

from verify.pulse.records import LEVELS, Course
from verify.pulse.shutter import light_out


def span(course: Course, level: float) -> tuple[float, float]:
    """First and last crossing of a level of the peak [s].

    Parameters
    ----------
    course : with light in it.
    level : of the peak, 0 to 1.
    """
    time, value = course.time_s, course.value
    wanted = level * float(value.max())
    above = np.flatnonzero(value >= wanted)
    return (
        _crossing(time, value, int(above[0]), -1, wanted),
        _crossing(time, value, int(above[-1]), 1, wanted),
    )


def course_durations(course: Course) -> dict[float, float]:
    """t.x by x: from the first to the last crossing of x of the peak [s].

    References
    ----------
    ISO 2827:1988 for t.5 and t.1.
    """
    spans = {level: span(course, level) for level in LEVELS}
    return {level: last - first for level, (first, last) in spans.items()}


def energy_within(course: Course, level: float) -> float:
    """Share of the light between the first and the last crossing of a level of the peak."""
    light = light_out(course.time_s, course.value)
    first, last = light.by(np.array(span(course, level)) - course.time_s[0])
    return float(last - first)


def time_to_energy(course: Course, share: float) -> float:
    """Time from a course's first light until a share of all its light is out [s]."""
    return light_out(course.time_s, course.value).until(share)


def energy_of(course: Course) -> float:
    """The area below a course [its unit x s]."""
    return float(np.trapezoid(course.value, course.time_s))


def _crossing(
    time: NDArray[np.float64], value: NDArray[np.float64], at: int, step: int, level: float
) -> float:
    """Where light crosses a level between a sample that reaches it and the next one outside."""
    beside = at + step
    if not 0 <= beside < value.size:
        return float(time[at])
    part = (value[at] - level) / (value[at] - value[beside])
    return float(time[at] + part * (time[beside] - time[at]))
