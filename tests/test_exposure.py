"""Exposure arithmetic against published numbers; the source stands beside each.

Where no page is named, the figures are arithmetic on the formula that is, worked out apart from
this project and printed to so many digits.
"""

import math

import numpy as np
import pytest

from verify.exposure import (
    C_DOME,
    C_FLAT,
    K_REFLECTED,
    LENS_TRANSMISSION,
    Q_LENS,
    aperture_stops,
    aperture_value,
    card_luminance,
    exact_f_number,
    exact_iso,
    exact_shutter_s,
    exposure_value,
    f_number_of,
    light_for_reading,
    light_ratio,
    nearest_f_number,
    reading_for_light,
    sensor_exposure,
    sensor_signal,
    stops,
    stops_between,
)

FOUR_DECIMALS = 5.1e-5  # half a unit of the last of four printed decimals
THREE_DECIMALS = 5.1e-4  # half a unit of the last of three printed decimals
FIVE_DIGITS = 5.1e-5  # relative: half a unit of the last of five printed digits, at worst
ROUNDING = 1e-12  # relative: a few operations on doubles

FULL_STOPS = [1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32]


def metered_signal(constant: float, reflectance: float) -> float:
    """Signal of a card at the very setting that an incident meter asks for."""
    light = light_for_reading(8.0, 100, constant)
    return float(sensor_signal(sensor_exposure(card_luminance(light, reflectance), 8.0), 100))


# Meters: ISO 2720:1974, N^2/t = L S/K and N^2/t = E S/C (Wikipedia "Light meter").


def test_published_points_of_the_meter_equations() -> None:
    # Worked examples in the documentation of colour-hdri, exposure/common.py; t = 1 s.
    assert light_for_reading(8, 100, 12.5) == 8.0
    assert light_for_reading(8, 100, 250) == 160.0
    assert aperture_value(float(reading_for_light(0.125, 100, 12.5))) == 0.0
    assert aperture_value(float(reading_for_light(2.5, 100, 250))) == 0.0
    assert exposure_value(8, 1 / 250, 400) == pytest.approx(11.9657842, abs=1e-7)
    brighter = np.array([0.25, 0.5, 0.75, 1]) * light_ratio(1)
    np.testing.assert_array_equal(brighter, [0.5, 1, 1.5, 2])


@pytest.mark.parametrize("ev", range(-1, 17))
def test_light_of_an_exposure_value(ev: int) -> None:
    # L = 2^(EV - 3) cd/m2 and E = 2.5 x 2^EV lx at ISO 100: Wikipedia "Exposure value".
    n = f_number_of(ev)
    assert light_for_reading(n, 100, K_REFLECTED) == pytest.approx(0.125 * 2**ev, rel=ROUNDING)
    assert light_for_reading(n, 100, C_FLAT) == pytest.approx(2.5 * 2**ev, rel=ROUNDING)


def test_exposure_value_of_marked_and_exact_settings() -> None:
    assert exposure_value(16, 1 / 125) == pytest.approx(14.9658, abs=FOUR_DECIMALS)
    assert exposure_value(16, exact_shutter_s(1 / 125)) == 15
    assert exposure_value(8, 1 / 125) == pytest.approx(12.9658, abs=FOUR_DECIMALS)
    assert exposure_value(8, exact_shutter_s(1 / 125), 200) == 12


def test_bright_sun_at_f_16() -> None:
    # photrio.com thread 135325, which quotes the ANSI meter standard: f/16 at 1/S is 3200 cd/m2,
    # 8.12 lx at the sensor and 0.065 lx s at S = 125; a reflected meter aims for H = 8/S.
    iso = 125
    luminance = float(light_for_reading(16, iso, K_REFLECTED)) * iso
    assert luminance == pytest.approx(3200, rel=ROUNDING)
    assert sensor_exposure(luminance, 16) == pytest.approx(8.125, rel=ROUNDING)
    assert sensor_exposure(luminance / iso, 16) == pytest.approx(0.065, rel=ROUNDING)
    assert sensor_exposure(800, 8) == pytest.approx(8.125, rel=ROUNDING)


