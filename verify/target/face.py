"""The face of a card inside its outline: which part of it is even, and where to measure.

Shadows, sheen, fingers and dirt are left out: what remains follows one even light.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.light import Light
from verify.target.quads import Quad, mask, sides

EVEN = 0.045  # stop off an even light that still belongs to the face
EVEN_COLOR = 0.12  # the same of a colour
BORDER_CELLS = 1.5  # kept away from the outline
BORDER_SHARE = 0.04  # of the shorter side, kept away too
WINDOW = 0.12  # stop; levels this close are one plateau
LEAST_PLATEAU = 0.22  # of the face; a smaller one is a highlight or something in front of it
FACE_CELLS = 90  # along the longer side of a face, about
FIT_CELLS = 1500  # of a face that an even light is fitted to
BETTER_LIT = 0.45  # of the most that a part is lighter, by which half of it is; of sheen a quarter
SHARE_OF_LARGEST = 0.35  # of the largest plateau, that a lighter one must have
SCALES = (0.6, 0.54, 0.48, 0.42, 0.36, 0.3, 0.25, 0.2)  # of the face's extent, sides of a box
CLEAN_BOX = 0.995  # of the cells of a box
LIT = 0.1  # of a face may be in better light than the rest
SAME_LIGHT = 0.008  # stop; light that differs less is the same


@dataclass(frozen=True, slots=True)
class Face:
    """The even part of what an outline holds."""

    level: float  # of its middle [stop of signal 1]
    colors: tuple[float, float]  # off neutral, by the camera's white balance [stop]
    share: float  # of the face that is even, 0 to 1
    other_light: float  # of the face that is of the same colour in shadow or sheen, 0 to 1
    busy: float  # length of the rim of what is not even, against the longest side
    lit: float  # of the face that is in better light: what was taken may be in shadow, 0 to 1
    rim: float  # level just inside the outline against that of the face [stop]
    off_middle: float  # even light at the box against that in the middle of the face [stop]
    rough: float  # what is left of its level without an even light and noise [stop]
    box: tuple[int, int, int, int]  # col, row, width, height to measure [cell]

    @property
    def shaded(self) -> bool:
        """Whether so much of it is in better light that the rest may be in shadow."""
        return self.lit >= LIT


def face_of(light: Light, quad: Quad) -> Face | None:
    """The even part of an outline and the box to measure; None where there is none."""
    col, row, width, height = cv2.boundingRect(np.rint(quad).astype(np.int32))
    rows, cols = light.smooth.shape[:2]
    top, left = max(row - 1, 0), max(col - 1, 0)
    bottom, right = min(row + height + 1, rows), min(col + width + 1, cols)
    if bottom - top < 6 or right - left < 6:
        return None
    # Of a large face every other cell, or fewer, show as much.
    step = max(1, round(max(width, height) / FACE_CELLS))
    part = slice(top, bottom, step), slice(left, right, step)
    own, noises = light.smooth[part], light.noise[part]
    local = (quad - (left + 0.5, top + 0.5)) / step + 0.5
    inner = mask(local, noises.shape)
    border = round(max(BORDER_CELLS, BORDER_SHARE * float(sides(local).min())))
    rim = _eroded(inner, 1)
    inner = _eroded(inner, border)
    rim &= ~inner
    if np.count_nonzero(inner) < 25:
        return None
    plane = _even_light(own[..., 0], inner)
    if plane is None:
        return None
    off = own[..., 0] - plane
    noise = float(np.median(noises[inner]))
    tolerance = max(EVEN, 3 * noise)
    even = inner & (np.abs(off) <= tolerance)
    if not even.any():
        return None
    colors = np.median(own[even][:, 1:], axis=0)
    off_color = np.abs(own[..., 1:] - colors).max(-1)
    alike = off_color <= max(EVEN_COLOR, 6 * noise)
    even &= alike
    count = np.count_nonzero(inner)
    # Single cells beyond the tolerance are noise, not something in front of the card.
    clean = cv2.medianBlur((even | ~inner).astype(np.uint8), 5) > 0
    box = _box(_eroded(clean, 1) & inner, plane, local)
    if box is None:
        return None
    center = box[1] + box[3] // 2, box[0] + box[2] // 2
    middle = _middle(local, plane.shape)
    left_over = float(np.var(off[even])) if even.any() else 0.0
    return Face(
        level=float(plane[center]),
        colors=(float(colors[0]), float(colors[1])),
        share=np.count_nonzero(even) / count,
        other_light=np.count_nonzero(inner & alike & ~even) / count,
        busy=_rim_inside(clean, inner) / float(sides(local).max()),
        lit=_better_lit(off[inner & alike & (off > tolerance)] - tolerance) / count,
        rim=float(np.median(off[rim])) if rim.any() else 0.0,
        off_middle=float(plane[center] - plane[middle]),
        rough=float(np.sqrt(max(0.0, left_over - (1.5 * noise) ** 2))),
        box=(
            box[0] * step + left,
            box[1] * step + top,
            (box[2] - 1) * step + 1,
            (box[3] - 1) * step + 1,
        ),
    )


def _better_lit(over: NDArray[np.float32]) -> int:
    """Cells of a part that is in better light than what was taken for the face.

    Beyond the edge of a shadow, a soft one too, much of it is about as light as its lightest
    cells; sheen falls off from a peak.
    """
    if not over.size:
        return 0
    half, most = np.quantile(over, (0.5, 0.98)).tolist()
    return over.size if half >= BETTER_LIT * most else 0


def _middle(quad: Quad, shape: tuple[int, ...]) -> tuple[int, int]:
    """Row and column of the cell in the middle of an outline."""
    col, row = np.rint(quad.mean(0)).astype(int).tolist()
    return min(max(row, 0), shape[0] - 1), min(max(col, 0), shape[1] - 1)


def _rim_inside(clean: NDArray[np.bool_], inner: NDArray[np.bool_]) -> int:
    """Length of the rim of what is not even on a face [cell]: of a shadow short, of print long."""
    spot = (inner & ~clean).astype(np.uint8)
    core = cv2.erode(spot, np.ones((3, 3), np.uint8)) > 0
    return int(np.count_nonzero((spot > 0) & ~core & _eroded(inner, 2)))


def _even_light(level: NDArray[np.float32], inner: NDArray[np.bool_]) -> NDArray[np.float32] | None:
    """The level of an even light on the face: a plane through its brightest plateau [stop].

    The brightest, for shadows are darker than the card and as even; a highlight is no plateau.
    """
    values = np.sort(level[inner])
    ends = np.searchsorted(values, values + WINDOW)
    counts = ends - np.arange(values.size)
    wanted = max(LEAST_PLATEAU * values.size, SHARE_OF_LARGEST * counts.max())
    starts = np.flatnonzero(counts >= wanted)
    low = values[starts[-1]] if starts.size else values[0]
    middle = float(np.median(values[(values >= low) & (values <= low + WINDOW)]))
    step = max(1, round((values.size / FIT_CELLS) ** 0.5))  # a plane needs no more of them
    down, across = (np.asarray(line) for line in np.indices(level.shape, np.float32))
    some = np.zeros_like(inner)
    some[::step, ::step] = inner[::step, ::step]
    inner = some
    chosen = inner & (np.abs(level - middle) <= WINDOW / 2)
    plane = np.full(level.shape, middle, np.float32)
    for limit in (WINDOW / 2, WINDOW / 2, EVEN, EVEN, EVEN):
        if np.count_nonzero(chosen) < 12 or min(np.ptp(across[chosen]), np.ptp(down[chosen])) < 2:
            return None
        terms = np.stack([across[chosen], down[chosen], np.ones(np.count_nonzero(chosen))])
        slopes = np.linalg.lstsq(terms @ terms.T, terms @ level[chosen])[0].tolist()
        plane = (across * slopes[0] + down * slopes[1] + slopes[2]).astype(np.float32)
        chosen = inner & (np.abs(level - plane) <= limit)
    return plane


def _eroded(mask_: NDArray[np.bool_], cells: int) -> NDArray[np.bool_]:
    """A mask without the cells closest to its rim."""
    side = 2 * cells + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    return cv2.erode(
        mask_.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0
    ).astype(np.bool_)


def _box(
    clean: NDArray[np.bool_], plane: NDArray[np.float32], quad: Quad
) -> tuple[int, int, int, int] | None:
    """The box to measure, as large as it can be among those with the light of the face's middle.

    In the middle if that is clean; else where the even light is the same, for a gradient would
    make a box at the side lie.
    """
    sums = cv2.integral(clean.astype(np.uint8))
    middle = quad.mean(0)
    extent = np.ptp(quad, axis=0)
    wanted = plane[_middle(quad, plane.shape)]
    best: tuple[float, tuple[int, int, int, int]] | None = None
    for scale in SCALES:
        width, height = (max(3, round(side * scale)) for side in extent)
        if height >= sums.shape[0] or width >= sums.shape[1]:
            continue
        inside = sums[height:, width:] - sums[height:, :-width]
        inside = inside + sums[:-height, :-width] - sums[:-height, width:]
        rows, cols = np.nonzero(inside >= CLEAN_BOX * width * height)
        if not rows.size:
            continue
        off_light = np.abs(plane[rows + height // 2, cols + width // 2] - wanted)
        off_middle = np.hypot(
            (cols + width / 2 - middle[0]) / extent[0], (rows + height / 2 - middle[1]) / extent[1]
        )
        cost = np.maximum(off_light - SAME_LIGHT, 0) * 20 + off_middle + 1.5 * (SCALES[0] - scale)
        at = int(cost.argmin())
        if best is None or cost[at] < best[0]:
            best = float(cost[at]), (int(cols[at]), int(rows[at]), width, height)
    return None if best is None else best[1]
