"""Whether the card is still where the last frame of the set-up had it."""

import numpy as np

from verify.frames.overview import Overview
from verify.target.edges import outlined
from verify.target.face import face_of
from verify.target.light import Light
from verify.target.quads import Quad, sides
from verify.target.records import Target

MOVED = 0.015  # of the shorter side; corners that lie farther away have moved
LEAST_CELLS = 1.2  # an overview shows no smaller movement
SUPPORT = 0.5  # of a side, of three sides at least
SAME_COLOR = 0.25  # stop off neutral
CLEAN = 0.9  # of the box
BLACK_SIGMAS = 4.0  # a picture whose light differs less from cell to cell shows nothing


def still_there(light: Light, overview: Overview, last: Target) -> bool:
    """Whether edges and an even, neutral face are where the last frame had them.

    A picture so dark that it shows nothing at all contradicts nothing: there the card is at black.
    """
    quad = overview.to_cells(np.array(last.corners))
    rows, cols = light.smooth.shape[:2]
    if (quad < -2).any() or (quad > (cols + 2, rows + 2)).any():
        return False
    if _shows_nothing(overview):
        return True
    side = float(sides(quad).min())
    may_move = max(LEAST_CELLS, MOVED * side)
    outline = outlined(light, quad, max(2.5, 0.03 * side))
    if outline is None or np.abs(outline.quad - quad).max() > 2 * may_move:
        return False
    if sorted(outline.support)[1] < SUPPORT:
        return False
    face = face_of(light, quad)
    if face is None or (light.balanced and max(map(abs, face.colors)) > SAME_COLOR):
        return False
    return _even_box(light, overview, last)


def _even_box(light: Light, overview: Overview, last: Target) -> bool:
    """Whether the box that was measured is as even as then: no shadow or hand in it now."""
    box = last.box
    ends = np.array([[box.col, box.row], [box.col + box.width, box.row + box.height]], float)
    (left, top), (right, bottom) = np.rint(overview.to_cells(ends)).astype(int)
    part = light.smooth[max(top, 0) : bottom, max(left, 0) : right, 0]
    if part.size < 4:
        return False
    noise = float(np.median(light.noise[max(top, 0) : bottom, max(left, 0) : right]))
    off = np.abs(part - np.median(part))
    return bool(np.mean(off <= max(0.12, 4 * noise)) >= CLEAN)


def _shows_nothing(overview: Overview) -> bool:
    """Whether every cell is at black within its noise, or every cell is clipped."""
    signal = overview.signal
    if float(np.quantile(signal, 0.1)) >= 0.98 * overview.clips_at:
        return True
    flat = signal.reshape(-1, signal.shape[2])
    noise = np.std(np.diff(flat, axis=0), axis=0) / np.sqrt(2)
    return bool((np.quantile(flat, 0.99, axis=0) <= BLACK_SIGMAS * noise).all())
