"""The picture in stops: levels and colours are known, noise is what was put in, edges stay."""

import numpy as np
import pytest
from drawn_scenes import (
    CARD_SIGNAL,
    COLORS,
    NEUTRAL,
    SIGMA_3200,
    Picture,
    exposed,
    laid,
    lights,
    overview_of,
    plain,
    standing,
    wrinkled,
)
from numpy.typing import NDArray

from verify.target.light import Light, light_of, noise_of, steepness

pytestmark = pytest.mark.filterwarnings("error")

FLOATS = 2e-5  # stops: single precision at ten stops
NEAR_BLACK = 0.003  # stop: what is added to every signal lifts a card by log2(1 + 2e-4 / 0.1194)
SIGMA_NEAR = 0.2  # relative: noise is told from the quieter blocks of one level


def grain(sigma: float, seed: int = 1, rows: int = 160, cols: int = 240) -> NDArray[np.float32]:
    """A level with normal noise."""
    return (sigma * np.random.default_rng(seed).standard_normal((rows, cols))).astype(np.float32)


def off(found: NDArray[np.float32], wanted: NDArray[np.float32] | float) -> float:
    """The largest difference."""
    return float(np.abs(found - wanted).max())


def finite(light: Light) -> bool:
    """Whether there is a number for every cell."""
    return bool(
        np.isfinite(light.smooth).all()
        and np.isfinite(light.noise).all()
        and light.noise.min() >= 0
    )


@pytest.mark.parametrize("stops", [-3.0, 0.0, 2.0])
def test_the_level_of_a_grey_surface(stops: float) -> None:
    light = lights(plain(0.18, 80, 120), stops=stops)
    wanted = np.log2(CARD_SIGNAL * 2**stops + 2e-4)
    assert off(light.smooth[..., 0], wanted) < FLOATS
    assert np.abs(light.smooth[..., 1:]).max() < NEAR_BLACK * 8  # it lifts the colours unequally
    assert light.grey.all()
    assert not light.clipped.any()


def test_colours_are_stops_against_green() -> None:
    light = lights(plain((0.36, 0.18, 0.09), 160, 240))
    assert light.smooth[100, 100] == pytest.approx((np.log2(CARD_SIGNAL), 1, -1), abs=NEAR_BLACK)
    assert (light.colored, light.balanced) == (True, True)
    assert not light.grey.any()


@pytest.mark.parametrize(("cast_stops", "grey"), [(0.15, True), (0.25, True), (0.4, False)])
@pytest.mark.parametrize("color", [0, 2])
def test_light_a_little_off_the_white_balance_is_grey(
    color: int, cast_stops: float, grey: bool
) -> None:
    for sign in (1, -1):
        cast = np.ones(3)
        cast[color] = 2 ** (sign * cast_stops)
        assert bool(lights(plain(rows=40, cols=60) * cast).grey.all()) is grey


def test_without_a_white_balance_everything_may_be_grey() -> None:
    light = light_of(overview_of(exposed(plain((0.5, 0.05, 0.04), 80, 120)), neutral=None))
    assert (light.colored, light.balanced) == (True, False)
    assert light.grey.all()
    raw = np.log2(0.5 / 0.05 * NEUTRAL[0])
    assert light.smooth[0, 0, 1] == pytest.approx(raw, abs=0.01)


def test_a_monochrome_sensor_sees_no_colours() -> None:
    light = light_of(overview_of(np.full((60, 80), 0.12)))
    assert (light.colored, light.balanced) == (False, True)
    assert light.grey.all()
    assert not light.smooth[..., 1:].any()
    assert off(light.smooth[..., 0], np.log2(0.12 + 2e-4)) < FLOATS


def test_the_main_colour_wherever_it_stands() -> None:
    signal = exposed(plain((0.36, 0.18, 0.09), 160, 240))
    turned = overview_of(signal[..., ::-1], colors=COLORS[::-1], neutral=NEUTRAL[::-1])
    expected = lights(plain((0.36, 0.18, 0.09), 160, 240)).smooth
    assert off(light_of(turned).smooth, expected[..., [0, 2, 1]]) < FLOATS


def test_a_sensor_of_four_colours() -> None:
    signal = np.full((40, 60, 4), 0.1)
    mixed = overview_of(signal, colors=("cyan", "magenta", "yellow", "green"), neutral=None)
    light = light_of(mixed)
    assert light.smooth.shape == (40, 60, 3)
    assert off(light.smooth[..., 0], np.log2(0.1 + 2e-4)) < FLOATS


def test_what_is_clipped_has_no_colour() -> None:
    signal = exposed(laid(plain(), standing((180, 120), 100, 80), 3.0), clips_at=0.9)
    light = light_of(overview_of(signal, clips_at=0.9))
    assert light.clipped[120, 180]
    assert not light.clipped[10, 10]
    assert np.count_nonzero(light.clipped) == pytest.approx(8000, rel=0.05)
    assert not light.smooth[100:140, 150:210, 1:].any()
    assert light.grey[120, 180]  # it may have been neutral


