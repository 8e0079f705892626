"""Quadrilaterals: how a rectangle looks from anywhere."""

import cv2
import numpy as np
from numpy.typing import NDArray

NEXT = np.array([1, 2, 3, 0])  # of each of four corners, the one after it
BEFORE = np.array([3, 0, 1, 2])
LEAST_SINE = 1e-3  # between two lines that meet

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


def clockwise(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Corners (..., 4, 2) clockwise as seen, of each four from the one nearest to the top left."""
    away = corners - corners.mean(-2, keepdims=True)
    # y points down: rising angles go clockwise.
    order = np.argsort(np.arctan2(away[..., 1], away[..., 0]), axis=-1)
    first = np.take_along_axis(away.sum(-1), order, axis=-1).argmin(-1)
    order = np.take_along_axis(order, (first[..., None] + np.arange(4)) % 4, axis=-1)
    return np.asarray(np.take_along_axis(corners, order[..., None], axis=-2))


def area(quad: Quad) -> float:
    """Area of a quadrilateral."""
    return float(cv2.contourArea(quad.astype(np.float32)))


def sides(quad: Quad) -> NDArray[np.float64]:
    """Lengths of the four sides, the top one first."""
    return np.asarray(np.linalg.norm(quad[NEXT] - quad, axis=1))


def side_lengths(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same of many quadrilaterals (quads, 4, 2)."""
    return np.asarray(np.linalg.norm(corners[:, NEXT] - corners, axis=2))


def angles(quad: Quad) -> NDArray[np.float64]:
    """Angles inside at the four corners [degree]."""
    to_next, to_last = quad[NEXT] - quad, quad[BEFORE] - quad
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
    found = crossings(lines[None])
    return found[0] if len(found) else None


def crossings(lines: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same of many fours of lines (fours, 4, 3), without those that do not meet."""
    before = lines[:, BEFORE]
    cross = before[..., 0] * lines[..., 1] - lines[..., 0] * before[..., 1]
    meet = np.abs(cross).min(1) >= LEAST_SINE
    lines, before, cross = lines[meet], before[meet], cross[meet]
    x = (before[..., 2] * lines[..., 1] - lines[..., 2] * before[..., 1]) / cross
    y = (before[..., 0] * lines[..., 2] - lines[..., 0] * before[..., 2]) / cross
    return np.stack([x, y], axis=-1)


def convex(corners: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which of many quadrilaterals (quads, 4, 2) are convex, whichever way round."""
    along = corners[:, NEXT] - corners
    following = along[:, NEXT]
    turn = along[..., 0] * following[..., 1] - along[..., 1] * following[..., 0]
    return np.asarray((turn > 0).all(1) | (turn < 0).all(1))


def overlap(one: Quad, other: Quad) -> float:
    """Area that two share against the smaller one's."""
    shared, _ = cv2.intersectConvexConvex(one.astype(np.float32), other.astype(np.float32))
    return float(shared) / max(min(area(one), area(other)), 1e-9)
