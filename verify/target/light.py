"""The picture in stops: level and colour of every cell against a neutral surface."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.frames.colors import main_color
from verify.frames.overview import Overview

LEAST_SIGNAL = 2e-4  # added to every signal, so that black cells give no wild colours
SHADES = 3  # level and two differences of colour: what is looked at
NEUTRAL = 0.3  # stop off the camera's white balance, in any colour, that may still be grey
QUIET = 0.3  # of the blocks of one level: the share that shows noise and nothing else
BLOCK = 8  # cells; side of a block in which noise is looked at
LEVEL_STEP, FEWEST = 0.75, 5  # stop, in which noise is one; blocks that tell of it
MOST_NOISE = 1.0  # stop
HEAVY = 2.0  # cells; smoothing of noisy parts
CLIPPED = 0.985  # of clipping, above which a cell's colours say nothing
NOISY = 0.05  # stop of a cell, above which smoothing grows


@dataclass(frozen=True, slots=True)
class Light:
    """An overview in stops."""

    smooth: NDArray[np.float32]  # (rows, cols, 3) level, and two colours against it, without
    # most of the noise, edges kept [stop]
    noise: NDArray[np.float32]  # (rows, cols) standard deviation of what noise is left [stop]
    grey: NDArray[np.bool_]  # (rows, cols) whether a cell may be neutral in the scene's light
    clipped: NDArray[np.bool_]  # (rows, cols) whether a cell is clipped in any colour
    colored: bool  # whether the sensor sees colours at all
    balanced: bool  # whether the file says what is neutral
    steep: NDArray[np.float32]  # (rows, cols) change to a neighbouring cell, as `steepness` [stop]


def light_of(overview: Overview) -> Light:
    """Level and colours of an overview in stops, and how noisy they are."""
    signal = overview.balanced()
    main = overview.colors.index(main_color(overview.colors))
    others = [n for n in range(len(overview.colors)) if n != main][: SHADES - 1]
    logs = np.log2(np.maximum(signal, 0) + np.float32(LEAST_SIGNAL))
    stops = np.zeros((*signal.shape[:2], SHADES), np.float32)
    stops[..., 0] = logs[..., main]
    for at, other in enumerate(others, 1):
        stops[..., at] = logs[..., other] - logs[..., main]
    # What is clipped has lost its colour: it may have been neutral.
    clipped = overview.signal.max(-1) >= CLIPPED * overview.clips_at
    stops[clipped, 1:] = 0
    smooth, noise = _smoothed(stops, noise_of(stops[..., 0]))
    balanced = overview.neutral is not None
    grey = np.ones(signal.shape[:2], bool)
    if others and balanced:
        grey = np.abs(smooth[..., 1:]).max(-1) <= NEUTRAL + 4 * noise
    return Light(smooth, noise, grey, clipped, bool(others), balanced, steepness(smooth))


def steepness(smooth: NDArray[np.float32]) -> NDArray[np.float32]:
    """Largest change to a neighbouring cell, of level and colours together (rows, cols) [stop]."""
    padded = cv2.copyMakeBorder(smooth, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    across = padded[1:-1, 2:] - padded[1:-1, :-2]
    down = padded[2:, 1:-1] - padded[:-2, 1:-1]
    return np.asarray(np.sqrt((across**2 + down**2).sum(-1)) / 2, np.float32)


def noise_of(level: NDArray[np.float32]) -> NDArray[np.float32]:
    """Standard deviation of each cell's level from noise, by how much light it has [stop].

    From second differences in both directions, of which neither an even gradient nor a single
    edge makes much, in the quiet ones of the blocks that have about the same level.
    """
    second = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32) / 6
    detail = cv2.filter2D(level, cv2.CV_32F, second)
    size = max(1, level.shape[1] // BLOCK), max(1, level.shape[0] // BLOCK)
    power = cv2.resize(detail * detail, size, interpolation=cv2.INTER_AREA).ravel()
    light = cv2.resize(level, size, interpolation=cv2.INTER_AREA).ravel()
    steps = np.round(light / LEVEL_STEP)
    at, own = [], []
    for step in np.unique(steps):
        part = steps == step
        if np.count_nonzero(part) >= FEWEST:
            at.append(float(light[part].mean()))
            own.append(float(np.sqrt(np.quantile(power[part], QUIET))))
    if not at:
        return np.full_like(level, np.sqrt(np.quantile(power, QUIET)))
    own = np.minimum.accumulate(own).tolist()  # more light, less noise: what rises is texture
    noise = np.interp(level, at, own)
    darker = np.maximum(at[0] - level, 0)  # too small a part to tell: by the law of shot noise
    return np.asarray(np.minimum(noise * np.exp2(darker / 2), MOST_NOISE), np.float32)


def _smoothed(
    stops: NDArray[np.float32], noise: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Level and colours without most of their noise, edges kept, and the noise that is left."""
    calm = np.stack([cv2.medianBlur(np.ascontiguousarray(p), 3) for p in np.moveaxis(stops, 2, 0)])
    picture = np.ascontiguousarray(np.moveaxis(calm, 0, 2))
    left = 0.45 * noise
    if float(np.quantile(noise, 0.9)) > NOISY:
        heavy = cv2.GaussianBlur(picture, (0, 0), HEAVY)
        share = np.clip((noise - NOISY) / (2 * NOISY), 0, 1).astype(np.float32)
        picture = picture + (heavy - picture) * share[..., None]
        left = left * (1 - 0.55 * share)
    typical = float(np.median(left))
    smooth = cv2.bilateralFilter(picture, 7, max(0.08, 4 * typical), 2.5)
    return np.asarray(smooth, np.float32), (0.6 * left).astype(np.float32)
