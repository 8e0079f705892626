"""A lattice brought to the edges of its patches."""

import numpy as np
import pytest
from drawn_targets import Pose, chart, chart_colors, exposed, plain, seen, shown

from verify.target.lattice import mapped, pitch_at
from verify.target.patch_edges import fit_to_edges

MIDDLES = np.array([(c + 0.5, r + 0.5) for r in range(4) for c in range(6)])
FEWEST = 12


@pytest.mark.parametrize("tilt", [(0, 0), (30, -20)])
@pytest.mark.parametrize("by", [(0.15, -0.1), (-0.12, 0.16)])
def test_a_shifted_lattice_comes_back(by: tuple[float, float], tilt: tuple[float, float]) -> None:
    picture, truth = seen(chart(), plain(), Pose(0.45, 12, tilt))
    shift = np.array([[1, 0, by[0]], [0, 1, by[1]], [0, 0, 1]])
    found = fit_to_edges(shown(exposed(picture)), truth @ shift, 6, 4, FEWEST)
    assert found is not None
    off = np.linalg.norm(mapped(found.homography, MIDDLES) - mapped(truth, MIDDLES), axis=1)
    assert off.max() < 0.15  # pixel
    assert found.size == pytest.approx((0.87, 0.87), abs=0.02)
    assert found.residual_px < 0.15
    assert found.seen >= 18


@pytest.mark.parametrize("share", [0.75, 0.92])
def test_the_size_of_the_patches_is_seen(share: float) -> None:
    picture, truth = seen(chart(share=share), plain(), Pose(0.6, 5))
    found = fit_to_edges(shown(exposed(picture)), truth, 6, 4, FEWEST)
    assert found is not None
    assert found.size == pytest.approx((share, share), abs=0.02)


def test_a_patch_out_of_place_is_left_out() -> None:
    tile, margin = chart()
    tile[40:100, 40:60] = 0.03  # a part of the first patch covered
    picture, truth = seen((tile, margin), plain(), Pose(0.5))
    found = fit_to_edges(shown(exposed(picture)), truth, 6, 4, FEWEST)
    assert found is not None
    off = np.linalg.norm(mapped(found.homography, MIDDLES) - mapped(truth, MIDDLES), axis=1)
    assert off.max() < 0.2
    assert found.residual_px < 0.2


def test_what_has_no_gaps_is_not_fitted() -> None:
    even = shown(plain())
    homography = np.array([[50.0, 0, 200], [0, 50, 150], [0, 0, 1]])
    assert fit_to_edges(even, homography, 6, 4, FEWEST) is None
    dark = chart_colors() * 0 + np.float32(0.03)
    picture, truth = seen(chart(dark), plain(), Pose(0.45))
    assert fit_to_edges(shown(exposed(picture)), truth, 6, 4, FEWEST) is None


def test_pitch_does_not_limit_the_fit() -> None:
    for width in (0.15, 0.85):
        picture, truth = seen(chart(), plain(), Pose(width))
        found = fit_to_edges(shown(exposed(picture, soft=0.4)), truth, 6, 4, FEWEST)
        assert found is not None
        pitch = pitch_at(truth, np.array([3.0, 2]))
        off = np.linalg.norm(mapped(found.homography, MIDDLES) - mapped(truth, MIDDLES), axis=1)
        assert off.max() < 0.03 * pitch
