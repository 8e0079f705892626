"""Blocks of a patch: their means, their noise, and how uneven the light over them is."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from verify.evenness import BLOCKS, Blocks, blocks_of, evenness

Array = NDArray[np.float64]

SIDES = (96, 128)
EXACT = 1e-12  # relative: sums of some thousand doubles


def blocks(picture: Array) -> Blocks:
    """Blocks of a picture of which every pixel counts."""
    rows, cols = np.indices(picture.shape)
    return blocks_of(picture.ravel(), rows.ravel(), cols.ravel(), picture.shape)


def ramp(stops: float, angle_deg: float = 0.0) -> Array:
    """Light that rises by ``stops`` across the box, along ``angle_deg`` from the rows."""
    across = (np.arange(SIDES[1]) + 0.5) / SIDES[1] - 0.5
    down = (np.arange(SIDES[0]) + 0.5) / SIDES[0] - 0.5
    angle = math.radians(angle_deg)
    rise = across * math.cos(angle) + down[:, None] * math.sin(angle)
    level: Array = 0.1 * np.exp2(stops * rise)
    return level


def noisy(picture: Array, relative: float, seed: int) -> Array:
    """The picture with normal noise of a share of its level."""
    rng = np.random.default_rng(seed)
    return picture * (1 + relative * rng.standard_normal(picture.shape))


def test_the_mean_is_that_of_all_photosites_however_the_blocks_fall() -> None:
    picture = np.random.default_rng(1).random((37, 53))
    found = blocks(picture)
    assert found.mean == pytest.approx(picture.mean(), rel=EXACT)
    assert found.counts.sum() == picture.size
    assert found.means.shape == (BLOCKS, BLOCKS)


def test_averages_are_linear() -> None:
    # check-values 2.6: 0.1 and 0.2 have the mean 0.15; their logarithms' would be 0.1414.
    assert blocks(np.tile([0.1, 0.2], (16, 16))).mean == pytest.approx(0.15, rel=EXACT)


def test_two_greens_that_differ_are_no_noise() -> None:
    assert blocks(np.tile([[0.10, 0.11], [0.12, 0.13]], (32, 32))).noise < 1e-9


def test_the_noise_of_the_mean_agrees_with_repeated_draws() -> None:
    draws = [blocks(noisy(np.full((48, 48), 0.1), 0.05, seed)) for seed in range(300)]
    spread = float(np.std([b.mean for b in draws], ddof=1))
    stated = float(np.mean([b.noise for b in draws]))
    assert stated == pytest.approx(0.1 * 0.05 / 48, rel=0.01)
    # A standard deviation of 300 draws is itself known to 1 / sqrt(600), 4 %; three of these.
    assert spread == pytest.approx(stated, rel=0.12)


@pytest.mark.parametrize("angle_deg", [0, 90, 180, 270])
@pytest.mark.parametrize("stops", [0.05, 0.15, 0.5, 1])
def test_a_gradient_is_told_from_end_to_end(stops: float, angle_deg: float) -> None:
    gradient, beside = evenness(blocks(ramp(stops, angle_deg)))
    assert gradient == pytest.approx(stops, rel=0.04)  # a plane is fitted to an exponential
    assert beside < 0.01 + 0.03 * stops


def test_a_gradient_from_corner_to_corner_adds_up_both_ways() -> None:
    gradient, _ = evenness(blocks(ramp(0.2, 45)))
    assert gradient == pytest.approx(0.2 * math.sqrt(2), rel=0.02)


def test_even_light_has_no_gradient_however_noisy() -> None:
    found = [evenness(blocks(noisy(np.full(SIDES, 0.1), 0.4, seed))) for seed in range(40)]
    gradients, besides = np.transpose(found)
    # Without the noise taken out these would be 0.03 and 0.04 on average.
    assert gradients.mean() < 0.015
    assert besides.mean() < 0.01
    assert evenness(blocks(np.full(SIDES, 0.1))) == pytest.approx((0, 0), abs=EXACT)


def test_an_edge_is_uneven_beside_a_gradient() -> None:
    half = np.full(SIDES, 0.1)
    half[:, 56:72] = 0.07
    _, beside = evenness(blocks(half))
    assert beside > 0.09
    for seed in range(5):  # noise is taken out of it, not more
        assert evenness(blocks(noisy(half, 0.3, seed)))[1] == pytest.approx(beside, rel=0.25)


@pytest.mark.parametrize(
    "picture", [np.zeros((16, 16)), np.full((16, 16), -0.1), np.full((1, 5), 0.1)]
)
def test_no_light_and_too_few_blocks_have_no_gradient(picture: Array) -> None:
    assert evenness(blocks(picture)) == (0, 0)


def test_a_flat_takes_falloff_out_and_puts_its_own_noise_in() -> None:
    falloff = ramp(0.1)
    shot, flat = blocks(noisy(0.3 * falloff, 0.01, 1)), blocks(noisy(falloff, 0.02, 2))
    even = shot.over(flat, 0.2)  # the middle of the flat had twice the light
    assert even.mean == pytest.approx(0.3 * 0.2, rel=0.001)
    gradient, beside = evenness(even)
    assert gradient < 0.002
    assert beside < 0.002
    relative = even.noise / even.mean * math.sqrt(falloff.size)
    assert relative == pytest.approx(math.hypot(0.01, 0.02), rel=0.03)
