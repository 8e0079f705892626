"""The grey card: its place in perspective, its look, and the light on it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.simulate.pictures.canvas import Canvas, Colour, grey
from verify.simulate.pictures.shapes import (
    Outline,
    Plane,
    Point,
    along_axes,
    ellipse,
    middles,
    polygon,
    turned,
)

REFLECTANCE = 0.18
NEUTRAL_STOPS = 0.02  # by which a card's red and blue may depart from its green


@dataclass(frozen=True, slots=True)
class CardLook:
    """What a card is like, wherever it stands."""

    aspect: float  # width against height
    colour: Colour  # reflectance; its green is 0.18
    border: Colour | None  # of a printed border
    border_share: float  # its width, as a share of the card's short side
    round_share: float  # radius of the corners, the same
    core: Colour  # of the board's cut edge
    print_rows: int  # lines of small print along the lower edge


@dataclass(frozen=True, slots=True)
class PlacedCard:
    """A card in a picture: where it is, and the light that it should get."""

    corners: tuple[Point, ...]  # of the whole card, clockwise from its own top left [px]
    gradient_stops: float = 0.0  # light from one edge to the other; 0 at the middle
    gradient_deg: float = 0.0  # way it rises in the card's own plane: 0 to its right, 90 down

    def point(self, u: float, v: float) -> Point:
        """Where a point of the card is seen: u from 0 at its left to 1, v from its top."""
        place = _to_picture(self.corners) @ (u, v, 1.0)
        return float(place[0] / place[2]), float(place[1] / place[2])

    def side_px(self) -> float:
        """Shorter side as it is seen [px]."""
        ahead = [*self.corners[1:], self.corners[0]]
        sides = [math.dist(a, b) for a, b in zip(self.corners, ahead, strict=True)]
        return min(sides[0] + sides[2], sides[1] + sides[3]) / 2

    def samples(self, across: int = 40) -> NDArray[np.float64]:
        """Points spread evenly over the card, (across², 2) [px]."""
        steps = (np.arange(across) + 0.5) / across
        u, v = (g.ravel() for g in np.meshgrid(steps, steps))
        places = np.stack([u, v, np.ones_like(u)]).T @ _to_picture(self.corners).T
        spread: NDArray[np.float64] = places[:, :2] / places[:, 2:]
        return spread


def _to_picture(corners: Sequence[Point]) -> NDArray[np.float64]:
    unit = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(unit, np.asarray(corners, np.float32)))


def on_card(outline: Outline, corners: Sequence[Point]) -> tuple[Plane, Plane]:
    """Places of an outline's pixels on the card: u and v, 0 to 1 from its top left corner."""
    back = np.linalg.inv(_to_picture(corners))
    across, down = middles(outline.rows, outline.columns)
    w = back[2, 0] * across + back[2, 1] * down + back[2, 2]
    u = (back[0, 0] * across + back[0, 1] * down + back[0, 2]) / w
    v = (back[1, 0] * across + back[1, 1] * down + back[1, 2]) / w
    return u.astype(np.float32), v.astype(np.float32)


def any_look(rng: np.random.Generator) -> CardLook:
    """Draw a card."""
    aspect = rng.uniform(1, 1.6)
    red, blue = REFLECTANCE * 2.0 ** rng.uniform(-NEUTRAL_STOPS, NEUTRAL_STOPS, 2)
    drawn = rng.uniform()
    border = grey(0.85) if drawn < 0.15 else grey(0.035) if drawn < 0.27 else None
    return CardLook(
        aspect=float(aspect if rng.uniform() < 0.6 else 1 / aspect),
        colour=(float(red), REFLECTANCE, float(blue)),
        border=border,
        border_share=float(rng.uniform(0.012, 0.05)),
        round_share=float(rng.uniform(0.01, 0.06)) if rng.uniform() < 0.35 else 0.0,
        core=grey(float(rng.choice([0.06, 0.18, 0.55]))),
        print_rows=int(rng.integers(1, 3)) if rng.uniform() < 0.2 else 0,
    )


def paint_card(canvas: Canvas, card: PlacedCard, look: CardLook, rng: np.random.Generator) -> None:
    """Paint the card in its own light, with the shadow that it throws behind itself."""
    side = card.side_px()
    round_px = look.round_share * side
    reach = side * 0.1
    drop = rng.uniform(-0.04, 0.04) * side, rng.uniform(0.01, 0.06) * side
    behind = polygon(
        canvas.shape, [(c + drop[0], r + drop[1]) for c, r in card.corners], round_px, reach
    )
    canvas.darken(behind, rng.uniform(0.2, 0.9), soft_px=rng.uniform(0.01, 0.05) * side)
    thick = max(0.005 * side, 0.6)
    lower = [(c + 0.3 * thick, r + thick) for c, r in card.corners]
    canvas.paint(polygon(canvas.shape, lower, round_px), look.core, 0.7, light=1.0)
    whole = polygon(canvas.shape, card.corners, round_px)
    u, v = on_card(whole, card.corners)
    light = card_light(card, u, v)
    canvas.paint(whole, look.border or look.colour, 1.0, light=light)
    width = look.border_share
    if look.border is not None:
        wide, high = (
            (width, width * look.aspect) if look.aspect < 1 else (width / look.aspect, width)
        )
        inside = ((wide, high), (1 - wide, high), (1 - wide, 1 - high), (wide, 1 - high))
        _paint_grey(canvas, card, [card.point(*at) for at in inside], look.colour, rng)
    else:
        _paint_grey(canvas, card, card.corners, look.colour, rng, round_px)
    for row in range(look.print_rows):
        level = 0.955 - 0.03 * row - (width if look.border else 0)
        start, end = card.point(0.08, level), card.point(rng.uniform(0.3, 0.6), level)
        for part in np.arange(0, 1, 0.04):
            if rng.uniform() < 0.8:
                at = [start[k] + (end[k] - start[k]) * part for k in (0, 1)]
                word = ellipse(canvas.shape, (at[0], at[1]), (0.006 * side, 0.009 * side))
                canvas.paint(word, grey(0.03), light=1.0)


