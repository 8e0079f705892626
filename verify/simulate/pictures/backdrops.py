"""What lies behind the set: paper sweeps, cloths, walls, shelves and rooms."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from verify.simulate.pictures.canvas import Canvas, Colour, any_colour, any_grey, grey
from verify.simulate.pictures.shapes import Plane, Shape, along_axes, polygon
from verify.simulate.pictures.surfaces import (
    Surface,
    Texture,
    brick,
    brick_red,
    canvas_cloth,
    cloth,
    foliage,
    leaf_green,
    paper,
    plaster,
    studio_colour,
    tiles,
    wood,
    wood_brown,
)


@dataclass(frozen=True, slots=True)
class Backdrop:
    """A kind of background and how often it is met."""

    name: str  # in words
    paint: Callable[[Canvas, np.random.Generator], None]
    often: float  # weight among all
    wall: bool = False  # things may hang on it


def _cover(canvas: Canvas, texture: Texture) -> None:
    canvas.picture[:] = texture * canvas.light[..., None]


def _of(
    surface: Surface, colour: Callable[[np.random.Generator], Colour]
) -> Callable[[Canvas, np.random.Generator], None]:
    """Paint the whole picture with one surface in a colour that is drawn first."""

    def paint(canvas: Canvas, rng: np.random.Generator) -> None:
        _cover(canvas, surface(rng, canvas.shape, colour(rng)))

    return paint


def _bookshelf(canvas: Canvas, rng: np.random.Generator) -> None:
    """Boards with upright books of every colour."""
    rows, columns = canvas.shape
    long = canvas.long_px
    _cover(canvas, wood(rng, canvas.shape, wood_brown(rng)))
    high = long * rng.uniform(0.12, 0.24)
    board = high * 0.1
    top = -rng.uniform(0, 1) * high
    while top < rows:
        recess = [(0.0, top), (columns, top), (columns, top + high), (0.0, top + high)]
        canvas.paint(polygon(canvas.shape, recess), grey(0.04), 0.6)
        left = 0.0
        while left < columns:
            wide = high * rng.uniform(0.06, 0.24)
            tall = high * rng.uniform(0.62, 0.96)
            if rng.uniform() < 0.9:
                _book(canvas, left, top + high, wide, tall, rng)
            left += wide * 1.02
        top += high + board


def _book(
    canvas: Canvas, left: float, foot: float, wide: float, tall: float, rng: np.random.Generator
) -> None:
    lean = wide * rng.uniform(0, 1.2) if rng.uniform() < 0.1 else 0.0
    colour = any_colour(rng, (0.05, 0.85), (0.03, 0.75))
    right, top = left + 0.97 * wide, foot - tall
    spine = polygon(
        canvas.shape, [(left + lean, top), (right + lean, top), (right, foot), (left, foot)]
    )
    across, _ = along_axes(spine.rows, spine.columns, ((left + right) / 2, foot), 0)
    shade = 0.85 - 0.3 * (across / (wide / 2)) ** 2
    canvas.paint(spine, colour, np.clip(shade, 0.2, 1).astype(np.float32))
    for share in rng.uniform(0.1, 0.85, 2):
        row, thick = top + share * tall, tall * rng.uniform(0.01, 0.05)
        band = [(left, row), (right, row), (right, row + thick), (left, row + thick)]
        canvas.paint(polygon(canvas.shape, band), any_colour(rng, (0, 0.6), (0.1, 0.8)), 0.7)


def _room(canvas: Canvas, rng: np.random.Generator) -> None:
    """A wall, a floor and a skirting board, out of true as rooms are."""
    rows, columns = canvas.shape
    wall = any_colour(rng, (0.03, 0.45), (0.3, 0.8))
    _cover(canvas, plaster(rng, canvas.shape, wall))
    left, right = rows * rng.uniform(0.6, 0.85), rows * rng.uniform(0.6, 0.85)
    edge = [(0.0, left), (columns, right), (columns, rows + 5.0), (0.0, rows + 5.0)]
    floor = polygon(canvas.shape, edge)
    surface = wood if rng.uniform() < 0.6 else tiles
    texture = surface(rng, floor.distance.shape, wood_brown(rng))
    canvas.paint(floor, texture.astype(np.float32), 0.8)
    high = rows * 0.025
    skirting = [(0.0, left - high), (columns, right - high), (columns, right), (0.0, left)]
    canvas.paint(polygon(canvas.shape, skirting), any_grey(rng, (0.2, 0.8)), 0.8)


def _sweep(canvas: Canvas, rng: np.random.Generator) -> None:
    """A paper sweep: level and upright part lit unequally, without an edge between."""
    texture = paper(rng, canvas.shape, studio_colour(rng))
    _cover(canvas, texture * _bend(canvas.shape, rng)[..., None])


def _bend(shape: Shape, rng: np.random.Generator) -> Plane:
    down = (np.arange(shape[0], dtype=np.float32)[:, None] + 0.5) / shape[0]
    rise = 1 / (1 + np.exp(-(down - rng.uniform(0.45, 0.9)) / rng.uniform(0.03, 0.15)))
    bent: Plane = np.broadcast_to(2.0 ** (rng.uniform(-0.7, 0.7) * rise), shape).astype(np.float32)
    return bent


def _black_cloth(rng: np.random.Generator) -> Colour:
    return any_grey(rng, (0.012, 0.04))


def _white(rng: np.random.Generator) -> Colour:
    return any_grey(rng, (0.72, 0.92))


BACKDROPS = (
    Backdrop("paper sweep", _sweep, 5),
    Backdrop("white background", _of(paper, _white), 2),
    Backdrop("wrinkled cloth", _of(cloth, studio_colour), 3),
    Backdrop("wrinkled black cloth", _of(cloth, _black_cloth), 1.5),
    Backdrop("brick", _of(brick, brick_red), 2, wall=True),
    Backdrop("wood", _of(wood, wood_brown), 2, wall=True),
    Backdrop("foliage", _of(foliage, leaf_green), 1.5),
    Backdrop("mottled canvas", _of(canvas_cloth, studio_colour), 2),
    Backdrop("plaster", _of(plaster, studio_colour), 1.5, wall=True),
    Backdrop("tiles", _of(tiles, studio_colour), 1, wall=True),
    Backdrop("bookshelf", _bookshelf, 1.5),
    Backdrop("room", _room, 3, wall=True),
)
TABLE_TOPS: tuple[tuple[Surface, Callable[[np.random.Generator], Colour]], ...] = (
    (wood, wood_brown),
    (wood, wood_brown),
    (paper, studio_colour),
    (cloth, studio_colour),
    (plaster, studio_colour),
    (tiles, studio_colour),
)


def any_backdrop(rng: np.random.Generator) -> Backdrop:
    """Draw a kind of background."""
    weights = np.array([backdrop.often for backdrop in BACKDROPS])
    return BACKDROPS[int(rng.choice(len(BACKDROPS), p=weights / weights.sum()))]


def any_table_top(rng: np.random.Generator, shape: tuple[int, ...]) -> Texture:
    """Draw the surface of a table."""
    surface, colour = TABLE_TOPS[int(rng.integers(len(TABLE_TOPS)))]
    return surface(rng, (shape[0], shape[1]), colour(rng))


def table(canvas: Canvas, rng: np.random.Generator, far_edge: float) -> None:
    """A table in perspective whose far edge lies at row ``far_edge``; its near one below."""
    rows, columns = canvas.shape
    sides = rng.uniform(-0.1, 0.25, 2) * columns
    corners = [
        (float(sides[0]), far_edge),
        (float(columns - sides[1]), far_edge + rng.uniform(-0.02, 0.02) * rows),
        (columns * 1.3, rows * 1.05),
        (-columns * 0.3, rows * 1.05),
    ]
    top = polygon(canvas.shape, corners)
    canvas.paint(top, any_table_top(rng, top.distance.shape), 2.0 ** rng.uniform(-0.4, 0.3))
    canvas.contents.append("table")
