"""Where light crosses a level: by curves through the values near it, up to where it jumps."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from verify.pulse.curves import curves_through

HALF_STEP_U = 1 / math.sqrt(12)  # samples, of a jump that was anywhere between two
REACHES = (28, 16, 9, 5, 3)  # samples on each side of the crossing
LEAST = 4  # samples beside it, however much they differ
RANGE = 0.3  # of the peak, that light may differ by over such a reach
FOLLOWS = 2.0  # deviations of the sum of squares, within which a curve follows the light
NEAR = 3  # samples that smoothing may have moved a crossing by, where light is steep
SURE = 2.0  # deviations by which a sample is above the level, or below it, for sure
BENDS = 6.0  # deviations that noise alone may bend three samples by
SLOPE_OVER = 0.25  # half stretches on each side, over which a shallow slope is taken
ROUNDS = 3  # curves about a place tell where the crossing is; then those about that place
BESIDE = 3.0  # samples, and times the noise over the slope, that it may be off the smoothed one
CLOSE = 1.0  # samples by which a round may move it and be the last
PRICE = 2.0  # of a coefficient (Akaike): a curve too stiff is off, and does not know it
UNSURE = 4.0  # deviations within which light may be at the level when it jumps
LIKELY = 2.0  # the same, of what has come down so far that it crossed the level before
NORMAL = np.linspace(-4, 4, 81)  # deviations at which a normal distribution is summed
WEIGHTS = np.exp(-(NORMAL**2) / 2) / np.exp(-(NORMAL**2) / 2).sum()

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Crossing:
    """One crossing of a level."""

    place: float  # [sample]
    u: float  # standard uncertainty by the noise near it [sample]
    slope: float  # light by which it rises or falls there [unit a sample]; infinite for a jump


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A pulse that is looked at."""

    value: Values  # (samples,) above the baseline
    smooth: Values  # (samples,) the same without most of the noise
    jumps: NDArray[np.intp]  # the last sample before each jump
    noise: float  # standard deviation of a value
    peak: float  # about

    def turned(self) -> "Shape":
        """The same backwards in time."""
        backwards = self.value.size - 2 - self.jumps[::-1]
        return Shape(self.value[::-1], self.smooth[::-1], backwards, self.noise, self.peak)


@dataclass(frozen=True, slots=True)
class _Near:
    """Light at a place."""

    value: float
    u: float
    slope: float  # [unit a sample]


def first_and_last(shape: Shape, level: float, u_level: float) -> tuple[Crossing, Crossing] | None:
    """The first and the last crossing; None where the record begins or ends above the level.

    Parameters
    ----------
    shape : the pulse.
    level : above the baseline, with its standard uncertainty ``u_level``.
    """
    above = np.flatnonzero(shape.smooth >= min(level, float(shape.smooth.max())))
    end = shape.smooth.size - 1
    if above[0] == 0 or above[-1] == end:
        return None
    turned = _last(shape.turned(), end - int(above[0]), level, u_level)
    first = Crossing(end - turned.place, turned.u, turned.slope)
    return first, _last(shape, int(above[-1]), level, u_level)


def _last(shape: Shape, above: int, level: float, u_level: float) -> Crossing:
    """The crossing after the last sample whose smoothed light is above the level."""
    step = _sure_step(shape, above, level)
    if step is None:
        jump = _jump_at(shape, above, level, u_level)
        if jump is None:
            return _followed(shape, above, level)
        return _about_jump(shape, jump, level, u_level)
    if (shape.jumps == step).any():
        return _about_jump(shape, step, level, u_level)
    return _in_step(shape, step, _followed(shape, step, level), level)


def _about_jump(shape: Shape, jump: int, level: float, u_level: float) -> Crossing:
    """The crossing in a jump, or before it.

    Where light comes down to about the level and then jumps, it may have crossed it in the jump or
    before. The likelier is taken, and how far off the other may be is a part of its uncertainty.
    """
    before = _near(shape, jump, jump)
    over, u_over = before.value - level, math.hypot(before.u, u_level)
    first = max(_reach(shape, jump)[0], jump - REACHES[0])
    falls = -_slope(shape.value[first : jump + 1])
    if over > UNSURE * u_over or falls <= 0:
        return Crossing(jump + 0.5, HALF_STEP_U, math.inf)
    taken = min(over / falls, 0.5)
    if over < 0:  # it crossed before the jump: what the light is there tells more surely
        there = _near(shape, math.floor(jump + taken), jump + taken)
        taken = min(taken + (there.value - level) / falls, 0.5)
        over, u_over = taken * falls, math.hypot(there.u, u_level)
    places = np.minimum((over + NORMAL * u_over) / falls, 0.5)
    spread = float(WEIGHTS @ (places - taken) ** 2)
    return Crossing(jump + taken, math.hypot(math.sqrt(spread), HALF_STEP_U), math.inf)


def _sure_step(shape: Shape, above: int, level: float) -> int | None:
    """The last sample near the smoothed crossing with no doubt that light crosses after it."""
    first, last = max(above - NEAR, 0), min(above + NEAR + 1, shape.value.size - 1)
    over = shape.value[first : last + 1] - level
    sure = np.flatnonzero((over[:-1] > SURE * shape.noise) & (over[1:] < -SURE * shape.noise))
    return first + int(sure[-1]) if sure.size else None


