"""Courses that a cause can give the light, as columns that a search can try.

A family has one cause. Its courses differ in parameters: time constants, the light of the room,
how long a gap counts as idle. A fixed course is a size in stops itself; a free one is scaled.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.diagnose import recharge
from verify.diagnose.series import Series

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEVELS_OFF = (0.04, 0.08, 0.15, 0.3, 0.6)  # time constants of a drift, of the whole series
IDLE = (
    3.0,
    4.5,
    6.0,
    9.0,
    15.0,
)  # times the median gap, from which on a frame comes after an idle gap
CLEARLY_IDLE = 6.0  # times the median gap: no doubt about it
ROOM = np.geomspace(0.02, 30, 16)  # ambient light in the longest open time, of the flash
LEAST_RATIO = 1.3  # of shutter times, that tell ambient light from flash
LEAST_GAPS = 6  # known ones, and LEAST_SPREAD their ratio, that tell a recharge
LEAST_SPREAD = 1.25
SLOWEST_CURTAIN_S = 1 / 45  # no curtain cuts at longer times
LEAST_ISO = 0.2  # stop

# What each cause costs beside its sizes: how seldom it is, against a steady light.
PRIOR = {
    "step": 2.5,
    "drift": 3.0,
    "recycle": 3.0,
    "first-pop": 3.5,
    "ambient": 3.0,
    "shutter-cut": 5.0,
    "iso-not-in-signal": 2.0,
    "drop": 2.0,
}


@dataclass(frozen=True, slots=True, eq=False)
class Family:
    """The courses of one cause."""

    cause: str
    free: bool  # whether a course is scaled; else it is a size in stops
    params: Floats  # (courses, parameters)
    bank: Floats  # (frames, courses)
    shape: Callable[[Floats], Floats] | None  # (courses, parameters) to (frames, courses)
    cost: float
    sign: int = 0  # of the size: + more light, 0 either
    unknown: Bools | None = None  # (frames,) whose course is a guess
    refined: tuple[int, ...] = ()  # parameters that are fitted, on a scale of ratios
    most: tuple[float, ...] = ()  # that each parameter may be; none: anything


def families(series: Series, cut_seen: bool | None) -> list[Family]:
    """Every family that the frames of a series can tell of.

    Parameters
    ----------
    cut_seen : whether the picture itself shows a cut along the curtain's way; None: not known.
    """
    makers = (drift_family, _recycle, _first_pop, _ambient, _iso)
    found = [family for maker in makers for family in maker(series)]
    return found + list(_cut(series, cut_seen))


def half_log(series: Series) -> float:
    """What a fitted size costs: half the logarithm of the number of frames."""
    return 0.5 * math.log(max(int(series.known.sum()), 2))


def step_cost(series: Series) -> float:
    """What a step costs: its size, and its place among all frames."""
    return PRIOR["step"] + half_log(series) + math.log(max(len(series.frames), 2))


def drift_family(series: Series) -> Iterator[Family]:
    """Straight courses by frame number, time or pops, and such that level off."""
    number = np.arange(len(series.frames), dtype=float)
    courses = [number]
    if series.at_s is not None:
        courses.append(series.at_s - series.at_s[0])
    if np.unique(np.diff(series.popped)).size > 1:
        courses.append(series.popped)
    columns, params = [], []
    for kind, course in enumerate(courses):
        if course[-1] <= 0:
            continue
        along = course / course[-1]
        columns.append(along)
        params.append((kind, math.inf))
        for tau in LEVELS_OFF:
            columns.append((1 - np.exp(-along / tau)) / (1 - math.exp(-1 / tau)))
            params.append((kind, tau))
    if len(number) < 4 or not columns:
        return
    cost = PRIOR["drift"] + half_log(series) + math.log(len(columns) / 2)
    yield Family("drift", True, np.array(params), np.column_stack(columns), None, cost)


def _recycle(series: Series) -> Iterator[Family]:
    seen = series.gap_s[np.isfinite(series.gap_s)]
    if seen.size < LEAST_GAPS or seen.max() < LEAST_SPREAD * seen.min():
        return
    params = recharge.first_params(series.gap_s)

    def shape(some: Floats) -> Floats:
        return recharge.losses(series.gap_s, some)

    # A recharge slower than the gaps that are usual looks as first pops do, and is not it.
    most = (float(params[:, 0].max()), 1.0, recharge.CARRIED)
    cost = PRIOR["recycle"] + 2 * half_log(series)
    unknown = np.isnan(series.gap_s)
    yield Family("recycle", False, params, shape(params), shape, cost, -1, unknown, (0, 1), most)


def _first_pop(series: Series) -> Iterator[Family]:
    gaps = np.nan_to_num(series.gap_s, nan=0.0, posinf=np.inf)
    seen = gaps[np.isfinite(gaps) & (gaps > 0)]
    limits = _idle_limits(seen) if seen.size else []
    sets = [gaps > limit for limit in limits]
    clearly = bool(seen.size) and bool((seen > CLEARLY_IDLE * np.median(seen)).any())
    if not clearly:
        sets.append(np.arange(len(gaps)) == 0)  # nothing else says whether it is always so
    chosen: list[Bools] = []
    for idle in (after & series.known for after in sets):
        if 0 < idle.sum() <= len(gaps) / 2 and not any((idle == c).all() for c in chosen):
            chosen.append(idle)
    if not chosen or len(gaps) < 4:
        return
    cost = PRIOR["first-pop"] + half_log(series) + math.log(len(chosen))
    bank = np.column_stack(chosen).astype(float)
    yield Family(
        "first-pop", True, np.arange(len(chosen), dtype=np.float64)[:, None], bank, None, cost
    )


def _idle_limits(seen: Floats) -> list[float]:
    """Gaps from which on a frame may count as after an idle one [s]: the widest break is one."""
    middle = float(np.median(seen))
    long = np.sort(seen[seen > IDLE[0] * middle])
    limits = [k * middle for k in IDLE]
    if long.size > 1:
        widest = int(np.argmax(long[1:] / long[:-1]))
        limits.append(float(np.sqrt(long[widest] * long[widest + 1])))
    return limits


def _ambient(series: Series) -> Iterator[Family]:
    open_s = np.where(series.timed, np.nan, series.shutter_s)
    if not _varies(open_s):
        return
    longest = float(np.nanmax(open_s))
    hour = np.linspace(0, 1, len(open_s))
    if series.at_s is not None:
        hour = (series.at_s - series.at_s[0]) / (series.at_s[-1] - series.at_s[0])
    courses = (np.ones(len(open_s)), hour, 1 - hour)
    unknown = np.isnan(open_s)

    def shape(params: Floats) -> Floats:
        share = open_s / longest
        parts = [share * courses[int(kind)] * room for room, kind in params]
        light = np.log2(1 + np.column_stack(parts))
        middle = np.nanmean(light, axis=0)
        light[unknown] = middle
        return np.asarray(light - middle)

    params = np.array([(room, kind) for kind in range(3) for room in ROOM])
    cost = PRIOR["ambient"] + half_log(series) + 0.5
    unsure = unknown & ~series.timed
    yield Family("ambient", False, params, shape(params), shape, cost, 1, unsure, (0,))


def _cut(series: Series, seen: bool | None) -> Iterator[Family]:
    open_s = np.where(series.timed, np.nan, series.shutter_s)
    if not _varies(open_s) or seen is False:
        return
    times = np.unique(np.round(np.log2(open_s[np.isfinite(open_s)]), 3))[:-1][:12]
    times = times[times < math.log2(SLOWEST_CURTAIN_S)]
    if not times.size:
        return
    short = np.column_stack([np.log2(open_s) <= t + 0.01 for t in times]).astype(float)
    cost = (0.0 if seen else PRIOR["shutter-cut"]) + half_log(series) + math.log(len(times))
    yield Family("shutter-cut", True, np.asarray(np.exp2(times))[:, None], short, None, cost, -1)


def _iso(series: Series) -> Iterator[Family]:
    iso = np.array([f.iso_stops for f in series.frames], float)
    if not np.isfinite(iso).all() or np.ptp(iso) < LEAST_ISO:
        return
    opposite = -(iso - np.median(iso))
    bank = opposite[:, None]
    yield Family(
        "iso-not-in-signal", False, np.zeros((1, 1)), bank, None, PRIOR["iso-not-in-signal"]
    )


def _varies(open_s: Floats) -> bool:
    seen = open_s[np.isfinite(open_s) & (open_s > 0)]
    return bool(seen.size >= 4 and seen.max() > LEAST_RATIO * seen.min())
