"""Straight edges and what four of them make: the card's outline, whatever divides its face."""

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
    lower_half,
    moved,
    on_set,
    plain,
    printed,
    right_of,
    standing,
    tiles,
    wrinkled,
)

from verify.target.lines import MOST, calm_inside, quads_of_lines
from verify.target.quads import Quad, clockwise

pytestmark = pytest.mark.filterwarnings("error")

PLACE = (180.0, 120.0)
QUAD = standing(PLACE, 100, 80, 12)
NEAR = 3.0  # cells: edges are only looked at more closely when a line is a side


def nearest(picture: Picture, quad: Quad, sigma: float = 0.0) -> float:
    """How far the corners of the nearest quadrilateral are off [cell]; infinite without any."""
    found = quads_of_lines(lights(picture, sigma=sigma))
    return min((apart(q, quad) for q in found), default=np.inf)


@pytest.mark.parametrize("turn", [0, 20, 45])
@pytest.mark.parametrize("sigma", [0.0, SIGMA_3200])
def test_a_card_turned(turn: float, sigma: float) -> None:
    quad = standing(PLACE, 100, 80, turn)
    assert nearest(laid(wrinkled(), quad), quad, sigma) < NEAR


@pytest.mark.parametrize("backdrop", [0.03, 0.9])
def test_a_card_before_black_and_before_white(backdrop: float) -> None:
    assert nearest(laid(wrinkled(backdrop), QUAD), QUAD) < NEAR


def test_a_card_in_perspective() -> None:
    quad = standing(PLACE, 120, 90, 8, (40, 20), 300)
    assert nearest(laid(wrinkled(), quad), quad) < NEAR


@pytest.mark.parametrize("share", [0.02, 0.4])
def test_small_and_large(share: float) -> None:
    height = (share * 240 * 360 / 1.3) ** 0.5
    quad = standing(PLACE, 1.3 * height, height, 8)
    assert nearest(laid(wrinkled(), quad), quad) < NEAR


@pytest.mark.parametrize("stops", [-0.5, -2.0])
def test_a_shadow_across_leaves_the_outline(stops: float) -> None:
    for col in (165.0, 195.0):
        assert nearest(lit(laid(wrinkled(), QUAD), right_of(col), stops), QUAD) < NEAR


def test_a_hand_over_the_rim_and_print_leave_the_outline() -> None:
    held = laid(laid(wrinkled(), QUAD), standing((228, 140), 50, 24, 15), SKIN)
    assert nearest(held, QUAD) < NEAR
    assert nearest(printed(laid(wrinkled(), QUAD), lower_half(QUAD), 3), QUAD) < NEAR


@pytest.mark.parametrize("stops", [-3, 2])
def test_exposure_changes_nothing(stops: float) -> None:
    picture = laid(wrinkled(0.1), QUAD)
    one, other = (list(quads_of_lines(lights(picture, stops=s))) for s in (0.0, stops))
    assert one
    assert apart(one[0], other[0]) < 0.5


def test_the_surest_is_first_and_each_is_there_once() -> None:
    found = list(quads_of_lines(lights(laid(plain(), QUAD))))
    assert apart(found[0], QUAD) < NEAR
    for n, quad in enumerate(found):
        assert clockwise(quad) == pytest.approx(quad)
        assert all(np.abs(quad - other).max() > 2 for other in found[:n])


def test_however_many_lines_there_are_the_number_is_bounded() -> None:
    found = list(quads_of_lines(lights(on_set(tiles(8, 3, 7)))))
    assert 0 < len(found) <= MOST


@pytest.mark.parametrize("level", [0.0, CARD, 5.0])
def test_nothing_in_an_even_picture(level: float) -> None:
    assert not list(quads_of_lines(lights(plain(level))))


def test_nothing_in_noise_and_in_light_that_falls_off() -> None:
    assert not list(quads_of_lines(lights(plain(CARD, 120, 180), sigma=0.1)))
    slope = np.exp2(np.linspace(-1, 1, 180))[None, :, None]
    assert not list(quads_of_lines(lights(plain(CARD, 120, 180) * slope)))


def test_three_sides_are_no_quadrilateral() -> None:
    cut = [(-20.0, 70.0), (90.0, 70.0), (90.0, 150.0), (-20.0, 150.0)]
    assert not list(quads_of_lines(lights(laid(plain(), cut))))


def test_a_coloured_face_has_no_sides() -> None:
    assert nearest(laid(plain(RED), QUAD, (0.02, 0.1, 0.4)), QUAD) == np.inf


@pytest.mark.parametrize("shape", [(1, 1), (1, 2), (2, 1), (9, 5), (20, 20), (1, 480), (480, 3)])
@pytest.mark.parametrize("level", [0.0, CARD, 5.0])
def test_pictures_of_any_shape(shape: tuple[int, int], level: float) -> None:
    rows, cols = shape
    card = standing((cols / 2, rows / 2), cols / 2, rows / 2)
    for picture in (plain(level, rows, cols), laid(plain(0.4, rows, cols), card, level)):
        for quad in quads_of_lines(lights(picture)):
            assert np.isfinite(quad).all()


def calm(picture: Picture, *quads: Quad) -> list[bool]:
    """Whether each of some quadrilaterals is calm inside."""
    return [bool(c) for c in calm_inside(lights(picture), np.array([clockwise(q) for q in quads]))]


def test_an_even_grey_face_is_calm() -> None:
    beside = moved(QUAD, 0, -60)
    picture = laid(laid(plain(), QUAD), beside, RED)
    assert calm(picture, QUAD, beside) == [True, False]
    assert calm(lit(picture, right_of(180), -1), QUAD) == [True]  # one edge across it


def test_a_busy_face_is_not_calm() -> None:
    squares = (np.indices((240, 360)) // 6).sum(0) % 2
    assert calm(plain() * np.where(squares, 0.2, 1.0)[..., None], QUAD) == [False]


def test_calm_of_none_and_of_what_lies_beyond_the_picture() -> None:
    assert calm_inside(lights(plain(rows=40, cols=60)), np.empty((0, 4, 2))).tolist() == []
    assert len(calm(plain(rows=40, cols=60), QUAD, QUAD - 500)) == 2
