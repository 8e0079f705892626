"""Sides moved to the edges near them: where the edges are is known, and how much of them shows."""

import math

import numpy as np
import pytest
from drawn_scenes import (
    CARD,
    RED,
    SIGMA_3200,
    SKIN,
    Picture,
    apart,
    laid,
    lights,
    lit,
    moved,
    plain,
    right_of,
    standing,
    wrinkled,
)

from verify.target.edges import Outline, goes_on, outlined
from verify.target.quads import Quad, clockwise

pytestmark = pytest.mark.filterwarnings("error")

NEAR = 0.5  # cells: edges are looked for in steps of half a cell
NEAR_NOISY = 0.8  # cells, with noise or wrinkles beside it
STEP_NEAR = 0.25  # relative: light is averaged over some cells on each side, an edge's own too
PLACE = (180.0, 120.0)
CARD_QUAD = standing(PLACE, 100, 80, 12)
STRAIGHT_ON = standing(PLACE, 100, 80)


def found(picture: Picture, quad: Quad, reach: float = 5.0, sigma: float = 0.0) -> Outline | None:
    """What the sides of a quadrilateral become in a picture."""
    return outlined(lights(picture, sigma=sigma), clockwise(quad), reach)


@pytest.mark.parametrize("backdrop", [0.4, 0.05, 0.9])
@pytest.mark.parametrize("turn", [0, 20, 45])
def test_sides_that_are_off_move_to_the_edges(turn: float, backdrop: float) -> None:
    true = standing(PLACE, 100, 80, turn)
    rough = standing((182, 118.5), 104, 78, turn + 1)
    outline = found(laid(plain(backdrop), true), rough)
    assert outline is not None
    assert apart(outline.quad, true) < NEAR
    assert min(outline.support) > 0.97
    change = abs(math.log2(backdrop / CARD))
    assert outline.step == pytest.approx([change] * 4, rel=STEP_NEAR)


@pytest.mark.parametrize("tilt", [(40, 20), (-35, 25), (0, 45)])
def test_in_perspective(tilt: tuple[float, float]) -> None:
    true = standing(PLACE, 120, 90, 8, tilt, 300)
    outline = found(laid(plain(), true), moved(true, 1.5, -1))
    assert outline is not None
    assert apart(outline.quad, true) < NEAR_NOISY


@pytest.mark.parametrize("stops", [-3, 2])
def test_exposure_moves_no_edge(stops: float) -> None:
    picture = laid(wrinkled(level=0.1), CARD_QUAD)
    one, other = (
        outlined(lights(picture, stops=s), clockwise(CARD_QUAD + 1), 5.0) for s in (0.0, stops)
    )
    assert one is not None
    assert other is not None
    assert np.abs(one.quad - other.quad).max() < 0.1
    assert one.step == pytest.approx(other.step, abs=0.05)


def test_in_front_of_wrinkles_and_in_noise() -> None:
    picture = laid(wrinkled(), CARD_QUAD)
    for sigma in (0.0, SIGMA_3200):
        outline = found(picture, moved(CARD_QUAD, 1, -1), sigma=sigma)
        assert outline is not None
        assert apart(outline.quad, CARD_QUAD) < NEAR_NOISY
        assert min(outline.support) > 0.7


def test_sides_of_a_soft_card_are_in_the_middle_of_the_blur() -> None:
    outline = found(laid(plain(), CARD_QUAD, soft=4), moved(CARD_QUAD, 1, -1))
    assert outline is not None
    assert apart(outline.quad, CARD_QUAD) < 1


def test_an_edge_of_colour_alone() -> None:
    backdrop = plain((2 * CARD, CARD, CARD))  # as light as the card, a stop redder
    outline = found(laid(backdrop, CARD_QUAD), CARD_QUAD + 1)
    assert outline is not None
    assert apart(outline.quad, CARD_QUAD) < NEAR
    assert outline.step == pytest.approx([1] * 4, rel=STEP_NEAR)


