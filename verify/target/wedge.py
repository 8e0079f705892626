"""A step wedge in a picture: a straight row of equal neutral patches that touch, each darker.

No library looks for one. Even pieces between edges are put in rows; a row is a wedge when its
patches are equal, touch, are as neutral as each other, fall in level by about equal steps (stray
light makes the dark ones smaller, never suddenly), and when nothing like them stands beside it.
Every test is strict: a wedge that is missed can be given by a box, one that is none tells lies.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.lattice import Homography, cell_sides, mapped, places, scaled
from verify.target.patch_boxes import BOX_REACH, NeutralPatch, box_about, named_patch
from verify.target.patches import Patches, groups, linked, patches_in
from verify.target.row import fit_row, level_at, rough_row

FEWEST = 5  # patches
MOST = 40
DETOUR = 1.3  # all changes from piece to piece against the whole fall
BESIDE = 0.25  # of the patches of a row: pieces that may happen to stand beside it
EDGES = (0.03, 0.06, 0.12)  # stop a cell: what is an edge, from faint steps to hard ones
SMALLEST_SIDE = 60  # of a level of reduction [cell]
TINT_WITHIN = 0.1  # stop of colour from one patch to the others
NEUTRAL_WITHIN = 0.5  # stop of colour off a neutral surface by the camera's white balance
STEPS = (0.1, 1.3)  # stop; 0.05 D is 0.17, 0.30 D is 1.0
STEP_SPREAD = (0.3, 1.7)  # of the middle step
STEP_GROWS, STEP_SHRINKS = 1.25, 1.7  # ratio of one step to the next, towards the dark
BETWEEN = 0.2  # of a step by which what is between two patches may lie outside their levels
ACROSS = np.linspace(0.6, 1.4, 33)  # from within a patch into the next one
INNER = np.linspace(-0.22, 0.22, 5)  # of a patch's sides about its middle
SIDE_SHARE = 0.5  # of the shorter side of a patch: the box that is measured


@dataclass(frozen=True, slots=True)
class Wedge:
    """A step wedge in a picture, from the lightest patch seen to the darkest.

    Places are (col, row) in cells of the picture from the corner of the first one.
    """

    homography: Homography  # (3, 3) to the picture; patch n has columns n to n + 1, rows 0 to 1
    corners: NDArray[np.float64]  # (n, 4, 2) of the patches, clockwise
    levels: NDArray[np.float64]  # (n,) in the picture [stop]; for the order, not for measuring
    step_stops: float  # middle step from patch to patch in the picture
    residual: float  # root mean square of the borders from where they should be, in pitches


def find_wedge(stops: NDArray[np.float32]) -> Wedge | None:
    """The step wedge in a picture, the longest if there are several; None without one.

    Look for a 24-patch chart first: its neutral row is none (its patches do not touch), but a
    picture that holds a chart needs no wedge.

    Parameters
    ----------
    stops : (rows, cols, 3) level and two differences of colour from it, log2 of linear signal,
        0 colour for a neutral surface; noise smoothed and edges kept. A step is at least 14 cells
        wide.
    """
    best: Wedge | None = None
    for patches in _even_pieces(stops):
        steps = linked(patches)
        for group in groups(steps, FEWEST, 3 * MOST):
            order = _run(*places(patches, steps, group))
            if order is None or (best is not None and len(order) <= len(best.levels)):
                continue
            if _falls(stops, patches.centres[order]):
                best = _wedge_of(stops, patches, order) or best
    return best


def wedge_patches(
    wedge: Wedge, cell: float, corner: tuple[float, float] = (0.0, 0.0)
) -> tuple[NeutralPatch, ...]:
    """Boxes and corners of the patches, lightest first.

    Parameters
    ----------
    wedge : as found in a picture.
    cell : upright pixels to one cell of the picture.
    corner : upright (col, row) of the corner of its first cell.
    """
    homography = scaled(wedge.homography, cell, corner)
    found = []
    for n, corners in enumerate(wedge.corners * cell + np.asarray(corner)):
        sides = cell_sides(homography, (n + 0.5, 0.5))
        side = SIDE_SHARE * float(np.linalg.norm(sides, axis=0).min())
        middle = mapped(homography, np.array([n + 0.5, 0.5]))
        found.append(
            named_patch(f"step {n + 1}", box_about(middle, side, sides, BOX_REACH), corners)
        )
    return tuple(found)


def _even_pieces(stops: NDArray[np.float32]) -> Iterator[Patches]:
    """Pieces of a picture between edges, at every level of reduction and by several measures.

    Half the size is the finest: faint steps drown in the noise of single cells.
    """
    scale = 1.0
    while min(stops.shape[:2]) >= 2 * SMALLEST_SIDE:
        half = stops.shape[1] // 2, stops.shape[0] // 2
        stops = np.asarray(cv2.resize(stops, half, interpolation=cv2.INTER_AREA), np.float32)
        scale *= 2
        steep = _steepness(stops)
        for limit in EDGES:
            yield patches_in(np.asarray(steep < limit).view(np.uint8), scale)


def _run(members: list[int], cells: NDArray[np.float64]) -> NDArray[np.intp] | None:
    """The pieces of the longest row without a gap, in order; None where others stand beside it."""
    rows, counts = np.unique(cells[:, 1], return_counts=True)
    own = np.flatnonzero(cells[:, 1] == rows[counts.argmax()])
    own = own[np.argsort(cells[own, 0])]
    parts = np.split(own, np.flatnonzero(np.diff(cells[own, 0]) != 1) + 1)
    longest = max(parts, key=len)
    beside = len(members) - len(own)
    if not FEWEST <= len(longest) <= MOST or beside > BESIDE * len(longest):
        return None
    return np.asarray(members)[longest]


def _falls(stops: NDArray[np.float32], centres: NDArray[np.float64]) -> bool:
    """Whether pieces get darker one after the other, but for noise: a look that costs nothing."""
    limits = stops.shape[1] - 1, stops.shape[0] - 1
    col, row = np.clip(np.rint(centres - 0.5), 0, limits).astype(int).T
    change = np.diff(stops[row, col, 0])
    return bool(np.abs(change).sum() < DETOUR * abs(change.sum()))


def _steepness(stops: NDArray[np.float32]) -> NDArray[np.float32]:
    """Change of level from cell to cell, in the direction in which it is largest [stop]."""
    level = np.ascontiguousarray(stops[..., 0])
    across = cv2.Scharr(level, cv2.CV_32F, 1, 0, scale=1 / 32)
    down = cv2.Scharr(level, cv2.CV_32F, 0, 1, scale=1 / 32)
    return np.asarray(cv2.magnitude(across, down), np.float32)


def _wedge_of(
    stops: NDArray[np.float32], patches: Patches, order: NDArray[np.intp]
) -> Wedge | None:
    """The wedge that pieces in a row are, None if they are none."""
    rough = rough_row(patches, order)
    if rough is None:
        return None
    count = len(order)
    row = fit_row(stops, rough, count)
    if row is None:
        return None
    homography = row.homography
    middles = np.array([(n + 0.5, 0.5) for n in range(count)])
    inner = np.stack(np.meshgrid(INNER, INNER), axis=-1).reshape(-1, 2)
    inside = level_at(stops, homography, middles[:, None] + inner)
    levels, colors = inside[..., 0].mean(1), inside[..., 1:].mean(1)
    if levels[0] < levels[-1]:  # half a turn puts the lightest first
        homography = homography @ np.array([[-1, 0, count], [0, -1, 1], [0, 0, 1.0]])
        levels, colors = levels[::-1], colors[::-1]
    if not (_equal_steps(levels) and _one_tint(colors) and _touch(stops, homography, levels)):
        return None
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    corners = mapped(homography, square + [[[n, 0]] for n in range(count)])
    step = float(np.median(-np.diff(levels)))
    return Wedge(homography, corners, levels, step, row.residual)


def _equal_steps(levels: NDArray[np.float64]) -> bool:
    """Whether the levels fall, by steps that are alike and change only slowly."""
    steps = -np.diff(levels)
    middle = float(np.median(steps))
    if not STEPS[0] <= middle <= STEPS[1] or steps.min() < STEP_SPREAD[0] * middle:
        return False
    if steps.max() > STEP_SPREAD[1] * middle:
        return False
    turn = steps[1:] / steps[:-1]
    return bool(turn.max() < STEP_GROWS and turn.min() > 1 / STEP_SHRINKS)


def _one_tint(colors: NDArray[np.float64]) -> bool:
    """Whether the patches have one colour, and that near neutral."""
    tint = np.median(colors, axis=0)
    off = np.abs(colors - tint).max()
    return bool(off < TINT_WITHIN and np.abs(tint).max() < NEUTRAL_WITHIN)


def _touch(stops: NDArray[np.float32], homography: Homography, levels: NDArray[np.float64]) -> bool:
    """Whether from the middle of each patch to the next one's no other level comes between."""
    count = len(levels)
    points = np.array(
        [[[(n + x, 0.5 + y) for y in INNER] for x in ACROSS] for n in range(count - 1)]
    )
    between = level_at(stops, homography, points)[..., 0].mean(-1)
    share = (between - levels[1:, None]) / (levels[:-1] - levels[1:])[:, None]
    return bool(share.min() > -BETWEEN and share.max() < 1 + BETWEEN)
