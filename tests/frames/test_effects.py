"""What each opcode does to a signal, against the specification (DNG 1.7.1.0, chapter 7)."""

import math
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from opcode_lists import (
    DELTA_COL,
    DELTA_ROW,
    HEIGHT,
    PLANES,
    POLYNOMIAL,
    SCALE_COL,
    SCALE_ROW,
    TRIM,
    WIDTH,
    Array,
    area,
    coded,
    gain_map,
    lines,
    listed,
    picture,
    polynomial,
    table,
    vignette,
    whole,
)

from verify.frames.opcodes import apply_opcodes

SINGLE = 1e-6  # relative: gains, deltas and scales are stored in single precision


@pytest.fixture
def signal() -> Array:
    return picture()


ALL = [
    polynomial(0.01, 0.7, 0, 0.2, where=area((1, 8), (2, 11), (1, 2), (2, 3))),
    table(0, 30000, 65535, where=area((0, 9), (1, 12), (0, 1), (3, 2))),
    gain_map(
        np.random.default_rng(5).uniform(1, 2, (3, 4, 2)),
        (0.4, 0.3),
        (0.05, -0.1),
        where=area((1, 9), (1, 11), (0, 3), (2, 2)),
    ),
    lines(DELTA_ROW, np.linspace(-0.2, 0.2, 4), where=area((1, 8), (0, 5), (2, 1), (2, 1))),
    lines(DELTA_COL, np.linspace(-0.1, 0.3, 4), where=area((2, 9), (1, 12), (0, 3), (1, 3))),
    lines(SCALE_ROW, np.linspace(0.5, 1.5, 3), where=area((0, 9), (4, 9), (1, 1), (3, 2))),
    lines(SCALE_COL, np.linspace(0.8, 1.2, 6), where=area((0, 4), (0, 12), (0, 2), (2, 2))),
    vignette((0.3, 0.1, 0, 0, 0.05), 0.4, 0.6),
]


@given(st.integers(0, HEIGHT - 1), st.integers(0, WIDTH - 1), st.data())
def test_a_region_is_the_crop_of_the_whole(top: int, left: int, data: st.DataObject) -> None:
    bottom = data.draw(st.integers(top + 1, HEIGHT))
    right = data.draw(st.integers(left + 1, WIDTH))
    signal = np.random.default_rng(4).uniform(-0.1, 1.1, (HEIGHT, WIDTH, PLANES))
    opcodes = listed(*ALL)
    crop = apply_opcodes(opcodes, signal[top:bottom, left:right], top, left, HEIGHT, WIDTH).signal
    assert np.allclose(crop, whole(opcodes, signal)[top:bottom, left:right], rtol=1e-12, atol=0)