@pytest.mark.parametrize("share", [0.25, 0.5])
def test_what_lies_over_a_side_takes_its_support(share: float) -> None:
    """Something as light as the backdrop over a part of the top side moves its edge inwards."""
    hand = standing((PLACE[0], 85), 100 * share, 60)
    outline = found(laid(laid(plain(), STRAIGHT_ON), hand, 0.4), STRAIGHT_ON)
    assert outline is not None
    assert outline.support[0] == pytest.approx(1 - share, abs=0.06)
    assert min(outline.support[1:3]) > 0.97
    assert apart(outline.quad, STRAIGHT_ON) < NEAR


def test_a_finger_over_the_rim_leaves_the_side_where_it_is() -> None:
    picture = laid(laid(plain(), CARD_QUAD), standing((228, 135), 30, 12, 20), SKIN)
    outline = found(picture, moved(CARD_QUAD, 1, 0))
    assert outline is not None
    assert apart(outline.quad, CARD_QUAD) < NEAR_NOISY


def test_the_edge_must_be_within_reach() -> None:
    picture = laid(plain(), CARD_QUAD)
    far = standing(PLACE, 116, 96, 12)  # eight cells outside
    assert found(picture, far, 3.0) is None
    near = found(picture, far, 9.0)
    assert near is not None
    assert apart(near.quad, CARD_QUAD) < NEAR


def test_a_side_without_an_edge() -> None:
    """The card goes on in something of its own level."""
    assert found(laid(laid(plain(), right_of(200), CARD), CARD_QUAD), CARD_QUAD) is None


@pytest.mark.parametrize("level", [0.0, CARD, 5.0])
def test_nothing_in_an_even_picture(level: float) -> None:
    assert found(plain(level), CARD_QUAD) is None


def test_a_weak_change_is_none() -> None:
    assert found(laid(plain(CARD * 2**0.05), CARD_QUAD), CARD_QUAD) is None


def test_noise_is_no_edge() -> None:
    assert found(plain(CARD), CARD_QUAD, sigma=0.1) is None


def test_a_quadrilateral_of_a_few_cells() -> None:
    assert found(laid(plain(), standing(PLACE, 3, 3)), standing(PLACE, 3, 3)) is None


@pytest.mark.parametrize("shape", [(1, 1), (3, 5), (20, 20), (480, 2)])
def test_sides_beyond_a_small_picture(shape: tuple[int, int]) -> None:
    rows, cols = shape
    for quad in (standing((cols / 2, rows / 2), 10, 10), standing((cols, rows), 30, 12, 20)):
        assert outlined(lights(plain(CARD, rows, cols)), clockwise(quad), 3.0) is None


def test_at_the_picture_s_rim_there_is_no_edge() -> None:
    """A card that the frame cuts has three sides."""
    cut = [(-20, 70), (60, 70), (60, 150), (-20, 150)]
    rim = np.array([(0, 70), (60, 70), (60, 150), (0, 150)], float)
    assert found(laid(plain(), cut), rim) is None


def part_of(quad: Quad, start: float, end: float) -> Quad:
    """The part of a quadrilateral between two shares of the way from its left to its right side."""
    a, b, c, d = quad
    return np.array(
        [a + start * (b - a), a + end * (b - a), d + end * (c - d), d + start * (c - d)]
    )


@pytest.mark.parametrize("share", [0.5, 0.75, 0.88])
@pytest.mark.parametrize("stops", [-1.5, -0.4])
@pytest.mark.parametrize("turn", [0, 12])
def test_a_card_goes_on_beyond_a_shadow_s_edge(turn: float, stops: float, share: float) -> None:
    quad = clockwise(standing(PLACE, 100, 80, turn))
    shadow = part_of(quad, -0.5, share)
    picture = lights(lit(laid(wrinkled(0.5), quad), shadow, stops))
    assert goes_on(picture, part_of(quad, 0, share))
    assert goes_on(picture, part_of(quad, share, 1))


@pytest.mark.parametrize("turn", [0, 12])
@pytest.mark.parametrize("backdrop", [0.03, 0.5])
def test_a_whole_card_does_not_go_on(turn: float, backdrop: float) -> None:
    quad = clockwise(standing(PLACE, 100, 80, turn))
    alone = laid(wrinkled(backdrop), quad)
    assert not goes_on(lights(alone), quad)
    assert not goes_on(lights(lit(alone, right_of(200), -1)), quad)
    red = laid(laid(wrinkled(backdrop), part_of(quad, 1, 1.4), RED), quad)
    assert not goes_on(lights(red), quad)
