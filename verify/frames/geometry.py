"""Where a photosite stands: boxes in upright pixels, and the eight orientations of Exif.

A person sees and counts the upright picture, from the corner of the active area. The file stores
the sensor's rows, turned or mirrored. Exif's Orientation (1 to 8) says how.
"""

from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

Scalar = TypeVar("Scalar", bound=np.generic)
Edge = Literal["top", "bottom", "left", "right"]  # of the upright picture

# Where the first and the last stored row are seen (TIFF 6.0, tag 274, the 0th row).
_FIRST_ROW_AT: dict[int, tuple[Edge, Edge]] = {
    1: ("top", "bottom"),
    2: ("top", "bottom"),
    3: ("bottom", "top"),
    4: ("bottom", "top"),
    5: ("left", "right"),
    6: ("right", "left"),
    7: ("right", "left"),
    8: ("left", "right"),
}


@dataclass(frozen=True, slots=True)
class Size:
    """Extent of a picture or of a sensor's active area."""

    width: int  # [pixel]
    height: int  # [pixel]


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle of whole pixels, counted from the corner of the active area."""

    col: int  # leftmost column
    row: int  # topmost row
    width: int  # [pixel], at least 1
    height: int  # [pixel], at least 1

    def inside(self, size: Size) -> bool:
        """Whether the whole box lies inside a picture of that size."""
        return (
            self.col >= 0
            and self.row >= 0
            and self.width > 0
            and self.height > 0
            and self.col + self.width <= size.width
            and self.row + self.height <= size.height
        )

    def corners(self) -> tuple[tuple[float, float], ...]:
        """The four corners (col, row), clockwise from the top left."""
        right, bottom = self.col + self.width, self.row + self.height
        return ((self.col, self.row), (right, self.row), (right, bottom), (self.col, bottom))


def upright_size(stored: Size, orientation: int) -> Size:
    """Size of the upright picture of a stored one; orientations 5 to 8 swap the sides."""
    return stored if orientation < 5 else Size(stored.height, stored.width)


def stored_box(box: Box, stored: Size, orientation: int) -> Box:
    """Where an upright box lies among the stored rows and columns.

    Parameters
    ----------
    box : in upright pixels.
    stored : size of the stored (not turned) active area.
    orientation : Exif Orientation, 1 to 8.
    """
    c, r, w, h = box.col, box.row, box.width, box.height
    from_right, from_bottom = stored.width - c - w, stored.height - r - h
    match orientation:
        case 2:
            return Box(from_right, r, w, h)
        case 3:
            return Box(from_right, from_bottom, w, h)
        case 4:
            return Box(c, from_bottom, w, h)
        case 5:
            return Box(r, c, h, w)
        case 6:
            return Box(r, stored.height - c - w, h, w)
        case 7:
            return Box(stored.width - r - h, stored.height - c - w, h, w)
        case 8:
            return Box(stored.width - r - h, c, h, w)
        case _:
            return box


def upright_point(col: float, row: float, stored: Size, orientation: int) -> tuple[float, float]:
    """Where a point of the stored active area lies in the upright picture, as (col, row)."""
    width, height = stored.width, stored.height
    match orientation:
        case 2:
            return width - col, row
        case 3:
            return width - col, height - row
        case 4:
            return col, height - row
        case 5:
            return row, col
        case 6:
            return height - row, col
        case 7:
            return height - row, width - col
        case 8:
            return row, width - col
        case _:
            return col, row


def upright(stored: NDArray[Scalar], orientation: int) -> NDArray[Scalar]:
    """Turn stored rows and columns (rows, cols[, planes]) upright; a view, nothing is copied."""
    match orientation:
        case 2:
            return stored[:, ::-1]
        case 3:
            return stored[::-1, ::-1]
        case 4:
            return stored[::-1]
        case 5:
            return stored.swapaxes(0, 1)
        case 6:
            return stored[::-1].swapaxes(0, 1)
        case 7:
            return stored[::-1, ::-1].swapaxes(0, 1)
        case 8:
            return stored[:, ::-1].swapaxes(0, 1)
        case _:
            return stored


def upright_edge(edge: Literal["top", "bottom"], orientation: int) -> Edge:
    """Where the top or the bottom edge of the stored picture is in the upright one.

    Parameters
    ----------
    edge : of the stored rows: "top" is the edge of the first of them.
    orientation : Exif Orientation, 1 to 8; what is none of these counts as 1, as elsewhere here.
    """
    first, last = _FIRST_ROW_AT.get(orientation, _FIRST_ROW_AT[1])
    return first if edge == "top" else last
