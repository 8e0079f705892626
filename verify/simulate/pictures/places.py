"""Where cards are put: standing or held before a set, lying on a table, seen from above."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from verify.simulate.pictures.card import PlacedCard
from verify.simulate.pictures.shapes import Point, Shape, tilted, turned

View = Literal["standing", "lying", "overhead"]

AREA_SHARES = (0.021, 0.3)  # of the frame
_TWO_CARDS_SHARE = 0.12  # of each of two at most, so that both have room
_MARGIN = 0.015  # between card and edge of the frame, as a share of the long side


@dataclass(frozen=True, slots=True)
class Place:
    """Where a card goes, and how the camera sees it."""

    card: PlacedCard
    view: View
    share: float  # of the frame's area


def any_view(rng: np.random.Generator) -> View:
    """Draw how the camera sees the set."""
    views: tuple[View, ...] = ("standing", "lying", "overhead")
    return views[int(rng.choice(3, p=[0.7, 0.2, 0.1]))]


def any_places(
    rng: np.random.Generator, shape: Shape, aspect: float, view: View, count: int = 1
) -> tuple[Place, ...]:
    """Draw places for ``count`` cards that are wholly in the picture and apart."""
    least, most = AREA_SHARES if count == 1 else (AREA_SHARES[0], _TWO_CARDS_SHARE)
    share = math.exp(rng.uniform(math.log(least), math.log(most)))
    for _ in range(400):
        places = [_any_place(rng, shape, aspect, share, view) for _ in range(count)]
        if count == 1 or not _touch(places[0].card, places[1].card):
            return tuple(places)
        share = max(share * 0.98, least)
    raise AssertionError("two cards of the least size have room beside each other")


def _any_place(
    rng: np.random.Generator, shape: Shape, aspect: float, share: float, view: View
) -> Place:
    gradient, way = rng.uniform(0, 0.15), rng.uniform(0, 360)
    pixels = shape[0] * shape[1]
    spin, yaw, pitch, roll = _turns(rng, view)
    for _ in range(60):
        corners = tilted((0.0, 0.0), share * pixels, aspect, (spin, yaw, pitch))
        relative = turned(corners, (0.0, 0.0), roll)
        at = _fitted(rng, relative, shape)
        if at is not None:
            moved = tuple((c + at[0], r + at[1]) for c, r in relative)
            return Place(PlacedCard(moved, float(gradient), float(way)), view, share)
        share *= 0.93
    raise AssertionError("a card that small goes into any picture")


def _turns(rng: np.random.Generator, view: View) -> tuple[float, float, float, float]:
    """Turns of a card: in its own plane, about its two axes, in the picture [degrees]."""
    if view == "lying":
        return float(rng.uniform(-25, 25)), 0.0, float(rng.uniform(42, 62)), 0.0
    lean = 35 if view == "standing" else 12
    yaw, pitch = rng.uniform(-lean, lean), rng.uniform(-lean, lean)
    return 0.0, float(yaw), float(pitch), float(rng.uniform(-25, 25))


def _fitted(rng: np.random.Generator, relative: list[Point], shape: Shape) -> Point | None:
    """Draw where corners about the origin go, within the frame; None where they are too large."""
    low, high = np.min(relative, axis=0), np.max(relative, axis=0)
    margin = _MARGIN * max(shape)
    room = np.array([shape[1], shape[0]]) - (high - low) - 2 * margin
    if np.any(room <= 0):
        return None
    column, row = rng.uniform(0, 1, 2) * room + margin - low
    return float(column), float(row)


def _touch(one: PlacedCard, other: PlacedCard) -> bool:
    """Whether the boxes round two cards come near each other."""
    gap = 0.15 * one.side_px()
    a, b = np.array(one.corners), np.array(other.corners)
    apart = (a.max(axis=0) + gap < b.min(axis=0)) | (b.max(axis=0) + gap < a.min(axis=0))
    return not bool(apart.any())
