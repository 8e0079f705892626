"""Sure, doubtful or none: what is said of a picture, and that no level makes a card of anything."""

from collections.abc import Callable

import numpy as np
import pytest
from drawn_scenes import (
    ALLOWED_STOPS,
    CARD,
    CARD_SIGNAL,
    RED,
    SIGMA_3200,
    Picture,
    apart,
    exposed,
    laid,
    lit,
    lower_half,
    on_set,
    overview_of,
    plain,
    printed,
    right_of,
    standing,
    tiles,
    wrinkled,
)

from verify.target.light import light_of
from verify.target.quads import Quad
from verify.target.weigh import Scales, Weighed

pytestmark = pytest.mark.filterwarnings("error")

PLACE = (180.0, 120.0)
QUAD = standing(PLACE, 100, 80, 12)
LEFT, RIGHT = standing((90, 120), 70, 60, 5), standing((270, 120), 70, 60, -7)
NEAR = 1.0  # cells
LEVEL = float(np.log2(CARD_SIGNAL))


def said(
    picture: Picture,
    expected: float | None = CARD_SIGNAL,
    stops: float = 0.0,
    sigma: float = 0.0,
    clips_at: float = 1.0,
) -> Weighed:
    """What is said of a picture."""
    overview = overview_of(exposed(picture, stops, sigma, clips_at=clips_at), clips_at=clips_at)
    return Scales(light_of(overview), clips_at, expected).weighed()


def sure_of(weighed: Weighed, quad: Quad) -> bool:
    """Whether the card is found and nothing is doubted."""
    return (
        weighed.doubts == ()
        and len(weighed.found) == 1
        and apart(weighed.found[0].outline.quad, quad) < NEAR
    )


def quiet(weighed: Weighed) -> bool:
    """Whether something would be measured without a doubt."""
    return bool(weighed.found) and not weighed.doubts


def test_a_card_on_a_set_is_sure() -> None:
    weighed = said(on_set(laid(wrinkled(), QUAD)))
    assert sure_of(weighed, QUAD)
    assert weighed.found[0].face.level == pytest.approx(LEVEL, abs=ALLOWED_STOPS)


@pytest.mark.parametrize("stops", [-3.0, 1.0])
def test_the_same_set_exposed_otherwise_gives_the_same_card(stops: float) -> None:
    picture = on_set(laid(wrinkled(), QUAD))
    box = said(picture).found[0].face.box
    otherwise = said(picture, None, stops)
    assert sure_of(otherwise, QUAD)
    assert otherwise.found[0].face.box == box
    doubted = said(picture, CARD_SIGNAL, stops)
    assert doubted.found[0].face.box == box
    assert doubted.doubts == (("unlikely-level",) if abs(stops) > 1.25 else ())


@pytest.mark.parametrize("level", [0.06, 0.09, 0.3, 0.4])
def test_a_card_of_another_grey_is_found_alike(level: float) -> None:
    weighed = said(on_set(laid(wrinkled(0.7), QUAD, level)), None)
    assert sure_of(weighed, QUAD)


@pytest.mark.parametrize("change", [-2, 2])
def test_what_is_expected_never_makes_a_card(change: float) -> None:
    """Of two unequal things it says which to offer first; of none it makes one, or takes one."""
    wanted = CARD_SIGNAL * 2.0**change
    assert said(on_set(wrinkled()), wanted).found == ()
    weighed = said(on_set(laid(laid(wrinkled(), LEFT), RIGHT, CARD * 2.0**change)), wanted)
    assert len(weighed.found) == 2
    assert "several-cards" in weighed.doubts


def test_two_equal_cards_are_both_offered() -> None:
    for sigma in (0.0, SIGMA_3200):
        weighed = said(on_set(laid(laid(wrinkled(), LEFT), RIGHT)), sigma=sigma)
        assert "several-cards" in weighed.doubts
        quads = [c.outline.quad for c in weighed.found]
        assert len(quads) == 2
        assert all(min(apart(q, true) for q in quads) < NEAR for true in (LEFT, RIGHT))


def test_white_paper_beside_the_card_is_offered_after_it() -> None:
    picture = on_set(laid(laid(wrinkled(), LEFT, 0.85), RIGHT))
    for expected in (None, CARD_SIGNAL):
        weighed = said(picture, expected)
        assert "several-cards" in weighed.doubts
        assert apart(weighed.found[0].outline.quad, RIGHT) < NEAR


def test_print_makes_it_unsure() -> None:
    text = printed(on_set(laid(wrinkled(0.1), QUAD, 0.8)), lower_half(QUAD), 3)
    weighed = said(text, None)
    assert "card-unsure" in weighed.doubts
    small = printed(on_set(laid(wrinkled(), QUAD)), lower_half(QUAD), 3)
    assert "card-unsure" in said(small).doubts


@pytest.mark.parametrize("rows", [5, 9])
def test_a_page_of_print_is_no_card(rows: int) -> None:
    assert not quiet(said(printed(on_set(laid(wrinkled(0.1), QUAD, 0.8)), QUAD, rows)))


def test_a_shadow_s_edge_is_no_print() -> None:
    weighed = said(lit(on_set(laid(wrinkled(), QUAD)), right_of(212), -1.2))
    assert weighed.found[0].face.level == pytest.approx(LEVEL, abs=ALLOWED_STOPS)
    assert "card-unsure" not in weighed.doubts


