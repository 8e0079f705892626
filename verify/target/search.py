"""A card looked for in the picture: by shape, evenness and neutrality, never by its level."""

from dataclasses import dataclass
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from verify.target.edges import Outline, outlined
from verify.target.face import Face, face_of
from verify.target.light import NEUTRAL, Light
from verify.target.lines import calm_inside, quads_of_lines
from verify.target.quads import Quad, angles, area, overlap, side_lengths, sides
from verify.target.regions import quads

LEAST_AREA, LARGEST_AREA = 0.014, 0.6  # of the picture
ANGLES = (52.0, 128.0)  # degree, at the corners
LONGEST = 4.0  # of the sides against the shortest
FEW_NEUTRAL = 0.05  # of the picture
CERTAIN = 0.9  # merit of a candidate beside which no other outline of it is tried
LEAST_SUPPORT = 0.5  # of all sides together, for a second look
ALIKE = 0.16  # of the shorter side, by which the corners of things of one shape differ
LEAST = 0.35  # merit of what may be a card
MERIT_WEIGHT, SIZE_WEIGHT, PRINT_WEIGHT = 3.0, 0.5, 0.3  # a doubling of area is 1 of size
MOST = 80  # quadrilaterals looked at closely
WORSE = 0.08  # of the sides, less of which on edges after a closer look is no gain
ALIKE_STOPS = 0.5  # by which their levels differ
PART = 0.5  # of a part of a pattern, that another outline may share
APART = 0.85  # of the shorter side, between the middles of things that repeat
REPEATS = 4  # things of one shape, turned alike, that make a pattern
NEARLY = 0.85  # of the merit of the surest view of a thing
SAME = 0.75  # of the smaller one's area that two views of one thing share


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something flat with four sides."""

    outline: Outline
    face: Face
    merit: float  # 0 to 1: how surely it has the shape and the evenness of a card

    @property
    def off_neutral(self) -> float:
        """Largest colour difference from neutral [stop]."""
        return max(abs(c) for c in self.face.colors)


def candidates(light: Light) -> list[Candidate]:
    """Everything flat with four sides, each thing once, the surest first."""
    found: list[Candidate] = []
    for quad in _quads(light):
        if any(c.merit >= CERTAIN and _close(quad, c.outline.quad) for c in found):
            continue
        candidate = _candidate(light, quad)
        if candidate is not None:
            found.append(candidate)
    found.sort(key=lambda c: -c.merit)
    things: list[list[Candidate]] = []
    for candidate in found:
        for views in things:
            if any(_same(candidate, other) for other in views):
                views.append(candidate)
                break
        else:
            things.append([candidate])
    return sorted(map(_whole, things), key=lambda c: -c.merit)


def _whole(views: list[Candidate]) -> Candidate:
    """Of several views of one thing the largest that is nearly as sure as the surest.

    A shadow's edge across a card is as straight as its sides; but those are there all along.
    """
    surest = views[0]
    sides_there = min(surest.outline.support) - WORSE
    sure = [
        c
        for c in views
        if c.merit >= NEARLY * surest.merit and min(c.outline.support) >= sides_there
    ]
    return max(sure, key=lambda c: area(c.outline.quad))


def is_neutral(light: Light, candidate: Candidate, within: float = NEUTRAL) -> bool:
    """Whether a candidate is grey by the camera's white balance, as far as that can be told."""
    return not (light.colored and light.balanced) or candidate.off_neutral <= within


def colored_light(light: Light) -> bool:
    """Whether hardly anything in the picture is neutral and most of it leans one way: a gel."""
    if not (light.colored and light.balanced):
        return False
    lit = (light.smooth[..., 0] > np.quantile(light.smooth[..., 0], 0.3)) & ~light.clipped
    if not lit.any():
        return False
    colors = light.smooth[lit][:, 1:]
    neutral = float(np.mean(np.abs(colors).max(1) <= NEUTRAL))
    lean = np.median(colors, axis=0)
    return neutral < FEW_NEUTRAL and float(np.abs(lean).max()) > NEUTRAL


def _close(one: Quad, other: Quad) -> bool:
    """Whether two outlines are so close that their edges are the same."""
    return bool(np.abs(one - other).max() <= max(3.0, 0.06 * float(sides(other).min())))


def _same(one: Candidate, other: Candidate) -> bool:
    """Whether two are views of one thing: nearly the same, or a part that shares two sides."""
    large, small = sorted((one.outline.quad, other.outline.quad), key=area, reverse=True)
    if overlap(large, small) < SAME:
        return False
    return area(small) > 0.6 * area(large) or _shared_sides(large, small) >= 2


def _shared_sides(large: Quad, small: Quad) -> int:
    """How many sides of one quadrilateral lie on sides of a larger one."""
    near = max(2.0, 0.04 * float(sides(large).min()))
    count = 0
    for n in range(4):
        ends = small[[n, (n + 1) % 4]]
        for m in range(4):
            start, along = large[m], large[(m + 1) % 4] - large[m]
            normal = np.array([along[1], -along[0]]) / np.linalg.norm(along)
            if np.abs((ends - start) @ normal).max() <= near:
                count += 1
                break
    return count


