"""The 24-patch chart in a picture: found, told from everything else, and its neutral patches.

Patches that are brighter than the black frame around them are put on a lattice, the lattice is
tried in all four turns at all places that fit, and the colours decide. A general detector of
charts (that of OpenCV 5) was measured on the same pictures first: it asks for more contrast and
for a chart seen straight on, and missed most of them.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.chart_colors import (
    COLUMNS,
    NEUTRAL_NAMES,
    NEUTRALS,
    ROWS,
    UNLIKE,
    hues_in_order,
    neutral_and_falling,
    unlikeness,
)
from verify.target.lattice import (
    Homography,
    cell_sides,
    fitted,
    inverse,
    mapped,
    pitch_at,
    places,
    scaled,
)
from verify.target.patch_boxes import BOX_REACH, NeutralPatch, box_about, named_patch
from verify.target.patch_edges import fit_to_edges
from verify.target.patches import (
    Patches,
    blurred,
    brightest,
    groups,
    halved,
    linked,
    patches_in,
)

WINDOW = 31  # pixels at each level: what a patch must be brighter than, the mean around it
FINE_WINDOW = 13  # the same for patches of 6 to 12 pixels, whose gaps are narrower than a pixel
BRIGHTER = 2  # codes
FEWEST_SEEN = 8  # patches that must be seen to look closer
FEWEST_FITTED = 12  # patches whose four edges must be seen
MOST_LINKED = 120  # patches that hang together: more are a wall or a fabric
LARGEST = 8  # patches along one side of a lattice that can still be one chart
SMALLEST_SIDE = 60  # of a level of reduction [pixel]
BLOCK_SHARE = 0.75  # of the patches of a lattice that must lie within the chart
COARSE = 14.0  # colours are taken from the picture blurred by a pitch over this
SPREAD = np.linspace(-0.2, 0.2, 3)  # of a pitch about a patch's middle: where its colour is taken
BOX_SIDE = 0.5  # of a pitch
BOX_MARGIN = 0.08  # of a pitch between a corner of a box and the patch's edge
ALIGNED = 0.04  # of a pitch by which a box may be moved onto the white one's line


@dataclass(frozen=True, slots=True)
class Chart:
    """A 24-patch chart in a picture, patches row by row from dark skin to black.

    Places are (col, row) in picture pixels from the corner of the first one.
    """

    homography: Homography  # (3, 3) from lattice coordinates, 6 columns and 4 rows, to the picture
    size: tuple[float, float]  # width and height of a patch against the pitch
    corners: NDArray[np.float64]  # (24, 4, 2) of the patches, clockwise from their own top left
    outline: NDArray[np.float64]  # (4, 2) of all patches with half a gap, clockwise from dark skin
    colors: NDArray[np.float64]  # (24, 3) mean codes of the patches in the picture, RGB
    pitch_px: float  # from patch to patch in the middle of the chart
    seen: int  # patches whose edges were seen
    residual_px: float  # root mean square of the middles of those from the lattice
    unlikeness: float  # of the colours, see :func:`verify.target.chart_colors.unlikeness`


def find_chart(picture: NDArray[np.uint8]) -> Chart | None:
    """The 24-patch chart in a picture, the largest if there are several; None without one.

    Parameters
    ----------
    picture : (rows, cols, 3) RGB, gamma-encoded, upright and not mirrored, the chart whole in it
        and at least 12 % of 700 pixels wide. White balance need not be right, nor the exposure.
    """
    return next(iter(find_charts(picture)), None)


def find_charts(picture: NDArray[np.uint8]) -> list[Chart]:
    """All 24-patch charts in a picture, as :func:`find_chart` finds one; the largest first."""
    found: list[Chart] = []
    for patches in _bright_patches(picture):
        steps = linked(patches)
        for group in groups(steps, FEWEST_SEEN, MOST_LINKED):
            middle = patches.centres[group].mean(0)
            if any(_inside(chart, middle) for chart in found):
                continue  # the same one, seen at another level of reduction
            members, cells = places(patches, steps, group)
            chart = _chart_at(picture, patches, members, cells)
            if chart is not None:
                found.append(chart)
    return sorted(found, key=lambda chart: -chart.pitch_px)


def neutral_patches(
    chart: Chart, cell: float, corner: tuple[float, float] = (0.0, 0.0)
) -> tuple[NeutralPatch, ...]:
    """Boxes and corners of the six neutral patches, white to black.

    A box is a square of half a pitch about the patch's middle, less where perspective or a turn
    would bring its corners near the patch's edge. Where the row is all but level with the
    photosites, the boxes are moved a little onto the line of the white one: the same rows of
    photosites then cross all six, and light that falls off across them takes alike from each.

    Parameters
    ----------
    chart : as found in a picture.
    cell : upright pixels to one picture pixel.
    corner : upright (col, row) of the corner of the first picture pixel.
    """
    homography = scaled(chart.homography, cell, corner)
    middles = mapped(homography, np.array([_middle_of(n) for n in NEUTRALS]))
    off_line = int(np.argmin(np.abs(middles[-1] - middles[0])))  # the axis across their line
    corners = chart.corners * cell + np.asarray(corner)
    found = []
    for n, name, at in zip(NEUTRALS, NEUTRAL_NAMES, middles, strict=True):
        sides = cell_sides(homography, _middle_of(n))
        pitch = math.sqrt(abs(np.linalg.det(sides)))
        to_line = middles[0, off_line] - at[off_line]
        at[off_line] += min(max(to_line, -ALIGNED * pitch), ALIGNED * pitch)
        reach = min(BOX_REACH, min(chart.size) / 2 - BOX_MARGIN)
        box = box_about(at, BOX_SIDE * pitch, sides, reach)
        found.append(named_patch(name, box, corners[n]))
    return tuple(found)


def _bright_patches(picture: NDArray[np.uint8]) -> list[Patches]:
    """Pieces that are brighter than what is around them, at every level of reduction.

    The brightest of the three colours is looked at: in it only black is as dark as the frame.
    """
    level = brightest(picture)
    found = [patches_in(_brighter(level, level, FINE_WINDOW), 1.0)]
    scale = 1.0
    while min(level.shape) >= SMALLEST_SIDE:
        found.append(patches_in(_brighter(blurred(level, 3), level, WINDOW), scale))
        level, scale = halved(level), scale * 2
    return found


def _brighter(
    level: NDArray[np.uint8], around: NDArray[np.uint8], window: int
) -> NDArray[np.uint8]:
    """Where a picture is brighter than the mean of a window around, not 0."""
    mean = blurred(around, window).astype(np.int16)
    return np.asarray(level > mean + BRIGHTER).view(np.uint8)


def _chart_at(
    picture: NDArray[np.uint8],
    patches: Patches,
    members: list[int],
    cells: NDArray[np.float64],
) -> Chart | None:
    """The chart that patches on one lattice belong to, None if they are no chart."""
    extent = np.ptp(cells, axis=0) + 1
    if len(members) < FEWEST_SEEN or extent.max() > LARGEST or extent.min() < 2:
        return None
    pitch = 1.15 * float(np.sqrt(np.median(patches.areas[members])))
    fit = fitted(cells + 0.5, patches.centres[members], 0.15 * pitch)
    if fit is None or fit[1].sum() < FEWEST_SEEN:
        return None
    homography, fits = fit
    placed = _placed(picture, homography, cells[fits], pitch)
    if placed is None:
        return None
    edges = fit_to_edges(picture, placed, COLUMNS, ROWS, FEWEST_FITTED)
    if edges is None:
        return None
    middle = np.array([COLUMNS / 2, ROWS / 2])
    pitch = pitch_at(edges.homography, middle)
    middles = np.array([_middle_of(n) for n in range(ROWS * COLUMNS)])
    colors = _colors(picture, edges.homography, middles, pitch)
    unlike = unlikeness(colors)  # not a number where it reaches outside the picture
    if not unlike < UNLIKE or not (neutral_and_falling(colors) and hues_in_order(colors)):
        return None
    half = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    whole = np.array([[0, 0], [COLUMNS, 0], [COLUMNS, ROWS], [0, ROWS]], float)
    return Chart(
        homography=edges.homography,
        size=edges.size,
        corners=mapped(edges.homography, middles[:, None] + half * np.asarray(edges.size)),
        outline=mapped(edges.homography, whole),
        colors=colors,
        pitch_px=pitch,
        seen=edges.seen,
        residual_px=edges.residual_px,
        unlikeness=unlike,
    )


def _placed(
    picture: NDArray[np.uint8], homography: Homography, cells: NDArray[np.float64], pitch: float
) -> Homography | None:
    """From the chart's lattice to the picture: the turn and the place whose colours fit best.

    Parameters
    ----------
    homography : from the lattice on which the patches were seen.
    cells : (n, 2) its whole coordinates of those patches.
    """
    reach = COLUMNS - 1
    low = cells.min(0).astype(int) - reach
    wide, high = cells.max(0).astype(int) + 1 + reach - low
    seen = np.zeros((high, wide), bool)
    own = cells.astype(int) - low
    seen[own[:, 1], own[:, 0]] = True
    rows, columns = np.indices((high, wide))
    middles = np.stack([columns, rows], axis=-1).reshape(-1, 2) + low + 0.5
    colors = _colors(picture, homography, middles, pitch).reshape(high, wide, 3)
    best, least = None, UNLIKE
    needed = max(FEWEST_SEEN, BLOCK_SHARE * len(cells))
    for turn in range(4):
        across, down = (COLUMNS, ROWS) if turn % 2 == 0 else (ROWS, COLUMNS)
        for row in range(high - down + 1):
            for column in range(wide - across + 1):
                block = slice(row, row + down), slice(column, column + across)
                if seen[block].sum() < needed or np.isnan(colors[block]).any():
                    continue
                unlike = unlikeness(np.rot90(colors[block], turn).reshape(-1, 3))
                if unlike < least:
                    least = unlike
                    best = homography @ _turned(turn, low[0] + column, low[1] + row)
    return best


def _turned(turn: int, column: int, row: int) -> NDArray[np.float64]:
    """From the chart's lattice to the one it was seen on, where its block starts at a cell.

    ``turn`` counts quarter turns as :func:`numpy.rot90` does, which bring the block upright.
    """
    part = {
        0: [[1, 0, 0], [0, 1, 0]],
        1: [[0, -1, ROWS], [1, 0, 0]],
        2: [[-1, 0, COLUMNS], [0, -1, ROWS]],
        3: [[0, 1, 0], [-1, 0, COLUMNS]],
    }[turn]
    shift = np.array([[1, 0, column], [0, 1, row], [0, 0, 1.0]])
    return np.asarray(shift @ np.array([*part, [0, 0, 1.0]]))


def _colors(
    picture: NDArray[np.uint8],
    homography: Homography,
    middles: NDArray[np.float64],
    pitch: float,
) -> NDArray[np.float64]:
    """Mean codes (n, 3) about lattice points, NaN where they lie outside the picture."""
    smooth = blurred(picture, max(1, round(pitch / COARSE)))
    spread = np.stack(np.meshgrid(SPREAD, SPREAD), axis=-1).reshape(-1, 2)
    points = middles[:, None] + spread
    before = points @ homography[2, :2] + homography[2, 2] > 0  # not behind the camera
    at = mapped(homography, points)
    inside = before & (at > 0).all(-1) & (at < picture.shape[1::-1]).all(-1)
    index = (np.where(inside[..., None], at, 0) - 0.5).astype(np.float32)
    taken = cv2.remap(
        smooth, index[..., 0], index[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    means = taken.reshape(*points.shape[:2], 3).mean(1)
    return np.where(inside.all(1)[:, None], means, np.nan)


def _middle_of(patch: int) -> tuple[float, float]:
    """Lattice coordinates of the middle of a patch."""
    return patch % COLUMNS + 0.5, patch // COLUMNS + 0.5


def _inside(chart: Chart, point: NDArray[np.float64]) -> bool:
    """Whether a picture point lies within the patches of a chart."""
    at = mapped(inverse(chart.homography), point)
    return bool(0 < at[0] < COLUMNS and 0 < at[1] < ROWS)
