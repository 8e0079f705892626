"""The box that is measured of a patch."""

import math

import numpy as np
import pytest

from verify.frames.geometry import Box
from verify.target.patch_boxes import BOX_REACH, box_about, named_patch


def test_a_box_about_a_point() -> None:
    assert box_about(np.array([100.0, 60]), 20, np.diag([40.0, 40]), BOX_REACH) == Box(
        90, 50, 20, 20
    )


@pytest.mark.parametrize("turn", [0, 20, 45, 80])
@pytest.mark.parametrize("flat", [1.0, 0.5])
def test_no_corner_reaches_farther_than_it_may(turn: float, flat: float) -> None:
    a = math.radians(turn)
    sides = np.array([[math.cos(a), -flat * math.sin(a)], [math.sin(a), flat * math.cos(a)]]) * 400
    box = box_about(np.array([500.0, 500]), 300, sides, BOX_REACH)
    reached = np.abs(np.linalg.solve(sides, (np.array(box.corners()) - 500).T)).max()
    assert reached == pytest.approx(BOX_REACH, abs=0.005)  # whole pixels
    assert box.width == box.height


def test_a_box_is_at_least_a_pixel() -> None:
    assert box_about(np.array([3.2, 3.2]), 0.1, np.eye(2), BOX_REACH) == Box(3, 3, 1, 1)


def test_a_patch_carries_plain_numbers() -> None:
    patch = named_patch("step 1", Box(1, 2, 3, 4), np.arange(8.0).reshape(4, 2))
    assert patch.corners == ((0, 1), (2, 3), (4, 5), (6, 7))
    assert all(type(v) is float for corner in patch.corners for v in corner)
