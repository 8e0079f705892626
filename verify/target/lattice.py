"""A flat lattice of equal patches seen from anywhere: which patch is which, and where all of it is.

Lattice coordinates count patches: column and row of the lattice, the first patch from 0 to 1.
"""

from collections import deque

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.patches import Patches, Step

Homography = NDArray[np.float64]  # (3, 3) from lattice coordinates to a picture's pixels

OFF_LATTICE = 0.28  # of a pitch by which a step may differ from a whole one
BESIDE = 0.45  # of a pitch by which a step along the second direction may be off what is expected


def mapped(homography: Homography, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points (..., 2) of the lattice in the picture, or back with the inverse."""
    flat = points.reshape(-1, 2) @ homography[:, :2].T + homography[:, 2]
    return np.asarray((flat[:, :2] / flat[:, 2:]).reshape(points.shape))


def inverse(homography: Homography) -> Homography:
    """From a picture's pixels to lattice coordinates."""
    return np.asarray(np.linalg.inv(homography), np.float64)


def places(
    patches: Patches, steps: list[list[Step]], group: list[int]
) -> tuple[list[int], NDArray[np.float64]]:
    """Whole lattice coordinates for the patches of a group, as far as they lie on one lattice.

    Starts at the patch with the most neighbours and goes from patch to patch; each takes over the
    directions of the one before, for in perspective they turn slowly.

    Returns
    -------
    members : indices of the patches that have a place.
    cells : (n, 2) column and row of each, from anywhere.
    """
    first = max(group, key=lambda n: (len(steps[n]), -n))
    bases = {first: _first_basis(patches, steps[first], first)}
    cells = {first: (0, 0)}
    queue = deque([first])
    while queue:
        here = queue.popleft()
        basis = bases[here]
        parts = inverse(basis)
        for step in steps[here]:
            if step.to in cells:
                continue
            part = parts @ step.by
            whole = np.rint(part)
            if np.abs(part - whole).max() > OFF_LATTICE or np.abs(whole).sum() != 1:
                continue
            axis = int(np.argmax(np.abs(whole)))
            turned = basis.copy()
            turned[:, axis] = step.by * whole[axis]
            bases[step.to] = turned
            cells[step.to] = (cells[here][0] + int(whole[0]), cells[here][1] + int(whole[1]))
            queue.append(step.to)
    members = list(cells)
    return members, np.array([cells[n] for n in members], float)


def fitted(
    points: NDArray[np.float64], seen: NDArray[np.float64], within: float
) -> tuple[Homography, NDArray[np.bool_]] | None:
    """The homography that brings lattice points to where they were seen, and which of them fit.

    Parameters
    ----------
    points, seen : (n, 2) in lattice coordinates and in the picture, n at least 6.
    within : how far one that fits may be off [picture pixel].
    """
    found, fits = cv2.findHomography(points, seen, cv2.RANSAC, within, None, 500, 0.995)
    if found is None or not np.isfinite(found).all():
        return None
    chosen = fits.ravel().astype(bool)
    if chosen.sum() < 6 or min(np.ptp(points[chosen], axis=0)) == 0:
        return None
    found, _ = cv2.findHomography(points[chosen], seen[chosen], 0)
    if found is None or not np.isfinite(found).all():
        return None
    return np.asarray(found, np.float64), chosen


def scaled(homography: Homography, cell: float, corner: tuple[float, float]) -> Homography:
    """The same lattice in a larger picture: ``cell`` pixels to one, its first at ``corner``."""
    larger = np.array([[cell, 0, corner[0]], [0, cell, corner[1]], [0, 0, 1.0]])
    return np.asarray(larger @ homography)


def cell_sides(homography: Homography, middle: tuple[float, float]) -> NDArray[np.float64]:
    """Columns: how far it is in the picture across a cell of the lattice, and down it."""
    beside = np.array([[-0.5, 0], [0.5, 0], [0, -0.5], [0, 0.5]]) + middle
    left, right, top, bottom = mapped(homography, beside)
    return np.column_stack([right - left, bottom - top])


def pitch_at(homography: Homography, point: NDArray[np.float64]) -> float:
    """Root of the area of one cell of the lattice at a lattice point [picture pixel]."""
    square = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]]) + point
    return float(np.sqrt(cv2.contourArea(mapped(homography, square).astype(np.float32))))


def _first_basis(patches: Patches, steps: list[Step], patch: int) -> NDArray[np.float64]:
    """Columns: the two directions of the lattice at a patch, from its steps and its shape.

    One is the shortest step. The root of the shape's moments makes the patch of a circle's width
    in every direction, a square; there the second one stands upright on the first, clockwise. A
    step that agrees with it roughly is better, for a shape may be badly seen.
    """
    along = min(steps, key=lambda step: step.far).by
    around = [patch, *(step.to for step in steps)]
    values, axes = np.linalg.eigh(np.median(patches.spread[around], axis=0))
    root = axes * np.sqrt(values) @ axes.T
    x, y = np.linalg.solve(root, along)
    basis = np.column_stack([along, root @ np.array([-y, x])])
    for step in steps:
        aside, ahead = inverse(basis) @ step.by
        if abs(aside) < BESIDE and abs(ahead) > 1 - BESIDE:
            basis[:, 1] = np.copysign(1, ahead) * step.by
            break
    return basis
