"""The published colours, and what agrees with them."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from verify.target.chart_colors import (
    GAMMA,
    NEUTRALS,
    PUBLISHED,
    UNLIKE,
    hues_in_order,
    neutral_and_falling,
    unlikeness,
)

Colors = NDArray[np.float64]

# check-values 5: luminous reflectances of the neutrals, set of 2005.
NEUTRALS_2005 = [0.9131, 0.5894, 0.3632, 0.1915, 0.0883, 0.0311]
PRINTED = 6e-5  # four digits
LAB_NEAR = 0.6  # of L*, a*, b*: chromaticities with four digits


def codes(light: Colors) -> Colors:
    """Gamma-encoded codes of linear light."""
    return 255 * np.clip(light, 0, 1) ** (1 / GAMMA)


def as_camera(matrix: Colors) -> Colors:
    """The published patches as a camera with this matrix sees them, half a stop below white."""
    light = np.maximum(PUBLISHED @ matrix, 0)
    return codes(0.7 * light / light[0:24].max())


PLAIN = np.array([[3.1, -0.9, 0.1], [-1.6, 1.9, -0.2], [-0.5, 0.0, 1.4]])  # near sRGB's
PALE = PLAIN @ np.array([[0.7, 0.2, 0.1], [0.2, 0.6, 0.2], [0.1, 0.2, 0.7]])
WARM = PLAIN * np.array([1.6, 1.0, 0.4])


def test_the_published_neutrals() -> None:
    assert PUBLISHED[list(NEUTRALS), 1] == pytest.approx(NEUTRALS_2005, abs=PRINTED)


def test_the_published_colours_are_those_of_another_table() -> None:
    """OpenCV's own table of the chart: the set of 2005 in Lab, rendered to sRGB codes."""
    detector = cv2.mcc.CCheckerDetector.create()
    detector.setColorChartType(cv2.mcc.MCC24)
    theirs = np.asarray(detector.getRefColors(), np.uint8)[:, 0, ::-1].astype(float)
    assert unlikeness(theirs) < 0.02  # they are cut to whole codes and to sRGB's gamut
    assert neutral_and_falling(theirs)
    assert hues_in_order(theirs)


@pytest.mark.parametrize("matrix", [PLAIN, PALE, WARM])
@pytest.mark.parametrize("stops", [0, -3, -6])
def test_any_camera_and_exposure_agrees(matrix: Colors, stops: float) -> None:
    colors = as_camera(matrix) * 2 ** (stops / GAMMA)
    assert unlikeness(colors) < 0.01
    assert neutral_and_falling(colors)
    assert hues_in_order(colors)


def test_clipped_patches_say_nothing() -> None:
    over = np.minimum(as_camera(PLAIN) * 2 ** (1 / GAMMA), 255)
    assert (over == 255).any()
    assert unlikeness(over) < 0.01
    assert unlikeness(np.full((24, 3), 255.0)) == np.inf


def test_two_wrong_patches_do_not_matter_many_do() -> None:
    colors = as_camera(PLAIN)
    colors[[3, 9]] = 200, 150, 120
    assert unlikeness(colors) < UNLIKE
    colors[:9] = 200, 150, 120
    assert unlikeness(colors) > UNLIKE


@pytest.mark.parametrize("seed", range(5))
def test_any_other_colours_are_unlike(seed: int) -> None:
    rng = np.random.default_rng(seed)
    assert unlikeness(codes(rng.uniform(0.02, 0.9, (24, 3)))) > 1.5 * UNLIKE
    assert unlikeness(as_camera(PLAIN)[rng.permutation(24)]) > 1.5 * UNLIKE


def test_greys_and_turned_colours_have_other_hues() -> None:
    colors = as_camera(PLAIN)
    assert not hues_in_order(colors[:, [2, 1, 0]])
    assert not hues_in_order(colors[:, [1, 2, 0]])
    assert not hues_in_order(np.repeat(colors.mean(1, keepdims=True), 3, 1))


def test_neutrals_must_be_neutral_and_fall() -> None:
    colors = as_camera(PLAIN)
    exchanged = colors.copy()
    exchanged[[19, 20]] = exchanged[[20, 19]]
    assert not neutral_and_falling(exchanged)
    tinted = colors.copy()
    tinted[20, 0] *= 1.25
    assert not neutral_and_falling(tinted)
    flat = colors.copy()
    flat[18:] = flat[20]
    assert not neutral_and_falling(flat)
    clipped = colors.copy()
    clipped[18:20] = 255
    assert neutral_and_falling(clipped)
    assert not neutral_and_falling(np.full((24, 3), 255.0))
