"""By how much a picture lies beside another: a camera that was nudged, a few pixels.

The level in stops is looked at, so that a change of light, the same everywhere, says nothing. Whole
cells come from phase correlation; the rest from the gradients of the level, cells that differ for
another reason counting less.

References
----------
Kuglin, C. D., Hines, D. C. (1975), The phase correlation image alignment method, Proceedings of
the IEEE International Conference on Cybernetics and Society: 163-165.
Keys, R. (1981), Cubic convolution interpolation for digital image processing, IEEE Transactions on
Acoustics, Speech, and Signal Processing 29: 1153-1160.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

MOST = 0.03  # of the longer side, that a picture may lie beside the other
FEW = 0.03  # cell; what is less is none
VEIL = 0.05  # of the picture's mean, added to each cell: noise of dark cells shows no level
FINEST = 0.15  # cycles per cell; what is finer is mostly noise
SOFT = 1.0  # cell; an edge as sharp as a cell has no slope that tells parts of one
ROUNDS = 4  # of the part of a cell
LEAST_STEEP = 0.02  # stop per cell, at which a cell tells of a shift
FEWEST = 30  # cells that do
SMALLEST = 12  # cells along the shorter side


def level_of(main: NDArray[np.float32]) -> NDArray[np.float32]:
    """Level of cells (rows, cols) against their picture's mean [stop]."""
    mean = max(float(main.mean()), 1e-6)
    return np.asarray(np.log2(np.maximum(main, 0) / mean + VEIL), np.float32)


def shift_between(reference: NDArray[np.float32], own: NDArray[np.float32]) -> tuple[float, float]:
    """Columns and rows [cell] by which ``own`` lies to the right of and below ``reference``.

    Parameters
    ----------
    reference, own : (rows, cols) level [stop]; see :func:`level_of`.
    """
    if min(own.shape) < SMALLEST:
        return 0.0, 0.0
    most = max(MOST * max(own.shape), 1.0)
    start = _whole(reference, own, most)
    col, row = _part(gaussian_filter(reference, SOFT), gaussian_filter(own, SOFT), start)
    if max(abs(col), abs(row)) > most + 1 or max(abs(col), abs(row)) < FEW:
        return 0.0, 0.0
    return col, row


def moved(cells: NDArray[np.float32], shift: tuple[float, float]) -> NDArray[np.float32]:
    """Cells (rows, cols[, colours]) as they are seen ``shift`` columns and rows further on.

    What comes in at the sides repeats the outermost cells.
    """
    for axis, by in enumerate(reversed(shift)):
        cells = _moved_along(cells, by, axis)
    return cells


def _moved_along(cells: NDArray[np.float32], by: float, axis: int) -> NDArray[np.float32]:
    """Cells moved along one axis, by cubic convolution."""
    whole = int(np.floor(by))
    part = by - whole
    # The value at x comes from x - by: between the cells x - whole - 1 and x - whole.
    at = 1 - part
    taps = {
        -1: -0.5 * at + at**2 - 0.5 * at**3,
        0: 1 - 2.5 * at**2 + 1.5 * at**3,
        1: 0.5 * at + 2 * at**2 - 1.5 * at**3,
        2: -0.5 * at**2 + 0.5 * at**3,
    }
    size = cells.shape[axis]
    out = np.zeros_like(cells)
    for step, weight in taps.items():
        index = np.clip(np.arange(size) - whole - 1 + step, 0, size - 1)
        out += np.float32(weight) * np.take(cells, index, axis=axis)
    return out


def _whole(
    reference: NDArray[np.float32], own: NDArray[np.float32], most: float
) -> tuple[int, int]:
    """Whole columns and rows, by phase correlation within ``most`` cells."""
    rows, cols = own.shape
    window = np.outer(np.hanning(rows + 2)[1:-1], np.hanning(cols + 2)[1:-1])
    spectra = [np.fft.rfft2((p - p.mean()) * window) for p in (reference, own)]
    cross = spectra[1] * np.conj(spectra[0])
    across, down = np.fft.rfftfreq(cols), np.fft.fftfreq(rows)
    smooth = np.exp(-0.5 * (across**2 + down[:, None] ** 2) / FINEST**2)
    found = np.fft.irfft2(cross / np.maximum(np.abs(cross), 1e-12) * smooth, s=own.shape)
    reach = int(min(most, (rows - 1) // 2, (cols - 1) // 2))
    near = np.roll(found, (reach, reach), axis=(0, 1))[: 2 * reach + 1, : 2 * reach + 1]
    row, col = np.unravel_index(int(np.argmax(near)), near.shape)
    return int(col) - reach, int(row) - reach


def _part(
    reference: NDArray[np.float32], own: NDArray[np.float32], start: tuple[int, int]
) -> tuple[float, float]:
    """A shift to a part of a cell: what explains the differences by the gradients."""
    col, row = map(float, start)
    for _ in range(ROUNDS):
        seen = moved(reference, (col, row))
        down, across = np.gradient(seen, axis=0), np.gradient(seen, axis=1)
        steep = np.hypot(down, across) >= LEAST_STEEP
        if np.count_nonzero(steep) < FEWEST:
            return 0.0, 0.0
        off = own - seen
        off = (off - np.median(off))[steep]
        terms = -np.column_stack([across[steep], down[steep]])
        scale = max(1.4826 * float(np.median(np.abs(off))), 1e-3)
        weight = 1 / (1 + (off / scale) ** 2)  # a thing that was moved pulls little
        weighed = terms * weight[:, None]
        square = weighed.T @ terms + 1e-9 * np.eye(2)
        step = np.clip(np.linalg.solve(square, weighed.T @ off), -1, 1)
        col, row = col + float(step[0]), row + float(step[1])
        if float(np.abs(step).max()) < FEW / 3:
            break
    return col, row
