"""Black and white of each photosite, clipping found among codes, and masked borders."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from verify.frames.geometry import Box
from verify.frames.levels import Levels, black_doubt, clipping_code

BLACK = np.array([[[500.0], [510.0]], [[520.0], [530.0]], [[540.0], [550.0]]])  # repeats 3 x 2
OF_ROW, OF_COL = np.array([0.0, 1.5, -2.0, 4.0, 0.5]), np.array([0.25, -0.5, 3.0, 0.0])
WHITE = np.array([4095.0])


def at(row: int, col: int) -> float:
    """Black of one photosite; outside the area of 5 x 4 rows and columns add nothing."""
    black = BLACK[row % 3, col % 2, 0]
    black += OF_ROW[row] if 0 <= row < 5 else 0
    return float(black + (OF_COL[col] if 0 <= col < 4 else 0))


@given(st.integers(-7, 7), st.integers(-7, 7), st.integers(1, 6), st.integers(1, 6))
def test_black_is_that_of_the_photosite(top: int, left: int, rows: int, cols: int) -> None:
    black = Levels(BLACK, WHITE, OF_ROW, OF_COL).black_at(Box(left, top, cols, rows))
    expected = [[at(r, c) for c in range(left, left + cols)] for r in range(top, top + rows)]
    assert np.broadcast_to(black, (rows, cols, 1))[..., 0] == pytest.approx(np.array(expected))


def test_signal_is_0_at_black_and_1_at_white_of_every_photosite() -> None:
    levels = Levels(BLACK, WHITE, OF_ROW, OF_COL)
    black = np.array([[at(r, c) for c in range(1, 4)] for r in range(1, 5)])[..., None]
    for share in (0.0, 0.25, 1.0, -0.01):
        codes = black + share * (4095 - black)
        assert levels.linear(codes, Box(1, 1, 3, 4)) == pytest.approx(
            np.full((4, 3, 1), share), abs=1e-12
        )


def test_planes_have_their_own_black_and_white() -> None:
    levels = Levels(np.array([[[100.0, 200.0, 0.0]]]), np.array([1100.0, 2200.0, 500.0]))
    codes = np.array([[[600, 200, 500]]], np.uint16)
    assert levels.linear(codes, Box(9, 7, 1, 1)) == pytest.approx(np.array([[[0.5, 0.0, 1.0]]]))


def test_nan_stays_nan() -> None:
    levels = Levels(np.zeros((1, 1, 1)), np.ones(1))
    signal = levels.linear(np.array([[[np.nan], [0.5]]]), Box(0, 0, 2, 1))
    assert np.isnan(signal[0, 0, 0])
    assert signal[0, 1, 0] == 0.5


def test_mean_black_has_what_the_lines_add_on_average() -> None:
    levels = Levels(BLACK, WHITE, OF_ROW, OF_COL)
    assert levels.mean_black(Box(2, 1, 2, 3)) == pytest.approx(BLACK + (1.5 - 2 + 4) / 3 + 1.5)
    assert Levels(BLACK, WHITE).mean_black(Box(2, 1, 2, 3)) == pytest.approx(BLACK)


def noisy(mean: float, sd: float, top: float, seed: int = 2) -> NDArray[np.uint16]:
    """A mosaic with noise, cut off at ``top``."""
    values = np.random.default_rng(seed).normal(mean, sd, (64, 64))
    return np.clip(np.rint(values), 0, top).astype(np.uint16)


def test_codes_that_pile_up_below_white_show_where_the_sensor_clips() -> None:
    assert clipping_code(noisy(12_000, 800, 12_500), 16_383, 2) == 12_500


def test_a_patch_that_is_clipped_all_over_shows_it_too() -> None:
    assert clipping_code(np.full((64, 64), 15_000), 16_383, 2) == 15_000


@pytest.mark.parametrize(
    ("codes", "why"),
    [
        (noisy(8_000, 500, 16_383), "nothing is clipped"),
        (noisy(16_000, 900, 16_383), "it clips at white itself"),
        (noisy(3_000, 500, 3_200), "sensors do not clip at a fifth of white"),
        (np.full((64, 64), 9_000), "one code without noise, far below white"),
        (np.tile(np.array([[9_000, 12_000]]), (64, 32)), "two codes without noise"),
        (np.full((4, 4), 15_000), "too few photosites to tell"),
    ],
)
def test_nothing_else_is_taken_for_clipping(codes: NDArray[np.uint16], why: str) -> None:
    assert clipping_code(codes, 16_383, 2) is None, why


def border(shift: float, sd: float = 3.0, shape: tuple[int, int] = (200, 16)) -> NDArray[np.uint16]:
    """A masked border whose level is off the black of 512 by ``shift``."""
    values = np.random.default_rng(3).normal(512 + shift, sd, shape)
    return np.rint(values).astype(np.uint16)


@pytest.mark.parametrize("shift", [-8.0, 6.0, 40.0])
def test_a_border_off_the_stated_black_is_a_doubt_worth_the_difference(shift: float) -> None:
    doubt = black_doubt(border(shift), np.array([[512.0]]), 16_383)
    assert doubt is not None
    assert doubt.warning == "black-unsure"
    assert doubt.signal == pytest.approx(abs(shift) / (16_383 - 512), rel=0.05)
    assert f"{512 + shift:.0f}" in doubt.note
    assert "512.0" in doubt.note


def test_the_border_is_held_against_the_black_of_each_photosite() -> None:
    black = np.tile(np.array([[500.0, 524.0]]), (200, 8))
    codes = np.rint(black + np.random.default_rng(4).normal(0, 3, black.shape)).astype(np.uint16)
    assert black_doubt(codes, black, 16_383) is None
    assert black_doubt(codes, black + 7, 16_383) is not None


def test_hot_photosites_in_the_border_do_not_count() -> None:
    codes = border(0)
    codes[::40, ::5] = 16_383
    assert black_doubt(codes, np.array([[512.0]]), 16_383) is None


@pytest.mark.parametrize(
    ("codes", "why"),
    [
        (border(0), "it agrees"),
        (border(1.0), "the difference is below a ten-thousandth of white"),
        (border(3_000), "that is lit, not masked"),
        (np.zeros((200, 16), np.uint16), "it was never written"),
        (border(40)[:5, :8], "too few photosites"),
    ],
)
def test_other_borders_say_nothing(codes: NDArray[np.uint16], why: str) -> None:
    assert black_doubt(codes, np.array([[512.0]]), 16_383) is None, why
