"""What repeats over a sensor: the pattern of a mosaic, and of its black."""

from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from verify.frames.frame import Region
from verify.frames.geometry import Box

Scalar = TypeVar("Scalar", bound=np.generic)


def repeated(pattern: NDArray[Scalar], box: Box) -> NDArray[Scalar]:
    """A pattern (rows, cols[, planes]) anchored at the active area's corner, over a box of it."""
    rows = (box.row + np.arange(box.height)) % pattern.shape[0]
    cols = (box.col + np.arange(box.width)) % pattern.shape[1]
    whole: NDArray[Scalar] = pattern[rows[:, None], cols[None, :]]
    return whole


def of_one_plane(
    region: Region, box: Box, pattern: NDArray[np.uint8] | None, black: NDArray[np.float64]
) -> Region:
    """A region (rows, cols, 1) as (rows, cols), with its classes of photosites.

    Parameters
    ----------
    region : as read, with a black, white and clipping level for its plane.
    box : its place in the active area.
    pattern : index into the region's colours of each photosite of a repeat; None without a mosaic.
    black : (rows, cols, 1) of its own repeat [DN].
    """
    flat = replace(
        region,
        signal=region.signal[..., 0],
        clipped=region.clipped[..., 0],
        floored=region.floored[..., 0],
    )
    if pattern is None:
        return flat
    count = len(region.colors)
    return replace(
        flat,
        classes=repeated(pattern, box),
        black=tuple(black_of_colors(black, pattern, count).tolist()),
        white=region.white * count,
        clips_at=region.clips_at * count,
    )


def black_of_colors(
    black: NDArray[np.float64], pattern: NDArray[np.uint8] | None, colors: int
) -> NDArray[np.float64]:
    """Mean black of each colour [DN].

    Parameters
    ----------
    black : (rows, cols, planes) of its own repeat [DN].
    pattern : index into the colours of each photosite of a repeat; None for planes of colours.
    colors : how many colours there are.
    """
    if pattern is None:
        return np.broadcast_to(black.mean((0, 1)), colors)
    blacks = np.tile(black[..., 0], pattern.shape)
    classes = np.tile(pattern, black.shape[:2])
    return np.array([blacks[classes == i].mean() for i in range(colors)])
