"""Quadrilaterals around even regions: the card's is among them, and there is none of nothing."""

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
    on_set,
    plain,
    right_of,
    standing,
    wrinkled,
)

from verify.target.quads import Quad, area, clockwise
from verify.target.regions import quads

pytestmark = pytest.mark.filterwarnings("error")

PLACE = (180.0, 120.0)
NEAR = 3.5  # cells: what is as steep as an edge is no part of a region


def nearest(picture: Picture, quad: Quad, sigma: float = 0.0) -> float:
    """How far the corners of the nearest quadrilateral are off [cell]; infinite without any."""
    return min((apart(q, quad) for q in quads(lights(picture, sigma=sigma))), default=np.inf)


@pytest.mark.parametrize("turn", [0, 20, 45])
@pytest.mark.parametrize("sigma", [0.0, SIGMA_3200])
def test_a_card_turned(turn: float, sigma: float) -> None:
    quad = standing(PLACE, 90, 70, turn)
    assert nearest(laid(wrinkled(), quad), quad, sigma) < NEAR


def test_a_card_in_perspective() -> None:
    quad = standing(PLACE, 120, 90, 8, (40, 20), 300)
    assert nearest(laid(wrinkled(), quad), quad) < NEAR


@pytest.mark.parametrize("share", [0.02, 0.4])
def test_small_and_large(share: float) -> None:
    height = (share * 240 * 360 / 1.3) ** 0.5
    quad = standing(PLACE, 1.3 * height, height, 8)
    assert nearest(laid(wrinkled(), quad), quad) < NEAR


@pytest.mark.parametrize("col", [170.0, 195.0])
def test_two_parts_that_a_shadow_divides_are_taken_together(col: float) -> None:
    quad = standing(PLACE, 90, 70, 12)
    picture = lit(laid(wrinkled(), quad), right_of(col), -1)
    assert nearest(picture, quad) < NEAR


def test_a_finger_over_the_rim() -> None:
    quad = standing(PLACE, 90, 70, 12)
    picture = laid(laid(wrinkled(), quad), standing((222, 135), 40, 14, 15), SKIN)
    assert nearest(picture, quad) < NEAR


def test_what_is_coloured_is_no_region() -> None:
    quad = standing(PLACE, 90, 70)
    assert nearest(laid(wrinkled(), quad, RED), quad) > 2 * NEAR
    assert nearest(laid(wrinkled(), quad, CARD), quad) < NEAR


@pytest.mark.parametrize("stops", [-3, -1.5])
def test_exposure_changes_nothing(stops: float) -> None:
    quad = standing(PLACE, 90, 70, 20)
    picture = laid(wrinkled(), quad)
    assert nearest(picture * 2.0**stops, quad) == pytest.approx(nearest(picture, quad), abs=0.5)
    assert nearest(picture, quad) < NEAR


def test_every_one_is_convex_clockwise_and_finite() -> None:
    picture = on_set(laid(wrinkled(), standing(PLACE, 90, 70, 20)))
    found = list(quads(lights(picture, sigma=SIGMA_3200)))
    assert found
    for quad in found:
        assert quad.shape == (4, 2)
        assert np.isfinite(quad).all()
        assert clockwise(quad) == pytest.approx(quad)
        assert area(quad) > 0.003 * 240 * 360


@pytest.mark.parametrize("level", [0.0, CARD, 5.0])
def test_nothing_in_an_even_picture(level: float) -> None:
    assert not list(quads(lights(plain(level))))


@pytest.mark.parametrize("shape", [(1, 1), (2, 2), (9, 5), (20, 20), (1, 480), (480, 3)])
def test_pictures_of_any_shape(shape: tuple[int, int]) -> None:
    rows, cols = shape
    for picture in (
        plain(CARD, rows, cols),
        plain(CARD, rows, cols) * np.random.default_rng(1).uniform(0, 1, (rows, cols, 1)),
        laid(plain(0.4, rows, cols), standing((cols / 2, rows / 2), cols / 2, rows / 2)),
    ):
        for quad in quads(lights(picture)):
            assert np.isfinite(quad).all()
