"""Cards, bellows, filters, pops and added lights against published numbers."""

import math

import numpy as np
import pytest

from verify.exposure import (
    LENS_TRANSMISSION,
    add_f_numbers,
    ambient_share,
    aperture_stops,
    bellows_stops,
    card_luminance,
    density_stops,
    exact_f_number,
    light_ratio,
    pops_stops,
    sensor_exposure,
    stops,
)

FOUR_DECIMALS = 5.1e-5  # half a unit of the last of four printed decimals
THREE_DECIMALS = 5.1e-4  # half a unit of the last of three printed decimals
ROUNDING = 1e-12  # relative: a few operations on doubles


def test_neutral_patches_against_18_percent() -> None:
    # Luminance factors of the classic 24-patch chart, 2005 and after November 2014, in
    # colour-science 0.4.7 (CCS_COLOURCHECKERS).
    older = [0.9131, 0.5894, 0.3632, 0.1915, 0.0883, 0.0311]
    newer = [0.88069, 0.58997, 0.36487, 0.19062, 0.08817, 0.03151]
    grey = card_luminance(1000, 0.18)
    for reflectances, over in [
        (older, [2.343, 1.711, 1.013, 0.089, -1.028, -2.533]),
        (newer, [2.291, 1.713, 1.019, 0.083, -1.030, -2.514]),
    ]:
        patches = card_luminance(1000, reflectances)
        np.testing.assert_allclose(stops(patches / grey), over, atol=THREE_DECIMALS)


def test_density_of_cards_and_patches() -> None:
    # Density names of the same chart, and 18 % as density 0.74473: R = 10^-D.
    densities = [0.05, 0.23, 0.44, 0.70, 1.05, 1.50, 0.74473, 0.74, 0.745, 0.75]
    reflectances = np.array([0.89125, 0.58884, 0.36308, 0.19953, 0.08913, 0.03162])
    reflectances = np.append(reflectances, [0.18, 0.18197, 0.17989, 0.17783])
    found = [density_stops(density) for density in densities]
    # Half a unit of the fifth decimal of 0.03162 is 0.00023 stop.
    np.testing.assert_allclose(found, -stops(reflectances), atol=3e-4)
    assert density_stops(0.30103) == pytest.approx(1, abs=1e-5)
    assert density_stops(1) == pytest.approx(3.32193, abs=5e-6)
    # A step scale of 0.10 D (aim-dtp.net, on middle grey).
    assert density_stops(0.10) == pytest.approx(0.3322, abs=FOUR_DECIMALS)


def test_a_card_that_is_not_18_percent() -> None:
    reflectances = [0.17, 0.175, 0.185, 0.19, 0.162, 0.198, 0.9]
    errors = [-0.0825, -0.0406, 0.0395, 0.0780, -0.1520, 0.1375, 2.3219]
    over = stops(card_luminance(320, reflectances) / card_luminance(320, 0.18))
    np.testing.assert_allclose(over, errors, atol=FOUR_DECIMALS)


@pytest.mark.parametrize(
    ("magnification", "pupil", "factor", "lost"),
    [
        # 18 inch of extension at f = 12 inch, 8 s become 18 s: US Army course SS0512.
        (18 / 12 - 1, 1, 18 / 8, 1.170),
        (8 / 12, 1, 2.7778, 1.474),  # the same course, which rounds the factor to 2.8
        (0.5, 1, 1.125 / 0.5, 1.170),  # Langford, Basic Photography: 1/2 s becomes about 1 s
        (1, 1, 4, 2),  # metered f/16 becomes f/8, 1/100 s becomes 1/25 s (photo.stackexchange)
        # f = 180 mm focused at 3 m, 0.18 stop, and at 360 mm, 2 stops: apug.org post 1020468.
        (180 / (3000 - 180), 1, (3000 / 2820) ** 2, 0.1785),
        (180 / (360 - 180), 1, 4, 2),
        (0.1, 1, 1.21, 0.275),
        (0.2, 1, 1.44, 0.526),
        (0.25, 1, 1.5625, 0.644),
        (2, 1, 9, 3.170),
        # Pupil magnification, (1 + m/P)^2; the formula is from memory.
        (0.5, 0.5, 4, 2),
        (1, 0.5, 9, 3.170),
        (1, 2, 2.25, 1.170),
        (0.5, 2, 1.5625, 0.644),
    ],
)
def test_light_lost_in_bellows(
    magnification: float, pupil: float, factor: float, lost: float
) -> None:
    found = bellows_stops(magnification, pupil)
    assert found == pytest.approx(lost, abs=THREE_DECIMALS)
    open_lens, extended = sensor_exposure(1, 8), sensor_exposure(1, 8, found)
    assert open_lens / extended == pytest.approx(factor, rel=2e-5)


