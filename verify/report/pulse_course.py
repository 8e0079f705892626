"""What of a flash's course a plot shows: how far in time, in how many points."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.pulse.records import Firing
from verify.pulse.shutter import LightOut

Values = NDArray[np.float64]

BINS = 700  # of the time that is shown; two points of each are drawn
ALL_BUT_OUT = 0.995  # of the light
DARK = 0.02  # of the peak: a course that ends below it ends because the light does
ROOM = 1.5  # times shown, over the time to the last crossing of a tenth of the peak: for its label
REACH = 2.5  # a shutter that closes later than so many of these tells nothing


@dataclass(frozen=True, slots=True)
class Span:
    """A duration in the picture."""

    level: float  # of the peak
    from_s: float  # first crossing
    length_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A course as it is drawn."""

    time_s: Values  # (points,) from the first light
    light: Values  # (points,) share of the peak
    out: Values  # (points,) share of all light that is out
    end_s: float  # of the time that is shown
    spans: tuple[Span, ...]  # t.5 and t.1, those that are known


def drawn_course(firing: Firing, running: LightOut, closings_s: Sequence[float]) -> Drawn:
    """A course with few enough points, none of its peaks lost.

    Parameters
    ----------
    firing : with light in its course.
    running : share of its light that is out.
    closings_s : when rows are covered, after the first light; those that come long after the light
        is out do not stretch the picture.
    """
    time_s, light = running.time_s, firing.course.value / _peak(firing)
    last_s = float(time_s[np.flatnonzero(light >= 0.1)[-1]])
    end_s = max(running.until(ALL_BUT_OUT), ROOM * last_s)
    end_s = max([end_s, *(1.08 * one for one in closings_s if one <= REACH * end_s)])
    kept = _thinned(time_s, light, end_s)
    shown_s, shown, out = time_s[kept], light[kept], running.share[kept]
    if time_s[-1] >= end_s:
        shown_s = np.append(shown_s, end_s)
        shown = np.append(shown, np.interp(end_s, time_s, light))
        out = np.append(out, np.interp(end_s, time_s, running.share))
    elif light[-1] <= DARK:
        # After it there is no light. Where the recording ends before the light, the picture does.
        shown_s = np.append(shown_s, [time_s[-1], end_s])
        shown, out = np.append(shown, [0.0, 0.0]), np.append(out, [1.0, 1.0])
    return Drawn(shown_s, shown, out, end_s, _spans(firing, time_s, light))


def _peak(firing: Firing) -> float:
    """The peak in the unit of the course: as it was found, since a noisy maximum lies above it."""
    highest = float(firing.course.value.max())
    found = firing.exposing.peak
    return found if 0.5 * highest <= found <= highest else highest


def _thinned(time_s: Values, light: Values, end_s: float) -> NDArray[np.intp]:
    """Which samples are drawn: the lowest and the highest of each short time, and the ends."""
    count = int(np.searchsorted(time_s, end_s))
    if count <= 2 * BINS:
        return np.arange(count)
    bins = np.minimum((time_s[:count] / end_s * BINS).astype(int), BINS - 1)
    starts = np.flatnonzero(np.diff(bins, prepend=-1))
    kept = [0, count - 1]
    for start, stop in itertools.pairwise([*starts.tolist(), count]):
        inside = light[start:stop]
        kept += [start + int(inside.argmin()), start + int(inside.argmax())]
    return np.unique(kept)


def _spans(firing: Firing, time_s: Values, light: Values) -> tuple[Span, ...]:
    """The durations that are drawn, each from the first crossing of its level."""
    spans = []
    for level in (0.5, 0.1):
        length_s = firing.exposing.durations_s.get(level)
        if length_s is None:
            continue
        at = int(np.argmax(light >= level))
        from_s = float(time_s[at])
        if at > 0:
            below, above = light[at - 1], light[at]
            part = (level - below) / (above - below)
            from_s = float(time_s[at - 1] + part * (time_s[at] - time_s[at - 1]))
        spans.append(Span(level, from_s, length_s))
    return tuple(spans)
