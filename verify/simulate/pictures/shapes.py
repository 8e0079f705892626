"""Outlines with smooth edges: which part of which pixel a shape covers.

Places are (column, row) in upright pixels; the first pixel reaches from 0 to 1, its middle is 0.5.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.float32]  # (rows, columns)
Point = tuple[float, float]  # column, row [px]
Shape = tuple[int, int]  # rows, columns of the picture


@dataclass(frozen=True, slots=True)
class Outline:
    """A shape within the part of the picture that it reaches."""

    rows: slice  # of the picture
    columns: slice  # of the picture
    distance: Plane  # from the outline to the middle of each pixel, inside negative [px]

    def cover(self, soft_px: float = 0.0) -> Plane:
        """Share of each pixel that is covered; across ``soft_px`` where the edge is blurred."""
        sharp = soft_px <= 1
        rise: Plane = np.clip(0.5 - self.distance / (1 if sharp else 2 * soft_px), 0, 1)
        return rise if sharp else rise * rise * (3 - 2 * rise)


def _window(shape: Shape, points: NDArray[np.float64], beyond: float) -> tuple[slice, slice]:
    """Rows and columns of the picture that ``points`` reach, and ``beyond`` them [px]."""
    low = np.floor(points.min(axis=0) - beyond - 2)
    high = np.ceil(points.max(axis=0) + beyond + 2)
    left, right = (int(np.clip(v, 0, shape[1])) for v in (low[0], high[0]))
    top, bottom = (int(np.clip(v, 0, shape[0])) for v in (low[1], high[1]))
    return slice(top, bottom), slice(left, right)


def middles(rows: slice, columns: slice) -> tuple[Plane, Plane]:
    """Columns (1, n) and rows (m, 1) of the middles of the pixels [px]."""
    across = np.arange(columns.start, columns.stop, dtype=np.float32)[None] + np.float32(0.5)
    down = np.arange(rows.start, rows.stop, dtype=np.float32)[:, None] + np.float32(0.5)
    return across, down


def polygon(
    shape: Shape, corners: Sequence[Point], round_px: float = 0.0, beyond: float = 0.0
) -> Outline:
    """A convex polygon, its corners in either sense, rounded by ``round_px``."""
    points = np.asarray(corners, np.float64)
    rows, columns = _window(shape, points, beyond)
    across, down = middles(rows, columns)
    ahead = np.roll(points, -1, axis=0)
    area = float(np.sum(points[:, 0] * ahead[:, 1] - ahead[:, 0] * points[:, 1]))
    inside = np.full((down.shape[0], across.shape[1]), -np.inf, np.float32)
    outside = np.zeros_like(inside)
    for (x, y), (x_next, y_next) in zip(points, ahead, strict=True):
        length = math.hypot(x_next - x, y_next - y) or 1.0
        normal = ((y_next - y) / length, -(x_next - x) / length)
        if area < 0:
            normal = (-normal[0], -normal[1])
        away = (across - x) * normal[0] + (down - y) * normal[1] + round_px
        inside = np.maximum(inside, away)
        outside += np.maximum(away, 0) ** 2
    distance = np.where(inside > 0, np.sqrt(outside), inside) - round_px
    return Outline(rows, columns, distance.astype(np.float32))


def capsule(
    shape: Shape, start: Point, end: Point, radius: float, end_radius: float | None = None
) -> Outline:
    """A line with round ends, as thick at its end as ``end_radius`` says [px]."""
    last = radius if end_radius is None else end_radius
    rows, columns = _window(shape, np.array([start, end]), max(radius, last))
    across, down = middles(rows, columns)
    dx, dy = end[0] - start[0], end[1] - start[1]
    along = ((across - start[0]) * dx + (down - start[1]) * dy) / max(dx * dx + dy * dy, 1e-9)
    along = np.clip(along, 0, 1)
    away = np.hypot(across - start[0] - along * dx, down - start[1] - along * dy)
    return Outline(rows, columns, (away - (radius + (last - radius) * along)).astype(np.float32))


def ellipse(shape: Shape, centre: Point, axes: Point, turn_deg: float = 0.0) -> Outline:
    """An ellipse of half axes ``axes``, turned clockwise by ``turn_deg``."""
    reach = max(axes)
    rows, columns = _window(shape, np.array([centre]), reach)
    u, v = along_axes(rows, columns, centre, turn_deg)
    u, v = u / axes[0], v / axes[1]
    k = np.hypot(u, v)
    slope = np.hypot(u / axes[0], v / axes[1])
    distance = np.where(k > 0, k * (k - 1) / np.maximum(slope, 1e-9), -min(axes))
    return Outline(rows, columns, distance.astype(np.float32))


def along_axes(rows: slice, columns: slice, centre: Point, turn_deg: float) -> tuple[Plane, Plane]:
    """Places of the pixels along axes turned clockwise by ``turn_deg`` about ``centre`` [px]."""
    across, down = middles(rows, columns)
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    x, y = across - np.float32(centre[0]), down - np.float32(centre[1])
    return (x * cos + y * sin).astype(np.float32), (y * cos - x * sin).astype(np.float32)


def turned(points: Sequence[Point], centre: Point, turn_deg: float) -> list[Point]:
    """``points``, given about the origin, turned clockwise and moved to ``centre``."""
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return [(centre[0] + x * cos - y * sin, centre[1] + x * sin + y * cos) for x, y in points]


def rectangle(centre: Point, width: float, height: float, turn_deg: float = 0.0) -> list[Point]:
    """Corners of a rectangle, clockwise from the top left."""
    x, y = width / 2, height / 2
    return turned([(-x, -y), (x, -y), (x, y), (-x, y)], centre, turn_deg)


def tilted(
    centre: Point, area_px: float, aspect: float, turns_deg: tuple[float, float, float]
) -> list[Point]:
    """Corners of a rectangle in perspective, clockwise from its own top left.

    Parameters
    ----------
    centre : where the middle of the rectangle is seen.
    area_px : of its picture [px²].
    aspect : width against height, before it is tilted.
    turns_deg : in its own plane; back about its upright axis; back about its level axis. What is
        turned in the picture's plane is turned afterwards (:func:`turned`).
    """
    spin, yaw, pitch = (math.radians(t) for t in turns_deg)
    x, y = math.sqrt(aspect) / 2, 1 / math.sqrt(aspect) / 2
    flat = np.array([(-x, -y, 0), (x, -y, 0), (x, y, 0), (-x, y, 0)])
    about_z = np.array(
        [(math.cos(spin), -math.sin(spin), 0), (math.sin(spin), math.cos(spin), 0), (0, 0, 1)]
    )
    about_y = np.array(
        [(math.cos(yaw), 0, math.sin(yaw)), (0, 1, 0), (-math.sin(yaw), 0, math.cos(yaw))]
    )
    about_x = np.array(
        [(1, 0, 0), (0, math.cos(pitch), -math.sin(pitch)), (0, math.sin(pitch), math.cos(pitch))]
    )
    placed = flat @ (about_x @ about_y @ about_z).T
    seen = placed[:, :2] / (1 - placed[:, 2:] / _DISTANCE)
    ahead = np.roll(seen, -1, axis=0)
    area = abs(float(np.sum(seen[:, 0] * ahead[:, 1] - ahead[:, 0] * seen[:, 1]))) / 2
    seen *= math.sqrt(area_px / area)
    return [(centre[0] + float(c), centre[1] + float(r)) for c, r in seen]


_DISTANCE = 4.5  # of the camera from a rectangle, in roots of its area
