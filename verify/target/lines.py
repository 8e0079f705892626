"""Straight edges of a picture, and the quadrilaterals that four of them make.

Edges outlast what divides a face: a shadow across a card, a finger over its rim or print on it
leave most of its four sides straight and where they are.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.light import Light
from verify.target.quads import NEXT, Quad, clockwise, convex, side_lengths

CODES_A_STOP = 34.0  # of the 8-bit picture that segments are looked for in
GRADIENT = 1.5  # codes a cell, below which nothing is an edge
SHORTEST = 0.02  # of the longer side of the picture; a shorter segment says nothing
STRIP_CELLS = 4.0  # from an edge, where the face beside it is looked at
STRIP_SAMPLES = 12
STRIP_CHANGE = 0.03  # stop from one place to the next on an even face
STRIP_GREY = 0.8  # of the strip
MOST_LINES = 50  # the longest
PARALLEL, APART = 4.0, 2.0  # degree and cells within which two segments are on one line
BINS = 96  # places along a line at which it is known to be an edge or not
COVERED, LEAST_COVERED = 0.45, 0.08  # of all sides, and of the worst, that are edges
MIDDLE = 0.5  # of a quadrilateral's extent, looked at for edges
EDGE, EDGE_SIGMAS = 0.06, 4.0  # stop a cell, and of the noise, that make one
MOST_EDGES, LEAST_GREY = 0.48, 0.8  # of its cells: at most edges, and at least grey
LEAST_AREA, LARGEST_AREA = 0.012, 0.6  # of the picture
LEAST_ANGLE = 48.0  # degree, between two sides that meet
MOST = 100  # quadrilaterals


@dataclass(frozen=True, slots=True)
class Lines:
    """Straight lines with edges on them."""

    normal: NDArray[np.float64]  # (lines, 2) of length 1, towards the even strip beside it
    offset: NDArray[np.float64]  # (lines,) normal . point of every point on it [cell]
    covered: NDArray[np.float64]  # (lines, bins + 1) edge from the line's start on [cell]
    start: NDArray[np.float64]  # (lines,) of the first bin along the line [cell]
    bin_cells: float  # length of a bin


def quads_of_lines(light: Light) -> Iterator[Quad]:
    """Quadrilaterals whose sides are edges for the most part, the surest first."""
    lines = _lines(light)
    if lines is None:
        return
    corners, covered = _crossings(lines, light.smooth.shape[:2])
    calm = calm_inside(light, corners)
    corners, covered = corners[calm], covered[calm]
    corners = corners[np.argsort(-covered)]
    near = np.maximum(2.0, 0.05 * side_lengths(corners).min(1))
    count = 0
    while len(corners) and count < MOST:
        yield corners[0]
        count += 1
        other = np.abs(corners - corners[0]).max((1, 2)) > near
        corners, near = corners[other], near[other]


def calm_inside(light: Light, corners: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether the middles of quadrilaterals (quads, 4, 2) hold few edges, and may be grey.

    A face has at most the edge of a shadow across it; between the lines of tiles or shelves, or
    around several things, there are more.
    """
    edge = light.steep >= np.maximum(EDGE, EDGE_SIGMAS * light.noise)
    tables = [cv2.integral(m.astype(np.uint8)) for m in (edge, light.grey)]
    middle, extent = corners.mean(1), np.ptp(corners, axis=1)
    rows, cols = light.grey.shape
    limits = np.array([cols, rows])
    low = np.clip((middle - MIDDLE / 2 * extent).astype(int), 0, limits - 1)
    high = np.clip((middle + MIDDLE / 2 * extent).astype(int), low + 1, limits)
    (left, top), (right, bottom) = low.T, high.T
    cells = (right - left) * (bottom - top)
    edges, greys = (
        (t[bottom, right] - t[top, right] - t[bottom, left] + t[top, left]) / cells for t in tables
    )
    return np.asarray((edges <= MOST_EDGES) & (greys >= LEAST_GREY))


