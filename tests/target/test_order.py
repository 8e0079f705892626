"""Which of several things to offer first: what levels mean, and what no level may decide."""

import numpy as np
import pytest

from verify.target.order import order

pytestmark = pytest.mark.filterwarnings("error")

# Stops from an 18 % card: paper of 80 %, a black cloth of 3.5 %, in the same light.
CARD, WHITE, BLACK = -3.07, -3.07 + np.log2(0.8 / 0.18), -3.07 + np.log2(0.035 / 0.18)
LIGHTEST = -3.07 + np.log2(0.9 / 0.18)  # of the picture


def first(levels: list[float], expected: float | None = None, looks: list[float] | None = None,
          white: float = LIGHTEST) -> float:  # fmt: skip
    """Level of what is offered first."""
    return levels[int(order(levels, looks or [0.0] * len(levels), expected, white)[0])]


@pytest.mark.parametrize(
    "levels", [[CARD, WHITE], [WHITE, CARD], [CARD, BLACK], [BLACK, WHITE, CARD], [CARD]]
)
@pytest.mark.parametrize("expected", [None, CARD, CARD + 1, CARD - 1])
def test_the_grey_one_of_white_black_and_grey(levels: list[float], expected: float | None) -> None:
    assert first(levels, expected) == CARD


def test_white_beside_grey_is_commoner_than_black_beside_white() -> None:
    """Where the lightest parts and what is expected speak a little for the white one."""
    middle = (CARD + WHITE) / 2 + 0.1
    for levels in ([CARD, WHITE], [WHITE, CARD]):
        for expected in (None, middle):
            assert first(levels, expected, white=middle + 2) == CARD


def test_every_one_is_in_it_once() -> None:
    places = order([CARD, WHITE, BLACK, CARD], [0.0] * 4, CARD, LIGHTEST)
    assert sorted(places.tolist()) == [0, 1, 2, 3]
    assert order([], [], None, 0.0).tolist() == []
    assert order([CARD], [-np.inf], None, LIGHTEST).tolist() == [0]


@pytest.mark.parametrize("expected", [None, CARD])
@pytest.mark.parametrize("stops", [-4.0, 2.5])
def test_a_frame_exposed_otherwise_is_ordered_alike(expected: float | None, stops: float) -> None:
    levels, looks = [WHITE, CARD, BLACK, CARD + 0.4], [0.3, -0.1, 0.0, 0.2]
    moved = None if expected is None else expected + stops
    one = order(levels, looks, expected, LIGHTEST)
    other = order([level + stops for level in levels], looks, moved, LIGHTEST + stops)
    assert one.tolist() == other.tolist()


def test_of_things_of_one_level_the_better_looking_is_first() -> None:
    assert order([CARD] * 3, [-1.0, 0.5, 0.0], CARD, LIGHTEST).tolist() == [1, 2, 0]
    assert order([CARD] * 3, [0.0] * 3, CARD, LIGHTEST).tolist() == [0, 1, 2]  # as they came


def test_looks_can_outweigh_a_level() -> None:
    assert first([CARD, WHITE], CARD, [0.0, 20.0]) == WHITE


def test_what_is_expected_tells_two_greys_apart() -> None:
    """Of two greys a stop apart the one that is as expected, with no more light to go by."""
    levels = [CARD, CARD + 1]
    white = CARD + 0.5 + 2
    assert first(levels, CARD - 0.3, white=white) == CARD
    assert first(levels, CARD + 1.3, white=white) == CARD + 1


def test_finite_for_levels_at_black() -> None:
    """Log2 of the least signal that there is: 2e-4."""
    places = order([-12.3, CARD], [-20.0, 0.0], CARD, -12.3)
    assert sorted(places.tolist()) == [0, 1]
