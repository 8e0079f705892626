"""Quadrilaterals: how a rectangle looks from anywhere."""

import cv2
import numpy as np
from numpy.typing import NDArray

_BEFORE = np.array([3, 0, 1, 2])  # of each of four lines, the one before it

Quad = NDArray[np.float64]  # (4, 2) col and row of the corners, clockwise from the top left


def around(hull: NDArray[np.float32]) -> Quad | None:
    """The quadrilateral with the least area beyond a convex outline; None where there is none."""
    if len(hull) < 4:
        return None
    found = cv2.approxPolyN(hull.reshape(-1, 1, 2), 4, None, -1.0, True)
    corners = np.asarray(found, np.float64).reshape(-1, 2)
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        return None
    return clockwise(corners)


def clockwise(corners: Quad) -> Quad:
    """The corners clockwise as seen, from the one that is nearest to the top left."""
    x, y = (corners - corners.mean(0)).T
    ordered = corners[np.argsort(np.arctan2(y, x))]  # y points down: rising angles go clockwise
    first = int(np.argmin(ordered.sum(1)))
    return np.roll(ordered, -first, axis=0)


def area(quad: Quad) -> float:
    """Area of a quadrilateral."""
    return float(cv2.contourArea(quad.astype(np.float32)))


def sides(quad: Quad) -> NDArray[np.float64]:
    """Lengths of the four sides, the top one first."""
    return np.asarray(np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1))


def angles(quad: Quad) -> NDArray[np.float64]:
    """Angles inside at the four corners [degree]."""
    to_next, to_last = np.roll(quad, -1, axis=0) - quad, np.roll(quad, 1, axis=0) - quad
    cross = to_next[:, 0] * to_last[:, 1] - to_next[:, 1] * to_last[:, 0]
    return np.asarray(np.degrees(np.arctan2(cross, (to_next * to_last).sum(1))) % 360)


def mask(quad: Quad, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Cells of a picture (rows, cols) that lie inside, or are touched by a side."""
    sixteenth = 16
    points = np.rint((quad - 0.5) * sixteenth).astype(np.int32)
    out = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(out, points, 1, cv2.LINE_8, 4)
    return out.astype(np.bool_)


def crossing(lines: NDArray[np.float64]) -> Quad | None:
    """Corners where four lines (a, b, c with a x + b y = c), in order, meet; None if they do not.

    Line n leads from corner n to corner n + 1.
    """
    a, b, c = lines.T
    before_a, before_b, before_c = a[_BEFORE], b[_BEFORE], c[_BEFORE]
    cross = before_a * b - a * before_b
    if np.abs(cross).min() < 1e-3:
        return None
    x = (before_c * b - c * before_b) / cross
    y = (before_a * c - a * before_c) / cross
    return np.stack([x, y], axis=1)


def overlap(one: Quad, other: Quad) -> float:
    """Area that two share against the smaller one's."""
    shared, _ = cv2.intersectConvexConvex(one.astype(np.float32), other.astype(np.float32))
    return float(shared) / max(min(area(one), area(other)), 1e-9)
