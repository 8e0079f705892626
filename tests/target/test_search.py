"""What is flat with four sides: found by shape and evenness wherever it is, each thing once."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from drawn_scenes import (
    ALLOWED_STOPS,
    CARD,
    CARD_SIGNAL,
    COLS,
    NEUTRAL,
    RED,
    ROWS,
    SIGMA_3200,
    SKIN,
    Picture,
    apart,
    exposed,
    laid,
    lights,
    lit,
    lower_half,
    on_set,
    overview_of,
    plain,
    printed,
    right_of,
    shining,
    standing,
    wrinkled,
)

from verify.target.light import light_of
from verify.target.quads import Quad, area, overlap
from verify.target.search import Candidate, candidates, colored_light, is_neutral, looks

pytestmark = pytest.mark.filterwarnings("error")

PLACE = (180.0, 120.0)
QUAD = standing(PLACE, 100, 80, 12)
NEAR = 1.0  # cells
LEVEL = float(np.log2(CARD_SIGNAL))


def first(picture: Picture, sigma: float = 0.0, stops: float = 0.0) -> Candidate:
    """The surest candidate, which there is."""
    return candidates(lights(picture, sigma=sigma, stops=stops))[0]


def right(candidate: Candidate, quad: Quad) -> bool:
    """Whether a candidate is the card, and its face has the card's level."""
    there = apart(candidate.outline.quad, quad) < NEAR
    return there and abs(candidate.face.level - LEVEL) < ALLOWED_STOPS


@pytest.mark.parametrize("turn", [0, 10, 20, 33, 45])
def test_a_card_turned(turn: float) -> None:
    quad = standing(PLACE, 100, 80, turn)
    card = first(on_set(laid(wrinkled(), quad)))
    assert right(card, quad)
    assert card.merit > 0.9


@pytest.mark.parametrize("tilt", [(30, 0), (0, 30), (40, 20), (-35, 25)])
def test_a_card_in_perspective(tilt: tuple[float, float]) -> None:
    quad = standing(PLACE, 110, 90, 12, tilt, 400)
    assert right(first(on_set(laid(wrinkled(), quad))), quad)


@pytest.mark.parametrize("share", [0.02, 0.05, 0.2, 0.5])
def test_from_two_percent_of_the_picture_upwards(share: float) -> None:
    height = (share * 240 * 360 / 1.3) ** 0.5
    quad = standing(PLACE, 1.3 * height, height, 8)
    assert right(first(laid(wrinkled(), quad)), quad)


@pytest.mark.parametrize("place", [(62, 58), (300, 58), (62, 182), (298, 180)])
def test_anywhere_in_the_picture(place: tuple[float, float]) -> None:
    quad = standing(place, 90, 70, 12)
    assert right(first(laid(wrinkled(), quad)), quad)


@pytest.mark.parametrize("backdrop", [0.02, 0.08, 0.3, 0.9])
def test_before_any_backdrop(backdrop: float) -> None:
    assert right(first(laid(wrinkled(backdrop), QUAD)), QUAD)
    assert right(first(laid(plain(backdrop), QUAD)), QUAD)


@pytest.mark.parametrize("seed", range(2))
def test_noise_as_at_iso_3200(seed: int) -> None:
    quad = standing(PLACE, 60, 46, 20)
    assert right(first(on_set(laid(wrinkled(seed=seed), quad)), SIGMA_3200), quad)


def test_out_of_focus() -> None:
    card = first(on_set(laid(wrinkled(), QUAD, soft=5)))
    assert apart(card.outline.quad, QUAD) < 3
    assert card.face.level == pytest.approx(LEVEL, abs=ALLOWED_STOPS)


@pytest.mark.parametrize(
    "changed",
    [
        lambda p: lit(p, right_of(200), -1.5),
        lambda p: lit(p, right_of(200), -0.5, 15),
        lambda p: shining(p, (160, 105), 28, 0.12),
        lambda p: laid(p, standing((228, 140), 50, 24, 15), SKIN),
        lambda p: printed(p, lower_half(standing(PLACE, 100, 40, 12)), 1),
    ],
    ids=["shadow", "soft shadow", "sheen", "hand", "print"],
)
def test_what_falls_or_lies_on_the_card_leaves_it_there(
    changed: Callable[[Picture], Picture],
) -> None:
    picture = changed(on_set(laid(wrinkled(), QUAD)))
    assert any(right(c, QUAD) for c in candidates(lights(picture)))


