"""Overviews of frames against the signal of their photosites, for the tests of sources."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from verify.frames.frame import Frame, Region
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.frames.overview import Overview

ROWS, COLS = 43, 61  # of most pictures here: no side is whole in cells
HALF_CODE = 0.5 / 3583 + 1e-6  # signal; OpenCV rounds the mean of whole codes, and floats
FLOATS = 1e-6  # signal; sums of floats of 32 bits


def whole_of(frame: Frame) -> Region:
    return frame.signal(Box(0, 0, frame.size.width, frame.size.height))


def cell_means(frame: Frame, overview: Overview) -> NDArray[np.float64]:
    """Mean of frame.signal() over each colour's photosites in each cell of an overview."""
    region, cell = whole_of(frame), round(overview.cell)
    left, top = (round(at) for at in overview.corner)
    rows, cols, colors = overview.signal.shape
    part = np.s_[top : top + rows * cell, left : left + cols * cell]

    def summed(values: NDArray[np.float64]) -> NDArray[np.float64]:
        found: NDArray[np.float64] = values.reshape(rows, cell, cols, cell).sum((1, 3))
        return found

    signal, means = region.signal[part], np.empty(overview.signal.shape)
    for color in range(colors):
        if region.classes is None:
            one = signal if signal.ndim == 2 else signal[..., color]
            means[..., color] = summed(one) / cell**2
        else:
            own = (region.classes[part] == color).astype(float)
            means[..., color] = summed(np.where(own > 0, signal, 0)) / summed(own)
    return means


def agrees(path: Path, within: float, transfer: str | None = None) -> Overview:
    """Assert that a file's overview has the signal of its photosites; give it."""
    with open_frame(path, transfer) as frame:
        overview = frame.overview()
        assert overview.signal.dtype == np.float32
        assert overview.colors == whole_of(frame).colors
    # Opened anew, so that the boxes are read from the file and not from what the overview kept.
    with open_frame(path, transfer) as frame:
        expected = cell_means(frame, overview)
    assert expected.std() > 10 * within
    assert np.abs(overview.signal - expected).max() <= within
    return overview
