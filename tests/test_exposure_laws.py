"""The laws of exposure on drawn values, and what happens at the edges."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray

from verify.exposure import (
    F_NUMBERS,
    ISO_SPEEDS,
    LENS_TRANSMISSION,
    MARKED_TOLERANCE,
    SHUTTER_TIMES,
    Series,
    add_f_numbers,
    ambient_share,
    aperture_stops,
    aperture_value,
    bellows_stops,
    card_luminance,
    exact_f_number,
    exact_iso,
    exact_shutter_s,
    exposure_value,
    f_number_of,
    light_for_reading,
    light_ratio,
    nearest_f_number,
    pops_stops,
    reading_for_light,
    sensor_exposure,
    sensor_signal,
    stops,
    stops_between,
)

ROUNDING = 1e-11  # relative: a few dozen operations on doubles
ROUNDING_STOPS = 1e-10  # a few operations on stops of at most 30
LARGEST_MARKED_STOPS = 0.0932  # 1/15, 1/30 and 1/60: no printed label is further from its value

LIGHT = st.floats(1e-3, 1e6)  # lx s
F_NUMBER = st.floats(0.5, 256)
ISO = st.floats(3, 409600)
CONSTANT = st.floats(10, 540)  # K and C as ISO 2720 allows them, and a little beyond
STOPS = st.floats(-10, 10)
REFLECTANCE = st.floats(0.01, 1)
SERIES = st.sampled_from([F_NUMBERS, SHUTTER_TIMES, ISO_SPEEDS])
STEP = st.sampled_from([0.1, 1 / 3, 1 / 2, 1.0])


def expected_signal(light: float, n: float, iso: float, reflectance: float = 0.18) -> float:
    """Signal of a card in ``light`` [lx s] at a camera setting."""
    return float(sensor_signal(sensor_exposure(card_luminance(light, reflectance), n), iso))


@given(LIGHT)
def test_twice_the_light_is_one_stop(light: float) -> None:
    assert stops(2 * light) - stops(light) == pytest.approx(1, abs=ROUNDING_STOPS)
    assert stops_between(2 * light, light) == pytest.approx(1, abs=ROUNDING_STOPS)


@given(STOPS)
def test_stops_and_ratios_undo_each_other(x: float) -> None:
    assert stops(light_ratio(x)) == pytest.approx(x, abs=ROUNDING_STOPS)


@given(LIGHT, F_NUMBER, ISO, CONSTANT, STOPS)
def test_a_reading_undoes_its_light(
    light: float, n: float, iso: float, constant: float, correction: float
) -> None:
    shown = reading_for_light(light, iso, constant, correction)
    assert light_for_reading(shown, iso, constant, correction) == pytest.approx(light, rel=ROUNDING)
    seen = light_for_reading(n, iso, constant, correction)
    assert reading_for_light(seen, iso, constant, correction) == pytest.approx(n, rel=ROUNDING)


@given(LIGHT, ISO, CONSTANT, st.floats(0.01, 5), REFLECTANCE)
def test_a_correction_asks_for_that_much_more_exposure(
    light: float, iso: float, constant: float, correction: float, reflectance: float
) -> None:
    plain = float(reading_for_light(light, iso, constant))
    corrected = float(reading_for_light(light, iso, constant, correction))
    assert corrected < plain
    at_plain = expected_signal(light, plain, iso, reflectance)
    at_corrected = expected_signal(light, corrected, iso, reflectance)
    assert stops(at_corrected / at_plain) == pytest.approx(correction, abs=ROUNDING_STOPS)


@given(LIGHT, F_NUMBER, ISO, st.floats(-5, 5))
def test_equal_trades_leave_the_expected_signal_alone(
    light: float, n: float, iso: float, traded: float
) -> None:
    signal = expected_signal(light, n, iso)
    closed = f_number_of(aperture_value(n) + traded)
    assert aperture_stops(n, closed) == pytest.approx(-traded, abs=ROUNDING_STOPS)
    faster = iso * 2**traded
    assert expected_signal(light, closed, faster) == pytest.approx(signal, rel=ROUNDING)
    more_light = light * float(light_ratio(traded))
    assert expected_signal(more_light, closed, iso) == pytest.approx(signal, rel=ROUNDING)


@given(F_NUMBER, st.floats(1e-4, 30), ISO, st.floats(-3, 3))
def test_equal_trades_leave_the_exposure_value_alone(
    n: float, shutter_s: float, iso: float, traded: float
) -> None:
    # EV = Av + Tv - (Sv - 5): APEX (Wikipedia "Exposure value").
    ev = exposure_value(n, shutter_s, iso)
    by_parts = aperture_value(n) - math.log2(shutter_s) - math.log2(iso / 100)
    assert ev == pytest.approx(by_parts, abs=ROUNDING_STOPS)
    closed = f_number_of(aperture_value(n) + traded)
    same = exposure_value(closed, shutter_s * 2**traded, iso)
    assert same == pytest.approx(ev, abs=ROUNDING_STOPS)
    assert exposure_value(closed, shutter_s, iso * 2**traded) == pytest.approx(
        ev, abs=ROUNDING_STOPS
    )


@given(LIGHT, F_NUMBER, ISO, REFLECTANCE, st.integers(1, 64))
def test_equal_pops_multiply_the_signal(
    light: float, n: float, iso: float, reflectance: float, pops: int
) -> None:
    one = expected_signal(light, n, iso, reflectance)
    all_pops = expected_signal(pops * light, n, iso, reflectance)
    assert stops(all_pops / one) == pytest.approx(pops_stops(pops), abs=ROUNDING_STOPS)


@given(st.integers(1, 64), st.integers(1, 64), st.integers(1, 64))
def test_pops_of_pops_add_in_stops(a: int, b: int, c: int) -> None:
    assert pops_stops(a * b) == pytest.approx(pops_stops(a) + pops_stops(b), abs=ROUNDING_STOPS)
    assert pops_stops(a, b) + pops_stops(b, c) == pytest.approx(
        pops_stops(a, c), abs=ROUNDING_STOPS
    )


@given(st.lists(F_NUMBER, min_size=1, max_size=5), F_NUMBER, ISO, CONSTANT)
def test_adding_lights_has_no_order_and_grows(
    readings: list[float], another: float, iso: float, constant: float
) -> None:
    total = add_f_numbers(*readings)
    assert add_f_numbers(*reversed(readings)) == pytest.approx(total, rel=ROUNDING)
    assert add_f_numbers(*readings, another) > max(total, another)
    assert add_f_numbers(total, another) == pytest.approx(
        add_f_numbers(*readings, another), rel=ROUNDING
    )
    light = sum(float(light_for_reading(n, iso, constant)) for n in readings)
    assert reading_for_light(light, iso, constant) == pytest.approx(total, rel=ROUNDING)


@given(STOPS)
def test_shares_of_two_lights_make_the_whole(under: float) -> None:
    assert ambient_share(under) + ambient_share(-under) == pytest.approx(1, rel=ROUNDING)
    assert stops_between(ambient_share(under), ambient_share(-under)) == pytest.approx(
        -under, abs=ROUNDING_STOPS
    )


@given(LIGHT, F_NUMBER, st.floats(0, 6), st.floats(0, 6))
def test_losses_add_in_stops(luminance: float, n: float, bellows: float, filters: float) -> None:
    both = sensor_exposure(luminance, n, bellows + filters)
    lost = stops(sensor_exposure(luminance, n) / both)
    assert lost == pytest.approx(bellows + filters, abs=ROUNDING_STOPS)


@given(LIGHT, F_NUMBER, st.floats(0, 5), st.floats(0.3, 3))
def test_bellows_are_a_larger_effective_f_number(
    luminance: float, n: float, magnification: float, pupil: float
) -> None:
    # N (1 + m/P): a 100 mm lens at f/8 and m = 1 works at f/16.
    effective = n * (1 + magnification / pupil)
    lost = bellows_stops(magnification, pupil)
    assert sensor_exposure(luminance, n, lost) == pytest.approx(
        float(sensor_exposure(luminance, effective)), rel=ROUNDING
    )


@given(LIGHT, F_NUMBER)
def test_a_t_stop_counts_the_lens_once(luminance: float, n: float) -> None:
    t_stop = n / math.sqrt(LENS_TRANSMISSION)
    assert sensor_exposure(luminance, t_stop, t_stop=True) == pytest.approx(
        float(sensor_exposure(luminance, n)), rel=ROUNDING
    )


@given(F_NUMBER, STEP)
def test_the_nearest_f_number_is_on_a_step_and_near(n: float, step: float) -> None:
    nearest = nearest_f_number(n, step)
    assert abs(aperture_stops(n, nearest)) <= step / 2 + ROUNDING_STOPS
    steps = aperture_value(nearest) / step
    assert steps == pytest.approx(round(steps), abs=1e-9)
    assert nearest_f_number(nearest, step) == pytest.approx(nearest, rel=ROUNDING)


@pytest.mark.parametrize(
    ("series", "stops_per_doubling"), [(F_NUMBERS, 2), (SHUTTER_TIMES, 1), (ISO_SPEEDS, 1)]
)
def test_every_printed_label_stands_for_a_near_third_or_half_stop(
    series: Series, stops_per_doubling: int
) -> None:
    off = stops_per_doubling * stops(series.labels / series.exacts)
    assert np.max(np.abs(off)) < LARGEST_MARKED_STOPS
    assert np.all(np.diff(series.labels) > 0)
    assert np.all(np.diff(series.exacts) >= 0)
    in_sixths = stops_per_doubling * 6 * stops(series.exacts / series.exacts[0])
    np.testing.assert_allclose(in_sixths, np.round(in_sixths), atol=1e-9)
    for label, exact in zip(series.labels, series.exacts, strict=True):
        assert series.find(label) == (exact, label)
        nearest = np.argmin(np.abs(np.log(series.labels / exact)))
        assert series.exacts[nearest] == exact  # nothing else is printed nearer to it


def test_the_scales_leave_out_no_third_of_a_stop() -> None:
    for series, stops_per_doubling in [(F_NUMBERS, 2), (SHUTTER_TIMES, 1), (ISO_SPEEDS, 1)]:
        gaps = stops_per_doubling * np.diff(stops(series.exacts))
        # f/1.2 stands for the half stop, which leaves half a stop to f/1.4.
        widest = np.where(series.exacts[:-1] == exact_f_number(1.2), 1 / 2, 1 / 3)
        assert np.all(gaps <= widest + ROUNDING_STOPS)


@given(SERIES, st.data())
def test_a_value_is_marked_within_the_tolerance_and_not_beyond(
    series: Series, data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, len(series.labels) - 1))
    off = data.draw(st.floats(-0.99, 0.99)) * MARKED_TOLERANCE
    label, exact = float(series.labels[at]), float(series.exacts[at])
    assert series.find(label / (1 + off)) == (exact, label)
    for beyond in (1.01 * MARKED_TOLERANCE, -1.01 * MARKED_TOLERANCE):
        value = label / (1 + beyond)
        assert series.find(value) == (value, None)


@given(SERIES, st.floats(1e-5, 1e6))
def test_an_exact_value_stays_where_it_is(series: Series, value: float) -> None:
    once = series.find(value)[0]
    assert series.find(once)[0] == once


@pytest.mark.parametrize("value", [11.3137, 10.93, 12.0, 1.2599])
def test_unmarked_f_numbers_are_taken_as_they_are(value: float) -> None:
    assert exact_f_number(value) == value


def test_unmarked_times_and_speeds_are_taken_as_they_are() -> None:
    assert exact_shutter_s(1 / 128) == 1 / 128
    assert exact_shutter_s(120) == 120
    assert exact_iso(57) == 57


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("exact", [exact_f_number, exact_shutter_s, exact_iso])
@pytest.mark.parametrize("value", [0.0, -11.0, math.inf, -math.inf])
def test_what_is_no_setting_is_handed_back(exact: Callable[[float], float], value: float) -> None:
    assert exact(value) == value
    assert math.isnan(exact(math.nan))


ONE_ARRAY: list[Callable[[NDArray[np.float64]], NDArray[np.float64]]] = [
    stops,
    light_ratio,
    lambda x: light_for_reading(x, 100, 250, 0.3),
    lambda x: light_for_reading(8, x, 250, 0.3),
    lambda x: reading_for_light(x, 100, 250, 0.3),
    lambda x: reading_for_light(320, x, 250, 0.3),
    lambda x: card_luminance(x, 0.18),
    lambda x: card_luminance(320, x),
    lambda x: sensor_exposure(x, 8, 0.5, t_stop=True),
    lambda x: sensor_exposure(18, x, 0.5),
    lambda x: sensor_signal(x, 100),
    lambda x: sensor_signal(0.1, x),
]


@pytest.mark.parametrize("function", ONE_ARRAY)
def test_an_array_gives_what_its_scalars_give(
    function: Callable[[NDArray[np.float64]], NDArray[np.float64]],
) -> None:
    values = np.array([[0.25, 1.0, 3.0], [8.0, 100.0, math.nan]])
    found = function(values)
    assert found.shape == values.shape
    each = [function(np.asarray(value)) for value in values.ravel()]
    np.testing.assert_array_equal(found.ravel(), each)
    assert np.isnan(found[1, 2])
    assert not np.isnan(found.ravel()[:-1]).any()


@pytest.mark.filterwarnings("error")
def test_stops_of_what_is_no_light() -> None:
    assert stops(0) == -math.inf
    assert np.isnan(stops(-0.1))
    assert np.isnan(stops(math.nan))
    np.testing.assert_array_equal(stops([1, 0, -1]), [0, -math.inf, math.nan])


def test_no_light_and_equal_lights() -> None:
    assert light_for_reading(8, 100, 250, 0) == light_for_reading(8, 100, 250)
    assert expected_signal(0, 8, 100) == 0
    assert ambient_share(math.inf) == 0
    assert ambient_share(0) == 0.5


@given(LIGHT, st.floats(0.5, 128))
def test_a_wider_aperture_is_more_exposure(light: float, n: float) -> None:
    wider = n / 1.01
    assume(wider < n)
    assert aperture_stops(n, wider) > 0
    assert expected_signal(light, wider, 100) > expected_signal(light, n, 100)