@pytest.mark.parametrize("stops", [-3.0, -1.5, 1.0])
def test_exposure_changes_no_candidate(stops: float) -> None:
    picture = laid(on_set(laid(wrinkled(), QUAD)), standing((60, 190), 60, 50, -8), 0.5)
    one, other = (candidates(lights(picture, stops=s)) for s in (0.0, stops))
    assert len(one) == len(other) == 2
    for a, b in zip(one, other, strict=True):
        assert a.face.box == b.face.box
        assert apart(a.outline.quad, b.outline.quad) < 0.3
        assert a.merit == pytest.approx(b.merit, abs=0.02)


def test_each_thing_is_there_once_the_surest_first() -> None:
    places = [standing((c, 120), 70, 60, turn) for c, turn in ((70, 5), (180, -9), (290, 14))]
    picture = wrinkled()
    for quad, level in zip(places, (0.18, 0.8, 0.05), strict=True):
        picture = laid(picture, quad, level)
    found = candidates(lights(picture))
    assert len(found) == 3
    assert all(min(apart(c.outline.quad, q) for c in found) < NEAR for q in places)
    merits = [c.merit for c in found]
    assert merits == sorted(merits, reverse=True)
    assert all(0 <= m <= 1 for m in merits)


def test_a_weak_outline_has_less_merit() -> None:
    strong, weak = first(laid(plain(0.4), QUAD)), first(laid(plain(0.205), QUAD))
    assert strong.merit > weak.merit


@pytest.mark.parametrize("shape", [(1, 1), (2, 2), (9, 5), (20, 20), (1, 480), (480, 3)])
@pytest.mark.parametrize("level", [0.0, CARD, 5.0])
def test_nothing_in_pictures_of_any_shape(shape: tuple[int, int], level: float) -> None:
    light = lights(plain(level, *shape))
    assert candidates(light) == []
    assert not colored_light(light)


def test_nothing_on_an_empty_set_and_in_noise() -> None:
    assert candidates(lights(on_set(wrinkled()))) == []
    assert candidates(lights(plain(), sigma=0.1)) == []


@pytest.mark.parametrize(
    ("width", "height"),
    [(12, 10), (34, 26), (170, 20), (300, 190), (355, 235)],
    ids=["tiny", "one percent", "long", "two thirds", "all"],
)
def test_what_has_not_the_size_or_the_shape_of_a_card(width: float, height: float) -> None:
    assert candidates(lights(laid(plain(), standing(PLACE, width, height, 2)))) == []


def test_a_rhombus_is_no_card() -> None:
    leaning = [(120, 80), (200, 80), (260, 160), (180, 160)]  # angles of 53 and 127 at 45 degrees
    sharp = [(c + (r - 80) * 0.5, r) for c, r in leaning]
    assert candidates(lights(laid(plain(), sharp))) == []


def test_neutral_as_far_as_can_be_told() -> None:
    for off_stops, neutral in ((0.15, True), (0.6, False)):
        color = CARD * 2**off_stops, CARD, CARD
        signal = exposed(laid(wrinkled(), QUAD, color))
        light = light_of(overview_of(signal))
        found = [c for c in candidates(light) if apart(c.outline.quad, QUAD) < NEAR]
        assert any(is_neutral(light, c) for c in found) is neutral
        unbalanced = light_of(overview_of(signal, neutral=None))
        card = candidates(unbalanced)[0]
        assert is_neutral(unbalanced, card)  # nothing says that it is not
        mono = light_of(overview_of(signal.mean(-1)))
        assert is_neutral(mono, candidates(mono)[0])