@pytest.mark.parametrize(
    ("k", "c", "reflectance", "above_18_percent"),
    [
        (12.5, 250, 0.15708, 0.1965),  # printed as 0.157 at yedlin.net, "Exposure equations"
        (14, 250, 0.17593, 0.0330),
        (12.5, 330, 0.11900, 0.5970),
        (12.5, 340, 0.11550, 0.6401),
        (14, 330, 0.13328, 0.4335),
        (12.5, 322, 0.12196, 0.5616),
        (11.4, 224, 0.15988, 0.1710),
    ],
)
def test_card_on_which_both_kinds_of_meter_agree(
    k: float, c: float, reflectance: float, above_18_percent: float
) -> None:
    # R = pi K / C (yedlin.net).
    off_card = card_luminance(light_for_reading(11, 200, c), reflectance)
    assert off_card == pytest.approx(float(light_for_reading(11, 200, k)), rel=FIVE_DIGITS)
    grey = card_luminance(light_for_reading(11, 200, c), 0.18)
    over = stops(grey / light_for_reading(11, 200, k))
    assert over == pytest.approx(above_18_percent, abs=FOUR_DECIMALS)


@pytest.mark.parametrize(
    ("marked", "flat", "c_322", "dome", "c_340"),
    [
        (1, 2.5, 3.22, 3.3, 3.4),
        (2, 10, 12.88, 13.2, 13.6),
        (2.8, 20, 25.76, 26.4, 27.2),
        (4, 40, 51.52, 52.8, 54.4),
        (5.6, 80, 103.04, 105.6, 108.8),
        (8, 160, 206.08, 211.2, 217.6),
        (11, 320, 412.16, 422.4, 435.2),
        (16, 640, 824.32, 844.8, 870.4),
        (22, 1280, 1648.64, 1689.6, 1740.8),
    ],
)
def test_flash_light_needed_at_iso_100(
    marked: float, flat: float, c_322: float, dome: float, c_340: float
) -> None:
    # H = C N^2 / S, ISO 2720 with E t as the time integral that a flash meter shows.
    n = exact_f_number(marked)
    light = [light_for_reading(n, 100, constant) for constant in (C_FLAT, 322, C_DOME, 340)]
    np.testing.assert_allclose(light, [flat, c_322, dome, c_340], rtol=ROUNDING)


def test_reading_of_a_flash() -> None:
    for constant, n in [(250, 6.3246), (330, 5.5048), (340, 5.4233)]:
        assert reading_for_light(100, 100, constant) == pytest.approx(n, abs=FOUR_DECIMALS)
    # Guide number 20 m from 1000 cd s (ISO 1230 definition, GN^2 = I S / C): at 4 m f/5.
    assert reading_for_light(1000 / 4**2, 100, C_FLAT) == pytest.approx(20 / 4, rel=ROUNDING)


@pytest.mark.parametrize(
    ("marked", "light", "error"),
    [(5.6, 78.4, -0.029), (11, 302.5, -0.081), (22, 1210, -0.081)],
)
def test_light_of_a_marked_f_number_taken_for_exact(
    marked: float, light: float, error: float
) -> None:
    wrong = light_for_reading(marked, 100, C_FLAT)
    assert wrong == pytest.approx(light, rel=ROUNDING)
    right = light_for_reading(exact_f_number(marked), 100, C_FLAT)
    assert stops(wrong / right) == pytest.approx(error, abs=THREE_DECIMALS)


@pytest.mark.parametrize(
    ("low", "high", "spread"),
    [(250, 330, 0.4005), (250, 340, 0.4436), (330, 340, 0.0431), (12.5, 14, 0.1635)],
)
def test_meters_of_two_constants_differ(low: float, high: float, spread: float) -> None:
    apart = aperture_stops(
        float(reading_for_light(80, 100, low)), float(reading_for_light(80, 100, high))
    )
    assert apart == pytest.approx(spread, abs=FOUR_DECIMALS)


# Sensors: ISO 12232:2006, H = q L t / N^2 and S_sat = 78 / H_sat.


def test_lens_factor() -> None:
    # q = pi/4 T f_v cos^4 10 deg = 0.6515748 (colour-hdri, exposure/dsc.py), rounded to 0.65.
    q = math.pi / 4 * LENS_TRANSMISSION * 0.98 * math.cos(math.radians(10)) ** 4
    assert q == pytest.approx(0.6515748, abs=1e-7)
    assert round(q, 2) == Q_LENS
    # L = 4000 cd/m2 at f/8, 1/250 s: 0.1628937 lx s with the full q (same documentation).
    expected = 0.1628937086 * Q_LENS / 0.6515748
    assert sensor_exposure(4000 / 250, 8) == pytest.approx(expected, rel=1e-7)


def test_published_points_of_saturation_speed() -> None:
    # colour-hdri, exposure/dsc.py: 0.1643937 and 0.1628937 lx s at ISO 400.
    assert sensor_signal(0.1643937, 400) == pytest.approx(0.8430446, abs=1e-6)
    assert sensor_signal(0.1628937086, 400) == pytest.approx(0.8353523, abs=1e-6)


