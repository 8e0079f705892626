"""The place where the last frame had the card: still there or not, and where nothing shows."""

import numpy as np
import pytest
from drawn_scenes import (
    ALLOWED_STOPS,
    CARD,
    COLS,
    RED,
    ROWS,
    SIGMA_3200,
    SKIN,
    Color,
    Picture,
    cover,
    error_stops,
    exposed,
    laid,
    lit,
    moved,
    on_set,
    overview_of,
    plain,
    right_of,
    standing,
    wrinkled,
)

from verify.frames.geometry import Box
from verify.target.again import still_there
from verify.target.light import light_of
from verify.target.records import Target

pytestmark = pytest.mark.filterwarnings("error")

PLACE = (180.0, 120.0)
QUAD = standing(PLACE, 90, 70, 12)
EMPTY = on_set(wrinkled())
SET = laid(EMPTY, QUAD)
LAST = Target(Box(152, 96, 56, 48), tuple((float(c), float(r)) for c, r in QUAD), "shape")


def again(signal: Picture, last: Target = LAST, **overview: object) -> bool:
    """Whether the card is where the last frame had it."""
    seen = overview_of(signal, **overview)
    return still_there(light_of(seen), seen, last)


@pytest.mark.parametrize("stops", [-6.0, -2.0, 0.0, 1.5])
def test_the_same_set_however_exposed(stops: float) -> None:
    assert again(exposed(SET, stops))


@pytest.mark.parametrize("sigma", [0.01, SIGMA_3200])
def test_in_noise(sigma: float) -> None:
    assert again(exposed(SET, sigma=sigma, seed=5))


def test_without_colours_and_without_a_white_balance() -> None:
    assert again(exposed(SET)[..., 1])
    assert again(exposed(SET), neutral=None)


def test_with_other_things_round_it() -> None:
    assert again(exposed(laid(wrinkled(0.7, seed=4), QUAD)))
    assert again(exposed(laid(wrinkled(0.06, seed=4), QUAD)))


@pytest.mark.parametrize("shift", [(0.5, 0), (0, 1), (-0.7, 0.7)])
def test_a_nudge_is_no_move(shift: tuple[float, float]) -> None:
    assert again(exposed(laid(EMPTY, moved(QUAD, *shift))))


@pytest.mark.parametrize("shift", [(4, 0), (0, -4), (3, 3), (10, 0), (60, 20), (-100, 0)])
def test_a_card_that_was_moved(shift: tuple[float, float]) -> None:
    assert not again(exposed(laid(EMPTY, moved(QUAD, *shift))))


def test_a_card_that_was_turned_and_one_that_is_nearer() -> None:
    assert not again(exposed(laid(EMPTY, standing(PLACE, 90, 70, 18))))
    assert not again(exposed(laid(EMPTY, standing(PLACE, 100, 78, 12))))


def test_a_card_that_was_taken_away() -> None:
    assert not again(exposed(EMPTY))
    assert not again(exposed(plain()))
    assert not again(exposed(plain(), sigma=SIGMA_3200))


def test_something_coloured_in_its_place() -> None:
    assert not again(exposed(laid(EMPTY, QUAD, RED)))


@pytest.mark.parametrize("color", [SKIN, 0.4, 0.05])
def test_a_hand_over_the_box(color: Color) -> None:
    assert not again(exposed(laid(SET, standing(PLACE, 30, 26, 20), color)))


@pytest.mark.parametrize("color", [SKIN, 0.4, 0.05])
def test_a_thing_over_the_whole_box(color: Color) -> None:
    assert not again(exposed(laid(SET, standing(PLACE, 66, 56), color)))


def test_a_finger_over_the_rim_is_no_matter() -> None:
    assert again(exposed(laid(SET, standing((226, 132), 22, 12, 15), SKIN)))


@pytest.mark.parametrize(
    ("side", "color"),
    [(6, SKIN), (6, 0.02), (6, 0.9), (8, 0.9), (10, 3.0), (14, SKIN), (14, 0.9), (14, 0.02)],
)
def test_what_is_measured_with_something_small_over_the_box(side: float, color: Color) -> None:
    """It is right within 0.03 stop, or the place is not taken."""
    signal = exposed(laid(SET, standing(PLACE, side, side), color))
    assert abs(error_stops(signal, LAST)) < ALLOWED_STOPS or not again(signal)