@pytest.mark.parametrize("number", [SCALE_ROW, DELTA_COL, POLYNOMIAL])
def test_area_planes_and_pitches_choose_the_photosites(signal: Array, number: int) -> None:
    """Photosite by photosite in the words of the specification."""
    top, bottom, left, right, pitch = 1, 8, 2, 11, (2, 3)
    where = area((top, bottom), (left, right), (1, 2), pitch)
    scales, deltas = np.array([0.5, 2, 3, 4]), np.array([0.1, 0.2, -0.3])
    stored = {
        SCALE_ROW: lines(SCALE_ROW, scales, where),
        DELTA_COL: lines(DELTA_COL, deltas, where),
        POLYNOMIAL: polynomial(0.1, 0.5, where=where),
    }[number]
    expected = signal.copy()
    for row in range(top, bottom, pitch[0]):
        for col in range(left, right, pitch[1]):
            for plane in (1, 2):
                value = signal[row, col, plane]
                expected[row, col, plane] = {
                    SCALE_ROW: value * scales[(row - top) // pitch[0]],
                    DELTA_COL: value + deltas[(col - left) // pitch[1]],
                    POLYNOMIAL: 0.1 + 0.5 * value,
                }[number]
    assert whole(listed(stored), signal) == pytest.approx(expected, rel=SINGLE)


def test_an_empty_area_is_the_whole_image(signal: Array) -> None:
    """As the published reference implementation of the DNG specification reads it."""
    opcodes = listed(polynomial(0, 0.5, where=area((0, 0), (0, 0))))
    assert whole(opcodes, signal) == pytest.approx(signal / 2)


def test_an_area_beyond_the_image_stops_at_its_edge(signal: Array) -> None:
    opcodes = listed(polynomial(0, 0.5, where=area((-3, 99), (-3, 99), (0, 99))))
    assert whole(opcodes, signal) == pytest.approx(signal / 2)


@pytest.mark.parametrize(("number", "neutral"), [(DELTA_ROW, 0.0), (SCALE_ROW, 1.0)])
def test_rows_and_columns_have_a_value_each(signal: Array, number: int, neutral: float) -> None:
    by_row = np.linspace(neutral, neutral + 0.5, HEIGHT)
    by_col = np.linspace(neutral, neutral + 0.5, WIDTH)
    rows, cols = listed(lines(number, by_row)), listed(lines(number + 1, by_col))
    if number == DELTA_ROW:
        expected = signal + by_row[:, None, None], signal + by_col[None, :, None]
    else:
        expected = signal * by_row[:, None, None], signal * by_col[None, :, None]
    assert whole(rows, signal) == pytest.approx(expected[0], rel=SINGLE)
    assert whole(cols, signal) == pytest.approx(expected[1], rel=SINGLE)


def test_a_polynomial_has_its_terms_from_the_constant_one_up() -> None:
    at = np.array([[0.0, 0.5, 1.0]])
    mapped = whole(listed(polynomial(0.01, 0.2, 0.0, 0.7)), at)
    assert mapped == pytest.approx(np.array([[0.01, 0.01 + 0.1 + 0.7 / 8, 0.91]]))


def test_maps_are_mirrored_below_zero_about_their_value_at_zero() -> None:
    """As the published reference implementation does; an odd polynomial is left as it is."""
    below = np.array([[-0.5, -0.25, 0.0]])
    assert whole(listed(polynomial(0, 0.2, 0, 0.7)), below) == pytest.approx(
        0.2 * below + 0.7 * below**3
    )
    assert whole(listed(polynomial(0.01, 0.2, 0.7)), below) == pytest.approx(
        0.01 + 0.2 * below - 0.7 * below**2
    )
    identity = table(*range(65536))
    assert whole(listed(identity), below) == pytest.approx(below)


def test_a_map_keeps_the_mean_of_noise_about_black() -> None:
    noise = np.random.default_rng(6).normal(0, 0.02, (200, 200))
    noise = np.concatenate([noise, -noise])
    where = area((0, 400), (0, 200), (0, 1))
    mapped = whole(listed(polynomial(0.003, 0.06, 0.3, where=where)), noise)
    assert mapped.mean() == pytest.approx(0.003, abs=1e-12)
    assert np.any(mapped < 0)


def test_a_map_takes_what_is_above_one_as_one() -> None:
    """The specification clips to 0..1 before: a polynomial says nothing of what lies beyond."""
    above = np.array([[1.0, 1.5, np.inf]])
    assert whole(listed(polynomial(0, 1, 0, -0.2)), above) == pytest.approx(0.8)
    assert whole(listed(table(0, 65535)), above) == pytest.approx(1)


def test_a_table_is_indexed_by_the_16_bit_code_and_repeats_its_last_entry() -> None:
    codes = np.array([[0, 1, 2, 3, 60000, 1.5]])
    mapped = whole(listed(table(100, 300, 1000)), codes / 65535) * 65535
    assert mapped == pytest.approx(np.array([[100, 300, 1000, 1000, 1000, 650]]))


def test_nan_stays_nan(signal: Array) -> None:
    signal[2, 3, 1] = np.nan
    result = whole(listed(polynomial(0, 1), table(0, 1), vignette((1, 0, 0, 0, 0))), signal)
    assert np.isnan(result[2, 3, 1])
    assert np.isnan(result).sum() == 1


def test_a_gain_map_is_bilinear_between_points_at_shares_of_the_image() -> None:
    """2 x 2 points at the corners of 2 x 2 photosites, whose centres are at 1/4 and 3/4."""
    corners = np.array([[1.0, 2.0], [3.0, 5.0]])[..., None]
    result = whole(listed(gain_map(corners, (1, 1))), np.full((2, 2), 0.1))
    left, right = (1 + 2 * 0.25, 2 + 3 * 0.25), (1 + 2 * 0.75, 2 + 3 * 0.75)
    expected = [[a + (b - a) * share for share in (0.25, 0.75)] for a, b in (left, right)]
    assert result == pytest.approx(0.1 * np.array(expected), rel=SINGLE)


def test_a_gain_map_is_held_outside_its_points() -> None:
    stored = gain_map(np.array([[[2.0], [4.0]]]), (1, 0.2), (0, 0.4), area(planes=(0, 1)))
    result = whole(listed(stored), np.full((1, 10), 0.1))
    shares = (np.arange(10) + 0.5) / 10
    assert result[0] == pytest.approx(0.1 * np.interp(shares, [0.4, 0.6], [2, 4]), rel=SINGLE)
    assert result[0, [0, 9]] == pytest.approx([0.2, 0.4], rel=SINGLE)


def test_a_gain_map_of_one_point_is_one_gain_and_may_pass_one(signal: Array) -> None:
    result = whole(listed(gain_map(np.full((1, 1, 1), 3.0), (0, 0), (0.5, 0.5))), signal)
    assert result == pytest.approx(3 * signal)
    assert result.max() > 1


def test_the_last_plane_of_a_gain_map_serves_the_planes_that_are_left(signal: Array) -> None:
    stored = gain_map(np.array([[[2.0, 3.0]]]), (1, 1), where=area(planes=(0, 3)))
    assert whole(listed(stored), signal) == pytest.approx(signal * [2, 3, 3])


def test_the_first_plane_of_a_gain_map_serves_the_first_plane_of_the_area(signal: Array) -> None:
    stored = gain_map(np.array([[[2.0, 3.0]]]), (1, 1), where=area(planes=(1, 2)))
    assert whole(listed(stored), signal) == pytest.approx(signal * [1, 2, 3])


def test_after_trimming_gains_count_from_the_trimmed_image(signal: Array) -> None:
    ramp = np.linspace(1, 2, 5).reshape(1, 5, 1)
    stored = gain_map(ramp, (1, 0.25), where=area((0, 0), (0, 0)))
    trim = coded(TRIM, struct.pack(">4i", 2, 3, HEIGHT, WIDTH - 1))
    trimmed = signal[2:, 3 : WIDTH - 1]
    result = whole(listed(trim, stored), signal)[2:, 3 : WIDTH - 1]
    assert result == pytest.approx(whole(listed(stored), trimmed))


def test_vignette_gain_is_one_at_the_centre_and_the_sum_at_the_farthest_corner() -> None:
    terms = (0.5, 0.25, 0.125, 0.0625, 0.03)
    result = whole(listed(vignette(terms)), np.ones((7, 11)))
    assert result[3, 5] == pytest.approx(1)
    for corner in ((0, 0), (0, -1), (-1, 0), (-1, -1)):
        assert result[corner] == pytest.approx(1 + sum(terms))


@pytest.mark.parametrize(("x", "y"), [(0.3, 0.8), (0.8, 0.3)])
def test_vignette_gain_by_the_formula_of_the_specification(
    signal: Array, x: float, y: float
) -> None:
    terms = (0.5, 0.25, -0.1, 0.05, 0.03)
    col0, row0 = x * (WIDTH - 1), y * (HEIGHT - 1)
    reach = math.hypot(max(col0, WIDTH - 1 - col0), max(row0, HEIGHT - 1 - row0))
    r = math.hypot(4 - col0, 2 - row0) / reach
    gain = 1 + sum(k * r ** (2 * n + 2) for n, k in enumerate(terms))
    result = whole(listed(vignette(terms, x, y)), signal)
    assert result[2, 4] == pytest.approx(gain * signal[2, 4])


def test_gains_keep_negative_signal() -> None:
    assert whole(listed(vignette((1, 0, 0, 0, 0))), np.full((5, 5), -0.01))[0, 0] < -0.01