def test_mid_greys_that_must_not_be_mixed() -> None:
    # H = 10/S is the mid-tone of SOS and REI; 18 %/sqrt 2 that of saturation speed (ISO 12232).
    mid_tone = float(sensor_signal(10 / 200, 200))
    assert mid_tone == pytest.approx(0.128205, abs=1e-6)
    fractions = np.array([0.18 / math.sqrt(2), mid_tone, 0.18, 0.125])
    below = [-2.9739, -2.9635, -2.4739, -3.0]
    np.testing.assert_allclose(stops(fractions), below, atol=FOUR_DECIMALS)
    assert stops_between(mid_tone, 0.18) == pytest.approx(-0.4895, abs=FOUR_DECIMALS)


@pytest.mark.parametrize(
    ("constant", "signal", "below_clipping", "against_mid_tone"),
    [
        (250, 0.11937, -3.0665, -0.1031),
        (330, 0.15756, -2.6660, 0.2975),
        (340, 0.16234, -2.6229, 0.3405),
    ],
)
def test_signal_of_a_grey_card_at_the_incident_reading(
    constant: float, signal: float, below_clipping: float, against_mid_tone: float
) -> None:
    # H S = q R C / pi, over 78: ISO 2720 and ISO 12232 put together.
    found = metered_signal(constant, 0.18)
    assert found == pytest.approx(signal, rel=FIVE_DIGITS)
    assert stops(found) == pytest.approx(below_clipping, abs=FOUR_DECIMALS)
    assert stops(found / (10 / 78)) == pytest.approx(against_mid_tone, abs=FOUR_DECIMALS)


@pytest.mark.parametrize(("k", "signal"), [(12.5, 0.10417), (14, 0.11667)])
def test_signal_at_a_reflected_reading_of_any_card(k: float, signal: float) -> None:
    exposure = sensor_exposure(light_for_reading(5.6, 400, k), 5.6)
    assert sensor_signal(exposure, 400) == pytest.approx(signal, rel=FIVE_DIGITS)


@pytest.mark.parametrize(
    ("raw", "target", "error"),
    [
        (1522.03, 0.127279, -1.0),
        (4552.12, 0.127279, 1.0),
        (2532.05, 0.18 / math.sqrt(2), 0.0),
        (3368.78, 0.18, 0.0),
        (2406.52, 0.11937, 0.0),
        (8447.5, 0.5, 0.0),
        (670.71, 0.01, 0.0),
    ],
)
def test_stops_of_a_raw_level(raw: float, target: float, error: float) -> None:
    black, white = 512, 16383
    # The levels are printed to 0.01, which is 0.0001 stop of the darkest.
    assert stops((raw - black) / (white - black) / target) == pytest.approx(error, abs=1e-4)


def test_stops_of_a_raw_level_with_its_black_left_in() -> None:
    # What a reading without black subtraction, or a mean of logarithms, would be wrong by.
    assert stops(2532.05 / 16383 / 0.127279) == pytest.approx(0.2801, abs=FOUR_DECIMALS)
    assert np.mean(stops([0.1, 0.2])) == pytest.approx(stops(0.15) - 0.085, abs=THREE_DECIMALS)


# Marked and exact values: the rows of Exif Annex C and the exact series of sixths of sqrt 2.


@pytest.mark.parametrize(("av", "marked"), list(enumerate(FULL_STOPS)))
def test_aperture_value_of_full_stops(av: int, marked: float) -> None:
    # Exif (CIPA DC-008) Annex C; the rows are from memory.
    assert aperture_value(exact_f_number(marked)) == pytest.approx(av, abs=ROUNDING)


@pytest.mark.parametrize(
    ("tv", "marked"),
    list(
        enumerate(
            [30, 15, 8, 4, 2, 1]
            + [1 / t for t in (2, 4, 8, 15, 30, 60, 125, 250, 500, 1000, 2000)],
            start=-5,
        )
    ),
)
def test_time_value_of_full_stops(tv: int, marked: float) -> None:
    # Exif (CIPA DC-008) Annex C; the rows are from memory.
    assert exact_shutter_s(marked) == 2.0**-tv


@pytest.mark.parametrize(
    ("sv", "marked"), list(enumerate([3, 6, 12, 25, 50, 100, 200, 400, 800, 1600]))
)
def test_speed_value_of_full_stops(sv: int, marked: float) -> None:
    # Sv = log2(S / 3.125), so that ISO 100 is 5 (GNU Units tables; rows from memory of Annex C).
    assert exact_iso(marked) == 3.125 * 2**sv


