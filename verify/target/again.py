"""Whether the card is still where the last frame of the set-up had it."""

import numpy as np

from verify.frames.colors import main_color
from verify.frames.overview import Overview
from verify.target.edges import outlined
from verify.target.face import face_of
from verify.target.light import CLIPPED, Light
from verify.target.quads import Quad, sides
from verify.target.records import Target

MOVED = 0.015  # of the shorter side; corners that lie farther away have moved
LEAST_CELLS = 1.2  # an overview shows no smaller movement
SUPPORT = 0.5  # of a side, of three sides at least
SAME_COLOR = 0.25  # stop off neutral
CLEAN = 0.9  # of the box
FREE = 0.995  # of the box, of anything in front of it
EVEN = 0.12  # stop, off the middle level of a box in one light
OTHER_SURFACE = 0.35  # stop between the rim of a face and its middle
OTHER_LIGHT = 0.15  # stop; a box that much darker than the face lies in a shadow
AROUND = 0.2  # of its extent, looked at on each side
BLACK = 0.004  # signal; what is above it is no black, however rough
BLACK_SIGMAS = 2.5  # of a cell's noise; signal that is no higher shows nothing


def still_there(light: Light, overview: Overview, last: Target) -> bool:
    """Whether edges and an even, neutral face are where the last frame had them.

    Where all is at black, or all is clipped, nothing is to be seen of the card, and nothing speaks
    against its being there.
    """
    quad = overview.to_cells(np.array(last.corners))
    rows, cols = light.smooth.shape[:2]
    if (quad < -2).any() or (quad > (cols + 2, rows + 2)).any():
        return False
    if _shows_nothing(overview, quad):
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
    if face.shaded or abs(face.rim) > OTHER_SURFACE:  # the middle is not what is at the rim
        return False
    return _even_box(light, overview, last, face.level)


def _even_box(light: Light, overview: Overview, last: Target, level: float) -> bool:
    """Whether the box that was measured has the even light of the face: no shadow or hand in it.

    ``level`` is that of the face where it is even [stop].
    """
    box = last.box
    ends = np.array([[box.col, box.row], [box.col + box.width, box.row + box.height]], float)
    (left, top), (right, bottom) = np.rint(overview.to_cells(ends)).astype(int)
    part = light.smooth[max(top, 0) : bottom, max(left, 0) : right, 0]
    if part.size < 4:
        return False
    noise = float(np.median(light.noise[max(top, 0) : bottom, max(left, 0) : right]))
    own = float(np.median(part))
    off = np.abs(part - own)
    return own > level - OTHER_LIGHT and bool(np.mean(off <= max(EVEN, 4 * noise)) >= FREE)


def _shows_nothing(overview: Overview, quad: Quad) -> bool:
    """Whether all that is in and around an outline is at black within its noise, or clipped."""
    low, high = quad.min(0), quad.max(0)
    grown = AROUND * (high - low)
    (left, top), (right, bottom) = (low - grown).astype(int), np.ceil(high + grown).astype(int)
    part = overview.signal[max(top, 0) : max(bottom, 1), max(left, 0) : max(right, 1)]
    if not part.size:
        return False
    main = overview.colors.index(main_color(overview.colors))
    signal = part[..., main]
    if np.mean(signal >= CLIPPED * overview.clips_at) >= CLEAN:
        return True
    change = np.diff(signal, axis=1)
    noise = float(np.std(change)) / np.sqrt(2) if change.size else 0.0
    return bool(np.quantile(signal, CLEAN) <= min(BLACK_SIGMAS * noise, BLACK))
