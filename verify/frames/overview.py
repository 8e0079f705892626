"""The whole picture at reduced size: what the card is looked for in.

Linear signal averaged over square cells of photosites, each colour by itself, or an embedded
picture brought to the same form. Nothing is demosaiced.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from verify.frames.geometry import Size, upright, upright_point

SHOWN_WHITE = 0.995  # share of the picture at or below what is shown as white
SHOWN_GAMMA = 1 / 2.2
ORDER_SHOWN = ("red", "green", "blue")


@dataclass(frozen=True, slots=True)
class Reduced:
    """A source's picture at reduced size, as stored (not turned)."""

    signal: NDArray[np.float32]  # (rows, cols, colours) mean linear signal of each cell
    colors: tuple[str, ...]  # of the last axis
    cell: float  # side of a cell [stored pixel]
    neutral: tuple[float, ...] | None = None  # what a neutral surface gives in each colour
    clips_at: float = 1.0  # signal at which the sensor clips
    corner: tuple[float, float] = (0.0, 0.0)  # (col, row) of the first cell's corner
    made_from: Literal["sensor", "embedded"] = "sensor"


@dataclass(frozen=True, slots=True)
class Overview:
    """A frame's picture at reduced size, upright."""

    signal: NDArray[np.float32]  # (rows, cols, colours) mean linear signal of each cell
    colors: tuple[str, ...]  # of the last axis
    cell: float  # side of a cell [upright pixel]
    corner: tuple[float, float]  # upright (col, row) of the first cell's corner [pixel]
    neutral: tuple[float, ...] | None  # what a neutral surface gives in each colour, by the
    # camera's white balance; None where the file does not say
    clips_at: float  # signal at which the sensor clips
    made_from: Literal["sensor", "embedded"]

    def to_upright(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (..., 2), col and row in cells from the first one's corner, in upright pixels."""
        return np.asarray(points * self.cell + np.asarray(self.corner))

    def to_cells(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Upright points (..., 2) in cells from the corner of the first one."""
        return np.asarray((points - np.asarray(self.corner)) / self.cell)

    def balanced(self) -> NDArray[np.float32]:
        """Signal (rows, cols, colours) with a neutral surface equal in all colours."""
        if self.neutral is None:
            return self.signal
        return np.asarray(self.signal / np.asarray(self.neutral), np.float32)

    def shown(self) -> NDArray[np.uint8]:
        """The picture as a person can look at it: (rows, cols, 3) RGB, gamma-encoded."""
        balanced = self.balanced()
        if set(ORDER_SHOWN) <= set(self.colors):
            rgb = balanced[..., [self.colors.index(c) for c in ORDER_SHOWN]]
        else:
            rgb = np.repeat(balanced.mean(-1, keepdims=True), 3, axis=-1)
        white = float(np.quantile(rgb, SHOWN_WHITE))
        scaled = np.clip(rgb / max(white, 1e-9), 0, 1) ** SHOWN_GAMMA
        return np.asarray(np.rint(scaled * 255), np.uint8)


def _numbers(signal: NDArray[np.float32], most: float) -> NDArray[np.float32]:
    """A signal without what is no number: a floating-point file may hold it."""
    return np.nan_to_num(signal, nan=0.0, posinf=most, neginf=0.0)


def turned(reduced: Reduced, stored: Size, orientation: int) -> Overview:
    """An overview as a person sees it, from one as stored.

    Parameters
    ----------
    reduced : as the source hands it over.
    stored : size of the stored active area [pixel].
    orientation : Exif Orientation, 1 to 8.
    """
    rows, cols, _ = reduced.signal.shape
    col, row = reduced.corner
    opposite = col + cols * reduced.cell, row + rows * reduced.cell
    ends = [upright_point(c, r, stored, orientation) for c, r in ((col, row), opposite)]
    return Overview(
        signal=upright(_numbers(reduced.signal, reduced.clips_at), orientation),
        colors=reduced.colors,
        cell=reduced.cell,
        corner=(min(c for c, _ in ends), min(r for _, r in ends)),
        neutral=reduced.neutral,
        clips_at=reduced.clips_at,
        made_from=reduced.made_from,
    )
