"""The even part of a face: its light is known, and what lies on it is left out."""

import math

import numpy as np
import pytest
from drawn_scenes import (
    ALLOWED_STOPS,
    CARD,
    CARD_SIGNAL,
    COLS,
    RED,
    SIGMA_3200,
    SKIN,
    Picture,
    cover,
    exposed,
    laid,
    lights,
    lit,
    lower_half,
    plain,
    printed,
    right_of,
    shining,
    standing,
    wrinkled,
)

from verify.target.face import Face, face_of
from verify.target.quads import Quad, clockwise, mask

pytestmark = pytest.mark.filterwarnings("error")

PLACE = (180.0, 120.0)
QUAD = standing(PLACE, 100, 80, 12)
LEVEL = math.log2(CARD_SIGNAL)
CLOSE = 0.01  # stop


def seen(picture: Picture, quad: Quad = QUAD, sigma: float = 0.0) -> Face:
    """The face in an outline, which there is."""
    face = face_of(lights(picture, sigma=sigma), clockwise(quad))
    assert face is not None
    return face


def in_box(picture: Picture, face: Face) -> float:
    """Error of what is in a face's box against a card in full light [stop]."""
    col, row, width, height = face.box
    part = exposed(picture)[row : row + height, col : col + width, 1]
    return math.log2(float(part.mean()) / CARD_SIGNAL)


def cells_of(face: Face, shape: tuple[int, ...]) -> Picture:
    """1 in the face's box."""
    col, row, width, height = face.box
    out = np.zeros(shape[:2])
    out[row : row + height, col : col + width] = 1
    return out


@pytest.mark.parametrize("turn", [0, 20, 45])
@pytest.mark.parametrize("sigma", [0.0, SIGMA_3200])
def test_a_plain_card(turn: float, sigma: float) -> None:
    quad = standing(PLACE, 100, 80, turn)
    picture = laid(wrinkled(), quad)
    face = seen(picture, quad, sigma)
    assert face.level == pytest.approx(LEVEL, abs=0.02)
    assert face.colors == pytest.approx((0, 0), abs=0.02)
    assert face.share > 0.97
    assert face.other_light < 0.03
    assert face.busy < 0.1
    assert abs(face.off_middle) < 0.005
    assert face.rough < 0.015
    box = cells_of(face, picture.shape) > 0
    assert mask(clockwise(quad), (240, 360))[box].all()
    assert np.count_nonzero(box) > 0.25 * 8000
    middle = face.box[0] + face.box[2] / 2, face.box[1] + face.box[3] / 2
    assert np.hypot(middle[0] - PLACE[0], middle[1] - PLACE[1]) < 4


def test_the_box_keeps_away_from_the_outline() -> None:
    face = seen(laid(wrinkled(), QUAD))
    inner = mask(clockwise(standing(PLACE, 94, 74, 12)), (240, 360))
    assert inner[cells_of(face, (240, 360)) > 0].all()


def test_colours_off_neutral() -> None:
    assert seen(laid(plain(), QUAD, (2 * CARD, CARD, CARD / 2))).colors == pytest.approx(
        (1, -1), abs=0.02
    )
    assert seen(laid(plain(), QUAD, RED)).colors[0] == pytest.approx(math.log2(10), abs=0.02)


@pytest.mark.parametrize("stops", [-0.2, -0.6, -2.0])
@pytest.mark.parametrize("col", [180.0, 200.0])
def test_the_lit_part_beside_a_shadow(stops: float, col: float) -> None:
    picture = lit(laid(wrinkled(), QUAD), right_of(col), stops)
    face = seen(picture)
    assert face.level == pytest.approx(LEVEL, abs=0.02)
    assert abs(in_box(picture, face)) < CLOSE
    shadowed = 0.5 - (col - PLACE[0]) / 100
    assert face.other_light == pytest.approx(shadowed, abs=0.08)
    assert face.share == pytest.approx(1 - shadowed, abs=0.08)
    assert 0.1 < face.busy < 2.5


@pytest.mark.parametrize("soft", [1.0, 8.0, 16.0])
@pytest.mark.parametrize("stops", [-0.3, -1.0])
def test_a_shadow_over_most_of_it_is_known_by_its_better_lit_part(
    soft: float, stops: float
) -> None:
    """Three quarters in shadow, however soft its edge: the rest tells, or is what is measured."""
    face = seen(lit(laid(wrinkled(), QUAD), right_of(156, 0), stops, soft))
    assert face.shaded or face.level == pytest.approx(LEVEL, abs=ALLOWED_STOPS)


@pytest.mark.parametrize("middle", [(160.0, 105.0), PLACE])
@pytest.mark.parametrize("peak", [0.05, 0.12])
def test_sheen_is_no_better_light(middle: tuple[float, float], peak: float) -> None:
    assert not seen(shining(laid(wrinkled(), QUAD), middle, 25, peak)).shaded


def test_a_bar_of_shadow_across() -> None:
    bar = [(165.0, -50.0), (180.0, -50.0), (210.0, 290.0), (195.0, 290.0)]
    picture = lit(laid(wrinkled(), QUAD), bar, -1)
    face = seen(picture)
    assert abs(in_box(picture, face)) < CLOSE
    assert face.level == pytest.approx(LEVEL, abs=0.02)


