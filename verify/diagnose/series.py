"""The frames of a series as arrays, with what is not known left open."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.records import Seen

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAST_TIMED = 3  # frames of known time, below which there is no course in time
MOST_LEVELS = 12  # stretches that get a zero of their own in the model of the light


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """One set-up and body in the order of time; (frames,) arrays, NaN where not known."""

    frames: tuple[Seen, ...]
    light: Floats  # [stop]; NaN where it is only a bound
    u_stops: float  # typical standard uncertainty of one [stop]
    at_s: Floats | None  # time, between known ones by frame number [s]; None where too few are
    gap_s: Floats  # since the frame before, above 0 [s]; infinite before the first of all
    popped: Floats  # pops fired before the frame
    shutter_s: Floats
    f_number: Floats
    timed: Bools
    zeros: Floats  # (frames, zeros) 1 in the frames that share a zero of light
    tolerance: float  # [stop]

    @property
    def known(self) -> Bools:
        """(frames,) whether the light is a value."""
        return np.asarray(np.isfinite(self.light))


def series_of(frames: Sequence[Seen], tolerance: float) -> Series:
    """Put a series together.

    Parameters
    ----------
    frames : of one set-up and body, in the order of time.
    tolerance : [stop].
    """
    light = np.array([np.nan if f.bound else f.rest_stops for f in frames], float)
    light[~np.isfinite(light)] = np.nan
    u = [f.u_stops for f in frames if np.isfinite(f.u_stops)]
    pops = np.array([max(f.pops, 1) for f in frames], float)
    return Series(
        frames=tuple(frames),
        light=light,
        u_stops=float(np.median(u)) if u else 0.0,
        at_s=_times(frames),
        gap_s=_gaps(frames),
        popped=np.concatenate([[0.0], np.cumsum(pops)[:-1]]) if len(pops) else pops,
        shutter_s=column(frames, lambda f: f.shutter_s),
        f_number=column(frames, lambda f: f.f_number),
        timed=np.array([f.timed for f in frames], bool),
        zeros=_zeros(frames, np.isfinite(light)),
        tolerance=tolerance,
    )


def column(frames: Sequence[Seen], of: Callable[[Seen], float | None]) -> Floats:
    """(frames,) a value of each frame, NaN where it is not known or not finite."""
    found = [of(frame) for frame in frames]
    values = np.array([np.nan if value is None else value for value in found], float)
    values[~np.isfinite(values)] = np.nan
    return values


def _times(frames: Sequence[Seen]) -> Floats | None:
    """Times that never run back, filled in by frame number; None where too few are known."""
    at = column(frames, lambda f: f.at_s)
    known = np.flatnonzero(np.isfinite(at))
    if known.size < max(LEAST_TIMED, len(frames) // 2):
        return None
    forward = np.maximum.accumulate(at[known])
    if forward[-1] <= forward[0]:
        return None
    filled: Floats = np.interp(np.arange(len(frames)), known, forward).astype(float)
    return filled


def _gaps(frames: Sequence[Seen]) -> Floats:
    """Gaps above 0; of the very first frame infinite: nothing fired before it."""
    gaps = column(frames, lambda f: f.gap_s)
    gaps[gaps <= 0] = np.nan
    if len(frames) and frames[0].gap_s is None:
        gaps[0] = np.inf
    return gaps


def _zeros(frames: Sequence[Seen], known: Bools) -> Floats:
    """Stretches seen by scene have a zero each, for their reference is another; the rest share one.

    A stretch without a value has none; beyond some stretches all share one, for the model's sake.
    """
    own = np.array([f.stretch if f.by == "scene" else -1 for f in frames], int)
    names = np.unique(own[known])
    if not 1 < len(names) <= MOST_LEVELS:
        return np.ones((len(frames), 1))
    columns: Floats = np.equal(own[:, None], names[None, :]).astype(np.float64)
    columns[~known & (columns.sum(1) == 0), 0] = 1.0
    return columns
