"""Where the frames of a shoot, its pauses and what is found in it are on a plot, in its pixels."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.records import Cause, Diagnosis, Finding, Seen
from verify.report.calibration_groups import width
from verify.report.chart_style import SMALL_PX, Range
from verify.report.diagnosis_json import STEADY
from verify.report.diagnosis_words import label, name_of, pause_text

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
At = Literal["value", "at-least", "at-most", "above", "below"]

EDGE_PX = 9.0  # from the sides of a panel to the first and last frame
TICK_PX, TICK_EM = 92.0, 7.4  # from one named frame to the next; width of its name
JOIN_PX = 1.5  # frames nearer to each other than this are drawn as one run
MOST_NAMED = 6  # findings
MOST_PAUSES, LONG_PAUSE = 10, 10.0  # that are marked; times the usual gap
MOST_STRETCHES = 40  # beyond which their beginnings are not marked
TIMED_SHARE = 0.9  # of the frames, with a known time, for an axis of time
NARROW_GAP = 0.25  # of the mean gap: where a quarter of them is shorter, time squeezes bursts
FAR = 5.0  # heights of what is usual, beyond which a value is drawn at the edge
# Colours that people with any colour vision tell apart: from the "muted" scheme of P. Tol, Colour
# Schemes, SRON/EPS/TN/09-002 (from memory).
COLORS = ("#cc6677", "#332288", "#44aa99", "#999933", "#aa4499", "#117733")
# About all frames or a lasting part of them: the frames keep their own colour.
LASTING: tuple[Cause, ...] = ("step", "drift", "colour", "scatter", "flicker", "lens")


@dataclass(frozen=True, slots=True)
class Tick:
    """A frame that is named below the panels."""

    x: float
    name: str
    time: str  # "" where it is not known


@dataclass(frozen=True, slots=True)
class Break:
    """A long pause, or the first frame of another stretch."""

    x: float
    text: str  # "" where there is no room
    kind: Literal["pause", "stretch"]


@dataclass(frozen=True, slots=True)
class Track:
    """A finding in a row of its own above the light."""

    text: str
    text_x: float  # its left end, or its middle
    centred: bool
    color: str
    runs: tuple[tuple[float, float], ...]  # of its frames, from and to; one frame: both the same
    step_x: float | None  # where a lasting change begins


@dataclass(frozen=True, slots=True, eq=False)
class Plotted:
    """The frames whose light is known, as they are drawn; (frames,) arrays."""

    frames: tuple[Seen, ...]
    x: Floats
    by_time: bool  # distances are those of time; otherwise frames are evenly spaced
    light: Floats  # [stop]
    middle: float  # of it, that the tolerance is around [stop]
    outside: Bools  # beyond the limits of the chart
    tracks: tuple[Track, ...]
    track_of: NDArray[np.int64]  # whose colour a frame has; -1 for none
    ticks: tuple[Tick, ...]
    breaks: tuple[Break, ...]


def plotted(one: Diagnosis, wide: float) -> Plotted:
    """Lay out a series.

    Parameters
    ----------
    one : with the light of one frame known, or more.
    wide : of the panels.
    """
    frames = tuple(f for f in one.frames if np.isfinite(f.rest_stops))
    light = np.array([f.rest_stops for f in frames])
    exact = light[[f.bound is None for f in frames]]
    x, by_time = places(frames, wide)
    outside = np.zeros(len(frames), bool)
    if one.limits is not None:
        outside = (light > one.limits.upper_stops) | (light < one.limits.lower_stops)
    index = {frame.file: at for at, frame in enumerate(frames)}
    named = named_findings(one)
    return Plotted(
        frames=frames,
        x=x,
        by_time=by_time,
        light=light,
        middle=float(np.median(exact if exact.size else light)),
        outside=outside,
        tracks=tuple(
            _track(finding, color, index, x, wide, len(one.frames))
            for finding, color in zip(named, COLORS, strict=False)
        ),
        track_of=_track_of(named, index),
        ticks=_ticks(frames, x),
        breaks=_breaks(frames, x, by_time, wide),
    )


def named_findings(one: Diagnosis) -> tuple[Finding, ...]:
    """Those that are named, the most probable first."""
    return tuple(f for f in one.findings if f.cause != STEADY)[:MOST_NAMED]


def places(frames: Sequence[Seen], wide: float) -> tuple[Floats, bool]:
    """(frames,) where frames are, and whether by time.

    By time where that shows them all. Where long pauses would squeeze what was shot between them,
    or times are not known or run back, frames are evenly spaced.
    """
    count = len(frames)
    if count == 1:
        return np.array([wide / 2]), False
    number = np.arange(count)
    at = np.array([np.nan if f.at_s is None else f.at_s for f in frames], float)
    known = np.isfinite(at)
    along, by_time = number / (count - 1), False
    if known.mean() >= TIMED_SHARE and known[0] and known[-1]:
        gaps = np.diff(at[known])
        if gaps.min() >= 0 and np.quantile(gaps, 0.25) > NARROW_GAP * gaps.mean():
            filled = np.interp(number, number[known], at[known])
            along, by_time = (filled - filled[0]) / (filled[-1] - filled[0]), True
    return EDGE_PX + (wide - 2 * EDGE_PX) * along, by_time


def ends_of(values: Floats, least: Range) -> Range:
    """A scale of what is usual; single values far off do not squeeze it.

    Parameters
    ----------
    values : (values,) one or more.
    least : what is on it in any case.
    """
    low = min(least.low, float(np.quantile(values, 0.1, method="higher")))
    high = max(least.high, float(np.quantile(values, 0.9, method="lower")))
    tall = high - low
    lowest, highest = float(values.min()), float(values.max())
    low = low - 0.3 * tall if lowest < low - FAR * tall else min(low, lowest)
    high = high + 0.3 * tall if highest > high + FAR * tall else max(high, highest)
    pad = 0.08 * (high - low)
    return Range(low - pad, high + pad)


def drawn_at(frames: Sequence[Seen], values: Floats, ends: Range) -> tuple[At, ...]:
    """How each frame is drawn: as a value, a bound, or at an edge of the scale."""
    return tuple(
        "above" if y > ends.high else "below" if y < ends.low else frame.bound or "value"
        for frame, y in zip(frames, values.tolist(), strict=True)
    )


def colors_from_middle(frames: Sequence[Seen]) -> tuple[Floats, Floats]:
    """(frames,) red and blue against green [stop], from the middle; NaN where not known.

    What is measured by the card and in each stretch by the scene has a zero of its own.
    """
    of = [(f.red_green_stops, f.blue_green_stops) for f in frames]
    values = np.array([[np.nan if v is None else v for v in pair] for pair in of], float)
    values[~np.isfinite(values)] = np.nan
    own = np.array([-1 if f.by == "card" else f.stretch for f in frames])
    for group in np.unique(own):
        for column in (0, 1):
            some = own == group
            known = values[some, column][np.isfinite(values[some, column])]
            values[some, column] -= np.median(known) if known.size else 0.0
    return values[:, 0], values[:, 1]


def _track(
    finding: Finding, color: str, index: dict[Path, int], x: Floats, wide: float, count: int
) -> Track:
    at = np.array(sorted(index[file] for file in finding.frames if file in index), int)
    text = label(finding, count)
    first = float(x[at[0]]) if at.size else 0.0
    step_x = None
    if "begins" in finding.detail and at.size and at[0] > 0:
        step_x = float(x[at[0] - 1] + x[at[0]]) / 2
    left = first if step_x is None else step_x
    long = width(text) * SMALL_PX
    centred = left + long > wide
    text_x = left - 4
    if centred:
        last = float(x[at[-1]]) if at.size else first
        text_x = min(max((first + last) / 2, long / 2), wide - long / 2)
    return Track(text, text_x, centred, color, _runs(at, x), step_x)


def _runs(at: NDArray[np.int64], x: Floats) -> tuple[tuple[float, float], ...]:
    """From and to of frames that follow one another."""
    if not at.size:
        return ()
    apart = np.flatnonzero((np.diff(at) > 1) & (np.diff(x[at]) > JOIN_PX))
    starts, stops = np.concatenate([[0], apart + 1]), np.concatenate([apart, [at.size - 1]])
    return tuple((float(x[at[a]]), float(x[at[b]])) for a, b in zip(starts, stops, strict=True))


def _track_of(named: Sequence[Finding], index: dict[Path, int]) -> NDArray[np.int64]:
    """(frames,) the finding of fewest frames that each frame is one of."""
    found = np.full(len(index), -1)
    for n in sorted(range(len(named)), key=lambda n: -len(named[n].frames)):
        at = [index[file] for file in named[n].frames if file in index]
        if named[n].cause not in LASTING and len(at) < max(len(index), 2):
            found[at] = n
    return found


def _ticks(frames: Sequence[Seen], x: Floats) -> tuple[Tick, ...]:
    """Frames that are named, about evenly spaced."""
    several = len({f.captured.date() for f in frames if f.captured is not None}) > 1
    wanted = np.linspace(x[0], x[-1], max(int((x[-1] - x[0]) // TICK_PX) + 1, 1))
    found: list[Tick] = []
    for place in wanted:
        at = int(np.argmin(np.abs(x - place)))
        if not found or x[at] - found[-1].x >= TICK_PX:
            found.append(Tick(float(x[at]), name_of(frames[at].file, TICK_EM),
                              _time_text(frames[at], frames[0].captured, several)))  # fmt: skip
    return tuple(found)


def _time_text(frame: Seen, begins: datetime | None, several_days: bool) -> str:
    """The clock of a frame; where only the time since the first is known, that."""
    if frame.captured is not None:
        return frame.captured.strftime("%d %b %H:%M" if several_days else "%H:%M:%S")
    if frame.at_s is None or begins is not None:
        return ""
    minutes, seconds = divmod(round(frame.at_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"+{hours}:{minutes:02d}:{seconds:02d}"


def _breaks(frames: Sequence[Seen], x: Floats, by_time: bool, wide: float) -> tuple[Break, ...]:
    """Beginnings of stretches, and pauses that the axis does not show."""
    between = (x[1:] + x[:-1]) / 2
    stretch = np.array([f.stretch for f in frames])
    turns = np.flatnonzero(np.diff(stretch))
    wanted: list[tuple[int, str, Literal["pause", "stretch"]]] = []
    if turns.size <= MOST_STRETCHES:
        wanted = [(int(at), f"stretch {stretch[at + 1] + 1}", "stretch") for at in turns]
    gap = np.array([np.nan if f.gap_s is None else f.gap_s for f in frames[1:]], float)
    known = gap[np.isfinite(gap)]
    if known.size and not by_time:
        longest = np.argsort(-np.nan_to_num(gap), kind="stable")[:MOST_PAUSES]
        usual = float(np.median(known))
        wanted += [
            (int(at), pause_text(float(gap[at])), "pause")
            for at in longest
            if gap[at] >= LONG_PAUSE * usual and not (turns == at).any()
        ]
    found: list[Break] = []
    taken: list[tuple[float, float]] = []
    for at, text, kind in wanted:
        half = width(text) * SMALL_PX / 2 + 3
        left, right = float(between[at]) - half, float(between[at]) + half
        room = left >= 0 and right <= wide and all(right < a or b < left for a, b in taken)
        taken += [(left, right)] if room else []
        found.append(Break(float(between[at]), text if room else "", kind))
    return tuple(found)
