"""verify/scene/shift.py: by how much a picture lies beside another."""

import numpy as np
import pytest
from scene_pictures import beside, replaced, wall

from verify.scene.shift import level_of, moved, shift_between

SIZE = (128, 192)


def level(picture: np.ndarray) -> np.ndarray:
    return level_of(picture.astype(np.float32))


@pytest.mark.parametrize("by", [(0.0, 0.0), (0.4, -0.3), (1.0, 2.0), (-2.6, 1.2), (4.0, -3.5)])
def test_a_shift_is_found(by: tuple[float, float]) -> None:
    first = wall(2, SIZE)
    own = beside(first, *by)
    assert shift_between(level(first), level(own)) == pytest.approx(by, abs=0.06)


def test_other_light_is_no_shift() -> None:
    first = wall(3, SIZE)
    assert shift_between(level(first), level(0.3 * first)) == (0.0, 0.0)


def test_things_that_were_replaced_do_not_hide_it() -> None:
    first = wall(4, SIZE)
    own = beside(replaced(first, 0.3, size=8), 1.3, -0.7)
    assert shift_between(level(first), level(own)) == pytest.approx((1.3, -0.7), abs=0.2)


def test_farther_than_a_nudge_is_none() -> None:
    first = wall(5, SIZE)
    found = shift_between(level(first), level(beside(first, 30, 10)))
    assert max(map(abs, found)) <= 0.03 * 192 + 1


@pytest.mark.parametrize("by", [(1.0, 0.0), (0.0, -2.0), (3.0, 2.0)])
def test_moved_by_whole_cells(by: tuple[float, float]) -> None:
    cells = np.random.default_rng(1).uniform(0, 1, (20, 30, 3)).astype(np.float32)
    col, row = map(int, by)
    inner = moved(cells, by)[5:-5, 5:-5]
    assert inner == pytest.approx(cells[5 - row : 15 - row, 5 - col : 25 - col], abs=1e-6)


def test_cubic_convolution_keeps_a_slope() -> None:
    """Keys (1981): polynomials of second degree come out exact."""
    cells = np.add.outer(0.5 * np.arange(20.0), np.arange(30.0) ** 2).astype(np.float32)
    found = moved(cells, (0.3, -0.4))[4:-4, 4:-4]
    rows, cols = np.mgrid[4:16, 4:26]
    assert found == pytest.approx(0.5 * (rows + 0.4) + (cols - 0.3) ** 2, rel=1e-4)


def test_an_even_picture_has_none() -> None:
    flat = np.full(SIZE, 0.2)
    assert shift_between(level(flat), level(flat)) == (0.0, 0.0)
