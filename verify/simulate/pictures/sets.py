"""Whole sets: a backdrop, things on it, cards or none, and the light on all of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.simulate.pictures.backdrops import any_backdrop, any_table_top, table
from verify.simulate.pictures.canvas import Canvas
from verify.simulate.pictures.card import (
    REFLECTANCE,
    CardLook,
    PlacedCard,
    add_sheen,
    any_look,
    cast_shadow,
    paint_card,
)
from verify.simulate.pictures.holders import (
    Hand,
    any_hand,
    paint_arm,
    paint_clamp,
    paint_fingers,
    paint_stand,
)
from verify.simulate.pictures.light import (
    Optics,
    falloff_at,
    gel,
    set_light,
    small_cast,
    through_lens,
)
from verify.simulate.pictures.places import Place, any_places, any_view
from verify.simulate.pictures.shapes import polygon
from verify.simulate.pictures.things import LYING, ON_WALLS, ROUND_ABOUT, STANDING, Thing

Kind = Literal["card", "no-card", "two-cards", "coloured"]
KINDS: tuple[Kind, ...] = ("card", "no-card", "two-cards", "coloured")

_LEAST_CONTRAST = 0.4  # stops between the card and what lies round it, so that an eye can tell
# Where something lies on part of a card, the rest of it is off its middle: there a gradient would
# be another level than the truth states, so it is this much less.
_LESS_UNEVEN = 0.4
_UNEVEN_STOPS = 0.045  # by which the falloff's mean over a card may differ from its middle, × area


@dataclass(frozen=True, slots=True)
class SeenCard:
    """A card as a picture shows it."""

    placed: PlacedCard
    light: float  # green at its middle without shadow and sheen; 0.18 in full light
    shadow_share: float = 0.0  # of the card that a shadow touches
    sheen_share: float = 0.0  # of the card that a reflection touches


@dataclass(frozen=True, slots=True)
class Picture:
    """Light of a set through the lens, upright, and what is true about it."""

    light: NDArray[np.float32]  # (rows, columns, 3); 1 is white in the light of the card
    kind: Kind
    cards: tuple[SeenCard, ...]  # none, one or two
    contents: tuple[str, ...]  # what is in it, in words


def draw_picture(
    kind: Kind, seed: int, number: int, size: tuple[int, int], again: int = 0
) -> Picture:
    """Draw a set of its own.

    Parameters
    ----------
    kind : the same seed and number give the same set with a card as without.
    size : width and height, upright [px].
    again : another number puts the card elsewhere in the same set.
    """
    shape = (size[1], size[0])
    for_set, for_card, for_lens = np.random.default_rng([seed, number]).spawn(3)
    canvas = Canvas(set_light(for_set, shape), np.zeros((*shape, 3), np.float32))
    hold, look = _any_hold(for_card, kind), any_look(for_card)
    count = 2 if kind == "two-cards" else 1
    places = any_places(for_card, shape, look.aspect, any_view(for_card), count)
    _paint_set(canvas, places[0], for_set)
    _set_apart(canvas, places)
    if again:
        for_card = np.random.default_rng([seed, number, 0, again])
        places = _elsewhere(for_card, canvas, look, places)
    seen = []
    if kind != "no-card":
        hands = [_paint_behind(canvas, place, hold, for_card) for place in places]
        seen = [
            _paint_held(canvas, place, look, hold, hand, for_card)
            for place, hand in zip(places, hands, strict=True)
        ]
    optics = _any_optics(canvas, kind, places[0], hold, for_lens)
    light, veil = through_lens(canvas.picture, optics)
    middles = (card.placed.point(0.5, 0.5) for card in seen)
    greens = [REFLECTANCE * falloff_at(m, shape, optics.corner_stops) + veil[1] for m in middles]
    cards = tuple(replace(card, light=green) for card, green in zip(seen, greens, strict=True))
    return Picture(light, kind, cards, tuple(dict.fromkeys(canvas.contents)))


@dataclass(frozen=True, slots=True)
class _Hold:
    """What holds the card and what falls on it."""

    hand: bool
    stand: bool  # only of a standing card
    clamp: bool  # the same
    shadow: bool
    sheen: bool

    @property
    def touched(self) -> bool:
        """Whether something lies on a part of the card."""
        return self.hand or self.shadow or self.sheen


def _any_hold(rng: np.random.Generator, kind: Kind) -> _Hold:
    holder, shadow, sheen = rng.uniform(size=3)
    alone = kind != "two-cards"
    return _Hold(
        hand=alone and holder < 0.3,
        stand=holder < 0.65 and not (alone and holder < 0.3),
        clamp=alone and 0.5 < holder < 0.85,
        shadow=alone and shadow < 0.28,
        sheen=alone and sheen < 0.22,
    )


def _elsewhere(
    rng: np.random.Generator, canvas: Canvas, look: CardLook, old: Sequence[Place]
) -> tuple[Place, ...]:
    """Draw other places on a set that is painted already, where a card stands out from it."""
    for _ in range(20):
        places = any_places(rng, canvas.shape, look.aspect, old[0].view, len(old))
        if not any(_lacking(canvas, place) for place in places):
            break
    return places


def _paint_set(canvas: Canvas, place: Place, rng: np.random.Generator) -> None:
    """Paint everything that lies behind the card."""
    if place.view == "overhead":
        _paint_from_above(canvas, rng)
        return
    backdrop = any_backdrop(rng)
    backdrop.paint(canvas, rng)
    canvas.contents.append(backdrop.name)
    rows, columns = canvas.shape
    long = canvas.long_px
    for thing in _some(ON_WALLS if backdrop.wall else (), (0, 1, 1, 2), rng):
        at = rng.uniform(0.05, 0.95) * columns, rng.uniform(0.1, 0.6) * rows
        thing(canvas, at, long * rng.uniform(0.12, 0.4), rng)
    for thing in _some(ROUND_ABOUT, (0, 1, 1, 2, 3), rng):
        at = rng.uniform(0.02, 0.98) * columns, rng.uniform(0.15, 0.75) * rows
        thing(canvas, at, long * rng.uniform(0.1, 0.3), rng)
    if place.view == "standing" and rng.uniform() < 0.3:
        deviation = long * rng.uniform(0.002, 0.012)
        cv2.GaussianBlur(canvas.picture, (0, 0), deviation, dst=canvas.picture)
        canvas.contents.append("backdrop out of focus")
    if place.view == "lying" or rng.uniform() < 0.45:
        _paint_table(canvas, place, rng)


def _paint_from_above(canvas: Canvas, rng: np.random.Generator) -> None:
    """A table top that fills the picture, with things lying on it."""
    canvas.picture[:] = any_table_top(rng, canvas.shape) * canvas.light[..., None]
    canvas.contents.append("table from above")
    rows, columns = canvas.shape
    for thing in _some((*LYING, *STANDING[2:]), (1, 2, 3), rng):
        at = rng.uniform(0.05, 0.95) * columns, rng.uniform(0.1, 0.95) * rows
        thing(canvas, at, canvas.long_px * rng.uniform(0.06, 0.25), rng)


def _paint_table(canvas: Canvas, place: Place, rng: np.random.Generator) -> None:
    """A table on which the card lies or before which it stands, with things on it."""
    rows, columns = canvas.shape
    top = min(row for _, row in place.card.corners)
    lying = place.view == "lying"
    edge = float(rng.uniform(-0.1 * rows, 0.9 * top) if lying else rng.uniform(0.5, 0.85) * rows)
    table(canvas, rng, edge)
    size = canvas.long_px
    begin = max(edge, 0.0)
    for thing in _some(LYING, (0, 0, 1, 2), rng):
        at = rng.uniform(0.05, 0.95) * columns, rng.uniform(begin + 0.05 * rows, rows)
        thing(canvas, at, size * rng.uniform(0.1, 0.25), rng)
    standing = _some(STANDING, (0, 1, 2, 3), rng)
    room = (top if lying else rows) - begin
    feet = np.sort(begin + rng.uniform(0.05, 0.6, len(standing)) * max(room, 0.1 * rows))
    for thing, row in zip(standing, feet.tolist(), strict=True):
        foot = rng.uniform(0.03, 0.97) * columns, row
        thing(canvas, foot, size * rng.uniform(0.06, 0.28), rng)


def _some(things: Sequence[Thing], counts: Sequence[int], rng: np.random.Generator) -> list[Thing]:
    """Draw some of the things, as many as one of the counts says."""
    count = int(rng.choice(counts)) if things else 0
    return [things[int(rng.integers(len(things)))] for _ in range(count)]


def _set_apart(canvas: Canvas, places: Sequence[Place]) -> None:
    """Change the light on the set where a card would vanish in what lies round it."""
    for place in places:
        change = np.float32(2.0 ** _lacking(canvas, place))
        canvas.picture *= change
        canvas.light *= change


def _lacking(canvas: Canvas, place: Place) -> float:
    """Stops by which the set should be lighter or darker for a card to stand out; mostly 0."""
    side = place.card.side_px()
    ring = polygon(canvas.shape, place.card.corners, beyond=0.12 * side)
    round_it = (ring.distance > 0) & (ring.distance < 0.1 * side)
    mean = canvas.picture[ring.rows, ring.columns][round_it].mean(axis=0)
    stops = np.log2(np.maximum(mean, 1e-4) / REFLECTANCE)
    green = float(stops[1])
    if np.ptp(stops) >= 2 * _LEAST_CONTRAST or abs(green) >= _LEAST_CONTRAST:
        return 0.0
    return math.copysign(1.6 * _LEAST_CONTRAST, green) - green


def _paint_behind(
    canvas: Canvas, place: Place, hold: _Hold, rng: np.random.Generator
) -> Hand | None:
    """Paint what of the hand or the stand is behind the card; return the hand."""
    if hold.hand:
        hand = any_hand(place.card, rng)
        paint_arm(canvas, hand)
        return hand
    if hold.stand and place.view == "standing":
        paint_stand(canvas, place.card, rng)
    return None


def _paint_held(
    canvas: Canvas,
    place: Place,
    look: CardLook,
    hold: _Hold,
    hand: Hand | None,
    rng: np.random.Generator,
) -> SeenCard:
    """Paint the card, what falls on it and what holds it in front."""
    card = place.card
    if hold.touched:
        card = replace(card, gradient_stops=card.gradient_stops * _LESS_UNEVEN)
    paint_card(canvas, card, look, rng)
    shadow_share = cast_shadow(canvas, card, rng) if hold.shadow else 0.0
    most = 0.15 if hold.shadow else 0.3
    sheen_share = add_sheen(canvas, card, rng, most) if hold.sheen else 0.0
    if hand is not None:
        paint_fingers(canvas, hand, rng)
    elif hold.clamp and place.view == "standing":
        paint_clamp(canvas, card, rng)
    words = {
        f"{place.view} card": True,
        "border": look.border is not None,
        "round corners": look.round_share > 0,
        "small print": look.print_rows > 0,
        "gradient on card": card.gradient_stops > 0.05,
        "small card": place.share < 0.05,
        "large card": place.share > 0.15,
    }
    canvas.contents.extend(word for word, so in words.items() if so)
    return SeenCard(card, REFLECTANCE, shadow_share, sheen_share)


def _any_optics(
    canvas: Canvas, kind: Kind, place: Place, hold: _Hold, rng: np.random.Generator
) -> Optics:
    """Draw light balance, focus, falloff and glare."""
    cast = small_cast(rng)
    if kind == "coloured":
        cast = gel(rng)
        canvas.contents.append("gel")
    blur = float(rng.uniform(0.001, 0.006) if rng.uniform() < 0.35 else rng.uniform(0, 0.0008))
    corner = float(min(rng.uniform(0.1, 0.8), _UNEVEN_STOPS / place.share))
    corner *= rng.uniform() < 0.5
    if hold.touched:
        corner *= _LESS_UNEVEN
    glare = float(rng.uniform(0, 0.012)) if rng.uniform() < 0.5 else 0.0
    words = {"soft focus": blur > 0.001, "vignetting": corner > 0.2, "glare": glare > 0.004}
    canvas.contents.extend(word for word, so in words.items() if so)
    return Optics(cast, blur * canvas.long_px, corner, glare)