def test_no_extension_loses_nothing() -> None:
    assert bellows_stops(0) == 0
    assert bellows_stops(0, 0.5) == 0


def test_filters_of_a_density() -> None:
    # ND 0.3 is 0.9966 stop, not 1: D / 0.30103.
    densities = [0.1, 0.15, 0.3, 0.45, 0.6, 0.9, 1.2, 1.8, 2.1, 3.0]
    lost = [0.332, 0.498, 0.997, 1.495, 1.993, 2.990, 3.986, 5.979, 6.976, 9.966]
    found = [density_stops(density) for density in densities]
    np.testing.assert_allclose(found, lost, atol=THREE_DECIMALS)
    assert density_stops(0.3) == pytest.approx(0.9966, abs=FOUR_DECIMALS)
    assert density_stops(0) == 0


def test_filters_of_a_factor() -> None:
    factors = [1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 64, 1000]
    lost = [0.322, 0.585, 1, 1.322, 1.585, 2, 2.322, 2.585, 3, 6, 9.966]
    np.testing.assert_allclose(stops(factors), lost, atol=THREE_DECIMALS)


@pytest.mark.parametrize(
    ("n", "transmission", "t_stop", "lost"),
    [
        (1.4, 0.80, 1.565, 0.322),
        (2.8, 0.90, 2.951, 0.152),
        (4, 0.75, 4.619, 0.415),
        (2, 0.64, 2.5, 0.644),
    ],
)
def test_t_stops(n: float, transmission: float, t_stop: float, lost: float) -> None:
    # T = N / sqrt(transmission); T-stops tell what a lens really passes (scantips.com, "fstop").
    assert aperture_stops(t_stop, n) == pytest.approx(lost, abs=2 * THREE_DECIMALS)
    # The lens inside q passes 0.9, so a lens of another transmission differs by their ratio.
    by_t_stop = sensor_exposure(100, t_stop, t_stop=True)
    expected = transmission / LENS_TRANSMISSION * float(sensor_exposure(100, n))
    assert by_t_stop == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("pops", "gain", "one_missed", "one_extra"),
    [
        (1, 0, None, 1),
        (2, 1, -1, 0.585),
        (3, 1.585, -0.585, 0.415),
        (4, 2, -0.415, 0.322),
        (5, 2.322, -0.322, None),
        (6, 2.585, -0.263, 0.222),
        (8, 3, -0.193, 0.170),
        (10, 3.322, -0.152, None),
        (12, 3.585, -0.1255, 0.1155),
        (16, 4, -0.0931, 0.0875),
        (20, 4.322, -0.074, None),
        (24, 4.585, None, None),
        (32, 5, -0.0458, None),
        (64, 6, None, None),
    ],
)
def test_equal_pops(
    pops: int, gain: float, one_missed: float | None, one_extra: float | None
) -> None:
    # n pops give log2 n stops; two lights of f/5.6 are f/8, four f/11 (speedlighter.ca 2014).
    assert pops_stops(pops) == pytest.approx(gain, abs=THREE_DECIMALS)
    if one_missed is not None:
        assert pops_stops(pops - 1, pops) == pytest.approx(one_missed, abs=THREE_DECIMALS)
    if one_extra is not None:
        assert pops_stops(pops + 1, pops) == pytest.approx(one_extra, abs=THREE_DECIMALS)


@pytest.mark.parametrize(("tolerance", "most_pops"), [(1 / 6, 9), (0.1, 14), (0.05, 29)])
def test_how_many_pops_a_level_can_count(tolerance: float, most_pops: int) -> None:
    assert -pops_stops(most_pops - 1, most_pops) > tolerance
    assert -pops_stops(most_pops, most_pops + 1) < tolerance
    assert -pops_stops(15, 16) == pytest.approx(0.0931, abs=FOUR_DECIMALS)


