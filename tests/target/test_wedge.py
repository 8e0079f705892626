"""The step wedge: found where one is; nothing that looks only a little like one is taken for it."""

import math
from collections.abc import Callable

import cv2
import numpy as np
import pytest
from drawn_targets import (
    Picture,
    Pose,
    chart,
    cloth,
    exposed,
    flat,
    in_stops,
    plain,
    scattered,
    seen,
    shelf,
    wall,
    wedge,
)
from numpy.typing import NDArray

from verify.target.lattice import inverse, mapped
from verify.target.wedge import Wedge, find_wedge, wedge_patches

HEIGHT = 1.5  # of a drawn patch against its width
NEAR = 0.06  # of a pitch; a box leaves 0.17 to the border
CORNER_NEAR = 2.0  # cells
DENSITY = math.log2(10)  # stops (check-values 5)
STEP_NEAR = 0.06  # relative: smoothing and light that falls off change a step a little


def found_in(
    tile: tuple[Picture, float], pose: Pose, backdrop: Picture | None = None, noise: float = 0.002
) -> tuple[Wedge | None, NDArray[np.float64]]:
    """The wedge in a picture of one, and from its lattice to the picture."""
    on = plain(level=0.1) if backdrop is None else backdrop
    picture, truth = seen(tile, on, pose, HEIGHT)
    return find_wedge(in_stops(exposed(picture, noise=noise))), truth


def off_pitches(found: Wedge, truth: NDArray[np.float64]) -> float:
    """How far the worst patch is from where it was drawn, in pitches."""
    middles = np.array([(n + 0.5, 0.5) for n in range(len(found.levels))])
    off = mapped(found.homography, middles) - mapped(truth, middles)
    pitch = np.linalg.norm(np.diff(mapped(truth, middles), axis=0), axis=1).min()
    return float(np.linalg.norm(off, axis=1).max() / pitch)


@pytest.mark.parametrize("turn", [0, 90, 180, 270, 20, 140])
def test_a_wedge_is_found_at_any_turn(turn: float) -> None:
    found, truth = found_in(wedge(10, 0.15), Pose(0.55, turn))
    assert found is not None
    assert len(found.levels) == 10
    assert off_pitches(found, truth) < NEAR


@pytest.mark.parametrize(
    ("count", "step"), [(5, 0.30), (6, 0.20), (12, 0.15), (15, 0.10), (16, 0.05)]
)
def test_wedges_of_the_common_steps_are_found(count: int, step: float) -> None:
    found, truth = found_in(wedge(count, step), Pose(0.7, 5, (10, -15)), plain(500, 750, 0.1))
    assert found is not None
    assert len(found.levels) == count
    assert off_pitches(found, truth) < NEAR
    assert found.step_stops == pytest.approx(step * DENSITY, rel=STEP_NEAR)
    assert (np.diff(found.levels) < 0).all()


@pytest.mark.parametrize("backdrop", [cloth, scattered, shelf])
def test_a_wedge_is_found_before_any_backdrop(backdrop: Callable[[int], Picture]) -> None:
    found, truth = found_in(wedge(9, 0.2), Pose(0.5, 12, (15, 10)), backdrop(1))
    assert found is not None
    assert off_pitches(found, truth) < NEAR


@pytest.mark.parametrize("frame", [0.02, 0.5, 0.9])
def test_what_a_wedge_lies_on_does_not_matter(frame: float) -> None:
    found, truth = found_in(wedge(8, 0.2, frame=frame), Pose(0.5, 30))
    assert found is not None
    middles = np.array([(n + 0.5, 0.5) for n in range(len(found.levels))])
    places = mapped(inverse(truth), mapped(found.homography, middles))
    first = round(places[0, 0] - 0.5)  # one that is as light as what is around may be lost
    assert len(middles) >= 7
    assert np.abs(places[:, 0] - middles[:, 0] - first).max() < NEAR


def test_stray_light_does_not_hide_a_wedge() -> None:
    tile, margin = wedge(9, 0.15)
    found, truth = found_in((tile + np.float32(0.01), margin), Pose(0.5, 5))
    assert found is not None
    assert off_pitches(found, truth) < NEAR


def test_corners_and_boxes_of_a_wedge() -> None:
    found, truth = found_in(wedge(8, 0.2), Pose(0.5, 200, (15, 20)))
    assert found is not None
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    drawn = mapped(truth, square + [[[n, 0]] for n in range(8)])
    assert np.abs(found.corners - drawn).max() < CORNER_NEAR
    cell, corner = 8.0, (5.0, -3.0)
    patches = wedge_patches(found, cell, corner)
    assert [p.name for p in patches] == [f"step {n}" for n in range(1, 9)]
    for patch, own in zip(patches, drawn, strict=True):
        outline = (own * cell + corner).astype(np.float32).reshape(-1, 1, 2)
        nearest = min(cv2.pointPolygonTest(outline, c, True) for c in patch.box.corners())
        side = math.sqrt(cv2.contourArea(outline) / HEIGHT)
        assert nearest > 0.08 * side
        assert 0.3 * side < patch.box.width < 0.6 * side


