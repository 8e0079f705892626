"""Light that differs from frame to frame at random: from the pops, the lens or flickering light.

What tells them apart is where the scatter is: in all frames, in stopped-down ones only, or in
those whose shutter time is no whole number of half periods of the mains.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, stats

from verify.diagnose.series import Series

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

OUTSIDE = 1.96  # standard deviations in a tolerance of which 5 % of the frames fall outside
SURE = 0.05  # of chance, that the scatter is not above that
LEAST_GROUP = 6  # frames on each side
CHANCE = 3.2  # standard deviations of the ratio of two scatters
CLIPPED_WORTH = 0.8  # of the frames, that a mean deviation with clipping has
CLIP = 4.0  # typical deviations
STOPPED = 0.9  # stop from the widest aperture
MAINS_HZ = (50.0, 60.0)
THROUGH, HELD = 0.12, 0.05  # of a ripple: what is let through, what is held back
WINDOW = 9  # frames of a running median
MOST_RATIO = 30.0
NORMAL_TAILS, RIPPLE_TAILS = 0.0, -1.3  # excess kurtosis; of a sine with some noise
RIPPLE_SPREAD = 0.35  # of that of a ripple
OTHER_TIMES, ROUND_TIMES = 2.0, 0.2  # odds of flicker beforehand, by the shutter times

SpreadCause = Literal["scatter", "lens", "flicker"]


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Frames of little and of much scatter."""

    by: Literal["aperture", "shutter"]
    much: Bools  # (frames,)
    ratio: float  # of the scatters
    mains_hz: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """A scatter that takes frames out of tolerance."""

    causes: tuple[tuple[SpreadCause, float], ...]  # with the chance of each, that of the first most
    frames: Bools
    sd_stops: float
    limit_stops: float  # that it is above
    sd_others: float  # of the frames that scatter little; NaN where there are none
    why: str  # that cause, as a clause
    mains_hz: float = 0.0


def let_through(shutter_s: Floats, mains_hz: float) -> Floats:
    """Share of the ripple of mains light that a shutter time does not average out, 0 to 1."""
    return np.abs(np.sinc(2 * mains_hz * shutter_s))


def groups_of(series: Series) -> Groups | None:
    """Frames that scatter more than the others, where aperture or shutter time tells them apart."""
    known = series.known
    if known.sum() < 2 * LEAST_GROUP:
        return None
    light = series.light[known]
    off = np.full(len(known), np.nan)
    off[known] = light - ndimage.median_filter(light, WINDOW, mode="nearest")
    found = []
    if np.isfinite(series.f_number).any():
        stops = 2 * np.log2(series.f_number / np.nanmin(series.f_number))
        found.append(Groups("aperture", stops >= STOPPED, 0.0))
    if series.timed.any():
        for mains in MAINS_HZ:
            through = let_through(series.shutter_s, mains)
            found.append(Groups("shutter", through >= THROUGH, 0.0, mains))
    best, most = None, CHANCE
    for group in found:
        told = np.isfinite(series.f_number if group.by == "aperture" else series.shutter_s)
        much, little = off[told & known & group.much], off[told & known & ~group.much]
        if min(much.size, little.size) < LEAST_GROUP:
            continue
        ratio = float(_clipped_spread(much) / max(_clipped_spread(little), 1e-4))
        error = math.sqrt(0.5 / CLIPPED_WORTH * (1 / much.size + 1 / little.size))
        if math.log(ratio) / error > most:
            most = math.log(ratio) / error
            best = Groups(group.by, group.much, min(ratio, MOST_RATIO), group.mains_hz)
    return best


def spread_of(
    series: Series, residuals: Floats, usual: Bools, groups: Groups | None, bands_stops: float
) -> Spread | None:
    """The scatter of a series, where it is more than the tolerance allows.

    Parameters
    ----------
    residuals : (frames,) light without its explanations [stop].
    usual : (frames,) whether a frame is neither off by itself nor not known.
    bands_stops : size of bands across the picture.
    """
    limit = series.tolerance / OUTSIDE
    if groups is not None:
        off, others = residuals[usual & groups.much], residuals[usual & ~groups.much]
        if _above(off, limit):
            cause: SpreadCause = "lens" if groups.by == "aperture" else "flicker"
            why = _why_groups(groups, series)
            return Spread(((cause, 0.97), ("scatter", 0.03)), usual & groups.much, _sd(off), limit,
                          _sd(others), why, groups.mains_hz)  # fmt: skip
    off = residuals[usual]
    if not _above(off, limit):
        return None
    timed = bool(series.timed[usual].mean() > 0.5)
    causes, why = _continuous(series, off, usual, bands_stops) if timed else _flash()
    return Spread(causes, usual, _sd(off), limit, math.nan, why)