@pytest.mark.parametrize(
    ("readings", "total"),
    [
        ((8, 8), 11.3137),
        ((8, 32**0.5), 9.7980),
        ((8, 5.6), 9.7652),  # the marked value taken for exact: 0.0097 stop less
        ((8, 4), 8.9443),
        ((128**0.5, 8), 13.8564),
        ((8, 2), 8.2462),
        ((128**0.5, 4), 12.0),
        ((8,), 8),
        ((4, 4, 4, 4), 8),
    ],
)
def test_f_numbers_of_added_lights(readings: tuple[float, ...], total: float) -> None:
    assert add_f_numbers(*readings) == pytest.approx(total, abs=FOUR_DECIMALS)


def test_equal_lights_in_marked_f_numbers() -> None:
    # Two equal lights of f/5.6 give f/8, four f/11 (speedlighter.ca 2014/06/08).
    light = exact_f_number(5.6)
    assert add_f_numbers(light, light) == pytest.approx(exact_f_number(8), rel=ROUNDING)
    assert add_f_numbers(*[light] * 4) == pytest.approx(exact_f_number(11), rel=ROUNDING)


@pytest.mark.parametrize(
    ("under", "adds", "share"),
    [
        (0, 1, 0.5),
        (0.5, 0.7716, 0.4142),
        (1, 0.5850, 0.3333),
        (1.5, 0.4368, 0.2612),
        (2, 0.3219, 0.2),
        (3, 0.1699, 0.1111),
        (4, 0.0875, 0.0588),
        (5, 0.0444, 0.0303),
        (6, 0.0224, 0.0154),
        (7, 0.0112, 0.00775),
    ],
)
def test_a_weaker_light(under: float, adds: float, share: float) -> None:
    assert ambient_share(under) == pytest.approx(share, abs=FOUR_DECIMALS)
    main = 8.0
    weaker = main * 2 ** (-under / 2)
    gain = aperture_stops(add_f_numbers(main, weaker), main)
    assert gain == pytest.approx(adds, abs=FOUR_DECIMALS)


def test_flash_shares() -> None:
    # f/8 flash and f/2 ambient: 94.118 % flash; f/11.314 and f/4: 88.889 %.
    assert 1 - ambient_share(aperture_stops(8, 2)) == pytest.approx(0.94118, abs=5.1e-6)
    assert 1 - ambient_share(aperture_stops(128**0.5, 4)) == pytest.approx(0.88889, abs=5.1e-6)


def test_lighting_ratios() -> None:
    # (key + fill) : fill, ASC: 3:1 is one stop between key and fill, 4:1 is 1.585, 9:1 is three.
    for key_over_fill, ratio in [(0, 2), (1, 3), (1.585, 4), (2, 5), (3, 9)]:
        assert 1 / ambient_share(key_over_fill) == pytest.approx(ratio, rel=1e-4)


def test_distance_and_tilt() -> None:
    # Inverse square, cosine of a tilted card, cos^4 of a lens.
    distances = np.array([1.05, 1.1, 1.55 / 1.5, 2.05 / 2, 2.1 / 2, 3.05 / 3, math.sqrt(2), 2])
    lost = [0.1408, 0.2750, 0.0946, 0.0712, 0.1408, 0.0477, 1, 2]
    np.testing.assert_allclose(stops(distances**2), lost, atol=FOUR_DECIMALS)
    tilts = np.cos(np.radians([5, 10, 15, 20, 30, 45, 60]))
    tilted = [-0.0055, -0.0221, -0.0500, -0.0897, -0.2075, -0.5, -1]
    np.testing.assert_allclose(stops(tilts), tilted, atol=FOUR_DECIMALS)
    corners = np.cos(np.radians([10, 20, 30, 45])) ** 4
    np.testing.assert_allclose(stops(corners), [-0.0883, -0.3590, -0.8301, -2], atol=FOUR_DECIMALS)


def test_percents_and_stops() -> None:
    in_stops = [0.01, 0.02, 0.05, 0.1, 1 / 6, 0.2, 1 / 4, 1 / 3, 1 / 2]
    percents = [0.696, 1.396, 3.526, 7.177, 12.246, 14.870, 18.921, 25.992, 41.421]
    np.testing.assert_allclose((light_ratio(in_stops) - 1) * 100, percents, atol=THREE_DECIMALS)
    more = [1.01, 1.02, 1.03, 1.05, 1.10, 1.20]
    added = [0.0144, 0.0286, 0.0426, 0.0704, 0.1375, 0.2630]
    np.testing.assert_allclose(stops(more), added, atol=FOUR_DECIMALS)