@pytest.mark.parametrize(
    ("marked", "av", "exact", "error"),
    [
        (1.4, 0.9709, 1.4142, -0.0291),
        (1.8, 1.6960, 1.7818, 0.0293),
        (2.8, 2.9709, 2.8284, -0.0291),
        (3.5, 3.6147, 3.5636, -0.0520),
        (4.5, 4.3399, 4.4898, 0.0065),
        (5, 4.6439, 5.0397, -0.0228),
        (5.6, 4.9709, 5.6569, -0.0291),
        (6.3, 5.3107, 6.3496, -0.0226),
        (7.1, 5.6556, 7.1272, -0.0110),
        (9, 6.3399, 8.9797, 0.0065),
        (10, 6.6439, 10.0794, -0.0228),
        (11, 6.9189, 11.3137, -0.0811),
        (13, 7.4009, 12.6992, 0.0675),
        (14, 7.6147, 14.2544, -0.0520),
        (18, 8.3399, 17.9594, 0.0065),
        (20, 8.6439, 20.1587, -0.0228),
        (22, 8.9189, 22.6274, -0.0811),
        # f/1.2 is the half stop 2^(1/4) here (common practice, no source), not two thirds, 1.2599.
        (1.2, 0.5261, 1.1892, 0.0261),
    ],
)
def test_marked_and_exact_f_numbers(marked: float, av: float, exact: float, error: float) -> None:
    assert aperture_value(marked) == pytest.approx(av, abs=FOUR_DECIMALS)
    assert exact_f_number(marked) == pytest.approx(exact, abs=FOUR_DECIMALS)
    assert aperture_stops(marked, exact_f_number(marked)) == pytest.approx(error, abs=FOUR_DECIMALS)


def test_marked_and_exact_shutter_times() -> None:
    for error, denominators in [
        (-0.0931, [15, 30, 60]),
        (-0.0342, [125, 250, 500, 1000, 2000, 4000, 8000]),
        (-0.0114, [160, 320]),
        (-0.0228, [200]),
    ]:
        for marked in denominators:
            over = stops_between(exact_shutter_s(1 / marked), 1 / marked)
            assert over == pytest.approx(error, abs=FOUR_DECIMALS)


def test_third_stops_of_two_spellings() -> None:
    assert exact_shutter_s(0.3) == exact_shutter_s(1 / 3) == pytest.approx(0.31498, rel=FIVE_DIGITS)
    assert exact_f_number(80) == exact_f_number(81) == pytest.approx(2 ** (38 / 6), rel=ROUNDING)
    assert exact_iso(160) == pytest.approx(158.74, rel=FIVE_DIGITS)
    assert exact_iso(64) == pytest.approx(62.996, rel=FIVE_DIGITS)


def test_half_stops() -> None:
    # Labels of half stops that no third-stop scale prints: common practice, no source.
    for half_stops, marked in enumerate([1.7, 2.4, 3.3, 4.8, 6.7, 9.5], start=1):
        assert exact_f_number(marked) == pytest.approx(2 ** (half_stops / 2 + 0.25), rel=ROUNDING)
    for tv, marked in [(5.5, 45), (6.5, 90), (7.5, 180), (8.5, 350), (9.5, 750), (10.5, 1500)]:
        assert exact_shutter_s(1 / marked) == pytest.approx(2**-tv, rel=ROUNDING)
    for tv, marked_s in [(0.5, 0.7), (-0.5, 1.5), (-1.5, 3)]:
        assert exact_shutter_s(marked_s) == pytest.approx(2**-tv, rel=ROUNDING)
    for half_stops, marked in enumerate([70, 140, 280, 560, 1100, 2200, 4500, 9000]):
        assert exact_iso(marked) == pytest.approx(100 * 2 ** (half_stops - 0.5), rel=ROUNDING)


def test_tenths_on_a_meter() -> None:
    # "5.6 and 3 tenths" is f/6.277: tenths are of a stop, not decimals (a note on meter displays).
    assert f_number_of(5.3) == pytest.approx(6.277, abs=THREE_DECIMALS)
    assert nearest_f_number(6.3, 0.1) == pytest.approx(f_number_of(5.3), rel=ROUNDING)
    assert nearest_f_number(6.3, 1 / 3) == pytest.approx(exact_f_number(6.3), rel=ROUNDING)
    assert nearest_f_number(6.3, 1 / 2) == pytest.approx(exact_f_number(6.7), rel=ROUNDING)
    assert nearest_f_number(6.3, 1) == pytest.approx(exact_f_number(5.6), rel=ROUNDING)