def _quads(light: Light) -> list[Quad]:
    """Quadrilaterals of the picture that can be cards, each once, without what repeats."""
    seen = np.empty((0, 4, 2))
    # By turns, so that neither way crowds out what only the other one sees.
    both = zip_longest(quads_of_lines(light), quads(light))
    for quad in (q for pair in both for q in pair if q is not None):
        if not _card_like(quad, light):
            continue
        near = max(2.0, 0.05 * float(sides(quad).min()))
        if (np.abs(seen - quad).max((1, 2)) > near).all():
            seen = np.concatenate([seen, quad[None]])
    seen = seen[calm_inside(light, seen)]
    rows, cols = light.grey.shape
    middle = np.clip(seen.mean(1).astype(int), 0, (cols - 1, rows - 1))
    levels = light.smooth[middle[:, 1], middle[:, 0], 0]
    repeats = _pattern(seen, levels)
    parts = seen[repeats]
    return [quad for quad in seen[~repeats] if not _of_wall(quad, parts)][:MOST]


def _pattern(found: NDArray[np.float64], levels: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Which of many quadrilaterals (quads, 4, 2) repeat: tiles, panes, bricks, patches of a chart.

    What repeats has one shape and about one level, in its middle, and stands beside itself: views
    of one thing that share much of it are no repeats.
    """
    middles = found.mean(1)
    shapes = found - middles[:, None]
    shorter = side_lengths(found).min(1)
    many = np.zeros(len(found), bool)
    for n, shape in enumerate(shapes):
        alike = np.abs(shapes - shape).max((1, 2)) <= ALIKE * shorter[n]
        alike &= np.abs(levels - levels[n]) <= ALIKE_STOPS
        many[n] = _things(middles[alike], APART * shorter[n]) >= REPEATS
    return many


def _of_wall(quad: Quad, parts: NDArray[np.float64]) -> bool:
    """Whether a quadrilateral holds several parts of a pattern (parts, 4, 2)."""
    held = [part for part in parts if overlap(quad, part) > PART]
    least = min((float(sides(part).min()) for part in held), default=0.0)
    return _things(np.array([part.mean(0) for part in held]), APART * least) > 1


def _things(middles: NDArray[np.float64], apart: float) -> int:
    """How many things have these middles (views, 2), where no two are closer than ``apart``."""
    count = 0
    while len(middles):
        middles = middles[np.linalg.norm(middles - middles[0], axis=1) >= apart]
        count += 1
    return count


def _card_like(quad: Quad, light: Light) -> bool:
    rows, cols = light.smooth.shape[:2]
    share = area(quad) / (rows * cols)
    if not LEAST_AREA <= share <= LARGEST_AREA:
        return False
    if (quad < -1).any() or (quad > (cols + 1, rows + 1)).any():
        return False
    corner = angles(quad)
    if corner.min() < ANGLES[0] or corner.max() > ANGLES[1]:
        return False
    length = sides(quad)
    return bool(length.max() <= LONGEST * length.min())


def _candidate(light: Light, quad: Quad) -> Candidate | None:
    reach = max(3.0, 0.05 * float(sides(quad).min()))
    outline = outlined(light, quad, reach)
    if outline is None or not _card_like(outline.quad, light):
        return None
    if np.mean(outline.support) < LEAST_SUPPORT:
        return None
    closer = outlined(light, outline.quad, max(2.0, reach / 2))
    if closer is not None and _card_like(closer.quad, light):
        worse = np.mean(closer.support) < np.mean(outline.support) - WORSE
        outline = outline if worse else closer
    edges = _edges(outline)
    if edges < LEAST:
        return None
    face = face_of(light, outline.quad)
    if face is None:
        return None
    return Candidate(outline, face, edges * _evenness(face))


def _edges(outline: Outline) -> float:
    """How surely something has four straight sides, 0 to 1."""
    weakest = min(outline.support)
    straight = float(np.mean(outline.support)) * (0.4 + 0.6 * weakest) * _rise(weakest, 0.2, 0.7)
    return straight * _rise(min(outline.step), -0.05, 0.2)


def _evenness(face: Face) -> float:
    """How surely something has one even face, 0 to 1."""
    surface = _rise(face.share + 0.8 * face.other_light, 0.25, 0.7)
    even = _rise(face.share, 0.2, 0.6)
    return surface * even * float(np.exp(-((face.rough / 0.03) ** 2)))


def looks(candidate: Candidate) -> float:
    """What a candidate's looks say for its being a card, as a logarithm: larger is likelier.

    A card is held up to be seen, and bears no print but a line at its rim.
    """
    size = float(np.log2(area(candidate.outline.quad)))
    merit = float(np.log(max(candidate.merit, 1e-3)))
    return MERIT_WEIGHT * merit + SIZE_WEIGHT * size - PRINT_WEIGHT * candidate.face.busy


def _rise(value: float, low: float, high: float) -> float:
    """0 below ``low``, 1 above ``high``, straight between them."""
    return min(1.0, max(0.0, (value - low) / (high - low)))