def _flash() -> tuple[tuple[tuple[SpreadCause, float], ...], str]:
    return (("scatter", 0.97), ("lens", 0.03)), "nothing else that is known explains it"


def _continuous(
    series: Series, off: Floats, usual: Bools, bands_stops: float
) -> tuple[tuple[tuple[SpreadCause, float], ...], str]:
    """Flicker or lens, of a light that has no pops."""
    if bands_stops:
        why = f"bands of {bands_stops:.2f} stop run across the picture"
        return (("flicker", 0.97), ("lens", 0.03)), why
    times = series.shutter_s[usual & np.isfinite(series.shutter_s)]
    if times.size and max(float(np.median(let_through(times, m))) for m in MAINS_HZ) < HELD:
        why = "the light is continuous, and the shutter times average the mains out"
        return (("lens", 0.9), ("flicker", 0.1)), why
    if times.size >= 2 * LEAST_GROUP and np.ptp(times) > 0:
        held = min(MAINS_HZ, key=lambda m: float(np.median(let_through(times, m))))
        many = let_through(times, held) >= THROUGH
        if min(many.sum(), (~many).sum()) >= LEAST_GROUP:
            why = "it is as large at shutter times that average the mains out"
            return (("lens", 0.9), ("flicker", 0.1)), why
    tails = float(stats.kurtosis(off, bias=False)) if off.size > 3 else 0.0
    normal = stats.norm.logpdf(tails, NORMAL_TAILS, math.sqrt(24 / off.size))
    ripple = stats.norm.logpdf(tails, RIPPLE_TAILS, RIPPLE_SPREAD)
    # A shutter time that lets the ripple through makes flicker the likelier one beforehand.
    odds = ROUND_TIMES if _round_times(times) else OTHER_TIMES
    share = 1 / (1 + math.exp(min(max(float(normal - ripple), -50), 50)) / odds)
    if share >= 0.5:
        return (("flicker", share), ("lens", 1 - share)), "it is bounded to both sides, as a ripple"
    return (("lens", 1 - share), ("flicker", share)), "it is not bounded as a ripple would be"


def _round_times(times: Floats) -> bool:
    """Whether all shutter times average out the mains of one kind."""
    return bool(times.size) and any(float(let_through(times, m).max()) < THROUGH for m in MAINS_HZ)


def _why_groups(groups: Groups, series: Series) -> str:
    if groups.by == "aperture":
        widest = float(np.nanmin(series.f_number))
        return f"it comes only where the lens is stopped down from f/{widest:.3g}"
    times = np.unique(series.shutter_s[groups.much & np.isfinite(series.shutter_s)])
    shown = ", ".join(f"{1 / t:.0f}" for t in times[::-1][:4])
    half_ms = 500 / groups.mains_hz
    return (
        f"it comes at shutter times that are no multiple of {half_ms:.3g} ms (1/{shown} s), "
        f"half a period of {groups.mains_hz:.0f} Hz mains, and not at the others"
    )


def _above(off: Floats, limit: float) -> bool:
    """Whether a scatter is above the limit, beyond chance."""
    if off.size < LEAST_GROUP:
        return False
    degrees = off.size - 1
    return bool(degrees * off.var(ddof=1) / limit**2 > stats.chi2.isf(SURE, degrees))


def _sd(off: Floats) -> float:
    return float(off.std(ddof=1)) if off.size > 1 else math.nan


def _clipped_spread(off: Floats) -> float:
    """Mean deviation, with the few that are far off counted as less."""
    away = np.abs(off - np.median(off))
    return float(np.minimum(away, CLIP * np.median(away)).mean())