def test_one_clipped_colour_is_enough() -> None:
    signal = np.full((40, 60, 3), 0.1)
    signal[:20, :, 0] = 1.0
    assert light_of(overview_of(signal)).clipped[:, 5].tolist() == [True] * 20 + [False] * 20


def test_exposure_moves_the_level_and_nothing_else() -> None:
    picture = laid(wrinkled(), standing((180, 120), 90, 70, 20))
    one, other = lights(picture), lights(picture, stops=-2)
    assert (
        off(one.smooth, other.smooth + np.array([2, 0, 0], np.float32)) < 0.03
    )  # black parts, most of all


@pytest.mark.parametrize("sigma", [0.02, 0.07, 0.3])
def test_noise_is_what_was_put_in(sigma: float) -> None:
    assert np.median(noise_of(grain(sigma))) == pytest.approx(sigma, rel=SIGMA_NEAR)


def test_light_that_falls_off_is_no_noise() -> None:
    across, down = np.meshgrid(np.arange(240.0), np.arange(160.0))
    slope = (0.02 * across + 0.01 * down).astype(np.float32)
    assert noise_of(slope).max() < 1e-4
    assert np.median(noise_of(slope + grain(0.05))) == pytest.approx(0.05, rel=SIGMA_NEAR)


def test_edges_are_no_noise() -> None:
    level = np.zeros((160, 240), np.float32)
    level[40:120, 60:180] = 2
    assert noise_of(level).max() < 1e-4
    assert np.median(noise_of(level + grain(0.05))) == pytest.approx(0.05, rel=SIGMA_NEAR)


def test_less_light_has_more_noise() -> None:
    """Shot noise: a quarter of the light, twice the noise in stops."""
    level = np.zeros((160, 240), np.float32)
    level[:, :120] = -2
    picture = level + grain(1) * np.where(level < -1, 0.16, 0.08).astype(np.float32)
    noise = noise_of(picture)
    assert np.median(noise[:, :120]) == pytest.approx(0.16, rel=SIGMA_NEAR)
    assert np.median(noise[:, 120:]) == pytest.approx(0.08, rel=SIGMA_NEAR)


def test_texture_in_the_light_is_no_noise() -> None:
    """What has more light has no more noise, whatever is to be seen there."""
    level = np.zeros((160, 240), np.float32)
    level[:, 120:] = 2 + 0.5 * grain(1)[:, 120:]
    level[:, :120] += 0.05 * grain(1, 2)[:, :120]
    assert np.median(noise_of(level)[:, 120:]) == pytest.approx(0.05, rel=SIGMA_NEAR)


@pytest.mark.parametrize("sigma", [0.02, SIGMA_3200, 0.2])
def test_smoothing_leaves_less_noise_and_says_how_much(sigma: float) -> None:
    light = lights(plain(0.18), sigma=sigma)
    left = float(np.std(light.smooth[10:-10, 10:-10, 0]))
    assert left < 0.6 * sigma / np.log(2)
    assert 0.5 < left / float(np.median(light.noise)) < 2


@pytest.mark.parametrize("sigma", [0.0, SIGMA_3200])
def test_smoothing_keeps_edges(sigma: float) -> None:
    picture = plain(0.36)
    picture[:, 180:] = 0.18
    level = lights(picture, sigma=sigma).smooth[..., 0]
    step = level[:, 174:178].mean() - level[:, 182:186].mean()
    assert step == pytest.approx(1, abs=0.05)


def test_steepness_of_a_known_slope() -> None:
    across, down = np.meshgrid(np.arange(60), np.arange(40))
    smooth = np.zeros((40, 60, 3), np.float32)
    smooth[..., 0] = 0.03 * across + 0.04 * down
    smooth[..., 1] = 0.12 * across
    steep = steepness(smooth)
    assert steep.shape == (40, 60)
    assert off(steep[1:-1, 1:-1], 0.13) < 1e-5  # 3, 4, 12, 13


def test_nothing_is_steep_in_an_even_light() -> None:
    assert lights(plain()).steep.max() < FLOATS


SHAPES = [(1, 1), (1, 2), (2, 1), (7, 9), (20, 20), (1, 480), (480, 2)]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("signal", [0.0, -0.01, 0.12, 1.0, 1e6])
def test_pictures_of_any_shape_have_a_number_everywhere(
    shape: tuple[int, int], signal: float
) -> None:
    for picture in (np.full(shape, signal), np.full((*shape, 3), signal)):
        light = light_of(overview_of(picture))
        assert light.smooth.shape == (*shape, 3)
        assert finite(light)
        assert np.isfinite(light.steep).all()
        assert light.clipped.all() == (signal >= 1)


def test_a_black_frame_of_nothing_but_noise() -> None:
    dark: Picture = 0.001 * np.random.default_rng(1).standard_normal((160, 240, 3))
    light = light_of(overview_of(dark))
    assert finite(light)
    assert light.grey.mean() > 0.9  # so dark that nothing says that it has a colour