@pytest.mark.parametrize("stops", [-0.3, -1.0])
def test_a_shadow_over_most_of_the_card_is_not_measured_for_sure(stops: float) -> None:
    weighed = said(lit(on_set(laid(wrinkled(), QUAD)), right_of(155), stops))
    assert weighed.doubts or weighed.found[0].face.level == pytest.approx(LEVEL, abs=ALLOWED_STOPS)


@pytest.mark.parametrize("level", [0.85, 0.025])
def test_the_lightest_and_the_darkest_thing_may_be_white_or_black(level: float) -> None:
    """Paper or cloth alone on a grey set, whatever its level in the file."""
    for stops in (-2.0, 0.0):
        weighed = said(laid(wrinkled(0.15, 0.2), QUAD, level), None, stops)
        assert weighed.found
        assert "unlikely-level" in weighed.doubts


def test_white_paper_beside_a_lamp_may_be_white() -> None:
    """What is clipped gives light itself, and does not show that something is lighter."""
    room = laid(wrinkled(0.05, 0.2), standing((60, 60), 60, 50, 4), 8.0)
    assert "unlikely-level" in said(laid(room, QUAD, 0.85), None, -1.5).doubts


@pytest.mark.parametrize("level", [0.02, 0.025])
def test_a_card_that_is_less_sure_than_a_black_board_is_offered_too(level: float) -> None:
    held = printed(laid(on_set(laid(wrinkled(), LEFT, level)), RIGHT), lower_half(RIGHT), 3)
    weighed = said(held)
    assert weighed.doubts
    assert any(apart(c.outline.quad, RIGHT) < 2 * NEAR for c in weighed.found)


def between_flags(lit_part: float = 0.3) -> Picture:
    """A white background that lacks a lamp, so that it is as a card, between black flags."""
    picture = plain(CARD)
    for left in (0, 300):
        picture = laid(picture, [(left, -5), (left + 60, -5), (left + 60, 245), (left, 245)], 0.02)
    return laid(picture, [(-5, 190), (365, 190), (365, 245), (-5, 245)], lit_part)


CLOSED_IN = "under a beam too, and a lighter table"
MISSING_LAMP: dict[str, Callable[[], Picture]] = {
    "all over the picture": lambda: plain(CARD),
    "with light that falls off": lambda: (
        plain(CARD) * np.exp2(np.linspace(0.5, -0.5, 240))[:, None, None]
    ),
    "between flags, above a table": between_flags,
    "under a beam too, and nothing lighter": lambda: laid(
        between_flags(0.1), [(-5, -5), (365, -5), (365, 20), (-5, 20)], 0.05
    ),
    "behind a white product": lambda: laid(between_flags(), standing((180, 165), 60, 90), 0.7),
    CLOSED_IN: lambda: laid(between_flags(), [(-5, -5), (365, -5), (365, 20), (-5, 20)], 0.05),
}


@pytest.mark.parametrize("scene", MISSING_LAMP)
def test_a_white_background_without_its_lamp_is_no_sure_card(scene: str) -> None:
    assert not quiet(said(MISSING_LAMP[scene]()))


@pytest.mark.parametrize("gel", [(1.6, 0.5, 0.4), (0.5, 0.8, 1.6), (0.4, 1.2, 0.4)])
def test_under_a_gel_nothing_is_guessed(gel: tuple[float, float, float]) -> None:
    weighed = said(on_set(laid(wrinkled(), QUAD)) * np.array(gel))
    assert weighed.doubts == ("coloured-light",)


@pytest.mark.parametrize("cast", [(0.15, 0, -0.15), (-0.15, 0, 0.15)])
def test_a_small_cast_changes_nothing(cast: tuple[float, float, float]) -> None:
    assert sure_of(said(on_set(laid(wrinkled(), QUAD)) * np.exp2(np.array(cast))), QUAD)


def test_a_coloured_thing_is_no_card() -> None:
    assert said(on_set(laid(wrinkled(), QUAD, RED))) == Weighed(())


def test_a_window_is_not_offered_beside_the_card() -> None:
    picture = on_set(laid(laid(wrinkled(), LEFT, 12.0), RIGHT))
    assert sure_of(said(picture), RIGHT)
    alone = said(on_set(laid(wrinkled(), LEFT, 12.0)))
    assert not quiet(alone)


def test_clipping_below_white() -> None:
    """A sensor that clips at 0.5: a window is at 0.5, not at 1."""
    picture = on_set(laid(laid(wrinkled(), LEFT, 3.0), RIGHT))
    assert sure_of(said(picture, clips_at=0.5), RIGHT)


@pytest.mark.parametrize(
    ("across", "gap", "turn", "uneven_stops"),
    [(5, 2, 0, 0.1), (6, 2, 0, 0.1), (6, 4, 7, 0.0), (8, 8, 0, 0.1)],
)
def test_a_wall_of_tiles_is_no_sure_card(
    across: int, gap: float, turn: float, uneven_stops: float
) -> None:
    assert not quiet(said(on_set(tiles(across, gap, turn, uneven_stops))))


@pytest.mark.parametrize("level", [0.0, CARD, 5.0])
def test_nothing_in_an_even_picture(level: float) -> None:
    assert said(plain(level)) == Weighed(())


@pytest.mark.parametrize("shape", [(1, 1), (9, 5), (20, 20), (1, 480), (480, 3)])
def test_pictures_of_any_shape(shape: tuple[int, int]) -> None:
    rows, cols = shape
    card = standing((cols / 2, rows / 2), 0.5 * cols, 0.6 * rows)
    for level in (0.0, CARD, 5.0):
        assert not quiet(said(laid(plain(0.4, rows, cols), card, level), None))
        assert said(plain(level, rows, cols)) == Weighed(())
