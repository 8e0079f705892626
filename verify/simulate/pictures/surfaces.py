"""What walls, floors and cloths look like: reflectances of shape (rows, columns, 3)."""

import math
from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.simulate.pictures.canvas import Colour, any_colour, any_grey, colour_of
from verify.simulate.pictures.shapes import Plane, Shape, ellipse, middles

Texture = NDArray[np.float32]
Surface = Callable[[np.random.Generator, Shape, Colour], Texture]


def cloud(
    rng: np.random.Generator, shape: Shape, cell_px: float, octaves: int = 4, stretch: float = 1.0
) -> Plane:
    """Smooth noise of mean 0 and deviation 1, its largest lumps ``cell_px`` wide.

    ``stretch`` draws the lumps out to the right.
    """
    total = np.zeros(shape, np.float32)
    for octave in range(octaves):
        cell = max(cell_px / 2**octave, 1.5)
        rows, columns = math.ceil(shape[0] / cell) + 3, math.ceil(shape[1] / cell / stretch) + 3
        grid = rng.standard_normal((rows, columns)).astype(np.float32)
        across = (columns - 2) * cell * stretch, (rows - 2) * cell
        size = max(shape[1], round(across[0])), max(shape[0], round(across[1]))
        smooth = cv2.resize(grid, size, interpolation=cv2.INTER_CUBIC)
        total += smooth[: shape[0], : shape[1]] * np.float32(0.55**octave)
    noise: Plane = (total - total.mean()) / max(float(total.std()), 1e-6)
    return noise


def _tinted(plane: Plane, colour: Colour) -> Texture:
    return plane[..., None] * np.asarray(colour, np.float32)


def _grain(rng: np.random.Generator, shape: Shape, deviation: float) -> Plane:
    return 1 + deviation * rng.standard_normal(shape).astype(np.float32)


def _long(shape: Shape) -> int:
    return max(shape)


def paper(rng: np.random.Generator, shape: Shape, colour: Colour) -> Texture:
    """Seamless paper: one colour, hardly a grain."""
    uneven = 1 + 0.01 * cloud(rng, shape, _long(shape) / 3, 3)
    return _tinted(uneven * _grain(rng, shape, 0.006), colour)


def cloth(rng: np.random.Generator, shape: Shape, colour: Colour) -> Texture:
    """Cloth with folds and creases, lit from a side."""
    long = _long(shape)
    height = 0.25 * cloud(rng, shape, long * rng.uniform(0.15, 0.3), 2)
    for _ in range(int(rng.integers(2, 5))):
        lines = _turned_cloud(rng, shape, long * rng.uniform(0.03, 0.09), rng.uniform(3, 8))
        height -= rng.uniform(0.1, 0.35) * np.sqrt(lines * lines + 0.02)
    slope_down, slope_across = np.gradient(height * long * rng.uniform(0.012, 0.03))
    lit_from = rng.uniform(0, 2 * math.pi)
    slope = slope_across * math.cos(lit_from) + slope_down * math.sin(lit_from)
    facing = (1 + 0.8 * slope) / np.sqrt(1 + slope_across**2 + slope_down**2)
    shade = np.clip(facing, 0.15, 1.6).astype(np.float32)
    return _tinted(shade * _grain(rng, shape, 0.02), colour)


def _turned_cloud(rng: np.random.Generator, shape: Shape, cell_px: float, stretch: float) -> Plane:
    """Noise drawn out in any direction."""
    side = math.ceil(math.hypot(*shape))
    long_lumps = cloud(rng, (side, side), cell_px, 2, stretch)
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), rng.uniform(0, 180), 1.0)
    turn[0, 2] += (shape[1] - side) / 2
    turn[1, 2] += (shape[0] - side) / 2
    lumps = cv2.warpAffine(long_lumps, turn, (shape[1], shape[0]), borderMode=cv2.BORDER_REFLECT)
    return np.asarray(lumps, np.float32)


def brick(rng: np.random.Generator, shape: Shape, colour: Colour) -> Texture:
    """A wall of bricks with mortar, painted over at times."""
    long = _long(shape)
    high = long * rng.uniform(0.025, 0.07)
    wide, joint = high * rng.uniform(2.6, 3.4), high * rng.uniform(0.08, 0.16)
    across, down = middles(slice(0, shape[0]), slice(0, shape[1]))
    wavy = 0.03 * high * cloud(rng, shape, high, 3)
    row = np.floor((down + wavy) / high).astype(np.int64)
    shifted = across + wavy + (row % 2) * wide / 2
    column = np.floor(shifted / wide).astype(np.int64)
    from_joint = np.minimum(
        np.minimum((down + wavy) % high, high - (down + wavy) % high),
        np.minimum(shifted % wide, wide - shifted % wide),
    )
    in_brick = np.clip((from_joint - joint / 2) / max(joint * 0.4, 0.7), 0, 1)[..., None]
    tones = rng.lognormal(0, rng.uniform(0.08, 0.3), (int(row.max()) + 1, int(column.max()) + 2))
    hues = 1 + 0.1 * rng.standard_normal((*tones.shape, 3))
    rough = 1 + 0.09 * cloud(rng, shape, high / 2, 4)
    own = (tones[..., None] * hues)[row, column] * np.asarray(colour)
    mortar = np.asarray(any_grey(rng, (0.12, 0.5)))
    wall = own * in_brick + mortar * (1 - in_brick)
    texture: Texture = np.clip(wall * rough[..., None], 0.005, 0.95).astype(np.float32)
    return texture


