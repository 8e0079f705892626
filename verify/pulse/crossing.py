"""Where light crosses a level: by a line or a parabola through the values near it."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

JUMP = 0.3  # of the peak from one sample to the next: light was switched, and not followed
NEAR_JUMP = 3  # samples from a smoothed crossing, where such a jump may be
HALF_STEP_U = 1 / math.sqrt(12)  # samples, of a jump that was anywhere between two
REACHES = (2, 3, 4, 6, 8, 11, 15, 20)  # samples on each side of the crossing
PARABOLA_FROM = 8  # values; fewer are followed by a line
MISFIT = 1.5  # deviations of the sum of squares beyond which a longer curve does not fit
ALONE = 7  # samples, of which most must be above a level
OUT = 2  # reaches in a row that do not fit: longer ones will not either
MOVED = 0.7  # of it
BESIDE = 3.0  # samples off the smoothed crossing, and half the reach, that a curve may cross at
CUT_WITHIN = 12  # samples beyond a crossing, in which a pulse may be cut at about that level
CUT_UNSURE = 2.5  # uncertainties of the level within which it is


@dataclass(frozen=True, slots=True)
class Crossing:
    """One crossing of a level."""

    place: float  # [sample]
    u: float  # standard uncertainty by the noise near it [sample]
    slope: float  # light by which it rises or falls there [unit a sample]; infinite for a jump


@dataclass(frozen=True, slots=True)
class Shape:
    """A pulse that is looked at."""

    value: NDArray[np.float64]  # (samples,) above the baseline
    smooth: NDArray[np.float64]  # (samples,) the same without most of the noise
    noise: float  # standard deviation of a value
    peak: float


def first_and_last(shape: Shape, level: float, u_level: float) -> tuple[Crossing, Crossing] | None:
    """The first and the last crossing; None where the record begins or ends above the level.

    Parameters
    ----------
    shape : the pulse.
    level : above the baseline, with its standard uncertainty ``u_level``.
    """
    # Single samples that noise lifts over the level are no crossing.
    above = np.flatnonzero(median_filter(shape.smooth, ALONE, mode="nearest") >= level)
    if not above.size or above[0] == 0 or above[-1] == shape.smooth.size - 1:
        return None
    first, last = (
        _crossing(shape, level, int(above[0]), -1),
        _crossing(shape, level, int(above[-1]), 1),
    )
    cut = _cut_near(shape, int(above[-1]), level, u_level)
    if cut is None:
        return first, last
    # It crosses the level, or is cut before it does: the cut is taken, and that it may be neither.
    there = _crossing(shape, level, cut, 1)
    return first, replace(there, u=math.hypot(there.u, (there.place - last.place) / 2))


def _cut_near(shape: Shape, last: int, level: float, u_level: float) -> int | None:
    """The last sample before a cut that comes while the light may still be at the level."""
    value, smooth = shape.value, shape.smooth
    unsure = CUT_UNSURE * math.hypot(u_level, shape.noise / 2)
    for at in range(last + 1, min(last + CUT_WITHIN, value.size - 1)):
        if value[at] - value[at + 1] > JUMP * shape.peak:
            return at if smooth[max(at - 1, last)] >= level - unsure else None
    return None


def _crossing(shape: Shape, level: float, at: int, step: int) -> Crossing:
    """The crossing between a sample above the level and the next one below it."""
    value, smooth = shape.value, shape.smooth
    beside = at + step
    jump = _jump_near(shape, level, at, step)
    if jump is not None:
        return Crossing(jump + step / 2, HALF_STEP_U, math.inf)
    middle = (at + beside) / 2
    found: Crossing | None = None
    strikes = 0
    for reach in REACHES:
        first = max(min(at, beside) - reach + 1, 0)
        last = min(max(at, beside) + reach, value.size)
        off, near = np.arange(first, last) - middle, value[first:last]
        terms = np.asarray(np.vander(off, 2 if off.size < PARABOLA_FROM else 3), float)
        curve = np.linalg.lstsq(terms, near)[0]
        spare = off.size - curve.size
        misfit = float(((near - terms @ curve) ** 2).sum()) / shape.noise**2
        if spare > 0 and misfit > spare + MISFIT * math.sqrt(2 * spare) and found is not None:
            strikes += 1  # one may be chance
            if strikes == OUT:
                break
            continue
        strikes = 0
        crossing = _root(curve, terms, level, middle, shape.noise, BESIDE + reach / 2)
        if crossing is not None:
            # What a longer curve moved it by is what a curve may be wrong by.
            moved = 0.0 if found is None else abs(crossing.place - found.place)
            found = replace(crossing, u=math.hypot(crossing.u, MOVED * moved))
    if found is not None:
        return found
    slope = max(smooth[at] - smooth[beside], 1e-12)
    return Crossing(
        at + step * float((smooth[at] - level) / slope), shape.noise / slope, float(slope)
    )


def _jump_near(shape: Shape, level: float, at: int, step: int) -> int | None:
    """The last sample before light jumps past a level; smoothing may have moved the crossing."""
    value = shape.value
    for off in sorted(range(-NEAR_JUMP, NEAR_JUMP + 1), key=abs):
        here = at + off * step
        if 0 <= here < value.size and 0 <= here + step < value.size:
            fall = value[here] - value[here + step]
            if fall > JUMP * shape.peak and value[here] >= level > value[here + step]:
                return here
    return None


def _root(
    curve: NDArray[np.float64], terms: NDArray[np.float64], level: float, middle: float,
    noise: float, within: float,
) -> Crossing | None:  # fmt: skip
    """Where a curve crosses the level nearest to the middle; None where it does not, near it."""
    roots = np.roots([*curve[:-1], curve[-1] - level])
    real = roots[np.abs(roots.imag) < 1e-9].real
    if not real.size:
        return None
    off = float(real[np.abs(real).argmin()])
    slope = abs(float(np.polyval(np.polyder(curve), off)))
    if abs(off) > within or slope == 0:
        return None
    there = np.vander([off], curve.size)[0]
    spread = float(there @ np.linalg.inv(terms.T @ terms) @ there)
    return Crossing(middle + off, noise * math.sqrt(spread) / slope, slope)
