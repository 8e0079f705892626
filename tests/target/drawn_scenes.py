"""Small pictures of sets, drawn in cells: a card, what is round it, and the light on both.

A picture is linear light, upright: (rows, cols, 3), 1 for a white surface in the light of the card.
Places are in cells from the corner of the first one. Exposed as planned, a card of 18 % has the
signal that an incident reading with a flat receptor promises: 0.1194 (check-values 2.2).
"""

import math
from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from memory_frames import frame_of
from numpy.typing import NDArray

from verify.frames.frame import Frame
from verify.frames.overview import Overview
from verify.target.light import Light, light_of
from verify.target.quads import Quad
from verify.target.records import Target

Picture = NDArray[np.float64]
Points = Sequence[tuple[float, float]]
Color = float | tuple[float, float, float]

ROWS, COLS = 240, 360
CARD = 0.18
CARD_SIGNAL = 0.1194
COLORS = ("red", "green", "blue")
NEUTRAL = (0.52, 1.0, 0.64)  # signal of a neutral surface in each colour
RED, SKIN = (0.5, 0.05, 0.04), (0.5, 0.3, 0.2)  # from memory: what such things reflect
# Relative noise of a cell at a card's planned signal, of two photosites of a sensor that holds
# 60000 electrons at ISO 100 (from memory), at ISO 3200: 1 / sqrt(2 * 0.1194 * 60000 / 32).
SIGMA_3200 = 0.047
ALLOWED_STOPS = 0.03  # issue: right within so much


def plain(level: Color = 0.4, rows: int = ROWS, cols: int = COLS) -> Picture:
    """A backdrop of one colour."""
    return np.asarray(np.ones((rows, cols, 3)) * np.asarray(level, float))


