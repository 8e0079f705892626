"""The course of a flash's light, for shutters and motion: no more samples than they need."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from verify.pulse.energy import Shone
from verify.pulse.records import Course

MOST_SAMPLES = 20_000


def course_of(parts: Sequence[Shone]) -> Course:
    """One course from the firings in it, with nothing between them.

    Parameters
    ----------
    parts : the light of each firing, in the order of time.
    """
    most = max(MOST_SAMPLES // len(parts) - 4, 2)
    start_s = parts[0].start_s
    times: list[NDArray[np.float64]] = []
    values: list[NDArray[np.float64]] = []
    for n, part in enumerate(parts):
        time_s, value = _thinned(part, most)
        if n:
            # Dark from the end of the one before to just before this one.
            times.append(
                np.array([np.nextafter(times[-1][-1], np.inf), np.nextafter(part.start_s, -np.inf)])
            )
            values.append(np.zeros(2))
        times.append(time_s)
        values.append(value)
    time_s, value = np.concatenate(times) - start_s, np.concatenate(values)
    rising = np.concatenate([[True], np.diff(time_s) > 0])
    return Course(time_s[rising], value[rising])


def _thinned(part: Shone, most: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times and values, averaged in blocks where there are too many; the first stays."""
    block = -(-part.value.size // most)
    if block <= 1:
        return part.time_s, part.value
    first, last = slice(0, 1), slice(1, 1 + (part.value.size - 1) // block * block)
    time_s = part.time_s[last].reshape(-1, block).mean(1)
    value = part.value[last].reshape(-1, block).mean(1)
    return np.concatenate([part.time_s[first], time_s]), np.concatenate([part.value[first], value])