def _segments(light: Light) -> NDArray[np.float64]:
    """Straight edges (segments, 4) with an even, grey strip on their left: x, y of both ends.

    Left as seen along the segment with y pointing down; an edge with such strips on both sides is
    there twice, once each way. At two scales, for what is out of focus.
    """
    level = light.smooth[..., 0]
    from_grey = np.hypot(light.smooth[..., 1], light.smooth[..., 2])
    low = float(np.quantile(level, 0.01))
    pictures = [(level - low, 1), (level - low, 2)]
    if light.colored:
        pictures.append((from_grey, 1))
    detector = cv2.createLineSegmentDetector(
        refine=cv2.LSD_REFINE_STD, scale=1.0, sigma_scale=0.6, quant=GRADIENT, ang_th=22.5
    )
    found = [np.empty((0, 4))]
    for stops, scale in pictures:
        codes = np.clip(stops * CODES_A_STOP, 0, 255).astype(np.uint8)
        if scale > 1:
            size = max(1, level.shape[1] // scale), max(1, level.shape[0] // scale)
            codes = cv2.resize(codes, size, interpolation=cv2.INTER_AREA)
        segments = detector.detect(codes)[0]
        if segments is not None:
            found.append((segments.reshape(-1, 4) + 0.5) * scale)
    every = np.vstack(found).astype(float)
    every = np.vstack([every, every[:, [2, 3, 0, 1]]])
    lengths = np.hypot(every[:, 2] - every[:, 0], every[:, 3] - every[:, 1])
    every = every[lengths >= SHORTEST * max(level.shape)]
    every = every[_beside_even(light, every)]
    lengths = np.hypot(every[:, 2] - every[:, 0], every[:, 3] - every[:, 1])
    return np.asarray(every[np.argsort(-lengths)])


def _beside_even(light: Light, segments: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether the strip on the left of each segment is even and may be grey."""
    if not len(segments):
        return np.zeros(0, bool)
    start, end = segments[:, None, :2], segments[:, None, 2:]
    along = (end - start) / np.linalg.norm(end - start, axis=-1, keepdims=True)
    left = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    steps = np.linspace(0.05, 0.95, STRIP_SAMPLES)[None, :, None]
    places = start + steps * (end - start) + STRIP_CELLS * left
    x, y = (np.ascontiguousarray(places[..., n] - 0.5, np.float32) for n in (0, 1))
    level = cv2.remap(light.smooth[..., 0], x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    noise = cv2.remap(light.noise, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    grey = cv2.remap(light.grey.astype(np.uint8), x, y, cv2.INTER_NEAREST)
    change = np.abs(np.diff(level, axis=1))
    calm = np.median(change, axis=1) <= np.maximum(STRIP_CHANGE, 2.5 * np.median(noise, axis=1))
    return np.asarray(calm & (grey.mean(1) >= STRIP_GREY))


def _lines(light: Light) -> Lines | None:
    """Segments that lie on one line taken together, the lines with most edge first."""
    segments = _segments(light)
    if len(segments) < 4:
        return None
    ends = segments.reshape(-1, 2, 2)
    along = ends[:, 1] - ends[:, 0]
    lengths = np.linalg.norm(along, axis=1)
    along = along / lengths[:, None]
    normals = np.stack([along[:, 1], -along[:, 0]], axis=1)
    free = np.ones(len(segments), bool)
    diagonal = float(np.hypot(*light.smooth.shape[:2]))
    bin_cells = 2 * diagonal / BINS
    normal, offset, covered, starts = [], [], [], []
    cosine = np.cos(np.radians(PARALLEL))
    for n in range(len(segments)):
        if not free[n]:
            continue
        off = np.abs((ends - ends[n, 0]) @ normals[n]).max(1)
        own = free & (off <= APART) & (along @ along[n] >= cosine)
        free &= ~own
        points = ends[own].reshape(-1, 2)
        weights = np.repeat(lengths[own], 2)
        middle = (points * weights[:, None]).sum(0) / weights.sum()
        _, _, axes = np.linalg.svd((points - middle) * np.sqrt(weights)[:, None])
        way = axes[0] * np.sign(axes[0] @ along[n])  # the even strip stays on the left
        across = np.array([way[1], -way[0]])
        normal.append(across)
        offset.append(float(across @ middle))
        start = float(way @ middle) - diagonal
        starts.append(start)
        covered.append(_covered(ends[own] @ way - start, bin_cells))
    total = np.array([c[-1] for c in covered])
    best = np.argsort(-total)[:MOST_LINES]
    return Lines(
        np.array(normal)[best], np.array(offset)[best], np.array(covered)[best],
        np.array(starts)[best], bin_cells,
    )  # fmt: skip


def _covered(spans: NDArray[np.float64], bin_cells: float) -> NDArray[np.float64]:
    """How much of a line, up to each bin, spans (segments, 2) cover [cell]."""
    marks = np.zeros(BINS)
    edges = np.arange(BINS) * bin_cells
    for first, last in np.sort(spans, axis=1):
        part = np.clip(np.minimum(last, edges + bin_cells) - np.maximum(first, edges), 0, None)
        marks = np.minimum(marks + part, bin_cells)
    return np.concatenate([[0.0], np.cumsum(marks)])


def _crossings(
    lines: Lines, shape: tuple[int, ...]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Corners (quads, 4, 2) of quadrilaterals of four lines, and the share of edge on them."""
    count = len(lines.offset)
    way = np.stack([-lines.normal[:, 1], lines.normal[:, 0]], axis=1)  # as in _lines
    sine = np.abs(lines.normal[:, None, 0] * lines.normal[None, :, 1]
                  - lines.normal[:, None, 1] * lines.normal[None, :, 0])  # fmt: skip
    meets = sine >= np.sin(np.radians(LEAST_ANGLE))
    points = _points(lines, count)
    rows, cols = shape
    inside = ((points >= -2) & (points <= (cols + 2, rows + 2))).all(-1) & meets
    # Opposite sides a < c and b < d: corners ab, bc, cd, da. Their even strips face one another:
    # from one to the other the outline turns twice, each time by an angle that sides may meet at.
    facing = lines.normal @ lines.normal.T <= np.cos(np.radians(2 * LEAST_ANGLE))
    one, other = np.nonzero(np.triu(facing, 1))
    between = inside[one] & inside[other]  # (pairs, lines) that cross both inside the picture
    first, second = np.nonzero(np.triu(between[:, one] & between[:, other], 1))
    a, b, c, d = one[first], one[second], other[first], other[second]
    four = np.stack([a, b, c, d], axis=1)
    corners = np.stack([points[four[:, n], four[:, (n + 1) % 4]] for n in range(4)], axis=1)
    sound = _sound(corners, rows * cols) & _inward(corners, lines.normal[four])
    four, corners = four[sound], corners[sound]
    share = np.empty((len(four), 4))
    for n in range(4):  # side n + 1 of the four lines leads from corner n to corner n + 1
        line = four[:, (n + 1) % 4]
        at = np.einsum("qec,qc->qe", corners[:, [n, (n + 1) % 4]], way[line])
        at = np.sort(at, axis=1)
        places = (at - lines.start[line, None]) / lines.bin_cells
        edge = _read(lines.covered[line], places[:, 1]) - _read(lines.covered[line], places[:, 0])
        share[:, n] = edge / np.maximum(at[:, 1] - at[:, 0], 1e-6)
    kept = (share.min(1) >= LEAST_COVERED) & (share.mean(1) >= COVERED)
    return clockwise(corners[kept]), share[kept].mean(1)


def _points(lines: Lines, count: int) -> NDArray[np.float64]:
    """Where each two lines meet, (lines, lines, 2); infinite where they are parallel."""
    n, o = lines.normal, lines.offset
    cross = n[:, None, 0] * n[None, :, 1] - n[:, None, 1] * n[None, :, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        x = (o[:, None] * n[None, :, 1] - o[None, :] * n[:, None, 1]) / cross
        y = (n[:, None, 0] * o[None, :] - n[None, :, 0] * o[:, None]) / cross
    return np.nan_to_num(np.stack([x, y], axis=-1), nan=np.inf, posinf=np.inf, neginf=-np.inf)


def _sound(corners: NDArray[np.float64], cells: int) -> NDArray[np.bool_]:
    """Which corners (quads, 4, 2) are of a convex quadrilateral of a fitting size."""
    x, y = corners[..., 0], corners[..., 1]
    doubled = (x * y[:, NEXT] - x[:, NEXT] * y).sum(1)
    share = np.abs(doubled) / 2 / cells
    return np.asarray(convex(corners) & (share >= LEAST_AREA) & (share <= LARGEST_AREA))


def _inward(corners: NDArray[np.float64], normal: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether the even strips of all four lines (quads, 4, 2) lie inside."""
    middle = corners.mean(1)
    # Line n of four runs through corners n - 1 and n.
    return np.asarray((((middle[:, None] - corners) * normal).sum(-1) > 0).all(1))


def _read(table: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows of a table at places between its columns."""
    at = np.clip(places, 0, table.shape[1] - 1.001)
    low = at.astype(int)
    rows = np.arange(len(table))
    return np.asarray(table[rows, low] + (at - low) * (table[rows, low + 1] - table[rows, low]))
