"""Boxes and the eight orientations, against the words of TIFF 6.0 for tag 274."""

from itertools import product

import numpy as np
import pytest

from verify.frames.geometry import Box, Size, stored_box, upright, upright_edge, upright_size

ROWS, COLS = 4, 6  # of the stored array
# Where the photosite at stored row r and column c is seen: TIFF 6.0, tag 274, "the 0th row is the
# visual top / right side ... of the image, and the 0th column the visual left / top ...".
SEEN_AT = {
    1: lambda r, c: (r, c),
    2: lambda r, c: (r, COLS - 1 - c),
    3: lambda r, c: (ROWS - 1 - r, COLS - 1 - c),
    4: lambda r, c: (ROWS - 1 - r, c),
    5: lambda r, c: (c, r),
    6: lambda r, c: (c, ROWS - 1 - r),
    7: lambda r, c: (COLS - 1 - c, ROWS - 1 - r),
    8: lambda r, c: (COLS - 1 - c, r),
}


@pytest.mark.parametrize("orientation", SEEN_AT)
def test_every_photosite_is_seen_where_the_standard_says(orientation: int) -> None:
    stored = np.arange(ROWS * COLS).reshape(ROWS, COLS)
    seen = upright(stored, orientation)
    size = upright_size(Size(COLS, ROWS), orientation)
    assert seen.shape == (size.height, size.width)
    for r, c in product(range(ROWS), range(COLS)):
        assert seen[SEEN_AT[orientation](r, c)] == stored[r, c]


@pytest.mark.parametrize("orientation", SEEN_AT)
def test_every_box_of_the_upright_picture_is_found_in_the_stored_one(orientation: int) -> None:
    stored = np.arange(ROWS * COLS).reshape(ROWS, COLS)
    seen = upright(stored, orientation)
    height, width = seen.shape
    for top, left in product(range(height), range(width)):
        for bottom, right in product(range(top + 1, height + 1), range(left + 1, width + 1)):
            box = stored_box(
                Box(left, top, right - left, bottom - top), Size(COLS, ROWS), orientation
            )
            assert box.inside(Size(COLS, ROWS))
            part = stored[box.row : box.row + box.height, box.col : box.col + box.width]
            assert np.array_equal(upright(part, orientation), seen[top:bottom, left:right])


@pytest.mark.parametrize("orientation", SEEN_AT)
def test_planes_turn_together_and_nothing_is_copied(orientation: int) -> None:
    stored = np.arange(ROWS * COLS * 3).reshape(ROWS, COLS, 3)
    seen = upright(stored, orientation)
    assert np.shares_memory(seen, stored)
    for plane in range(3):
        assert np.array_equal(seen[..., plane], upright(stored[..., plane], orientation))


@pytest.mark.parametrize(
    ("box", "inside"),
    [
        (Box(0, 0, 6, 4), True),
        (Box(5, 3, 1, 1), True),
        (Box(-1, 0, 2, 2), False),
        (Box(0, -1, 2, 2), False),
        (Box(0, 0, 7, 1), False),
        (Box(0, 0, 1, 5), False),
        (Box(5, 3, 2, 1), False),
        (Box(0, 0, 0, 1), False),
        (Box(0, 0, 1, 0), False),
        (Box(3, 2, -1, 1), False),
    ],
)
def test_a_box_is_inside_only_with_every_pixel(box: Box, inside: bool) -> None:
    assert box.inside(Size(6, 4)) is inside


def test_corners_go_round_clockwise_from_the_top_left() -> None:
    assert Box(2, 3, 10, 20).corners() == ((2, 3), (12, 3), (12, 23), (2, 23))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_stored_edges_are_where_their_rows_are_seen(orientation: int) -> None:
    rows = np.repeat(np.arange(ROWS)[:, None], COLS, axis=1)
    seen = upright(rows, orientation)
    sides = {"top": seen[0], "bottom": seen[-1], "left": seen[:, 0], "right": seen[:, -1]}
    assert (sides[upright_edge("top", orientation)] == 0).all()
    assert (sides[upright_edge("bottom", orientation)] == ROWS - 1).all()


def test_the_edges_of_a_frame_with_no_orientation_stay() -> None:
    assert (upright_edge("top", 0), upright_edge("bottom", 0)) == ("top", "bottom")
