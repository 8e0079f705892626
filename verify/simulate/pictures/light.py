"""Light on the set and through the lens: gradients, balance, gels, blur, falloff and glare."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.simulate.pictures.shapes import Plane, Point, Shape, middles


@dataclass(frozen=True, slots=True)
class Optics:
    """What light, lens and balance do to the whole picture."""

    balance: tuple[float, float] = (0.0, 0.0)  # red and blue against green [stops]
    blur_px: float = 0.0  # deviation of the soft focus
    corner_stops: float = 0.0  # light lost in the corners, by cos^4
    glare: float = 0.0  # veiling light, as a share of the picture's mean


def set_light(rng: np.random.Generator, shape: Shape) -> Plane:
    """Light on the set against that on the card: a level, a slope and at times a spot."""
    across, down = middles(slice(0, shape[0]), slice(0, shape[1]))
    x, y = across / shape[1] - 0.5, down / shape[0] - 0.5
    turn = rng.uniform(0, 2 * math.pi)
    stops = rng.uniform(-0.9, 0.35) + rng.uniform(0, 0.8) * (
        x * math.cos(turn) + y * math.sin(turn)
    )
    if rng.uniform() < 0.35:
        away = np.hypot(x - rng.uniform(-0.4, 0.4), y - rng.uniform(-0.4, 0.3))
        stops = stops + rng.uniform(0.4, 1.5) * (
            np.exp(-((away / rng.uniform(0.2, 0.5)) ** 2)) - 0.4
        )
    return np.broadcast_to(2.0**stops, shape).astype(np.float32)


def small_cast(rng: np.random.Generator, stops: float = 0.15) -> tuple[float, float]:
    """Red and blue against green where the balance is a little off [stops]."""
    red, blue = rng.uniform(-stops, stops, 2)
    return float(red), float(blue)


def gel(rng: np.random.Generator) -> tuple[float, float]:
    """Red and blue against green under coloured light: the larger is 0.5 to 2 stops off."""
    size, other = rng.uniform(0.5, 2), rng.uniform(-1, 1)
    sign = rng.choice([-1, 1])
    pair = (sign * size, size * other)
    return pair if rng.uniform() < 0.5 else pair[::-1]


def falloff_at(place: Point, shape: Shape, corner_stops: float) -> float:
    """Share of the light that cos^4 leaves at a place."""
    across, down = place[0] - shape[1] / 2, place[1] - shape[0] / 2
    return float(_cos4(across * across + down * down, shape, corner_stops))


def _cos4(
    from_axis_2: NDArray[np.float32] | float, shape: Shape, corner_stops: float
) -> NDArray[np.float32]:
    half_diagonal_2 = (shape[0] ** 2 + shape[1] ** 2) / 4
    slope_2 = (2 ** (corner_stops / 2) - 1) / half_diagonal_2  # of the ray, per px
    return np.asarray((1 + from_axis_2 * slope_2) ** -2.0, np.float32)


def through_lens(
    light: NDArray[np.float32], optics: Optics
) -> tuple[NDArray[np.float32], tuple[float, float, float]]:
    """What reaches the sensor of the ``light`` of a set, and the veil of glare that it holds.

    Glare comes last, of the light that the lens lets through: the same everywhere.
    """
    shape = light.shape[0], light.shape[1]
    red, blue = optics.balance
    light = light * np.array([2.0**red, 1.0, 2.0**blue], np.float32)
    if optics.blur_px > 0.2:
        light = cv2.GaussianBlur(
            light, (0, 0), optics.blur_px, borderType=cv2.BORDER_REPLICATE
        ).astype(np.float32)
    if optics.corner_stops:
        across, down = middles(slice(0, shape[0]), slice(0, shape[1]))
        from_axis_2 = (across - shape[1] / 2) ** 2 + (down - shape[0] / 2) ** 2
        light = light * _cos4(from_axis_2, shape, optics.corner_stops)[..., None]
    red, green, blue = (optics.glare * light.mean(axis=(0, 1), dtype=np.float64)).tolist()
    return light + np.array([red, green, blue], np.float32), (red, green, blue)
