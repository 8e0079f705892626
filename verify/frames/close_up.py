"""A part of a frame in cells, from its own signal: a closer look than the overview's."""

import numpy as np
from numpy.typing import NDArray

from verify.frames.cells import cell_size, in_cells
from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.frames.overview import Overview

SIDE = 130  # cells along the longer side
REPEATS = (1, 2, 3, 4, 6, 8)  # photosites after which a mosaic may repeat


def close_up(frame: Frame, box: Box) -> Overview:
    """The signal of a box in cells.

    Parameters
    ----------
    frame : an open frame.
    box : in upright pixels, inside the picture.

    Raises
    ------
    NotAFrame
        If the pixels cannot be decoded.
    """
    region = frame.signal(box)
    pattern = None if region.classes is None else _repeat(region.classes)
    signal = region.signal if region.signal.ndim == 3 else region.signal[..., None]
    cell = cell_size(box.width, box.height, pattern, SIDE)
    return Overview(
        signal=in_cells(signal, pattern, len(region.colors), cell),
        colors=region.colors,
        cell=cell,
        corner=(box.col, box.row),
        neutral=None,
        clips_at=min(region.clips_at),
        made_from="sensor",
    )


def _repeat(classes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The part of a mosaic that repeats."""
    for side in REPEATS:
        down, across = classes[side:] == classes[:-side], classes[:, side:] == classes[:, :-side]
        if down.all() and across.all():
            return classes[:side, :side]
    return classes
