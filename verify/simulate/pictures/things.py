"""Things on a set besides the card. Each is painted at a place, about as high as ``size`` [px]."""

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np

from verify.simulate.pictures.canvas import Canvas, Colour, any_colour, any_grey, colour_of, grey
from verify.simulate.pictures.shapes import (
    Outline,
    Plane,
    Point,
    along_axes,
    capsule,
    ellipse,
    polygon,
    rectangle,
    tilted,
    turned,
)
from verify.simulate.pictures.surfaces import cloud

Thing = Callable[[Canvas, Point, float, np.random.Generator], None]

_METAL, _BLACK = grey(0.3), grey(0.03)


def _round_shade(outline: Outline, centre: Point, radius: float, turn_deg: float = 0.0) -> Plane:
    """Shade of an upright round body lit from the left and front, turned by ``turn_deg``."""
    across, _ = along_axes(outline.rows, outline.columns, centre, turn_deg)
    x = np.clip(across / radius, -1, 1)
    facing = np.sqrt(1 - x * x)
    shade: Plane = np.clip(0.15 + 0.75 * facing - 0.35 * x, 0.08, 1.1).astype(np.float32)
    return shade


def _shadow_under(canvas: Canvas, foot: Point, width: float) -> None:
    """The soft shadow that a thing throws on what it stands on."""
    blot = ellipse(canvas.shape, (foot[0] + 0.15 * width, foot[1]), (0.65 * width, 0.12 * width))
    canvas.darken(blot, 0.9, soft_px=0.1 * width)


def pole(canvas: Canvas, top: Point, bottom: Point, radius: float, colour: Colour) -> None:
    """A round bar from one point to another."""
    bar = capsule(canvas.shape, top, bottom, radius)
    turn = math.degrees(math.atan2(bottom[1] - top[1], bottom[0] - top[0])) - 90
    canvas.paint(bar, colour, _round_shade(bar, top, radius, turn))


