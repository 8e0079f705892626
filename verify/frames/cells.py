"""A whole picture in few numbers: codes averaged over square cells, each colour by itself.

Nothing is demosaiced: a cell's value of a colour is the mean of that colour's own photosites in it.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

WANTED_SIDE = 480  # cells along the longer side, as nearly as a mosaic's repeat allows
FEWEST = 300  # cells along the longer side; with fewer, a mosaic's repeat is divided


def cell_size(
    width: int, height: int, pattern: NDArray[np.uint8] | None, wanted: int = WANTED_SIDE
) -> int:
    """Side of a cell in photosites: a multiple of the mosaic's repeat, or half of a wide one.

    Parameters
    ----------
    width, height : of the active area [photosites].
    pattern : of the mosaic; None for planes of colours.
    wanted : cells along the longer side, as nearly as the repeat allows.
    """
    longer = max(width, height)
    repeat = 1 if pattern is None else int(np.lcm(*pattern.shape))
    side = repeat * max(1, round(longer / (repeat * wanted)))
    if side == repeat and repeat % 2 == 0 and repeat > 2 and longer // side < FEWEST:
        return repeat // 2
    return side


def in_cells(
    codes: NDArray[Any], pattern: NDArray[np.uint8] | None, colors: int, cell: int
) -> NDArray[np.float32]:
    """Mean code of each colour in each whole cell, (rows, cols, colors).

    Parameters
    ----------
    codes : (rows, cols, planes) of an active area, anchored at its corner.
    pattern : index into the colours of each photosite of a repeat; None for planes of colours.
    colors : how many colours there are.
    cell : side of a cell, as :func:`cell_size` gives it.
    """
    if codes.dtype not in (np.uint8, np.uint16, np.float32):
        codes = codes.astype(np.float32)
    rows, cols = codes.shape[0] // cell, codes.shape[1] // cell
    if not rows or not cols:
        return np.empty((0, 0, colors), np.float32)
    if pattern is None:
        return _reduced(codes[: rows * cell, : cols * cell], cell)
    side = int(np.lcm(*pattern.shape))  # of a square repeat
    parts = max(1, side // cell)  # cells along a repeat: 1, or 2 of a divided one
    rows, cols = rows // parts * parts, cols // parts * parts
    if not rows or not cols:
        return np.empty((0, 0, colors), np.float32)
    wide = np.tile(pattern, (side // pattern.shape[0], side // pattern.shape[1]))
    mosaic = codes[: rows * cell, : cols * cell, 0]
    repeats = rows * cell // side, cols * cell // side
    factor = max(1, cell // side)
    phases = np.empty((rows // parts, cols // parts, side, side), np.float32)
    for row in range(side):  # of every repeat, its photosites as channels: a view, no copy
        line = mosaic[row::side].reshape(*repeats, side)
        phases[:, :, row] = _reduced(line, factor)
    means = phases.reshape(-1, side * side) @ _shares(wide, parts, colors)
    out = means.reshape(rows // parts, cols // parts, parts, parts, colors)
    return np.ascontiguousarray(out.transpose(0, 2, 1, 3, 4)).reshape(rows, cols, colors)


def _shares(wide: NDArray[np.uint8], parts: int, colors: int) -> NDArray[np.float32]:
    """What each photosite of a repeat adds to each colour of each of its cells, as a matrix.

    A cell that has no photosite of a colour takes that of the whole repeat.
    """
    out = np.zeros((*wide.shape, parts, parts, colors), np.float32)
    part = len(wide) // parts
    for down, across, color in np.ndindex(parts, parts, colors):
        own = np.zeros(wide.shape, bool)
        own[down * part : (down + 1) * part, across * part : (across + 1) * part] = True
        there = own & (wide == color)
        there = there if there.any() else wide == color
        out[there, down, across, color] = 1 / np.count_nonzero(there)
    return out.reshape(wide.size, -1)


def _reduced(planes: NDArray[Any], factor: int) -> NDArray[np.float32]:
    """Means over factor x factor of (rows, cols, channels); what is left over is not used."""
    rows, cols = planes.shape[0] // factor, planes.shape[1] // factor
    whole = planes[: rows * factor, : cols * factor]
    if factor > 1:
        # Not exactly whole numbers: OpenCV rounds the mean of whole codes, half a code at most.
        whole = cv2.resize(whole, (cols, rows), interpolation=cv2.INTER_AREA)
    return whole.reshape(rows, cols, planes.shape[2]).astype(np.float32)
