"""Frames that lose light by themselves: grouped by their loss, to what may have done it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.color import colors_of
from verify.diagnose.fit import CLEAR, LEAST_DROP, Fitted, Term
from verify.diagnose.picture import Picture
from verify.diagnose.series import Series

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LONGEST_RUN, RUN_SHARE = 10, 0.1  # frames of a run; of the series
ALIKE = 4.0  # standard deviations between losses that are one
FEW = 8  # frames of one loss, that have to be far off
LEAST_LOSS = 1.2  # of the tolerance
ALONE, TAILS = 4.5, 1.25  # standard deviations; times the most that a frame is high by
NO_FLASH, NEAR_AMBIENT, LEAST_NO_FLASH = 2.5, 0.7, 1.0  # stop
EXTRA_POP = 0.1  # stop, that a pop too many may be off from what it should give
POP_SPREAD = 0.03  # stop: pops of one exposure are not quite equal
LAMP_RANGE = 2.5  # stop, over which the share of a lamp may lie
MORE_MISSING = 0.2  # as likely for each pop more that is missing
SHIFTED = 3.0  # times its usual change: colour or pattern of light is another
SUPPORT = 200.0  # times likelier by that that a lamp was missing


@dataclass(frozen=True, slots=True, eq=False)
class Loss:
    """Frames that lost about the same share of their light."""

    frames: Bools
    stops: float  # below 0
    u_stops: float  # its standard uncertainty
    chance: float  # that these frames are off
    evidence: float  # as a logarithm of likelihood


@dataclass(frozen=True, slots=True)
class Missing:
    """What was missing, and the chance of that against the other."""

    cause: str  # "lamp-missing" or "pop-missing"
    chance: float
    pops: int  # missing, of pop-missing
    color_stops: float | None  # red and blue against green of those frames, the larger change
    pattern: float | None  # change of the pattern of light, against its usual one


def losses(series: Series, model: Fitted, scale: Floats) -> tuple[list[Loss], tuple[int, ...]]:
    """Groups of frames that lose light, and the places of steps that are none but runs of them.

    Parameters
    ----------
    scale : (frames,) scatter of a frame against that of the others.
    """
    count = len(series.frames)
    levels = [t.params[0] for t in model.terms if t.is_drop]
    stray = series.known & (model.usual + model.dropped.sum(0) < 0.5)
    clear = np.maximum(LEAST_DROP, CLEAR * model.sigma * scale)
    groups: list[tuple[Bools, float]] = []
    for level, chance in zip(levels, model.dropped, strict=True):
        near = stray & (np.abs(model.residuals - level) < ALIKE * model.sigma * scale)
        stray &= ~near
        groups.append(((chance >= 0.5) | near, level))
    low = np.flatnonzero(stray & (model.residuals < -clear))
    for members in _alike(model.residuals[low], ALIKE * model.sigma):
        frames = np.zeros(count, bool)
        frames[low[members]] = True
        groups.append((frames, float(np.median(model.residuals[frames]))))
    runs = list(_runs(model, count))
    groups = [(frames & ~_first_pops(series, model, frames), level) for frames, level in groups]
    high = _tail(series, model)
    found = [
        _loss(model, frames, level)
        for frames, level in groups
        if frames.any() and -level >= _least(series, model, frames, scale, high)
    ]
    for frames, level, _ in runs:
        same = next(
            (n for n, g in enumerate(found) if abs(g.stops - level) < ALIKE * model.sigma), None
        )
        joined = frames if same is None else frames | found[same].frames
        one = _loss(model, joined, level)
        if same is None:
            found.append(one)
        else:
            found[same] = one
    return found, tuple(place for *_, pair in runs for place in pair)


def _first_pops(series: Series, model: Fitted, frames: Bools) -> Bools:
    """Frames with an unknown gap that are off as first pops are: they may well be some."""
    for term, size in zip(model.terms, model.sizes, strict=True):
        if term.cause == "first-pop":
            alike = np.abs(model.residuals - size) < ALIKE * model.sigma
            return np.asarray(frames & alike & np.isnan(series.gap_s))
    return np.zeros(len(frames), bool)


def _tail(series: Series, model: Fitted) -> float:
    """How far frames are high that are no usual ones, as the tail of a scatter makes them [stop].

    Such a tail has about as many frames on one side as on the other; and one pop more than planned
    is none.
    """
    off = model.residuals[(model.usual < 0.5) & series.known]
    pops = np.array([max(frame.pops, 1) for frame in series.frames], float)
    extra = np.log2((pops + 1) / pops)[(model.usual < 0.5) & series.known]
    highs = np.sort(off[(off > 0) & (np.abs(off - extra) > EXTRA_POP)])[::-1]
    wanted = max(int(np.count_nonzero(off < 0)) // 2, 1)
    return float(highs[wanted - 1]) if highs.size >= wanted else 0.0


def _least(series: Series, model: Fitted, frames: Bools, scale: Floats, high: float) -> float:
    """The least loss that is a finding [stop]: more of single frames than of many alike.

    Where single frames are as far off to the other side it is a scatter with long tails.
    """
    least = LEAST_LOSS * series.tolerance
    if frames.sum() > FEW:
        return least
    return max(least, ALONE * model.sigma * float(scale[frames].max()), TAILS * high)


def _loss(model: Fitted, frames: Bools, level: float) -> Loss:
    number = int(frames.sum())
    u = model.sigma / math.sqrt(number)
    chance = float(np.mean(1 - model.usual[frames])) if number else 0.0
    evidence = number * min(0.5 * (level / model.sigma) ** 2, 700.0)
    return Loss(frames, level, u, max(chance, 0.5), evidence)


def _alike(values: Floats, reach: float) -> Iterator[NDArray[np.int64]]:
    """Places of values in groups without a gap wider than ``reach``."""
    if not values.size:
        return
    order = np.argsort(values)
    ends = np.flatnonzero(np.diff(values[order]) > reach) + 1
    yield from np.split(order, ends)


def _runs(model: Fitted, count: int) -> Iterator[tuple[Bools, float, tuple[int, int]]]:
    """Steps down and soon back up by as much: frames, loss, places of both among the terms."""
    steps = sorted((t.at, n) for n, t in enumerate(model.terms) if t.cause == "step")
    longest = max(3, min(LONGEST_RUN, round(RUN_SHARE * count)))
    number = np.arange(count)
    at = 0
    while at + 1 < len(steps):
        (first, one), (second, other) = steps[at], steps[at + 1]
        down, up = model.sizes[one], model.sizes[other]
        slack = max(3 * model.sigma * math.sqrt(2 / (second - first)), -0.2 * down)
        if down < 0 and second - first <= longest and abs(down + up) < slack:
            yield (number >= first) & (number < second), down, (one, other)
            at += 1
        at += 1


def fell_to_ambient(series: Series, frames: Bools, stops: float) -> bool:
    """Whether so much light is gone that no flash can have fired."""
    under = [
        f.ambient_under_stops
        for f, inside in zip(series.frames, frames, strict=True)
        if inside and f.ambient_under_stops is not None
    ]
    if under:
        return stops <= -max(float(np.median(under)) - NEAR_AMBIENT, LEAST_NO_FLASH)
    return stops <= -NO_FLASH


def is_dark_first(series: Series, term: Term, size: float) -> bool:
    """Whether a term for the first pop is a frame in which no flash fired."""
    single = term.cause == "first-pop" and term.values.sum() == 1
    return bool(single and fell_to_ambient(series, term.values > 0, size))


def missing(series: Series, model: Fitted, picture: Picture, loss: Loss) -> Missing:
    """Whether a lamp was missing or a pop, by the loss, the colour and the pattern of light."""
    color, shifted = _color_change(series, model, loss.frames)
    pattern = None
    inside = picture.pattern[loss.frames]
    outside = picture.pattern[(model.usual > 0.5) & ~loss.frames]
    if np.isfinite(inside).any() and np.isfinite(outside).any():
        pattern = float(np.nanmedian(inside) / max(float(np.nanmedian(outside)), 1e-3))
    planned = [f.pops for f, i in zip(series.frames, loss.frames, strict=True) if i]
    count = int(np.median(planned))
    lamp = 1 / LAMP_RANGE
    if shifted or (pattern is not None and pattern > SHIFTED):
        lamp *= SUPPORT
    pop, gone = 0.0, 0
    for number in range(1, count):
        expected = math.log2((count - number) / count)
        width = math.hypot(loss.u_stops, POP_SPREAD)
        off = (loss.stops - expected) / width
        likely = math.exp(-0.5 * min(off * off, 700)) / width / math.sqrt(2 * math.pi)
        likely *= MORE_MISSING ** (number - 1)
        if likely > pop:
            pop, gone = likely, number
    cause = "pop-missing" if pop > lamp else "lamp-missing"
    return Missing(cause, max(pop, lamp) / (pop + lamp), gone, color, pattern)


def _color_change(series: Series, model: Fitted, frames: Bools) -> tuple[float | None, bool]:
    """Change of colour in the frames [stop], and whether it is beyond the scatter of colour."""
    change: float | None = None
    shifted = False
    for values in colors_of(series):
        others = values[(model.usual > 0.5) & ~frames & np.isfinite(values)]
        own = values[frames & np.isfinite(values)]
        if others.size < 3 or not own.size:
            continue
        move = float(np.median(own) - np.median(others))
        spread = 1.4826 * float(np.median(np.abs(others - np.median(others))))
        if change is None or abs(move) > abs(change):
            change = move
        error = max(spread, 0.003) * math.sqrt(1 / own.size + 1 / others.size)
        shifted = shifted or abs(move) > max(SHIFTED * error, 0.02)
    return change, shifted