def row(levels: list[float], colors: Picture | None = None, share: float = 1.0) -> Picture:
    """A row of patches of given levels [stop] in the middle of a picture."""
    greys = np.repeat(np.exp2(np.array(levels, np.float32))[:, None], 3, axis=1)
    shaded = greys if colors is None else greys * colors
    tile = flat(shaded, len(levels), share, 0.002, HEIGHT)
    return seen(tile, plain(level=0.1), Pose(0.6, 4), HEIGHT)[0]


FALLING = [-1 - 0.6 * n for n in range(8)]


def test_the_row_that_the_others_depart_from_is_a_wedge() -> None:
    assert find_wedge(in_stops(exposed(row(FALLING), noise=0.002))) is not None


def tinted(seed: int) -> Picture:
    """Colours that differ from patch to patch."""
    return np.random.default_rng(seed).uniform(0.75, 1, (8, 3)).astype(np.float32)


@pytest.mark.parametrize(
    "picture",
    [
        lambda: row([*FALLING[::2], *FALLING[1::2]]),  # not in order
        lambda: row([-1, -3, -1.1, -3.1, -1.2, -3.2, -1.3, -3.3]),  # as piano keys
        lambda: row([-1, -1.2, -2.6, -2.8, -4.2, -4.4, -5.8, -6]),  # stairs: two by two
        lambda: row([-1, -1.4, -3, -3.2, -4, -4.1, -5.5, -6.2]),  # steps of any size
        lambda: row([-1, -1.4, -2.2, -2.6, -3.4, -3.8, -4.6, -5]),  # two sizes by turns
        lambda: row([-1, -1.3, -1.7, -2.25, -3, -4, -5.35]),  # each larger than the one before
        lambda: row([-1, -1.7, -2.4, -3.1, -3.45, -3.8, -4.15]),  # two sizes, one by one
        lambda: row([-0.5, -1.8, -2.7, -3.32, -3.75, -4.05]),  # dying away
        lambda: row([-0.3, -1.9, -3.5, -5.1, -6.7]),  # larger than those of any wedge
        lambda: row(FALLING, tinted(1)),
        lambda: row(FALLING, tinted(2)),
        lambda: row(FALLING, np.tile(np.array([1, 0.5, 0.3], np.float32), (8, 1))),  # of one hue
        lambda: row(FALLING, share=0.8),  # with gaps
        lambda: row(FALLING[:4]),  # too few
        lambda: row([-1 - 0.05 * n for n in range(8)]),  # hardly a step
    ],
)
def test_other_rows_are_no_wedge(picture: Callable[[], Picture]) -> None:
    assert find_wedge(in_stops(exposed(picture(), noise=0.002))) is None


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("widths", [(35, 100), (50, 70), (20, 26)])
def test_a_row_of_unequal_patches_is_no_wedge(widths: tuple[int, int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    picture = plain(500, 750, 0.1)
    left = 40
    for level in FALLING:
        wide = int(rng.uniform(*widths))
        picture[200:320, left : left + wide] = 2.0**level
        left += wide
    assert find_wedge(in_stops(exposed(picture, noise=0.002))) is None


def test_panels_with_shading_of_their_own_are_no_wedge() -> None:
    """A folding screen: each panel darker than the last, and across itself."""
    picture = plain(500, 750, 0.1)
    for n, level in enumerate(FALLING):
        shade = np.exp2(level + 0.3 * np.linspace(-1, 1, 70, dtype=np.float32))
        picture[200:320, 60 + 70 * n : 130 + 70 * n] = shade[None, :, None]
    assert find_wedge(in_stops(exposed(picture, noise=0.002))) is None


def test_a_field_of_steps_is_no_wedge() -> None:
    greys = np.exp2(np.array([*FALLING, *FALLING[::-1]], np.float32))[:, None]
    tile = flat(np.repeat(greys, 3, axis=1), 8, 1.0, 0.002)
    picture, _ = seen(tile, plain(level=0.1), Pose(0.6, 4))
    assert find_wedge(in_stops(exposed(picture, noise=0.002))) is None


@pytest.mark.parametrize("share", [0.87, 0.95])
def test_the_neutrals_of_a_chart_are_no_wedge(share: float) -> None:
    for turn in (0, 90, 30):
        picture, _ = seen(chart(share=share), plain(), Pose(0.5, turn))
        assert find_wedge(in_stops(exposed(picture))) is None


def test_a_gradient_is_no_wedge() -> None:
    picture = plain(500, 750, 0.1)
    fall = np.exp2(-np.linspace(0, 5, 650, dtype=np.float32))
    picture[150:350, 50:700] = fall[None, :, None]
    assert find_wedge(in_stops(exposed(picture, noise=0.002))) is None


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(
    "scene",
    [cloth, scattered, shelf, *(lambda s, k=k: wall(k, s) for k in ("bricks", "tiles", "keys"))],
)
def test_no_wedge_is_seen_in_other_pictures(scene: Callable[[int], Picture], seed: int) -> None:
    assert find_wedge(in_stops(exposed(scene(seed)))) is None


@pytest.mark.parametrize("size", [(500, 750), (40, 50), (1, 1)])
def test_no_wedge_is_seen_in_noise_or_nothing(size: tuple[int, int]) -> None:
    noise = np.random.default_rng(1).normal(-3, 1, (*size, 3)).astype(np.float32)
    assert find_wedge(noise) is None
    assert find_wedge(np.zeros((*size, 3), np.float32)) is None