@pytest.mark.parametrize("middle", [(160.0, 105.0), PLACE])
def test_sheen_is_left_out(middle: tuple[float, float]) -> None:
    picture = shining(laid(wrinkled(), QUAD), middle, 25, 0.12)
    face = seen(picture)
    assert abs(in_box(picture, face)) < ALLOWED_STOPS
    assert face.level == pytest.approx(LEVEL, abs=ALLOWED_STOPS)


@pytest.mark.parametrize("color", [SKIN, CARD * 1.3, 0.9, 0.02])
def test_a_hand_on_the_face_is_not_measured(color: float | tuple[float, float, float]) -> None:
    hand = standing((205, 140), 60, 30, 30)
    picture = laid(laid(wrinkled(), QUAD), hand, color)
    face = seen(picture)
    assert abs(in_box(picture, face)) < CLOSE
    assert 0.6 < face.share < 0.9


def test_a_coloured_thing_of_the_card_s_level_is_no_part_of_its_face() -> None:
    thing = standing((205, 140), 60, 30, 30)
    face = seen(laid(laid(plain(), QUAD), thing, (2 * CARD, CARD, CARD)))
    assert face.share < 0.9
    assert face.other_light < 0.1
    col, row, width, height = face.box
    over = cover((240, 360), thing)[row : row + height, col : col + width]
    assert over.mean() < 0.01


@pytest.mark.parametrize("stops_across", [0.3, 0.8])
def test_light_that_falls_off_across_the_card(stops_across: float) -> None:
    across = np.exp2(stops_across * (np.arange(COLS) + 0.5 - PLACE[0]) / 100)
    picture = laid(wrinkled(), QUAD) * across[None, :, None]
    face = seen(picture)
    assert face.level == pytest.approx(LEVEL, abs=0.02)  # of its middle
    assert face.share > 0.95
    assert abs(in_box(picture, face)) < ALLOWED_STOPS
    assert abs(face.off_middle) < 0.02


def test_a_box_at_the_side_of_a_gradient_is_told_off_the_middle() -> None:
    across = np.exp2(0.4 * (np.arange(COLS) + 0.5 - PLACE[0]) / 100)
    black = standing(PLACE, 26, 120)
    face = seen(laid(laid(plain(), QUAD) * across[None, :, None], black, 0.02))
    col, _, width, _ = face.box
    expected = 0.4 * (col + width / 2 - PLACE[0]) / 100
    assert abs(expected) > 0.08
    assert face.off_middle == pytest.approx(expected, abs=0.03)


def test_print_is_busy_and_texture_is_rough() -> None:
    plain_face = seen(laid(plain(), QUAD))
    with_print = seen(printed(laid(plain(), QUAD), lower_half(QUAD), 3))
    assert with_print.busy > 2.5 > 10 * plain_face.busy
    assert with_print.share < 0.9
    cloth = np.where(laid(plain(0.0), QUAD, 1.0) > 0.5, wrinkled(CARD, 0.05, 2), plain())
    assert seen(cloth).rough > 0.012 > 3 * plain_face.rough


def test_exposure_changes_the_level_alone() -> None:
    picture = lit(laid(wrinkled(0.2), QUAD), right_of(195), -1)
    one, other = (face_of(lights(picture, stops=s), clockwise(QUAD)) for s in (0.0, -3.0))
    assert one is not None
    assert other is not None
    assert one.box == other.box
    assert one.level - other.level == pytest.approx(3, abs=0.02)
    assert (one.share, one.busy) == pytest.approx((other.share, other.busy), abs=0.02)


@pytest.mark.parametrize("level", [0.0, CARD, 5.0])
def test_an_even_picture_has_a_face_everywhere(level: float) -> None:
    face = seen(plain(level))
    assert face.share == 1
    assert (face.rough, face.busy, face.off_middle) == pytest.approx((0, 0, 0), abs=1e-3)


@pytest.mark.parametrize("side", [0.0, 1.0, 3.0, 5.0])
def test_too_small_for_a_face(side: float) -> None:
    assert face_of(lights(plain(CARD, 40, 60)), standing((30, 20), side, side)) is None


@pytest.mark.parametrize("shape", [(1, 1), (2, 9), (5, 5), (480, 2)])
def test_a_picture_too_small_for_a_face(shape: tuple[int, int]) -> None:
    rows, cols = shape
    quad = standing((cols / 2, rows / 2), 30, 20, 10)
    assert face_of(lights(plain(CARD, rows, cols)), clockwise(quad)) is None


def test_a_chequered_face_has_no_box() -> None:
    squares = (np.indices((240, 360)) // 12).sum(0) % 2
    on_it = plain(CARD) * np.where(squares, 0.1, 1.0)[..., None]
    picture = np.where(laid(plain(0.0), QUAD, 1.0) > 0.5, on_it, plain())
    assert face_of(lights(picture), clockwise(QUAD)) is None


def test_an_outline_half_outside_the_picture() -> None:
    picture = laid(plain(), standing((0, 120), 100, 80))
    face = seen(picture, standing((0, 120), 100, 80))
    col, row, width, height = face.box
    assert col >= 0
    assert col + width <= 50
    assert row >= 80
    assert row + height <= 160
    assert face.level == pytest.approx(LEVEL, abs=CLOSE)