def _in_step(shape: Shape, step: int, followed: Crossing, level: float) -> Crossing:
    """The crossing, when it is between a sample and the next.

    Between them light may bend as much as it does around them.
    """
    value = shape.value
    falls = float(value[step] - value[step + 1])
    bends = np.abs(np.diff(value[max(step - 1, 0) : step + 3], 2)).max(initial=0.0)
    bent = min(max(float(bends) - BENDS * shape.noise, 0) / falls, 1) * HALF_STEP_U
    if step <= followed.place <= step + 1:
        return replace(followed, u=math.hypot(followed.u, bent))
    place = step + float(value[step] - level) / falls
    return Crossing(place, math.hypot(shape.noise / falls, bent), falls)


def _jump_at(shape: Shape, above: int, level: float, u_level: float) -> int | None:
    """The jump down in which the light may cross the level, if there is one."""
    for jump in shape.jumps[shape.jumps >= above - NEAR]:
        before, after = shape.value[jump], shape.value[jump + 1]
        if before <= after or after >= level:
            continue
        if jump <= above + NEAR and before >= level:
            return int(jump)
        near = _near(shape, int(jump), int(jump))
        if near.value > level - LIKELY * math.hypot(near.u, u_level):
            return int(jump)
        return None
    return None


def _followed(shape: Shape, above: int, level: float) -> Crossing:
    """The crossing after a sample, by the light that goes through it."""
    step = max(float(shape.smooth[above] - shape.smooth[above + 1]), 1e-12)
    start = above + float(np.clip((shape.smooth[above] - level) / step, 0, 1))
    found = Crossing(start, math.hypot(shape.noise / step, HALF_STEP_U), step)
    place = start
    for _ in range(ROUNDS):
        near = _near(shape, math.floor(place), place)
        if near.slope >= 0:
            break
        moved = (level - near.value) / near.slope
        place += moved
        if abs(place - start) > min(BESIDE * (1 + shape.noise / -near.slope), REACHES[0]):
            break  # these curves are about something else
        found = Crossing(place, near.u / -near.slope, -near.slope)
        if abs(moved) < CLOSE:
            break
    return found


def _near(shape: Shape, at: int, place: float) -> _Near:
    """Light at a place, by curves through the values near it.

    Parameters
    ----------
    at : the curves go through this sample and as many on either side as they reach.
    """
    begins, ends = _reach(shape, at)
    at = min(max(at, begins), ends)
    for reach in REACHES:  # the longer, the more values tell; if a curve can follow it
        first, last = max(at - reach, begins), min(at + reach, ends)
        curves = curves_through(shape.value[first : last + 1], shape.noise, PRICE)
        if curves is None:
            break
        if curves.misfit > FOLLOWS:
            continue
        half = (last - first) / 2
        wide = max(SLOPE_OVER * half, 0.5)
        away = np.array([0.0, -0.5, 0.5, -wide, wide])
        light, terms = curves.at((place + away - (first + last) / 2) / half)
        weights = curves.weights
        mean = weights @ light
        variances = shape.noise**2 * curves.variances(terms[:, 0]) + (light[:, 0] - mean[0]) ** 2
        value, slope = float(mean[0]), float(mean[2] - mean[1])
        if abs(slope) < shape.noise and first <= place - wide and place + wide <= last:
            slope = float(mean[4] - mean[3]) / (2 * wide)  # noise makes a shallow one steep or flat
        return _Near(value, math.sqrt(float(weights @ variances)), slope)
    beside = at + 1 if at < ends else max(at - 1, begins)
    slope = float(shape.value[beside] - shape.value[at]) / ((beside - at) or 1)
    return _Near(float(shape.value[at]) + slope * (place - at), shape.noise, slope)


def _slope(values: Values) -> float:
    """Of a line through values [unit a sample]."""
    off = np.arange(values.size) - (values.size - 1) / 2
    return float(off @ values) / max(float(off @ off), 1e-12)


def _reach(shape: Shape, at: int) -> tuple[int, int]:
    """The first and the last sample beside one that a curve may go through.

    They are in the same piece between jumps, and not much brighter or darker.
    """
    begins, ends = _piece(shape, at)
    at = min(max(at, begins), ends)
    far = np.abs(shape.smooth - shape.smooth[at]) > RANGE * shape.peak
    before, after = np.flatnonzero(far[:at]), np.flatnonzero(far[at + 1 :])
    return (
        max(begins, min(int(before[-1]) + 1, at - LEAST)) if before.size else begins,
        min(ends, max(at + int(after[0]), at + LEAST)) if after.size else ends,
    )


def _piece(shape: Shape, at: int) -> tuple[int, int]:
    """The first and the last sample of the piece between jumps that a sample is in."""
    begins = shape.jumps[shape.jumps < at]
    ends = shape.jumps[shape.jumps >= at]
    return (
        int(begins[-1]) + 1 if begins.size else 0,
        int(ends[0]) if ends.size else shape.value.size - 1,
    )
