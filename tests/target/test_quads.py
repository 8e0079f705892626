"""Quadrilaterals: geometry that paper and pencil gives."""

from itertools import permutations

import numpy as np
import pytest
from drawn_scenes import apart, cover, moved, standing

from verify.target.quads import (
    Quad,
    angles,
    area,
    around,
    clockwise,
    crossing,
    mask,
    overlap,
    sides,
)

pytestmark = pytest.mark.filterwarnings("error")

SQUARE = np.array([(10.0, 20.0), (50.0, 20.0), (50.0, 60.0), (10.0, 60.0)])
SEEN = [
    *(standing((60, 50), 60, 40, turn) for turn in (0, 20, 45)),
    standing((60, 50), 60, 20, 20),  # its lower left corner is the first by its angle
    standing((60, 50), 60, 40, 12, (40, 20), 200),
    standing((60, 50), 60, 40, -30, (-35, 25), 200),
]
FLOATS = 1e-4  # cells: OpenCV computes in single precision


def lines_through(quad: Quad) -> Quad:
    """The sides (a, b, c with a x + b y = c); side n leads from corner n to corner n + 1."""
    along = np.roll(quad, -1, axis=0) - quad
    normal = np.stack([along[:, 1], -along[:, 0]], 1) / np.linalg.norm(along, axis=1)[:, None]
    return np.column_stack([normal, (normal * quad).sum(1)])


@pytest.mark.parametrize("order", list(permutations(range(4))))
def test_corners_in_any_order_go_clockwise_from_the_top_left(order: tuple[int, ...]) -> None:
    assert clockwise(SQUARE[list(order)]) == pytest.approx(SQUARE)


@pytest.mark.parametrize("quad", SEEN)
def test_clockwise_of_any_view(quad: Quad) -> None:
    ordered = clockwise(quad[[2, 0, 3, 1]])
    along = np.roll(ordered, -1, axis=0) - ordered
    after = np.roll(along, -1, axis=0)
    assert (along[:, 0] * after[:, 1] - along[:, 1] * after[:, 0] > 0).all()  # y points down
    assert ordered[0].sum() == pytest.approx(quad.sum(1).min())


def test_known_sizes() -> None:
    assert area(SQUARE) == pytest.approx(1600)
    assert sides(SQUARE) == pytest.approx([40] * 4)
    kite = np.array([(0.0, 0.0), (3.0, 4.0), (3.0, 9.0), (0.0, 5.0)])  # sides of 5: 3, 4, 5
    assert sides(kite) == pytest.approx([5, 5, 5, 5])
    assert area(kite) == pytest.approx(15)  # base 5, height 3
    assert area(SQUARE[::-1]) == pytest.approx(1600)
    assert area(SQUARE[[0, 0, 1, 1]]) == 0


def test_known_angles() -> None:
    assert angles(SQUARE) == pytest.approx([90] * 4)
    high = 30 * 3**0.5
    rhombus = np.array([(0.0, 0.0), (60.0, 0.0), (90.0, high), (30.0, high)])
    assert angles(rhombus) == pytest.approx([60, 120, 60, 120])


@pytest.mark.parametrize("quad", SEEN)
def test_angles_of_four_corners_are_a_full_turn(quad: Quad) -> None:
    assert angles(clockwise(quad)).sum() == pytest.approx(360)


@pytest.mark.parametrize("quad", SEEN)
def test_the_quadrilateral_around_its_own_outline(quad: Quad) -> None:
    steps = np.linspace(0, 1, 50, endpoint=False)[:, None]
    outline = [a + steps * (b - a) for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True)]
    found = around(np.vstack(outline).astype(np.float32))
    assert found is not None
    assert apart(found, quad) < 0.2


def test_round_corners_are_made_up() -> None:
    cut = [(12, 20), (48, 20), (50, 22), (50, 58), (48, 60), (12, 60), (10, 58), (10, 22)]
    found = around(np.array(cut, np.float32))
    assert found is not None
    assert found == pytest.approx(SQUARE, abs=FLOATS)


def test_around_something_round_it_holds_it_all() -> None:
    turn = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    circle = 50 + 20 * np.stack([np.cos(turn), np.sin(turn)], 1)
    found = around(circle.astype(np.float32))
    assert found is not None
    assert 400 * np.pi < area(found) <= 1600 * 1.05  # the least is the square around it


@pytest.mark.parametrize("points", [0, 1, 2, 3])
def test_fewer_than_four_points_have_none(points: int) -> None:
    assert around(SQUARE[:points].astype(np.float32)) is None


@pytest.mark.parametrize("quad", SEEN)
def test_a_mask_holds_the_cells_whose_middles_are_inside(quad: Quad) -> None:
    inside = mask(clockwise(quad), (100, 120))
    assert inside[cover((100, 120), quad, 0.1) == 1].all()
    assert not inside[cover((100, 120), quad, 2.0) == 0].any()  # farther than a cell outside


def test_a_mask_of_whole_cells() -> None:
    inside = mask(SQUARE, (80, 60))
    assert inside[20:60, 10:50].all()
    assert not inside[[19, 61]].any()  # OpenCV counts the rim too: rows and columns to 60 and 50
    assert not inside[:, [9, 51]].any()


def test_a_mask_beyond_the_picture_is_cut() -> None:
    assert mask(SQUARE - 30, (20, 20)).tolist() == mask(SQUARE - 30, (80, 60))[:20, :20].tolist()
    assert not mask(SQUARE + 200, (20, 20)).any()


@pytest.mark.parametrize("quad", SEEN)
def test_sides_cross_in_the_corners(quad: Quad) -> None:
    corners = crossing(lines_through(quad))
    assert corners is not None
    assert corners == pytest.approx(quad)


def test_parallel_lines_do_not_cross() -> None:
    lines = lines_through(SQUARE)
    lines[1] = lines[0]
    assert crossing(lines) is None


def test_known_overlaps() -> None:
    assert overlap(SQUARE, SQUARE) == pytest.approx(1)
    assert overlap(SQUARE, moved(SQUARE, 20, 0)) == pytest.approx(0.5)
    assert overlap(SQUARE, moved(SQUARE, 20, 20)) == pytest.approx(0.25)
    assert overlap(SQUARE, SQUARE + 100) == 0
    middle = SQUARE.mean(0)
    assert overlap(middle + (SQUARE - middle) / 4, SQUARE) == pytest.approx(1)
    assert overlap(SQUARE, np.repeat(SQUARE[:1], 4, axis=0)) == 0  # of something without area
