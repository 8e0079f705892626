"""A frame to the tiles of its picture.

The reduced picture is enough: it averages photosites of each colour in linear signal. What is
clipped is marked cell by cell, so that a tile with a glint in it can still be compared.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, correlate

from verify.frames.colors import main_color
from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.frames.overview import Overview
from verify.scene.records import Tiles

WANTED = 192  # cells along the longer side; not the usual number, which may be an embedded picture
TILES = 384  # of a picture, 24 x 16 of one with sides 3:2
CLIPPED = 0.9  # of clipping: single photosites of a lighter cell may clip
BLACK_U = 3e-5  # signal; half a code of 14 bits, the least that black is unsure by
QUIET = 0.35  # of the tiles: those with the least fine detail show the noise
MOST_NOISE = 2.0  # times that, of any tile; more is texture
SECOND = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float64) / 6  # keeps the noise's size
STRIP = 16  # rows of photosites in each row of tiles, that are looked at one by one
CLIPPED_SHARE = 0.01  # of the photosites of a tile; with more it is not used
LIFTED = 0.02  # of a tile's signal: what photosites at the lowest code may lift it by


def tiles_of(frame: Frame) -> Tiles:
    """The tiles of a frame's picture.

    Parameters
    ----------
    frame : an open frame.

    Raises
    ------
    NotAFrame
        If the pixels cannot be decoded, or the picture is too small.
    """
    overview = frame.overview(WANTED)
    cells = np.asarray(overview.signal, np.float64)
    shape = cells.shape[0], cells.shape[1]
    grid = grid_of(*shape)
    main_at = overview.colors.index(main_color(overview.colors))
    main = cells[..., main_at]
    sample = _sampled(frame, overview, grid)
    clipped = cells.max(axis=-1) >= CLIPPED * overview.clips_at
    lost = binary_dilation(
        clipped, np.ones((3, 3), bool)
    )  # a cell beside one holds some of its glint
    lost |= spread_over(sample.clipped > CLIPPED_SHARE, shape)
    count = sums(np.ones(shape), grid)
    signal = np.stack([sums(c, grid) / count for c in np.moveaxis(cells, -1, 0)], axis=-1)
    fine = sums(correlate(main, SECOND, mode="nearest") ** 2, grid) / count
    level = np.maximum(signal[..., main_at], sample.black_u)
    noise = np.minimum(np.sqrt(fine), MOST_NOISE * _noise(fine, level))
    return Tiles(
        size=frame.size,
        colors=overview.colors,
        cells=cells.astype(np.float16),
        lost=lost,
        signal=signal,
        lost_share=sums(lost.astype(float), grid) / count,
        floored=sample.floored * sample.code_u > LIFTED * level,
        noise=noise,
        texture=_texture(main, level, noise, grid),
        black_u=sample.black_u,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Sample:
    """What single photosites of each tile say: a mean over cells hides it."""

    clipped: NDArray[np.float64]  # (rows, cols) share of the photosites that clip
    floored: NDArray[np.float64]  # (rows, cols) share at the lowest code
    code_u: float  # half a code [signal]
    black_u: float  # standard uncertainty of black [signal]


def _sampled(frame: Frame, overview: Overview, grid: tuple[int, int]) -> _Sample:
    """Some rows of photosites through the middle of each row of tiles."""
    size, (rows, cols, _) = frame.size, overview.signal.shape
    high = rows * overview.cell / grid[0]
    height = max(1, min(STRIP, int(high)))
    left = min(max(round(overview.corner[0]), 0), size.width - 1)
    width = min(round(cols * overview.cell), size.width - left)
    clipped, floored = np.zeros(grid), np.zeros(grid)
    code_u, doubt_u = 0.0, 0.0
    for row in range(grid[0]):
        top = round(overview.corner[1] + (row + 0.5) * high - height / 2)
        region = frame.signal(Box(left, min(max(top, 0), size.height - height), width, height))
        clipped[row] = _shares(region.clipped, grid[1])
        floored[row] = _shares(region.floored, grid[1])
        span = min(w - b for w, b in zip(region.white, region.black, strict=True))
        code_u = max(code_u, 0.5 / span if span > 0 else 0.0)
        doubt_u = max(doubt_u, math.hypot(*(doubt.signal for doubt in region.doubts)))
    return _Sample(clipped, floored, code_u, math.hypot(max(code_u, BLACK_U), doubt_u))


def _shares(marked: NDArray[np.bool_], tiles: int) -> NDArray[np.float64]:
    """Share of a strip's photosites (rows, cols[, planes]) that are marked, for each tile of it."""
    columns = marked.reshape(*marked.shape[:2], -1).mean(axis=(0, 2))
    starts = starts_of(tiles, len(columns))
    return np.asarray(np.add.reduceat(columns, starts) / np.diff(starts, append=len(columns)))


def grid_of(rows: int, cols: int) -> tuple[int, int]:
    """Rows and columns of about square tiles for a picture of so many cells."""
    side = max(math.sqrt(rows * cols / TILES), 1.0)
    return max(round(rows / side), 1), max(round(cols / side), 1)


def sums(cells: NDArray[np.float64], grid: tuple[int, int]) -> NDArray[np.float64]:
    """Sums of cells (..., rows, cols) over each tile of a grid, (..., *grid)."""
    down, across = (starts_of(n, size) for n, size in zip(grid, cells.shape[-2:], strict=True))
    return np.asarray(np.add.reduceat(np.add.reduceat(cells, down, axis=-2), across, axis=-1))


def starts_of(tiles: int, cells: int) -> NDArray[np.int_]:
    """The first cell of each tile along a side of no fewer ``cells``."""
    return np.asarray(-(np.arange(tiles) * cells // -tiles))


def spread_over(tiles: NDArray[Any], shape: tuple[int, int]) -> NDArray[Any]:
    """The value of its tile (rows, cols) for each cell of a picture of ``shape`` cells."""
    down, across = (
        np.arange(cells) * n // cells for n, cells in zip(tiles.shape, shape, strict=True)
    )
    return np.asarray(tiles[down[:, None], across])


def _noise(fine: NDArray[np.float64], level: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard deviation of noise in tiles, by how it grows with light in the quiet ones.

    Parameters
    ----------
    fine : (rows, cols) variance of what is finer than a cell's neighbourhood.
    level : (rows, cols) mean signal, above 0.

    References
    ----------
    EMVA 1288: the variance of shot noise is proportional to the signal.
    """
    return np.asarray(np.sqrt(np.quantile(fine / level, QUIET) * level))


def _texture(
    main: NDArray[np.float64],
    level: NDArray[np.float64],
    noise: NDArray[np.float64],
    grid: tuple[int, int],
) -> NDArray[np.float64]:
    """Spread of the level within tiles, noise taken out [stop]."""
    count = sums(np.ones(main.shape), grid)
    off = main - spread_over(sums(main, grid) / count, main.shape)
    variance = sums(off**2, grid) / count - noise**2
    return np.asarray(np.sqrt(np.maximum(variance, 0)) / level / math.log(2))