def wood(rng: np.random.Generator, shape: Shape, colour: Colour) -> Texture:
    """Planks with their grain, level or upright."""
    upright = rng.uniform() < 0.4
    own = (shape[1], shape[0]) if upright else shape
    long = _long(shape)
    wide = long * rng.uniform(0.06, 0.25)
    _, down = middles(slice(0, own[0]), slice(0, own[1]))
    plank = np.broadcast_to(np.floor(down / wide).astype(np.int64), own)
    tones = rng.lognormal(0, 0.18, int(plank.max()) + 1).astype(np.float32)
    rings = cloud(rng, own, wide * 0.5, 4, stretch=9)
    fibres = cloud(rng, own, max(long / 250, 2), 2, stretch=25)
    shade = tones[plank] * (1 + 0.16 * np.sin(5 * rings) + 0.08 * fibres)
    gap = np.minimum(down % wide, wide - down % wide)
    shade = shade * (1 - 0.7 * np.clip(1.2 - gap / max(long / 900, 0.6), 0, 1))
    texture = _tinted(np.clip(shade, 0.1, 2.2).astype(np.float32), colour)
    return np.swapaxes(texture, 0, 1) if upright else texture


def canvas_cloth(rng: np.random.Generator, shape: Shape, colour: Colour) -> Texture:
    """A painted backdrop: blotches of two related colours."""
    long = _long(shape)
    blend = 0.5 + 0.3 * cloud(rng, shape, long * rng.uniform(0.08, 0.35), 5)
    other = np.asarray(colour) * rng.uniform(0.35, 0.8) * (1 + 0.12 * rng.standard_normal(3))
    share = np.clip(blend, 0, 1)[..., None]
    texture = share * np.asarray(colour) + (1 - share) * other
    texture *= _grain(rng, shape, 0.03)[..., None]
    return np.asarray(np.clip(texture, 0.004, 0.95), np.float32)


def plaster(rng: np.random.Generator, shape: Shape, colour: Colour) -> Texture:
    """Concrete or plaster: spots and smears."""
    long = _long(shape)
    spots = 0.06 * cloud(rng, shape, long / 40, 4) + 0.07 * cloud(rng, shape, long / 5, 3)
    return _tinted(np.clip(1 + spots, 0.3, 1.8) * _grain(rng, shape, 0.025), colour)


def foliage(rng: np.random.Generator, shape: Shape, colour: Colour) -> Texture:
    """Leaves over leaves before a dark ground."""
    texture = _tinted(np.full(shape, 0.25, np.float32), colour)
    long = _long(shape)
    size = long * rng.uniform(0.015, 0.05)
    count = min(int(1.3 * shape[0] * shape[1] / size**2), 1400)
    for number in range(count):
        near = number / count
        centre = rng.uniform(-0.03, 1.03, 2) * (shape[1], shape[0])
        axes = size * rng.uniform(0.7, 1.3), size * rng.uniform(0.2, 0.5)
        leaf = ellipse(shape, (centre[0], centre[1]), axes, rng.uniform(0, 360))
        own = np.asarray(colour) * (0.3 + 0.9 * near) * rng.lognormal(0, 0.3)
        own = own * (1 + 0.15 * rng.standard_normal(3))
        bright = 1 - 0.35 * np.clip(-leaf.distance / axes[1], 0, 1)
        place = leaf.rows, leaf.columns
        cover = leaf.cover()[..., None]
        texture[place] += cover * (own.astype(np.float32) * bright[..., None] - texture[place])
    return np.asarray(np.clip(texture, 0.003, 0.9), np.float32)


def tiles(rng: np.random.Generator, shape: Shape, colour: Colour) -> Texture:
    """A floor or wall of square tiles, chequered at times."""
    long = _long(shape)
    side = long * rng.uniform(0.06, 0.18)
    across, down = middles(slice(0, shape[0]), slice(0, shape[1]))
    row, column = (down // side).astype(np.int64), (across // side).astype(np.int64)
    tones = rng.lognormal(0, 0.05, (int(row.max()) + 1, int(column.max()) + 1))
    if rng.uniform() < 0.35:
        tones = tones * np.where(np.indices(tones.shape).sum(axis=0) % 2, 1, rng.uniform(0.2, 0.6))
    joint = np.minimum(
        np.minimum(down % side, side - down % side), np.minimum(across % side, side - across % side)
    )
    dark = 1 - rng.uniform(0.2, 0.6) * np.clip(1.5 - joint / max(side * 0.02, 0.8), 0, 1)
    shade = tones[row, column] * dark * (1 + 0.03 * cloud(rng, shape, side, 4))
    return _tinted(np.clip(shade, 0.05, 1.6).astype(np.float32), colour)


def brick_red(rng: np.random.Generator) -> Colour:
    """Red, yellow or painted brick."""
    if rng.uniform() < 0.25:
        return any_grey(rng, (0.1, 0.75))
    return colour_of(rng.uniform(0.01, 0.09), rng.uniform(0.45, 0.75), rng.uniform(0.15, 0.45))


def wood_brown(rng: np.random.Generator) -> Colour:
    """From ebony to birch."""
    value = float(np.exp(rng.uniform(math.log(0.05), math.log(0.6))))
    return colour_of(rng.uniform(0.04, 0.11), rng.uniform(0.4, 0.75), value)


def leaf_green(rng: np.random.Generator) -> Colour:
    """From fir to lime."""
    return colour_of(rng.uniform(0.2, 0.4), rng.uniform(0.5, 0.85), rng.uniform(0.08, 0.3))


def studio_colour(rng: np.random.Generator) -> Colour:
    """What backdrops come in: blacks, greys, whites, and colours dull or loud."""
    drawn = rng.uniform()
    if drawn < 0.55:
        return any_grey(rng, (0.025, 0.88))
    return any_colour(rng, (0.15, 0.9), (0.05, 0.7))
