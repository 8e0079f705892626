"""The sides of a quadrilateral held against the picture: where the light really changes."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.target.light import Light
from verify.target.quads import Quad, crossing

SAMPLES = 40  # across each side
ENDS = 0.06  # of a side left out at each end, where corners are round or worn
LEAST_STEP = 0.1  # stop; a smaller change of light is no edge
STEP_SIGMAS = 5.0  # of the noise; a smaller change is no edge
STRAIGHT, STRAIGHT_SHARE = 1.5, 0.01  # cells from the line, or of its length, that is on it
LEAST_SPAN, MOST_SPAN = 1.5, 5.0  # cells
LEAST_EDGE = 0.25  # of the samples of a side that must be edges for it to be found
PAIRS = (SAMPLES // 4, SAMPLES // 3, SAMPLES // 2)  # samples apart, through which lines are tried

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
    start, end = quad, np.roll(quad, -1, axis=0)
    length = np.linalg.norm(end - start, axis=1)
    if length.min() < 4:
        return None
    along = (end - start) / length[:, None]
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1)  # of a clockwise outline, y down
    edges = _edges(light, start, end, outward, reach)
    if edges.real.mean(1).min() < LEAST_EDGE:
        return None
    lines, supports, steps = [], [], []
    for n in range(4):
        slope, shift = _straight(*(part[n][edges.real[n]] for part in (
            edges.position, edges.offset, edges.step
        )))  # fmt: skip
        away = np.abs(edges.offset[n] - (slope * edges.position[n] + shift))
        on_line = edges.real[n] & (away <= max(STRAIGHT, STRAIGHT_SHARE * length[n]))
        first = start[n] + shift * outward[n]
        way = along[n] + slope * outward[n]
        normal = np.array([way[1], -way[0]]) / np.linalg.norm(way)
        lines.append([*normal, normal @ first])
        supports.append(float(on_line.mean()))
        steps.append(float(np.median(edges.step[n][on_line])) if on_line.any() else 0.0)
    corners = crossing(np.array(lines))
    if corners is None or np.abs(corners - quad).max() > 6 * reach + 0.2 * length.max():
        return None
    a, b, c, d = supports
    e, f, g, h = steps
    return Outline(corners, (a, b, c, d), (e, f, g, h))


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


def _straight(
    position: NDArray[np.float64], offset: NDArray[np.float64], weight: NDArray[np.float64]
) -> tuple[float, float]:
    """Slope and start of the line that most edges agree on, by trying pairs of them."""
    count = position.size
    first = np.tile(np.arange(count), len(PAIRS))
    second = (first + np.repeat(PAIRS, count)) % count
    apart = position[second] != position[first]
    first, second = first[apart], second[apart]
    slopes = (offset[second] - offset[first]) / (position[second] - position[first])
    shifts = offset[first] - slopes * position[first]
    away = np.abs(offset - (slopes[:, None] * position + shifts[:, None]))
    agree = np.clip(1 - (away / STRAIGHT) ** 2, 0, None).sum(1)
    best = int(agree.argmax())
    close = away[best] <= STRAIGHT
    x, y, w = position[close], offset[close], weight[close]
    middle, height = float(w @ x / w.sum()), float(w @ y / w.sum())
    spread = float(w @ (x - middle) ** 2)
    if spread < 1e-6:
        return float(slopes[best]), float(shifts[best])
    slope = float(w @ ((x - middle) * (y - height))) / spread
    return slope, height - slope * middle