def wrinkled(
    level: Color = 0.4, depth: float = 0.35, seed: int = 1, rows: int = ROWS, cols: int = COLS
) -> Picture:
    """A backdrop with folds and creases, most of it within ``depth`` stops of its level."""
    rng = np.random.default_rng(seed)
    folds = np.zeros((rows, cols))
    for size, share in ((60, 0.6), (18, 0.3), (4, 0.15)):
        coarse = rng.standard_normal((rows // size + 3, cols // size + 3))
        folds += share * cv2.resize(coarse, (cols, rows), interpolation=cv2.INTER_CUBIC)
    return np.asarray(plain(level, rows, cols) * np.exp2(depth * folds)[..., None])


def on_set(picture: Picture) -> Picture:
    """What makes a picture one of a set: white and black cut-outs that reach into two corners."""
    rows, cols = picture.shape[:2]
    white = [(0, 0), (0.25 * cols, 0), (0, 0.35 * rows)]
    black = [(cols, rows), (0.72 * cols, rows), (cols, 0.62 * rows)]
    return laid(laid(picture, white, 0.9), black, 0.02)


def tiles(
    across: int, gap: float, turn_deg: float, uneven_stops: float = 0.0, level: float = CARD
) -> Picture:
    """A wall of square tiles with dark joints ``gap`` wide, ``across`` of them side by side."""
    rng = np.random.default_rng(across)
    picture, pitch = plain(0.05), COLS / across
    turn = cv2.Rodrigues(np.array([0, 0, math.radians(turn_deg)]))[0][:2, :2]
    for row in range(-3, math.ceil(ROWS / pitch) + 3):
        for col in range(-3, across + 3):
            off = np.array([(col + 0.5) * pitch - COLS / 2, (row + 0.5) * pitch - ROWS / 2])
            at = turn @ off + (COLS / 2, ROWS / 2)
            if (at < -pitch).any() or (at > (COLS + pitch, ROWS + pitch)).any():
                continue
            side = pitch - gap
            own = level * 2.0 ** (uneven_stops * rng.standard_normal())
            place = standing((float(at[0]), float(at[1])), side, side, turn_deg)
            picture = laid(picture, place, own)
    return picture


def standing(
    middle: tuple[float, float],
    width: float,
    height: float,
    turn_deg: float = 0.0,
    tilt_deg: tuple[float, float] = (0.0, 0.0),
    away: float = 700.0,
) -> Quad:
    """Corners of a rectangle, clockwise from its own top left, as a pinhole camera sees it.

    Parameters
    ----------
    tilt_deg : about its own horizontal and its own vertical axis.
    away : focal length and distance [cell]: the smaller, the stronger the perspective.
    """
    flat = np.array([(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0)]) * (width / 2, height / 2, 0)
    for axis, angle in enumerate(np.radians([*tilt_deg, turn_deg])):
        flat = flat @ cv2.Rodrigues(np.eye(3)[axis] * angle)[0].T
    return np.asarray(np.array(middle) + flat[:, :2] * away / (away + flat[:, 2:]))


def moved(corners: Quad, right: float, down: float) -> Quad:
    """The same outline at another place."""
    return np.asarray(corners + np.array([right, down]))


def cover(shape: tuple[int, ...], corners: Quad | Points, soft: float = 1.0) -> Picture:
    """How much of each cell (rows, cols) lies in a convex outline with edges ``soft`` cells wide.

    Parameters
    ----------
    corners : clockwise as seen, or the other way round.
    """
    points = np.asarray(corners, float)
    ends = np.roll(points, -1, axis=0)
    doubled = float((points[:, 0] * ends[:, 1] - ends[:, 0] * points[:, 1]).sum())
    rows, cols = (
        slice(max(0, math.floor(low - soft)), max(0, math.ceil(high + soft)))
        for low, high in zip(points.min(0)[::-1], points.max(0)[::-1], strict=True)
    )
    share = np.zeros(shape[:2])
    y, x = (g[rows, cols] + 0.5 for g in np.indices(shape[:2]))
    depth = np.full(y.shape, np.inf)
    for (c, r), (d, s) in zip(points.tolist(), ends.tolist(), strict=True):
        inward = ((d - c) * (y - r) - (s - r) * (x - c)) / math.hypot(d - c, s - r)
        depth = np.minimum(depth, math.copysign(1, doubled) * inward)
    share[rows, cols] = np.clip(depth / soft + 0.5, 0, 1)
    return share


def laid(
    picture: Picture, corners: Quad | Points, color: Color = CARD, soft: float = 1.0
) -> Picture:
    """Something flat and even in front of what is there."""
    share = cover(picture.shape, corners, soft)
    there, out = share > 0, picture.copy()
    part = share[there][:, None]
    out[there] = picture[there] * (1 - part) + np.asarray(color, float) * part
    return out


def lit(picture: Picture, corners: Quad | Points, stops: float, soft: float = 1.0) -> Picture:
    """Light on a part changed by ``stops``: a shadow where they are negative."""
    return np.asarray(picture * np.exp2(stops * cover(picture.shape, corners, soft))[..., None])


def right_of(col: float, lean: float = 30.0) -> Points:
    """All that is right of a slanting line through (``col``, middle row)."""
    return [(col - lean, -50), (2 * COLS, -50), (2 * COLS, ROWS + 50), (col + lean, ROWS + 50)]


def shining(picture: Picture, middle: tuple[float, float], radius: float, peak: float) -> Picture:
    """A lamp mirrored in a surface: white light added, most in the middle, none at the radius."""
    y, x = np.indices(picture.shape[:2]) + 0.5
    near = np.clip(1 - ((x - middle[0]) ** 2 + (y - middle[1]) ** 2) / radius**2, 0, None)
    return np.asarray(picture + peak * (near**2)[..., None])


def lower_half(corners: Quad) -> Quad:
    """The half of something flat that lies at its third and fourth corner, seen straight on."""
    left, right = (corners[0] + corners[3]) / 2, (corners[1] + corners[2]) / 2
    return np.array([left, right, corners[2], corners[3]])


def printed(picture: Picture, corners: Quad, rows: int, color: Color = 0.02) -> Picture:
    """Lines of print all over something flat, a word beside the other."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    lies = np.asarray(cv2.getPerspectiveTransform(square, corners.astype(np.float32)))
    rng = np.random.default_rng(3)
    for row in range(rows):
        left, top = 0.1, 0.1 + 0.8 * row / rows
        while left < 0.85:
            right, bottom = left + rng.uniform(0.03, 0.12), top + 0.4 / rows
            word = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
            there = np.asarray(cv2.perspectiveTransform(word[None], lies)[0], float)
            picture = laid(picture, there, color)
            left = right + 0.04
    return picture


def exposed(
    picture: Picture, stops: float = 0.0, sigma: float = 0.0, seed: int = 1, clips_at: float = 1.0
) -> Picture:
    """Signal of a picture, ``stops`` over the plan.

    Parameters
    ----------
    sigma : relative standard deviation of noise at a card's planned level; as that of photons, it
        follows the root of the light.
    """
    light = picture * np.asarray(NEUTRAL) * (CARD_SIGNAL / CARD) * 2.0**stops
    if sigma:
        grain = np.random.default_rng(seed).standard_normal(light.shape)
        light = light + sigma * np.sqrt(np.maximum(light, 0) * CARD_SIGNAL + 1e-6) * grain
    return np.asarray(np.minimum(light, clips_at))


def overview_of(signal: Picture, **changed: Any) -> Overview:
    """An overview of a signal (rows, cols, 3), or (rows, cols) of a monochrome sensor."""
    mono = signal.ndim == 2
    fields: dict[str, Any] = {
        "signal": np.asarray(signal[..., None] if mono else signal, np.float32),
        "colors": ("grey",) if mono else COLORS,
        "cell": 1.0,
        "corner": (0.0, 0.0),
        "neutral": (1.0,) if mono else NEUTRAL,
        "clips_at": 1.0,
        "made_from": "sensor",
    }
    return Overview(**(fields | changed))


def lights(picture: Picture, **exposure: Any) -> Light:
    """A picture exposed, in stops."""
    return light_of(overview_of(exposed(picture, **exposure)))


def frame_in(signal: Picture, **source: Any) -> Frame:
    """A frame whose every photosite has all colours, and is a cell of the overview."""
    source.setdefault("neutral", NEUTRAL if signal.ndim == 3 else None)
    return frame_of(signal, pattern=None, **source)


def apart(found: Quad | Points, true: Quad | Points) -> float:
    """Largest distance of a corner from its place, whichever of them is named first [cell]."""
    one, other = np.asarray(found, float), np.asarray(true, float)
    ways = [np.roll(way, n, axis=0) for way in (one, one[::-1]) for n in range(4)]
    return min(float(np.linalg.norm(way - other, axis=1).max()) for way in ways)


def error_stops(signal: Picture, target: Target) -> float:
    """What is in the box against a card exposed as planned [stop]."""
    box = target.box
    part = signal[box.row : box.row + box.height, box.col : box.col + box.width]
    green = part if part.ndim == 2 else part[..., 1]
    return math.log2(float(green.mean()) / CARD_SIGNAL)