def _paint_grey(
    canvas: Canvas,
    card: PlacedCard,
    corners: Sequence[Point],
    colour: Colour,
    rng: np.random.Generator,
    round_px: float = 0.0,
) -> None:
    face = polygon(canvas.shape, corners, round_px)
    u, v = on_card(face, card.corners)
    grain = 1 + 0.006 * rng.standard_normal(face.distance.shape).astype(np.float32)
    canvas.paint(face, colour, grain, light=card_light(card, u, v))


def card_light(card: PlacedCard, u: Plane, v: Plane) -> Plane:
    """Light that falls on the card at (u, v), against that at its middle."""
    turn = math.radians(card.gradient_deg)
    along = (u - 0.5) * math.cos(turn) + (v - 0.5) * math.sin(turn)
    light: Plane = np.exp2(card.gradient_stops * along).astype(np.float32)
    return light


def share_of(card: PlacedCard, outline: Outline, soft_px: float = 0.0) -> float:
    """Share of the card that an outline covers, its soft edge counted as covered."""
    places = np.floor(card.samples()).astype(np.int64)
    row, column = places[:, 1] - outline.rows.start, places[:, 0] - outline.columns.start
    here = (row >= 0) & (row < outline.distance.shape[0])
    here &= (column >= 0) & (column < outline.distance.shape[1])
    distance = outline.distance[row[here], column[here]]
    return float(np.count_nonzero(distance < max(soft_px, 0))) / len(places)


def cast_shadow(canvas: Canvas, card: PlacedCard, rng: np.random.Generator) -> float:
    """Throw a shadow over part of the card; return the share of the card that it touches."""
    side = card.side_px()
    hard = rng.uniform() < 0.5
    soft_px = rng.uniform(0.0, 0.02) * side if hard else rng.uniform(0.05, 0.15) * side
    wanted = rng.uniform(0.08, 0.38)
    outline = _shadow_outline(canvas, card, rng, wanted, soft_px)
    canvas.darken(outline, rng.uniform(0.5, 2), soft_px)
    canvas.contents.append("hard shadow" if hard else "soft shadow")
    return share_of(card, outline, soft_px)


def _shadow_outline(
    canvas: Canvas, card: PlacedCard, rng: np.random.Generator, wanted: float, soft_px: float
) -> Outline:
    """A straight edge or a bar that touches about ``wanted`` of the card."""
    turn = rng.uniform(0, 360)
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    along = np.sort(card.samples() @ (cos, sin))
    far = canvas.long_px * 2.0
    if rng.uniform() < 0.65:
        begin = float(np.quantile(along, 1 - wanted)) + soft_px
        end = begin + (far if rng.uniform() < 0.6 else card.side_px() * 2.0)
    else:
        low = rng.uniform(0, 1 - wanted)
        begin, end = (float(np.quantile(along, q)) for q in (low, low + wanted))
        begin, end = begin + soft_px, end - soft_px
        end = max(end, begin + 0.02 * card.side_px())
    corners = [(begin, -far), (end, -far), (end, far), (begin, far)]
    return polygon(canvas.shape, turned(corners, (0.0, 0.0), turn))


def add_sheen(
    canvas: Canvas, card: PlacedCard, rng: np.random.Generator, most: float = 0.3
) -> float:
    """Mirror a lamp in part of the card, faded to its edge; return the share that it touches."""
    side = card.side_px()
    centre = card.point(*rng.uniform(0, 1, 2))
    wanted = rng.uniform(0.06, most)
    radius, flatness, turn = side, rng.uniform(0.4, 1), rng.uniform(0, 180)
    while share_of(card, ellipse(canvas.shape, centre, (radius, radius * flatness), turn)) > wanted:
        radius *= 0.95
    axes = radius, radius * flatness
    on_it = polygon(canvas.shape, card.corners)
    x, y = along_axes(on_it.rows, on_it.columns, centre, turn)
    fall = np.clip(1 - (x / axes[0]) ** 2 - (y / axes[1]) ** 2, 0, 1)
    peak = REFLECTANCE * (2.0 ** rng.uniform(0.2, 1) - 1)
    canvas.shine(on_it, (peak * fall * fall).astype(np.float32))
    canvas.contents.append("sheen")
    return share_of(card, ellipse(canvas.shape, centre, axes, turn))
