"""Even regions of a picture, and the quadrilaterals that could be their outline."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.light import Light
from verify.target.quads import Quad, area, around, clockwise, convex, crossings, mask

STEEPNESS = (0.03, 0.06, 0.12)  # stop a cell: what counts as an edge, from soft to hard
EDGE_SIGMAS = 3.0  # of the noise; a smaller change is none
GAPS = (0, 1)  # cells by which edges are widened, to close gaps in them
LEAST_SHARE = 0.005  # of the picture; a smaller region is no card
LARGEST_SHARE = 0.7
MOST_REGIONS = 30  # of one measure of edges, the largest
MOST_JOINED = 10  # of them, the largest, that may be two parts of one face
EDGES = 6  # longest straight edges of a contour, of which four are sides
ON_QUAD = 0.55  # of a quadrilateral that its region must fill; shadow or a hand may have the rest
WITHIN = 0.9  # of a region that must lie in its quadrilateral
CLOSE = 6  # cells between two parts of one face that a shadow's edge divides


@dataclass(frozen=True, slots=True)
class Region:
    """A connected even part of the picture."""

    corner: tuple[int, int]  # col, row of its bounding box
    own: NDArray[np.uint8]  # 1 where it is, within that box
    contour: NDArray[np.int32]  # (points, 2) its outer rim, in cells of the picture
    cells: int  # its area


def quads(light: Light) -> Iterator[Quad]:
    """Quadrilaterals around even regions, many of them several times."""
    for regions in _divided(light):
        for region in regions:
            yield from _outlines(region)
        for one, other in combinations(regions[:MOST_JOINED], 2):
            yield from _joint(one, other)


def _divided(light: Light) -> Iterator[list[Region]]:
    """The picture's even regions by several measures of what an edge is."""
    for limit in STEEPNESS:
        edge = (light.steep >= np.maximum(limit, EDGE_SIGMAS * light.noise)).astype(np.uint8)
        for gap in GAPS:
            wide = cv2.dilate(edge, np.ones((2 * gap + 1, 2 * gap + 1), np.uint8)) if gap else edge
            yield _regions(((wide == 0) & light.grey).astype(np.uint8))


def _regions(even: NDArray[np.uint8]) -> list[Region]:
    """Connected regions of a mask that are large enough, the largest first."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(even, connectivity=4)
    found = []
    order = np.argsort(-stats[1:count, cv2.CC_STAT_AREA])[:MOST_REGIONS] + 1
    for label in order.tolist():
        col, row, width, height, cells = stats[label].tolist()
        if not LEAST_SHARE * even.size <= cells <= LARGEST_SHARE * even.size:
            continue
        own = (labels[row : row + height, col : col + width] == label).astype(np.uint8)
        contours, _ = cv2.findContours(own, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        contour = max(contours, key=len)[:, 0] + np.array((col, row), np.int32)
        found.append(Region((col, row), own, contour, cells))
    return found


def _outlines(region: Region) -> Iterator[Quad]:
    """Quadrilaterals that a region may fill, but for what lies over it."""
    hull = cv2.convexHull(region.contour)[:, 0].astype(np.float32) + 0.5
    if region.cells >= ON_QUAD * cv2.contourArea(hull):
        quad = around(hull)
        if quad is not None:
            yield quad
    for quad in _from_edges(region.contour):
        if _fits(region, quad):
            yield quad


def _from_edges(contour: NDArray[np.int32]) -> Iterator[Quad]:
    """Quadrilaterals of any four of the longest straight edges of a contour, in their order."""
    length = cv2.arcLength(contour, True)
    polygon = cv2.approxPolyDP(contour, max(1.5, 0.012 * length), True)[:, 0].astype(float) + 0.5
    if len(polygon) < 4:
        return
    ends = np.roll(polygon, -1, axis=0)
    lengths = np.linalg.norm(ends - polygon, axis=1)
    chosen = np.sort(np.argsort(-lengths)[:EDGES])
    chosen = chosen[lengths[chosen] > 0.06 * length / 2]
    along = (ends - polygon) / np.maximum(lengths, 1e-9)[:, None]
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1)
    lines = np.column_stack([normal, (normal * polygon).sum(1)])
    fours = np.array(list(combinations(chosen.tolist(), 4)), int).reshape(-1, 4)
    corners = crossings(lines[fours])
    yield from clockwise(corners[convex(corners)])


def _fits(region: Region, quad: Quad) -> bool:
    """Whether a region lies in a quadrilateral and fills enough of it."""
    whole = area(quad)
    if not region.cells <= 1.15 * whole or region.cells < ON_QUAD * whole:
        return False
    inside = mask(quad - region.corner, region.own.shape) & (region.own > 0)
    return bool(np.count_nonzero(inside) >= WITHIN * region.cells)


def _joint(one: Region, other: Region) -> Iterator[Quad]:
    """The quadrilateral around two parts of a face that the edge of a shadow divides."""
    if not _near(one.contour, other.contour):
        return
    hull = cv2.convexHull(np.vstack([one.contour, other.contour]))[:, 0].astype(np.float32) + 0.5
    if one.cells + other.cells < 0.75 * cv2.contourArea(hull):
        return
    quad = around(hull)
    if quad is not None and one.cells + other.cells >= 0.7 * area(quad):
        yield quad


def _near(one: NDArray[np.int32], other: NDArray[np.int32]) -> bool:
    """Whether the bounding boxes of two contours touch, or nearly."""
    return bool(
        (one.min(0) <= other.max(0) + CLOSE).all() and (other.min(0) <= one.max(0) + CLOSE).all()
    )
