"""Pieces that have the shape of a patch, and which of them stand side by side."""

import math
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from verify.target.patches import (
    MOST,
    Patches,
    brightest,
    groups,
    halved,
    linked,
    patches_in,
)

Mask = NDArray[np.uint8]


def drawn(outlines: list[list[tuple[float, float]]], size: tuple[int, int] = (200, 300)) -> Mask:
    """A mask of the pixels whose middles lie in convex polygons, corners (col, row) clockwise."""
    row, col = np.indices(size) + 0.5
    mask = np.zeros(size, bool)
    for outline in outlines:
        inside = np.ones(size, bool)
        for (x, y), (to_x, to_y) in pairwise([*outline, outline[0]]):
            inside &= (to_x - x) * (row - y) - (to_y - y) * (col - x) >= 0
        mask |= inside
    return mask.astype(np.uint8)


def square(col: float, row: float, side: float = 20) -> list[tuple[float, float]]:
    """Corners of an upright square."""
    return [(col, row), (col + side, row), (col + side, row + side), (col, row + side)]


def field(turn_deg: float = 0.0, flat: float = 1.0, side: float = 18.0) -> Mask:
    """Four by three squares 22 pixels apart, turned, then pressed flat."""
    turn = math.radians(turn_deg)
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    matrix = np.diag([1, flat]) @ matrix
    squares = [square(22 * c - 44, 22 * r - 33, side) for r in range(3) for c in range(4)]
    return drawn([[tuple(matrix @ p + (150, 100)) for p in s] for s in squares])


def test_place_shape_and_area_of_a_patch() -> None:
    found = patches_in(drawn([square(40, 60)]), 2.0)
    assert found.centres == pytest.approx(np.array([[100, 140]]))
    assert found.areas == pytest.approx([1600])
    assert found.spread[0] == pytest.approx(np.diag([40**2 / 12] * 2), rel=0.01)  # of whole pixels


@pytest.mark.parametrize(
    "outline",
    [
        square(40, 60, 3),  # too small
        square(40, 60, 90),  # too large
        [(10, 10), (70, 10), (70, 13), (10, 13)],  # a line
        [(10, 10), (50, 12), (12, 50)],  # a triangle
    ],
)
def test_what_has_not_the_shape_of_a_patch(outline: list[tuple[float, float]]) -> None:
    assert len(patches_in(drawn([outline]), 1.0).areas) == 0


def test_hollow_and_ragged_pieces_are_no_patches() -> None:
    ring = drawn([square(40, 60, 24)])
    ring[63:81, 43:61] = 0
    cross = drawn(
        [[(50, 20), (56, 20), (56, 60), (50, 60)], [(33, 37), (73, 37), (73, 43), (33, 43)]]
    )
    for mask in (ring, cross):
        assert len(patches_in(mask, 1.0).areas) == 0


def test_texture_is_cut_to_the_largest_pieces() -> None:
    mask = np.zeros((900, 1200), np.uint8)
    for row in range(0, 890, 12):
        for col in range(0, 1190, 12):
            mask[row : row + 8, col : col + 8] = 1
    assert len(patches_in(mask, 1.0).areas) == MOST


@pytest.mark.parametrize("turn", [0, 20, 45, 70])
@pytest.mark.parametrize("flat", [1.0, 0.6])
def test_neighbours_are_found_from_anywhere(turn: float, flat: float) -> None:
    patches = patches_in(field(turn, flat), 1.0)
    steps = linked(patches)
    assert len(patches.areas) == 12
    for start, own in enumerate(steps):
        for step in own:
            by = patches.centres[step.to] - patches.centres[start]
            assert step.by == pytest.approx(by)
    near = [step for own in steps for step in own if step.far < 4.85]
    assert len(near) == 2 * (3 * 3 + 4 * 2)  # along rows and columns, both ways
    assert [len(g) for g in groups(steps, 12, 12)] == [12]
    assert groups(steps, 13, 99) == []
    assert groups(steps, 2, 11) == []


def test_patches_of_another_size_are_no_neighbours() -> None:
    mask = drawn([square(20, 20, 20), square(42, 25, 10)])
    assert linked(patches_in(mask, 1.0)) == [[], []]


def test_no_patches_have_no_neighbours() -> None:
    nothing = patches_in(np.zeros((50, 50), np.uint8), 1.0)
    assert linked(nothing) == []
    one = Patches(np.zeros((1, 2)), np.eye(2)[None], np.ones(1))
    assert linked(one) == [[]]


def test_the_brightest_colour_and_half_the_size() -> None:
    picture = np.zeros((4, 6, 3), np.uint8)
    picture[..., 0], picture[2:, :, 2] = 10, 30
    level = brightest(picture)
    assert level.tolist() == [[10] * 6] * 2 + [[30] * 6] * 2
    assert halved(level).tolist() == [[10] * 3, [30] * 3]
