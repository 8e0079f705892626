"""A picture in tiles, and the change of light between two such pictures."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from verify.frames.geometry import Size

Why = Literal[
    "", "other-size", "clipped", "dark", "too-small", "changed", "uneven", "other-picture"
]
Bound = Literal["at-least", "at-most"]


@dataclass(frozen=True, slots=True, eq=False)
class Tiles:
    """A frame's picture in about 24 x 16 tiles, upright, and in the cells that they are made of."""

    size: Size  # of the upright picture [pixel]
    colors: tuple[str, ...]  # of the last axis
    cells: NDArray[np.float16]  # (rows, cols, colours) mean linear signal of each cell
    lost: NDArray[np.bool_]  # (rows, cols) of cells: clipped in a colour, or beside one that is
    signal: NDArray[np.float64]  # (rows, cols, colours) of tiles: mean linear signal, clipped too
    lost_share: NDArray[np.float64]  # (rows, cols) of tiles: 0 to 1, of their cells
    floored: NDArray[np.bool_]  # (rows, cols) of tiles: photosites at the lowest code lift its mean
    noise: NDArray[np.float64]  # (rows, cols) of tiles: standard deviation of a cell's signal of
    # the main colour by noise; where there is fine texture, that too
    texture: NDArray[np.float64]  # (rows, cols) of tiles: spread of the level in them, noise
    # taken out [stop]
    black_u: float  # standard uncertainty of black [signal]

    @property
    def grid(self) -> tuple[int, int]:
        """Rows and columns of tiles."""
        return self.lost_share.shape[0], self.lost_share.shape[1]


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """The change of light from a reference to a frame, as most of the picture shows it."""

    stops: float | None  # what camera settings explain taken out [stop]; None where nothing is told
    u_stops: float | None  # one standard uncertainty [stop]
    majority: bool  # whether at least half of the usable picture shows this one change
    same_set: bool | None  # whether it is the same set, seen from the same place; None: not told
    why: Why  # why no majority agrees; empty where one does
    agreed_share: float | None  # of the usable picture, that shows this change
    usable_share: float  # of the picture, that is neither clipped nor dark in either frame
    tiles: NDArray[np.float64]  # (rows, cols) change of each tile, settings taken out [stop];
    # NaN where not usable
    red_green_stops: float | None = None  # change of red against green, in the tiles that agree
    blue_green_stops: float | None = None  # the same of blue
    u_color_stops: float | None = None  # standard uncertainty of either of them [stop]
    uneven_stops: float | None = None  # span of a smooth change over the picture: from its 5 % to
    # its 95 % quantile; None where nothing is told
    shift: tuple[float, float] = (0.0, 0.0)  # of the picture, columns and rows [cell]
    bound: Bound | None = None  # the change is only a bound
    warnings: tuple[str, ...] = ()  # names from the table of warnings