def flag(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A black cloth in a frame on a stand; ``at`` is its middle."""
    width = size * rng.uniform(0.6, 1.4)
    turn = rng.uniform(-12, 12)
    pole(canvas, at, (at[0] + rng.uniform(-0.2, 0.2) * size, canvas.shape[0]), size * 0.02, _METAL)
    sheet = polygon(canvas.shape, rectangle(at, width, size, turn))
    uneven = 1 + 0.12 * cloud(rng, sheet.distance.shape, size, 3) if sheet.distance.size else 1.0
    canvas.paint(sheet, any_grey(rng, (0.018, 0.045)), uneven)
    canvas.contents.append("flag")


def white_paper(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A sheet of white paper, lying or hanging, with print on it at times."""
    _sheet(canvas, at, size, rng, any_grey(rng, (0.68, 0.9)), rng.uniform() < 0.5)
    canvas.contents.append("white paper")


def white_board(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A white board that throws light back, standing on its edge."""
    wide, high = size * rng.uniform(0.7, 1.3), size * rng.uniform(1.2, 2)
    corners = tilted(at, wide * high, wide / high, (rng.uniform(-3, 3), rng.uniform(-45, 45), 0.0))
    board = polygon(canvas.shape, corners)
    canvas.paint(board, any_grey(rng, (0.78, 0.9)), _lit_white(canvas, board))
    canvas.contents.append("white board")


def _lit_white(canvas: Canvas, outline: Outline, facing: float = 1.0) -> float:
    """Shade of something white: an eye tells it from grey by its level, so it is not dark."""
    light = canvas.light[outline.rows, outline.columns]
    return max(facing, 0.6 / float(light.mean())) if light.size else facing


def coloured_paper(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A sheet of coloured paper."""
    _sheet(canvas, at, size, rng, any_colour(rng, (0.3, 0.9), (0.15, 0.8)), False)
    canvas.contents.append("coloured paper")


def _sheet(
    canvas: Canvas, at: Point, size: float, rng: np.random.Generator, colour: Colour, printed: bool
) -> None:
    pitch = rng.uniform(50, 66) if rng.uniform() < 0.4 else rng.uniform(-20, 20)
    turns = rng.uniform(-30, 30), rng.uniform(-30, 30) if pitch < 45 else 0.0, pitch
    corners = tilted(at, size * size * 0.7, rng.uniform(0.6, 1.6), turns)
    sheet = polygon(canvas.shape, corners, beyond=size * 0.1)
    canvas.darken(polygon(canvas.shape, [(c + 0.03 * size, r + 0.04 * size) for c, r in corners],
                          beyond=size * 0.1), 0.5, soft_px=0.05 * size)  # fmt: skip
    facing = _lit_white(canvas, sheet, 2.0 ** rng.uniform(-0.5, 0.25))
    canvas.paint(sheet, colour, facing)
    if not printed:
        return
    top_left, top_right, bottom_right, bottom_left = (np.array(c) for c in corners)
    for line in np.arange(0.12, rng.uniform(0.4, 0.9), 0.055):
        left = top_left + (bottom_left - top_left) * line
        right = top_right + (bottom_right - top_right) * line
        begin, end = left + (right - left) * 0.1, left + (right - left) * rng.uniform(0.6, 0.9)
        row = capsule(canvas.shape, (begin[0], begin[1]), (end[0], end[1]), size * 0.008)
        canvas.paint(row, grey(0.15), facing)


def box(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A carton or a coloured block standing at ``at``, its front, a side and its top seen."""
    colour = any_colour(rng, (0.25, 0.85), (0.08, 0.75))
    width, depth = size * rng.uniform(0.5, 1.3), size * rng.uniform(0.2, 0.5)
    x, y = at
    skew = depth * rng.choice([-1, 1])
    rise = depth * 0.45
    _shadow_under(canvas, at, width)
    left, right, top = x - width / 2, x + width / 2, y - size
    edge = right if skew > 0 else left
    front = [(left, top), (right, top), (right, y), (left, y)]
    side = [(edge, top), (edge + skew, top - rise), (edge + skew, y - rise), (edge, y)]
    lid = [(left, top), (left + skew, top - rise), (right + skew, top - rise), (right, top)]
    for face, shade in ((lid, 1.15), (side, 0.4), (front, 0.8)):
        canvas.paint(polygon(canvas.shape, face), colour, shade)
    if rng.uniform() < 0.6:
        label = rectangle((x, y - size * 0.5), width * 0.6, size * rng.uniform(0.2, 0.4))
        canvas.paint(polygon(canvas.shape, label), any_colour(rng, (0.1, 0.8), (0.1, 0.8)), 0.8)
    canvas.contents.append("box")


def bottle(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A glass bottle with a label and a window in its glaze."""
    radius = size * rng.uniform(0.11, 0.18)
    x, y = at
    colour = any_colour(rng, (0.2, 0.9), (0.03, 0.35))
    _shadow_under(canvas, at, 2 * radius)
    neck = capsule(canvas.shape, (x, y - size), (x, y - 0.5 * size), radius * 0.32)
    canvas.paint(neck, colour, _round_shade(neck, at, radius * 0.32))
    body = polygon(canvas.shape, rectangle((x, y - 0.32 * size), 2 * radius, 0.64 * size),
                   round_px=radius * 0.6)  # fmt: skip
    canvas.paint(body, colour, _round_shade(body, at, radius))
    label = polygon(canvas.shape, rectangle((x, y - 0.28 * size), 2 * radius, 0.26 * size))
    canvas.paint(label, any_colour(rng, (0.05, 0.7), (0.2, 0.85)), _round_shade(label, at, radius))
    glint = rectangle((x - 0.45 * radius, y - 0.35 * size), 0.2 * radius, 0.45 * size)
    canvas.shine(polygon(canvas.shape, glint), rng.uniform(0.2, 0.9))
    canvas.contents.append("bottle")


def fruit(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A few round fruits beside each other."""
    for _ in range(int(rng.integers(1, 5))):
        radius = size * rng.uniform(0.25, 0.45)
        centre = at[0] + rng.uniform(-1, 1) * size, at[1] - radius
        hue = rng.choice([0.0, 0.02, 0.07, 0.1, 0.15, 0.27])
        colour = colour_of(hue + rng.uniform(-0.01, 0.01), rng.uniform(0.75, 0.95),
                           rng.uniform(0.25, 0.75))  # fmt: skip
        _shadow_under(canvas, (centre[0], at[1]), 1.6 * radius)
        _ball(canvas, centre, radius, colour)
        lit = ellipse(canvas.shape, (centre[0] - 0.35 * radius, centre[1] - 0.4 * radius),
                      (0.16 * radius, 0.12 * radius), -35)  # fmt: skip
        canvas.shine(lit, rng.uniform(0.3, 1.0), soft_px=0.08 * radius)
    canvas.contents.append("fruit")


def _ball(canvas: Canvas, centre: Point, radius: float, colour: Colour, tall: float = 1.0) -> None:
    round_ = ellipse(canvas.shape, centre, (radius, radius * tall))
    x, y = along_axes(round_.rows, round_.columns, centre, 0)
    x, y = x / radius, y / radius / tall
    z = np.sqrt(np.clip(1 - x * x - y * y, 0, 1))
    shade = np.clip(0.12 + 0.8 * (0.68 * z - 0.45 * x - 0.5 * y), 0.06, 1.15)
    canvas.paint(round_, colour, shade.astype(np.float32))


def skin(rng: np.random.Generator) -> Colour:
    """Skin from very light to very dark."""
    red = float(np.exp(rng.uniform(math.log(0.09), math.log(0.6))))
    green = red * rng.uniform(0.55, 0.72)
    return red, green, green * rng.uniform(0.6, 0.85)


def face(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """Head and shoulders of a sitter; ``at`` is the middle of the head."""
    own, hair = skin(rng), colour_of(rng.uniform(0.03, 0.1), 0.6, rng.uniform(0.02, 0.3))
    shirt = any_colour(rng, (0.0, 0.9), (0.04, 0.7))
    x, y = at
    radius = 0.32 * size
    torso = polygon(
        canvas.shape,
        [(x - 0.5 * size, y + 0.75 * size), (x + 0.5 * size, y + 0.75 * size),
         (x + 0.75 * size, y + 3 * size), (x - 0.75 * size, y + 3 * size)],
        round_px=0.15 * size,
    )  # fmt: skip
    neck = capsule(canvas.shape, (x, y), (x, y + 0.72 * size), 0.15 * size)
    canvas.paint(neck, own, 0.55)
    canvas.paint(torso, shirt, _round_shade(torso, at, 0.75 * size))
    canvas.paint(ellipse(canvas.shape, (x, y - 0.09 * size), (1.14 * radius, 0.47 * size)), hair)
    _ball(canvas, (x, y + 0.04 * size), radius, own, tall=1.25)
    for side in (-1, 1):
        eye = ellipse(canvas.shape, (x + side * 0.4 * radius, y), (0.17 * radius, 0.08 * radius))
        canvas.paint(eye, grey(0.05), soft_px=0.03 * radius)
    mouth = ellipse(canvas.shape, (x, y + 0.62 * radius), (0.3 * radius, 0.08 * radius))
    canvas.paint(mouth, (own[0] * 0.8, own[1] * 0.45, own[2] * 0.45), soft_px=0.04 * radius)
    canvas.contents.append("face")


def softbox(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """The front of a softbox, burnt out, in its black hood on a stand."""
    width, turn = size * rng.uniform(0.5, 1.5), rng.uniform(-25, 25)
    pole(canvas, at, (at[0], canvas.shape[0]), size * 0.025, _METAL)
    canvas.paint(polygon(canvas.shape, rectangle(at, width * 1.12, size * 1.12, turn)), _BLACK)
    front = polygon(canvas.shape, rectangle(at, width, size, turn))
    x, y = along_axes(front.rows, front.columns, at, turn)
    bright = rng.uniform(2, 12) * (1 - 0.5 * np.clip(np.hypot(x / width, y / size), 0, 1))
    canvas.paint(front, grey(1.0), bright.astype(np.float32), light=1.0)
    canvas.contents.append("softbox")


def picture_frame(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A framed print on the wall, with a passe-partout at times."""
    width, turn = size * rng.uniform(0.6, 1.5), rng.uniform(-2, 2)
    rim = size * rng.uniform(0.03, 0.1)
    canvas.darken(polygon(canvas.shape, rectangle((at[0] + 0.03 * size, at[1] + 0.04 * size),
                          width, size, turn)), 0.7, soft_px=0.04 * size)  # fmt: skip
    canvas.paint(polygon(canvas.shape, rectangle(at, width, size, turn)),
                 any_colour(rng, (0.2, 0.7), (0.03, 0.5)))  # fmt: skip
    if rng.uniform() < 0.5:
        mat = polygon(canvas.shape, rectangle(at, width - 2 * rim, size - 2 * rim, turn))
        canvas.paint(mat, any_grey(rng, (0.6, 0.85)))
        rim *= 2.5
    inside = polygon(canvas.shape, rectangle(at, width - 2 * rim, size - 2 * rim, turn))
    if inside.distance.size:
        one, two = (np.asarray(any_colour(rng, (0.3, 0.9), (0.05, 0.7))) for _ in range(2))
        share = np.clip(0.5 + 0.4 * cloud(rng, inside.distance.shape, size * 0.3, 4), 0, 1)
        motif = share[..., None] * one + (1 - share[..., None]) * two
        canvas.paint(inside, motif.astype(np.float32))
    canvas.contents.append("picture frame")


def cable(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A cable that winds across the set."""
    colour = any_colour(rng, (0.6, 0.95), (0.3, 0.8)) if rng.uniform() < 0.4 else _BLACK
    steps = np.linspace(0, 1, 40)
    rows, columns = canvas.shape
    across = at[0] + (steps - 0.5) * columns * rng.uniform(0.6, 1.6)
    swing = np.sin(steps * rng.uniform(4, 11) + rng.uniform(0, 6))
    down = at[1] + swing * size * 0.4 + (steps - 0.5) * rows * rng.uniform(-0.4, 0.4)
    points = list(zip(across.tolist(), down.tolist(), strict=True))
    for start, end in pairwise(points):
        canvas.paint(capsule(canvas.shape, start, end, canvas.long_px * 0.0025), colour)
    canvas.contents.append("cable")


def ball_colours(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """Toy blocks and balls in saturated colours."""
    for _ in range(int(rng.integers(3, 7))):
        colour = any_colour(rng, (0.85, 1.0), (0.3, 0.85))
        side = size * rng.uniform(0.25, 0.5)
        centre = at[0] + rng.uniform(-1.2, 1.2) * size, at[1] - side / 2
        _shadow_under(canvas, (centre[0], at[1]), side)
        if rng.uniform() < 0.5:
            _ball(canvas, centre, side / 2, colour)
        else:
            block = polygon(canvas.shape, rectangle(centre, side, side, rng.uniform(-20, 20)))
            canvas.paint(block, colour, rng.uniform(0.5, 1))
    canvas.contents.append("saturated colours")


def window(canvas: Canvas, at: Point, size: float, rng: np.random.Generator) -> None:
    """A window with bars, bright or burnt out."""
    width = size * rng.uniform(0.5, 1.3)
    bar = size * 0.03
    frame = polygon(canvas.shape, rectangle(at, width + 2 * bar, size + 2 * bar))
    canvas.paint(frame, any_grey(rng, (0.3, 0.8)))
    pane = polygon(canvas.shape, rectangle(at, width, size))
    if pane.distance.size:
        sky = 2.0 ** (0.5 * cloud(rng, pane.distance.shape, size * 0.4, 3))
        tint = (0.9, 1.0, 1.15) if rng.uniform() < 0.5 else (1.0, 1.0, 1.0)
        bright = np.asarray(tint) * sky[..., None] * rng.uniform(0.9, 9)
        canvas.paint(pane, bright.astype(np.float32), light=1.0)
    for part in (-0.5, 0.5):
        lying = turned([(-width / 2, part * size / 3), (width / 2, part * size / 3)], at, 0)
        canvas.paint(capsule(canvas.shape, lying[0], lying[1], bar / 2), grey(0.25))
    canvas.paint(capsule(canvas.shape, (at[0], at[1] - size / 2), (at[0], at[1] + size / 2),
                         bar / 2), grey(0.25))  # fmt: skip
    canvas.contents.append("window")


STANDING: tuple[Thing, ...] = (box, bottle, fruit, ball_colours)
LYING: tuple[Thing, ...] = (white_paper, coloured_paper)
ROUND_ABOUT: tuple[Thing, ...] = (
    flag, softbox, face, cable, white_paper, coloured_paper, white_board,
)  # fmt: skip
ON_WALLS: tuple[Thing, ...] = (picture_frame, window, white_paper, coloured_paper)
