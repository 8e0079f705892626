"""Pictures of sets as linear signal in memory, for the tests of the light by scene."""

from typing import Any

import numpy as np
from memory_frames import Array, frame_of
from scipy.ndimage import gaussian_filter, shift

from verify.scene.records import Tiles
from verify.scene.tiles import tiles_of

SIZE = (400, 600)  # rows, columns
NOISE = 0.02  # of a photosite of signal 1; it grows as the root of the signal


def wall(seed: int = 1, size: tuple[int, int] = SIZE, level: float = 0.1) -> Array:
    """An uneven wall with things before it, light and dark."""
    rng = np.random.default_rng(seed)
    rows, cols = size
    y, x = np.mgrid[0:rows, 0:cols] / max(size)
    picture = level * 2.0 ** (0.8 * (x - 0.5) * rng.choice([-1, 1]) + 0.3 * y)
    for _ in range(90):
        top, left = int(rng.integers(rows)), int(rng.integers(cols))
        high, wide = (int(n) for n in rng.integers(8, 70, 2))
        picture[top : top + high, left : left + wide] *= 2.0 ** rng.uniform(-2, 1)
    return np.asarray(gaussian_filter(picture, 0.8))


def shot(picture: Array, seed: int = 1, **source: Any) -> Tiles:
    """The tiles of a frame of a picture, with noise."""
    rng = np.random.default_rng(seed)
    noise = NOISE * np.sqrt(picture) * rng.standard_normal(picture.shape)
    return tiles_of(frame_of(np.minimum(picture + noise, 1.0), **source))


def replaced(picture: Array, share: float, seed: int = 5, size: int = 25) -> Array:
    """A picture of which about a share of parts as large as a tile shows something else."""
    rng = np.random.default_rng(seed)
    rows, cols = -(-picture.shape[0] // size), -(-picture.shape[1] // size)
    off = rng.uniform(0.15, 1.5, (rows, cols)) * rng.choice([-1, 1], (rows, cols))
    off *= rng.uniform(size=(rows, cols)) < share
    over = np.kron(off, np.ones((size, size)))[: picture.shape[0], : picture.shape[1]]
    return np.asarray(picture * 2.0**over)


def beside(picture: Array, columns: float, rows: float) -> Array:
    """A picture from a camera that was nudged by some pixels."""
    return np.asarray(shift(picture, (rows, columns), order=3, mode="nearest"))


def colored(picture: Array, red: float, blue: float) -> Array:
    """The mosaic of a picture whose red and blue differ from green by so many stops."""
    found = picture.copy()
    found[::2, ::2] *= 2.0**red
    found[1::2, 1::2] *= 2.0**blue
    return found
