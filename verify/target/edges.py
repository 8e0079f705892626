"""The sides of a quadrilateral held against the picture: where the light really changes."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.light import Light
from verify.target.quads import BEFORE, NEXT, Quad, crossing

SAMPLES = 40  # across each side
ENDS = 0.06  # of a side left out at each end, where corners are round or worn
LEAST_STEP = 0.1  # stop; a smaller change of light is no edge
STEP_SIGMAS = 5.0  # of the noise; a smaller change is no edge
STRAIGHT, STRAIGHT_SHARE = 1.5, 0.01  # cells from the line, or of its length, that is on it
LEAST_SPAN, MOST_SPAN = 1.5, 5.0  # cells
LEAST_EDGE = 0.25  # of the samples of a side that must be edges for it to be found
PAIRS = (SAMPLES // 4, SAMPLES // 3, SAMPLES // 2)  # samples apart, through which lines are tried
FURTHER, FURTHER_CELLS = 0.08, 4.0  # of a side, and at least, that is looked at beyond its ends
FURTHER_REACH = 2.0  # cells from where it would go on
CORNER_CELLS = 1.0  # beyond a corner, that tell of it alone
MOSTLY = 0.75  # of a line that goes on is an edge
SAME_COLOR = 0.15  # stop

Sides = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Outline:
    """A quadrilateral whose sides lie on edges of the picture."""

    quad: Quad
    support: Sides  # share of each side that lies on an edge, 0 to 1, the top one first
    step: Sides  # typical change of light across each side [stop]


@dataclass(frozen=True, slots=True)
class _Edges:
    """The strongest change of light near each sample of each side, (4, samples)."""

    position: NDArray[np.float64]  # along the side [cell]
    offset: NDArray[np.float64]  # outwards of it [cell]
    step: NDArray[np.float64]  # [stop]
    real: NDArray[np.bool_]  # more than noise


def outlined(light: Light, quad: Quad, reach: float) -> Outline | None:
    """Move the sides to the edges near them; None where they have hardly any.

    Parameters
    ----------
    light : the picture.
    quad : roughly where the sides are, clockwise.
    reach : how far an edge may be from its side [cell].
    """
    start, end = quad, quad[NEXT]
    length = np.linalg.norm(end - start, axis=1)
    if length.min() < 4:
        return None
    along = (end - start) / length[:, None]
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1)  # of a clockwise outline, y down
    edges = _edges(light, start, end, outward, reach)
    if edges.real.mean(1).min() < LEAST_EDGE:
        return None
    slope, shift = _straight(edges)
    away = np.abs(edges.offset - (slope[:, None] * edges.position + shift[:, None]))
    on_line = edges.real & (away <= np.maximum(STRAIGHT, STRAIGHT_SHARE * length)[:, None])
    first = start + shift[:, None] * outward
    way = along + slope[:, None] * outward
    normal = np.stack([way[:, 1], -way[:, 0]], axis=1) / np.linalg.norm(way, axis=1)[:, None]
    corners = crossing(np.column_stack([normal, (normal * first).sum(1)]))
    if corners is None or np.abs(corners - quad).max() > 6 * reach + 0.2 * length.max():
        return None
    a, b, c, d = on_line.mean(1).tolist()
    sides = zip(edges.step, on_line, strict=True)
    e, f, g, h = (float(np.median(step[on])) if on.any() else 0.0 for step, on in sides)
    return Outline(corners, (a, b, c, d), (e, f, g, h))


def goes_on(light: Light, quad: Quad) -> bool:
    """Whether a thing goes on beyond one of its sides, in other light: it was cut by a shadow.

    Then both neighbours of that side go on straight, and what lies between them has its colour.
    """
    start, end = quad, quad[NEXT]
    length = np.linalg.norm(end - start, axis=1)
    along = (end - start) / length[:, None]
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1)
    further = along * np.maximum(FURTHER_CELLS, FURTHER * length)[:, None]
    clear = along * CORNER_CELLS
    ways = ((end + clear, end + further), (start - clear, start - further))
    after, before = (_is_edge(_edges(light, *way, outward, FURTHER_REACH)) for way in ways)
    beyond = after[BEFORE] & before[NEXT]
    if not beyond.any():
        return False
    depth = np.linalg.norm(further, axis=1)[BEFORE, None] / 2
    middle = (start + end) / 2
    places = np.stack([middle + depth * outward, middle - depth * outward], axis=1)
    x, y = np.moveaxis(places.astype(np.float32) - np.float32(0.5), 2, 0)
    shown = cv2.remap(
        light.smooth, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )  # (4, 2, shades) outside and inside of each side
    unlike = np.abs(shown[:, 0, 1:] - shown[:, 1, 1:]).max(1)
    return bool((beyond & (unlike <= SAME_COLOR)).any())


def _is_edge(edges: _Edges) -> NDArray[np.bool_]:
    """Whether each of four lines is an edge nearly all along."""
    on_line = edges.real & (np.abs(edges.offset) <= STRAIGHT)
    return np.asarray(on_line.mean(1) >= MOSTLY)


def _edges(
    light: Light,
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    outward: NDArray[np.float64],
    reach: float,
) -> _Edges:
    """The strongest change of light near each sample, at most ``reach`` from its side."""
    share = np.linspace(ENDS, 1 - ENDS, SAMPLES)
    at = start[:, None] + share[:, None] * (end - start)[:, None]  # (4, samples, 2)
    # Half cells averaged on each side of a change: the more, the larger and the softer it may be.
    span = round(2 * min(max(reach / 2, LEAST_SPAN), MOST_SPAN))
    offsets = np.arange(-reach - span / 2, reach + span / 2 + 0.25, 0.5)
    places = at[:, :, None] + offsets[:, None] * outward[:, None, None]
    across = places.reshape(4 * SAMPLES, offsets.size, 2).astype(np.float32) - np.float32(0.5)
    profile = cv2.remap(
        light.smooth, across[..., 0], across[..., 1], cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    noise = cv2.remap(
        light.noise, across[:, :1, 0], across[:, :1, 1], cv2.INTER_NEAREST,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    sums = np.cumsum(np.pad(profile, ((0, 0), (1, 0), (0, 0))), axis=1)
    means = (sums[:, span:] - sums[:, :-span]) / span
    change = np.sqrt(((means[:, span:] - means[:, :-span]) ** 2).sum(-1))
    best = change.argmax(1)
    step = change[np.arange(len(best)), best].reshape(4, SAMPLES)
    offset = (offsets[span - 1 + best] + 0.25).reshape(4, SAMPLES)
    least = np.maximum(LEAST_STEP, STEP_SIGMAS * noise[:, 0]).reshape(4, SAMPLES)
    position = share * np.linalg.norm(end - start, axis=1)[:, None]
    return _Edges(position, offset, step, step > least)


def _straight(edges: _Edges) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Slope and start (4,) of the lines that most edges agree on, by trying pairs of them."""
    count = edges.real.sum(1)[:, None]
    # Of each side the samples that are edges come first, and pairs are taken among them.
    order = np.argsort(~edges.real, axis=1, kind="stable")
    position, offset, weight = (
        np.take_along_axis(part, order, axis=1)
        for part in (edges.position, edges.offset, edges.step)
    )
    first = np.tile(np.arange(SAMPLES), len(PAIRS))[None]
    second = (first + np.repeat(PAIRS, SAMPLES)) % count
    run = np.take_along_axis(position, second, axis=1) - position[:, first[0]]
    rise = np.take_along_axis(offset, second, axis=1) - offset[:, first[0]]
    pairs = (first < count) & (run != 0)
    slopes = rise / np.where(pairs, run, 1)  # (4, pairs)
    shifts = offset[:, first[0]] - slopes * position[:, first[0]]
    away = np.abs(
        offset[:, None] - (slopes[..., None] * position[:, None] + shifts[..., None])
    )  # (4, pairs, samples)
    real = np.arange(SAMPLES) < count
    agree = np.where(real[:, None], np.clip(1 - (away / STRAIGHT) ** 2, 0, None), 0).sum(2)
    best = np.where(pairs, agree, -1).argmax(1)
    side = np.arange(4)
    w = np.where(real & (away[side, best] <= STRAIGHT), weight, 0)
    total = w.sum(1)
    middle, height = (w * position).sum(1) / total, (w * offset).sum(1) / total
    off = position - middle[:, None]
    spread = (w * off**2).sum(1)
    thin = spread < 1e-6
    slope = (w * off * (offset - height[:, None])).sum(1) / np.where(thin, 1, spread)
    return np.where(thin, slopes[side, best], slope), np.where(
        thin, shifts[side, best], height - slope * middle
    )
