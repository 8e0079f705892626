"""From light on the sensor to whole DN: colour filters, noise, black and clipping.

References
----------
EMVA 1288 for shot, read and rounding noise.
"""

import math

import numpy as np
from numpy.typing import NDArray

from verify.simulate.camera import CameraModel

_ROWS_AT_ONCE = 512  # rows read out in one go: keeps a large frame's working memory small


def clip_signal(camera: CameraModel) -> float:
    """Lowest signal at which a photosite clips."""
    clip = camera.white if camera.clip is None else min(camera.clip, camera.white)
    lowest = float(np.max(camera.black))
    return (clip - lowest) / (camera.white - lowest)


def noise_stops(mean: float, photosites: int, camera: CameraModel, iso: float) -> float:
    """Standard deviation of the mean of ``photosites`` of signal ``mean`` [stops]; EMVA 1288."""
    if mean <= 0:
        return math.inf
    electrons = camera.electrons(iso)
    rounding = 1 / 12 / (camera.white - camera.mean_black()) ** 2
    variance = mean / electrons + (camera.read_noise_e / electrons) ** 2 + rounding
    return math.sqrt(variance / photosites) / (mean * math.log(2))


def read_out(
    signal: NDArray[np.float32], camera: CameraModel, iso: float, rng: np.random.Generator | None
) -> NDArray[np.uint16]:
    """Whole DN of the whole sensor, masked border included.

    Parameters
    ----------
    signal : of the active area, sensor orientation: (rows, columns) of neutral light, or
        (rows, columns, 3) of red, green and blue light, equal where it is neutral. 1 is what makes
        a green photosite clip.
    rng : source of the noise; None: no noise, only the rounding to whole DN.
    """
    left, top, right, bottom = camera.masked
    height, width = signal.shape[:2]
    shape = (top + height + bottom, left + width + right)
    planes = (camera.planes,) if camera.planes > 1 else ()
    mosaic = np.empty(shape + planes, np.uint16)
    columns = np.arange(shape[1]) - left
    for first in range(0, shape[0], _ROWS_AT_ONCE):
        rows = np.arange(first, min(first + _ROWS_AT_ONCE, shape[0])) - top
        lit = (rows >= 0) & (rows < height)
        light = np.zeros((rows.size, shape[1], *signal.shape[2:]), np.float32)
        light[lit, left : left + width] = signal[rows[lit]]
        black = camera.black_at(rows, columns)
        if camera.masked_black is not None:
            dark = ~(lit[:, None] & (columns >= 0) & (columns < width))
            black[dark] = camera.masked_black
        block = _through_filters(light, rows[0], left, camera)
        if rng is not None:
            block += _noise(block, camera.electrons(iso), camera.read_noise_e, rng)
        dn = black + block * (camera.white - black)
        clip = camera.white if camera.clip is None else min(camera.clip, camera.white)
        mosaic[first : first + rows.size] = np.clip(np.rint(dn), 0, clip).astype(np.uint16)
    return mosaic


def _through_filters(
    light: NDArray[np.float32], first_row: int, left: int, camera: CameraModel
) -> NDArray[np.float32]:
    """Signal behind the colour filters: of the mosaic, or of each of three planes."""
    if camera.planes > 1:
        own = light if light.ndim > 2 else light[..., None]
        return own * np.array([camera.gain(colour) for colour in "RGB"], np.float32)
    if camera.pattern is None:
        return light.mean(axis=2) if light.ndim > 2 else light
    block = np.empty(light.shape[:2], np.float32)
    high, wide = len(camera.pattern), len(camera.pattern[0])
    for row, letters in enumerate(camera.pattern):
        for column, colour in enumerate(letters):
            same = (
                slice((row - first_row) % high, None, high),
                slice((column + left) % wide, None, wide),
            )
            if light.ndim > 2:
                block[same] = light[same] @ np.array(camera.weights(colour), np.float32)
            else:
                block[same] = light[same] * np.float32(camera.gain(colour))
    return block


def _noise(
    signal: NDArray[np.float32], electrons: float, read_noise_e: float, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Shot and read noise of ``signal``, normal with the mean and variance of the Poisson law."""
    variance = np.maximum(signal, 0) / np.float32(electrons)
    variance += np.float32((read_noise_e / electrons) ** 2)
    noise = rng.standard_normal(signal.shape, np.float32)
    noise *= np.sqrt(variance)
    return noise
