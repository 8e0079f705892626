"""How even a series is, in figures."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from verify.diagnose.records import Seen, Stretch
from verify.diagnose.series import Series

Floats = NDArray[np.float64]

MOST_WORST = 10  # frames that are ranked


def spread(values: Floats) -> float | None:
    """Standard deviation; None of fewer than two."""
    known = values[np.isfinite(values)]
    return float(known.std(ddof=1)) if known.size > 1 else None


def reach(values: Floats) -> float | None:
    """Largest less smallest; None where nothing is known."""
    known = values[np.isfinite(values)]
    return float(np.ptp(known)) if known.size else None


def stretches(series: Series) -> tuple[Stretch, ...]:
    """Each stretch and how even it is, in the order of time."""
    numbers = np.array([f.stretch for f in series.frames], int)
    return tuple(
        Stretch(
            int(number),
            int((numbers == number).sum()),
            spread(series.light[numbers == number]),
            reach(series.light[numbers == number]),
        )
        for number in np.unique(numbers)
    )


def off_reference(series: Series, reference_stops: float | None) -> Floats:
    """(frames,) by how much exposure is off, settings included; NaN where it is not known.

    A bound that is out of tolerance counts as it is, for the frame is farther off still.

    Parameters
    ----------
    reference_stops : exposure of the reference; None: the middle of the series.
    """
    exposure = series.light + np.array([f.settings_stops for f in series.frames], float)
    if reference_stops is None:
        known = exposure[np.isfinite(exposure)]
        reference_stops = float(np.median(known)) if known.size else 0.0
    off = np.asarray(exposure - reference_stops)
    for at, frame in enumerate(series.frames):
        bound = frame.rest_stops + frame.settings_stops - reference_stops
        too_far = bound > series.tolerance if frame.bound == "at-least" else (
            frame.bound == "at-most" and bound < -series.tolerance
        )  # fmt: skip
        if too_far:
            off[at] = bound
    return off


def within_share(off: Floats, tolerance: float) -> float | None:
    """Share of the known frames that are within tolerance."""
    known = off[np.isfinite(off)]
    return float(np.mean(np.abs(known) <= tolerance)) if known.size else None


def longest_within(frames: Sequence[Seen], off: Floats, tolerance: float) -> tuple[Path, ...]:
    """The first longest run of frames that are all within tolerance."""
    good = np.abs(np.where(np.isfinite(off), off, np.inf)) <= tolerance
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    if not edges.size:
        return ()
    starts, ends = edges[::2], edges[1::2]
    most = int(np.argmax(ends - starts))
    return tuple(frame.file for frame in frames[starts[most] : ends[most]])


def worst(frames: Sequence[Seen], off: Floats, tolerance: float) -> tuple[Path, ...]:
    """Frames out of tolerance, those farthest off first."""
    size = np.abs(np.where(np.isfinite(off), off, 0.0))
    order = np.argsort(-size, kind="stable")[:MOST_WORST]
    return tuple(frames[at].file for at in order if size[at] > tolerance)