@pytest.mark.parametrize("colors", [(0.4, 0.0), (0.0, -0.4)])
def test_a_thing_of_another_colour_is_not_neutral(colors: tuple[float, float]) -> None:
    signal = exposed(laid(plain(), QUAD))
    card = candidates(light_of(overview_of(signal)))[0]
    tinted = replace(card, face=replace(card.face, colors=colors))
    balanced, unbalanced = (light_of(overview_of(signal, neutral=n)) for n in (NEUTRAL, None))
    assert is_neutral(balanced, card)
    assert not is_neutral(balanced, tinted)
    assert is_neutral(unbalanced, tinted)
    assert is_neutral(light_of(overview_of(signal[..., 1])), tinted)


def test_how_far_off_neutral() -> None:
    card = first(laid(plain(0.4), QUAD, (CARD * 2**0.2, CARD, CARD * 2**-0.1)))
    assert card.off_neutral == pytest.approx(0.2, abs=0.01)


@pytest.mark.parametrize(
    "gel", [(1.6, 0.5, 0.4), (0.5, 0.8, 1.6), (0.4, 1.2, 0.4), (1.5, 0.4, 1.5)]
)
def test_a_gel_colours_the_light(gel: tuple[float, float, float]) -> None:
    assert colored_light(lights(on_set(laid(wrinkled(), QUAD)) * np.array(gel)))


@pytest.mark.parametrize("cast", [(0.15, 0, -0.15), (-0.15, 0, 0.15), (0.15, 0, 0.15)])
def test_light_a_little_off_the_white_balance_is_not_coloured(
    cast: tuple[float, float, float],
) -> None:
    picture = on_set(laid(wrinkled(), QUAD)) * np.exp2(np.array(cast))
    assert not colored_light(lights(picture))
    assert right(first(picture), QUAD)


def test_coloured_things_do_not_colour_the_light() -> None:
    picture = laid(plain(RED), standing(PLACE, 100, 80), 0.4)
    assert not colored_light(lights(picture))  # a tenth of the picture is neutral
    half = plain(RED)
    half[:, 180:] = (0.04, 0.3, 0.1)
    assert not colored_light(lights(laid(half, QUAD)))


def test_coloured_light_needs_colours_and_a_white_balance() -> None:
    signal = exposed(wrinkled() * np.array((1.6, 0.5, 0.4)))
    assert not colored_light(light_of(overview_of(signal, neutral=None)))
    assert not colored_light(light_of(overview_of(signal[..., 1])))
    assert colored_light(light_of(overview_of(signal, neutral=NEUTRAL)))


def test_a_clipped_picture_has_no_coloured_light() -> None:
    assert not colored_light(lights(plain((9.0, 5.0, 5.0), 40, 60)))


def test_looks_for_a_card() -> None:
    """The larger of two things of one look, and the one without print."""
    large, small = first(laid(plain(), QUAD)), first(laid(plain(), standing(PLACE, 50, 40, 12)))
    assert looks(large) - looks(small) == pytest.approx(1.0, abs=0.1)  # two doublings of area
    print_ = first(printed(laid(plain(), QUAD), lower_half(standing(PLACE, 100, 40, 12)), 2))
    assert looks(print_) < looks(large)


def chequered(side: int, dark: float, light: float) -> Picture:
    """Square tiles without joints, dark and light by turns."""
    rows, cols = np.meshgrid(np.arange(ROWS) // side, np.arange(COLS) // side, indexing="ij")
    return np.where((rows + cols)[..., None] % 2, light, dark) * np.ones(3)


@pytest.mark.parametrize(
    ("side", "turn", "dark", "light"),
    [(25, 0, 0.14, 0.25), (25, 2, 0.14, 0.25), (33, 0, 0.09, 0.3), (28, 5, 0.09, 0.3)],
)
def test_a_card_before_tiles_of_about_its_own_grey(
    side: int, turn: float, dark: float, light: float
) -> None:
    """Lines of the tiles cut it into many views of itself, which are no pattern."""
    quad = standing((182, 121), 100, 84, turn)
    found = candidates(lights(laid(chequered(side, dark, light), quad)))
    assert any(
        overlap(c.outline.quad, quad) > 0.9
        and abs(c.face.level - LEVEL) < ALLOWED_STOPS
        and area(c.outline.quad) == pytest.approx(area(quad), rel=0.1)
        for c in found
    )