@pytest.mark.parametrize("stops", [-0.3, -1.0])
def test_a_shadow_in_the_box(stops: float) -> None:
    assert not again(exposed(lit(SET, right_of(PLACE[0]), stops)))


@pytest.mark.parametrize("soft", [1.0, 12.0])
def test_a_shadow_over_most_of_the_face(soft: float) -> None:
    """The box lies wholly in it, and is as even as before."""
    assert not again(exposed(lit(SET, right_of(148, 0), -0.5, soft)))


def test_a_shadow_beside_the_box_is_no_matter() -> None:
    assert again(exposed(lit(SET, right_of(215, 5), -1)))


@pytest.mark.parametrize("sigma", [0.0, 0.001])
@pytest.mark.parametrize("floor", [-1.0, 0.0])
def test_a_black_frame_shows_nothing_against_it(sigma: float, floor: float) -> None:
    grain = sigma * np.random.default_rng(1).standard_normal((ROWS, COLS, 3))
    assert again(np.maximum(grain, floor))
    assert again(np.maximum(exposed(SET, -12) + grain, floor))


@pytest.mark.parametrize("clips_at", [1.0, 0.7])
def test_a_clipped_frame_shows_nothing_against_it(clips_at: float) -> None:
    signal = np.full((ROWS, COLS, 3), clips_at)
    assert again(signal, clips_at=clips_at)
    assert again(exposed(SET, 5, clips_at=clips_at), clips_at=clips_at)


def test_a_clipped_thing_beside_it_is_no_clipped_frame() -> None:
    signal = np.where(cover(SET.shape, moved(QUAD, 100, 0))[..., None] > 0, 1.0, exposed(EMPTY))
    assert not again(signal)


@pytest.mark.parametrize("stops", [0.6, 1.2, 2.0])
def test_texture_is_not_black(stops: float) -> None:
    """Fine texture, like leaves or sequins, where the card was: it shows that it is gone."""
    rng = np.random.default_rng(2)
    leaves = 0.1 * np.exp2(stops * rng.standard_normal((ROWS, COLS, 1))) * np.ones(3)
    assert not again(exposed(leaves))


@pytest.mark.parametrize(
    "corners",
    [
        ((-9.0, 50.0), (60.0, 50.0), (60.0, 110.0), (-9.0, 110.0)),
        ((340.0, 50.0), (400.0, 50.0), (400.0, 110.0), (340.0, 110.0)),
        ((361.0, 241.0), (362.0, 241.0), (362.0, 242.0), (361.0, 242.0)),
        ((900.0, 900.0), (990.0, 900.0), (990.0, 970.0), (900.0, 970.0)),
    ],
)
def test_a_place_outside_the_picture(corners: tuple[tuple[float, float], ...]) -> None:
    assert not again(exposed(SET), Target(Box(0, 0, 10, 10), corners, "shape"))


@pytest.mark.parametrize("shape", [(1, 1), (2, 1), (9, 5), (20, 20), (1, 480), (480, 3)])
@pytest.mark.parametrize("level", [CARD, 0.4])
def test_pictures_of_any_shape(shape: tuple[int, int], level: float) -> None:
    rows, cols = shape
    box = Box(0, 0, cols, rows)
    whole = Target(box, box.corners(), "shape")
    assert not again(exposed(plain(level, rows, cols)), whole)
    assert again(np.zeros((rows, cols, 3)), whole)
    assert again(np.ones((rows, cols, 3)), whole)


def test_cells_of_several_pixels_from_a_corner_of_their_own() -> None:
    """Corners are in upright pixels: an overview of cells of 8 pixels that start at (3, 5)."""
    corners = tuple((8 * c + 3, 8 * r + 5) for c, r in LAST.corners)
    box = Box(8 * LAST.box.col + 3, 8 * LAST.box.row + 5, 8 * LAST.box.width, 8 * LAST.box.height)
    far = Target(box, corners, "shape")
    assert again(exposed(SET), far, cell=8.0, corner=(3.0, 5.0))
    assert not again(exposed(SET), far, cell=8.0, corner=(43.0, 5.0))
