"""Stored codes to linear signal: black, white, and where a sensor really clips.

Each photosite is divided by (white - its own black). White is what the file or the decoder
states; a lower clipping level found among the codes serves the clipping test only, for a scale
made from a frame's own pixels would jump with the picture.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.frames.frame import Doubt
from verify.frames.geometry import Box
from verify.frames.mosaic import repeated

LARGEST_SIGNAL = 1e6  # 20 stops above white; no picture goes as far
SPIKE = 10.0  # the top code must be this much more frequent than the codes below it
SPIKE_SHARE = 5e-4  # and hold this share of the photosites looked at
SPIKE_FROM = 0.5  # of white; sensors do not clip lower, a picture without noise may end there
ALL_EQUAL_FROM = 0.7  # of white, where every code is the same and nothing shows noise
BORDER_WIDTH = 8  # photosites; a narrower masked border says nothing
SHIFT_FLOOR = 1e-4  # signal; a masked border this close to the tagged black agrees with it


@dataclass(frozen=True, slots=True)
class Levels:
    """Black and white of an active area, anchored at its corner."""

    black: NDArray[np.float64]  # (rows, cols, planes) of the repeating pattern [DN]
    white: NDArray[np.float64]  # (planes,) stated white [DN]
    black_of_row: NDArray[np.float64] | None = None  # (height,) added to black [DN]
    black_of_col: NDArray[np.float64] | None = None  # (width,) added to black [DN]

    def black_at(self, box: Box) -> NDArray[np.float64]:
        """Black of each photosite of a box, broadcastable to (rows, cols, planes) [DN].

        The box may reach outside the active area, where rows and columns add nothing.
        """
        black = self.black if self.black.shape[:2] == (1, 1) else repeated(self.black, box)
        if self.black_of_row is not None:
            black = black + _added(self.black_of_row, box.row, box.height)[:, None, None]
        if self.black_of_col is not None:
            black = black + _added(self.black_of_col, box.col, box.width)[None, :, None]
        return black

    def mean_black(self, box: Box) -> NDArray[np.float64]:
        """The repeating pattern with what the rows and columns of a box add on average [DN]."""
        black = self.black
        if self.black_of_row is not None:
            black = black + _added(self.black_of_row, box.row, box.height).mean()
        if self.black_of_col is not None:
            black = black + _added(self.black_of_col, box.col, box.width).mean()
        return black

    def linear(self, codes: NDArray[np.generic], box: Box) -> NDArray[np.float64]:
        """Signal (rows, cols, planes) of a box's stored codes; below black is negative."""
        black = self.black_at(box)
        signal = codes.astype(np.float64)
        signal -= black
        signal /= self.white - black
        return signal


def possible(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    """Signal with NaN for numbers that no light gives: floats of a damaged file can be anything.

    So can what its opcodes make of whole numbers. Squared or summed, such values would be beyond
    every number, and so would all that is measured.
    """
    beyond = np.isfinite(signal) & (np.abs(signal) > LARGEST_SIGNAL)
    return np.where(beyond, np.nan, signal)


def _added(values: NDArray[np.float64], first: int, count: int) -> NDArray[np.float64]:
    """What ``count`` lines from ``first`` on add to black; 0 outside the active area."""
    at = first + np.arange(count)
    inside = (at >= 0) & (at < values.size)
    return np.where(inside, values[np.clip(at, 0, values.size - 1)], 0.0)


def clipping_code(codes: NDArray[np.generic], white: float, step: int) -> float | None:
    """Code at which the sensor clips below the stated white, found as a spike at the top.

    Parameters
    ----------
    codes : (rows, cols) stored codes of a mosaic, in any part of the frame.
    white : stated white [DN].
    step : columns between two photosites of one class.

    Returns
    -------
    The top code [DN], or None where nothing shows that the sensor clips below white. A picture
    without any noise (a synthetic one) proves nothing and gives None.
    """
    top = codes.max()
    if not (SPIKE_FROM * white < top < white):
        return None
    at_top = codes == top
    count = int(np.count_nonzero(at_top))
    if count < max(20, SPIKE_SHARE * codes.size):
        return None
    if count == codes.size:
        return float(top) if top >= ALL_EQUAL_FROM * white else None
    span = max(8.0, 0.002 * white)
    below = np.count_nonzero((codes >= top - span) & ~at_top) / span
    if count < SPIKE * max(below, 1.0):
        return None
    pair = codes[:, step:] != codes[:, :-step]
    free = ~(at_top[:, step:] | at_top[:, :-step])
    if not free.any():
        return float(top) if top >= ALL_EQUAL_FROM * white else None
    noisy = np.count_nonzero(pair[free]) > 0.5 * np.count_nonzero(free)
    return float(top) if noisy else None


def dark_borders(area: Box) -> list[Box]:
    """Where the photosites beside an active area usually saw no light: left of it and above it.

    The inner half: the outermost and the nearest ones are not always dark. Either may be empty.
    """
    return [
        Box(area.col // 4, area.row, area.col // 2, area.height),
        Box(area.col, area.row // 4, area.width, area.row // 2),
    ]


def first_wide(borders: Iterable[Box]) -> Box | None:
    """The first border that is wide enough to say something; None if none is."""
    return next((b for b in borders if min(b.width, b.height) >= BORDER_WIDTH), None)


def black_doubt(
    border: NDArray[np.generic], black: NDArray[np.float64], white: float
) -> Doubt | None:
    """Compare a masked border with the stated black.

    Parameters
    ----------
    border : (rows, cols) codes of photosites that saw no light.
    black : stated black of each of them, broadcastable to the same shape [DN].
    white : stated white [DN].

    Returns
    -------
    A ``black-unsure`` doubt with the difference in signal, or None where they agree, or where
    these are plainly no masked photosites (constant, or far off black).
    """
    if border.size < 64:
        return None
    off: NDArray[np.float64] = border.astype(np.float64) - black
    low, middle, high = np.percentile(off, (25, 50, 75))
    span = white - float(np.mean(black))
    if span <= 0 or (low == high and border.min() == border.max()) or abs(middle) > 0.05 * span:
        return None
    spread = max((high - low) / 1.349, 0.5)
    kept = off[np.abs(off - middle) <= 4 * spread]
    mean, error = float(kept.mean()), float(kept.std() / np.sqrt(kept.size))
    shift = mean / span
    if abs(shift) <= SHIFT_FLOOR or abs(mean) <= 3 * error:
        return None
    stated = float(np.mean(black))
    note = (
        f"the masked border reads {stated + mean:.1f} where the file states black {stated:.1f}; "
        "the stated black is kept"
    )
    return Doubt("black-unsure", note, abs(shift))
