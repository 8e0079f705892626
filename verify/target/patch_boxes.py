"""What is measured of a patch that was found in a picture: a box in its middle."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.frames.geometry import Box

BOX_REACH = 0.33  # of a patch's sides from its middle, beyond which no corner of a box may lie


@dataclass(frozen=True, slots=True)
class NeutralPatch:
    """One neutral patch of a chart or of a step wedge."""

    name: str  # "neutral 5" of a chart; "step 1" of a wedge, the lightest
    box: Box  # middle part of the patch, in upright pixels
    corners: tuple[tuple[float, float], ...]  # (col, row) of the patch's own corners, upright


def box_about(
    at: NDArray[np.float64], side: float, cell_sides: NDArray[np.float64], reach: float
) -> Box:
    """The square box about a point of a patch, smaller where it would come near the patch's edge.

    Parameters
    ----------
    at : (col, row) middle of the box [upright pixel].
    side : of the box as wanted [upright pixel].
    cell_sides : columns: from one patch to the next along the row, and across it [upright pixel].
    reach : as :data:`BOX_REACH`, in shares of ``cell_sides``.
    """
    ends = np.array([[-side, -side], [side, -side]]).T / 2  # the other two lie opposite
    farthest = float(np.abs(np.linalg.solve(cell_sides, ends)).max())
    whole = max(1, round(side * min(1.0, reach / farthest)))
    return Box(round(at[0] - whole / 2), round(at[1] - whole / 2), whole, whole)


def named_patch(name: str, box: Box, corners: NDArray[np.float64]) -> NeutralPatch:
    """A patch from its box and its corners (4, 2)."""
    return NeutralPatch(name, box, tuple((float(c), float(r)) for c, r in corners))
