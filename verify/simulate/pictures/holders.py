"""What holds a card: a hand with its arm, a clamp, a stand."""

import math
from dataclasses import dataclass

import numpy as np

from verify.simulate.pictures.canvas import Canvas, Colour, any_colour, any_grey, grey
from verify.simulate.pictures.card import PlacedCard
from verify.simulate.pictures.shapes import Plane, Point, capsule, ellipse, polygon, rectangle
from verify.simulate.pictures.things import pole, skin


@dataclass(frozen=True, slots=True)
class _Grip:
    """Where something takes hold of an edge of the card."""

    at: Point  # on the edge
    outward: Point  # unit vector away from the card
    along: Point  # unit vector along the edge


def _grip(card: PlacedCard, edge: int, share: float) -> _Grip:
    start, end = card.corners[edge], card.corners[(edge + 1) % 4]
    length = math.dist(start, end)
    along = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    at = start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share
    return _Grip(at, (along[1], -along[0]), along)


def _from(grip: _Grip, outward: float, along: float = 0.0) -> Point:
    return (
        grip.at[0] + grip.outward[0] * outward + grip.along[0] * along,
        grip.at[1] + grip.outward[1] * outward + grip.along[1] * along,
    )


@dataclass(frozen=True, slots=True)
class Hand:
    """A hand that holds the card: what is seen behind it and in front of it."""

    grip: _Grip
    width: float  # of the palm [px]
    reach: float  # of the fingers over the card [px]
    lean: float  # of the arm, per length away from the card
    fingers: int  # in front of the card: 1 is the thumb
    skin: Colour
    sleeve: Colour | None


def any_hand(card: PlacedCard, rng: np.random.Generator) -> Hand:
    """Draw a hand; it comes from the sides and from below more than from above."""
    edge = int(rng.choice(4, p=[0.1, 0.28, 0.34, 0.28]))
    share = rng.uniform(0.25, 0.75) if rng.uniform() < 0.6 else rng.choice([0.1, 0.9])
    side = card.side_px()
    thumb = rng.uniform() < 0.55
    return Hand(
        grip=_grip(card, edge, float(share)),
        width=float(rng.uniform(0.3, 0.6)) * side,
        reach=float(rng.uniform(0.1, 0.22)) * side,
        lean=float(rng.uniform(-0.6, 0.6)),
        fingers=1 if thumb else int(rng.integers(2, 5)),
        skin=skin(rng),
        sleeve=any_colour(rng, (0.0, 0.8), (0.03, 0.7)) if rng.uniform() < 0.6 else None,
    )


def paint_arm(canvas: Canvas, hand: Hand) -> None:
    """Palm, wrist and forearm, behind the card and out of the picture."""
    width, far = hand.width, canvas.long_px * 1.5
    palm, wrist = _from(hand.grip, 0.25 * width), _from(hand.grip, 1.1 * width)
    elbow = _from(hand.grip, far, hand.lean * far)
    elbow_from_wrist = math.dist(wrist, elbow)
    cuff = tuple(w + (e - w) * width / elbow_from_wrist for w, e in zip(wrist, elbow, strict=True))
    thicker = min(0.08 * far, 3 * width)  # towards the elbow
    arm = capsule(canvas.shape, wrist, elbow, 0.3 * width, 0.3 * width + thicker)
    canvas.paint(arm, hand.skin, _rounded(arm.distance, 0.4 * width))
    if hand.sleeve is not None:
        end = 0.45 * width + 1.2 * thicker
        over = capsule(canvas.shape, (cuff[0], cuff[1]), elbow, 0.42 * width, end)
        canvas.paint(over, hand.sleeve, _rounded(over.distance, 0.45 * width))
    back = capsule(canvas.shape, palm, wrist, 0.48 * width, 0.32 * width)
    canvas.paint(back, hand.skin, _rounded(back.distance, 0.4 * width))


def _rounded(distance: Plane, radius: float) -> Plane:
    """Shade of something round, darker towards its outline."""
    inside = np.clip(-distance / radius, 0, 1)
    shade: Plane = (0.4 + 0.6 * np.sqrt(1 - (1 - inside) ** 2)).astype(np.float32)
    return shade


def paint_fingers(canvas: Canvas, hand: Hand, rng: np.random.Generator) -> None:
    """Fingers over the edge of the card."""
    radius = hand.width * (0.13 if hand.fingers > 1 else 0.15)
    for number in range(hand.fingers):
        offset = (number - (hand.fingers - 1) / 2) * 2.1 * radius
        reach = hand.reach * rng.uniform(0.8, 1) - radius
        lean = rng.uniform(-0.15, 0.15) * hand.reach
        root, tip = (
            _from(hand.grip, 0.35 * hand.width, offset * 0.9),
            _from(hand.grip, -max(reach, 0.2 * radius), offset + lean),
        )
        below = (tip[0] + 0.25 * radius, tip[1] + 0.4 * radius)
        canvas.darken(capsule(canvas.shape, root, below, radius), 0.6, soft_px=0.5 * radius)
        finger = capsule(canvas.shape, root, tip, 1.1 * radius, radius)
        canvas.paint(finger, hand.skin, _rounded(finger.distance, radius))
        turn = math.degrees(math.atan2(tip[1] - root[1], tip[0] - root[0]))
        nail = ellipse(canvas.shape, tip, (0.55 * radius, 0.45 * radius), turn)
        light = tuple(min(c * 1.25 + 0.03, 0.9) for c in hand.skin)
        canvas.paint(nail, (light[0], light[1], light[2]), soft_px=0.1 * radius)
    canvas.contents.append("hand")


def paint_stand(canvas: Canvas, card: PlacedCard, rng: np.random.Generator) -> None:
    """A pole behind the card down out of the picture."""
    grip = _grip(card, 2, rng.uniform(0.35, 0.65))
    foot = grip.at[0] + rng.uniform(-0.1, 0.1) * card.side_px(), canvas.shape[0] + 10.0
    pole(canvas, _from(grip, -0.3 * card.side_px()), foot,
         rng.uniform(0.015, 0.04) * card.side_px(), any_grey(rng, (0.03, 0.45)))  # fmt: skip
    canvas.contents.append("stand")


def paint_clamp(canvas: Canvas, card: PlacedCard, rng: np.random.Generator) -> None:
    """A clamp over an edge, on an arm that leaves the picture."""
    side = card.side_px()
    grip = _grip(card, int(rng.integers(4)), rng.uniform(0.2, 0.8))
    width, reach = rng.uniform(0.08, 0.22) * side, rng.uniform(0.03, 0.09) * side
    colour = (
        any_grey(rng, (0.025, 0.4))
        if rng.uniform() < 0.65
        else any_colour(rng, (0.7, 0.95), (0.3, 0.7))
    )
    far = canvas.long_px * 1.5
    end = _from(grip, far, rng.uniform(-0.5, 0.5) * far)
    pole(canvas, _from(grip, reach), end, 0.22 * width, grey(0.12))
    turn = math.degrees(math.atan2(grip.along[1], grip.along[0]))
    jaw = rectangle(_from(grip, 0.0), width, 2 * reach, turn)
    canvas.darken(polygon(canvas.shape, [(c + 0.1 * reach, r + 0.3 * reach) for c, r in jaw],
                          beyond=reach), 0.6, soft_px=0.4 * reach)  # fmt: skip
    body = polygon(canvas.shape, jaw, round_px=0.2 * reach)
    canvas.paint(body, colour, _rounded(body.distance, reach))
    canvas.contents.append("clamp")
