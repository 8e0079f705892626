"""verify/frames/cells.py: means of each colour by itself, against sums in plain numpy."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from verify.frames.cells import FEWEST, WANTED_SIDE, cell_size, in_cells

BAYER = {
    "rggb": ((0, 1), (1, 2)),
    "bggr": ((2, 1), (1, 0)),
    "grbg": ((1, 0), (2, 1)),
    "gbrg": ((1, 2), (0, 1)),
}  # 0 red, 1 green, 2 blue
CMYG = ((0, 1), (2, 3))
SIX = tuple(
    tuple("RGB".index(letter) for letter in row)
    for row in ("GBGGRG", "RGRBGB", "GBGGRG", "GRGGBG", "BGBRGR", "GRGGBG")
)  # of sensors that repeat after six photosites; any order would do here
TALL = ((0, 1), (1, 2), (1, 0), (2, 1))  # 4 rows, 2 columns: its square repeat is 4 x 4
ROUNDED = 0.5  # code; OpenCV rounds the mean of whole codes
EXACT = 1e-3  # code; sums of some dozen floats of 32 bits
SIZES = ((24, 36), (25, 37), (35, 26), (29, 47))  # rows, columns


def pattern_of(rows: tuple[tuple[int, ...], ...]) -> NDArray[np.uint8]:
    return np.array(rows, np.uint8)


def codes_of(size: tuple[int, ...], kind: Any = np.uint16, seed: int = 5) -> NDArray[Any]:
    """Codes without any order."""
    return np.random.default_rng(seed).integers(0, 16384, size).astype(kind)


def plain_means(
    codes: NDArray[Any], pattern: NDArray[np.uint8] | None, colors: int, cell: int
) -> NDArray[np.float64]:
    """Mean code of each colour in each whole cell, one after the other; NaN where it has none."""
    rows, cols = codes.shape[0] // cell, codes.shape[1] // cell
    found = np.full((rows, cols, colors), np.nan)
    for row in range(rows):
        for col in range(cols):
            down = np.arange(row * cell, (row + 1) * cell)
            across = np.arange(col * cell, (col + 1) * cell)
            part = codes[np.ix_(down, across)].astype(float)
            for color in range(colors):
                if pattern is None:
                    found[row, col, color] = part[..., color].mean()
                    continue
                height, width = pattern.shape
                own = pattern[np.ix_(down % height, across % width)] == color
                if own.any():
                    found[row, col, color] = part[..., 0][own].mean()
    return found


@pytest.mark.parametrize("cell", [2, 4, 6, 10])
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("order", BAYER)
def test_a_bayer_mosaic(order: str, size: tuple[int, int], cell: int) -> None:
    pattern, codes = pattern_of(BAYER[order]), codes_of((*size, 1))
    found = in_cells(codes, pattern, 3, cell)
    assert found.dtype == np.float32
    assert found.shape == (size[0] // cell, size[1] // cell, 3)
    assert np.abs(found - plain_means(codes, pattern, 3, cell)).max() <= ROUNDED


@pytest.mark.parametrize(
    ("rows", "colors", "cell"),
    [(CMYG, 4, 2), (CMYG, 4, 6), (SIX, 3, 6), (SIX, 3, 12), (TALL, 3, 4)],
)
@pytest.mark.parametrize("size", SIZES)
def test_other_mosaics(
    rows: tuple[tuple[int, ...], ...], colors: int, cell: int, size: tuple[int, int]
) -> None:
    pattern, codes = pattern_of(rows), codes_of((*size, 1))
    found = in_cells(codes, pattern, colors, cell)
    assert found.shape == (size[0] // cell, size[1] // cell, colors)
    assert np.abs(found - plain_means(codes, pattern, colors, cell)).max() <= ROUNDED


@pytest.mark.parametrize("size", SIZES)
def test_half_of_a_wide_repeat(size: tuple[int, int]) -> None:
    """Cells of 3 x 3 of a mosaic of 6 x 6: every quarter has all three colours."""
    pattern, codes = pattern_of(SIX), codes_of((*size, 1))
    found = in_cells(codes, pattern, 3, 3)
    assert found.shape == (size[0] // 6 * 2, size[1] // 6 * 2, 3)  # whole repeats only
    expected = plain_means(codes, pattern, 3, 3)[: found.shape[0], : found.shape[1]]
    assert not np.isnan(expected).any()
    assert np.abs(found - expected).max() <= EXACT  # nothing is reduced: nothing is rounded


def test_a_colour_that_half_a_repeat_has_not_is_the_whole_repeats() -> None:
    """4 x 4 with all its red in one quarter."""
    pattern = pattern_of(((0, 1, 2, 1), (1, 2, 1, 2), (2, 1, 2, 1), (1, 2, 1, 2)))
    codes = codes_of((8, 12, 1))
    found = in_cells(codes, pattern, 3, 2)
    halves, whole = plain_means(codes, pattern, 3, 2), plain_means(codes, pattern, 3, 4)
    missing = np.isnan(halves)
    assert missing[..., 0].sum() == 3 * halves[..., 0].size // 4
    assert not missing[..., 1:].any()
    expected = np.where(missing, whole.repeat(2, 0).repeat(2, 1), halves)
    assert np.abs(found - expected).max() <= EXACT


@pytest.mark.parametrize("cell", [1, 3, 4])
@pytest.mark.parametrize("planes", [1, 3, 4])
@pytest.mark.parametrize("size", SIZES)
def test_planes_and_monochrome(size: tuple[int, int], planes: int, cell: int) -> None:
    codes = codes_of((*size, planes))
    found = in_cells(codes, None, planes, cell)
    assert found.dtype == np.float32
    assert found.shape == (size[0] // cell, size[1] // cell, planes)
    assert np.abs(found - plain_means(codes, None, planes, cell)).max() <= ROUNDED


@pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.uint32, np.float16, np.float32, float])
@pytest.mark.parametrize(("rows", "cell"), [(BAYER["rggb"], 4), (None, 5)])
def test_every_kind_of_sample(
    kind: Any, rows: tuple[tuple[int, ...], ...] | None, cell: int
) -> None:
    pattern = None if rows is None else pattern_of(rows)
    codes = (codes_of((20, 30, 1)) // 64).astype(kind)
    found = in_cells(codes, pattern, 1 if rows is None else 3, cell)
    expected = plain_means(codes, pattern, found.shape[2], cell)
    within = ROUNDED if np.dtype(kind) in (np.uint8, np.uint16) else EXACT
    assert found.dtype == np.float32
    assert np.abs(found - expected).max() <= within


def test_rounding_does_not_shift_the_mean() -> None:
    """Half a code at most in a cell, either way: nothing of it is left over many."""
    codes = codes_of((400, 600, 1)) // 8
    off = in_cells(codes, pattern_of(BAYER["rggb"]), 3, 4) - plain_means(
        codes, pattern_of(BAYER["rggb"]), 3, 4
    )
    # The mean of 15,000 errors spread evenly over a code: 0.29 / 122, four times that.
    assert abs(off.mean(axis=(0, 1))).max() < 0.02


def test_the_codes_are_left_as_they_are() -> None:
    codes = codes_of((24, 36, 1))
    before = codes.copy()
    codes.setflags(write=False)
    in_cells(codes, pattern_of(BAYER["gbrg"]), 3, 4)
    assert np.array_equal(codes, before)


@pytest.mark.parametrize(
    ("width", "height", "rows", "side"),
    [
        (6000, 4000, BAYER["rggb"], 12),  # 500 cells
        (4000, 6000, BAYER["rggb"], 12),
        (9504, 6336, BAYER["rggb"], 20),
        (480, 320, BAYER["rggb"], 2),  # no finer than the mosaic
        (96, 64, BAYER["rggb"], 2),
        (6000, 4000, SIX, 12),
        (2880, 1920, SIX, 6),
        (1800, 1200, SIX, 6),  # 300 cells are enough
        (1794, 1200, SIX, 3),
        (600, 400, SIX, 3),
        (1000, 700, TALL, 2),
        (480, 320, None, 1),
        (100, 80, None, 1),
        (4800, 3200, None, 10),
    ],
)
def test_the_side_of_a_cell(
    width: int, height: int, rows: tuple[tuple[int, ...], ...] | None, side: int
) -> None:
    pattern = None if rows is None else pattern_of(rows)
    assert cell_size(width, height, pattern) == side


@pytest.mark.parametrize(
    ("wanted", "side"), [(480, 12), (960, 6), (1500, 4), (3000, 2), (9000, 2), (100, 60)]
)
def test_as_many_cells_as_are_wanted(wanted: int, side: int) -> None:
    assert cell_size(6000, 4000, pattern_of(BAYER["rggb"]), wanted) == side


@pytest.mark.parametrize("rows", [BAYER["rggb"], SIX, CMYG, TALL, None])
@pytest.mark.parametrize("longer", [1, 7, 300, 601, 1501, 2999, 6016, 11648])
def test_a_cell_fits_the_mosaic_and_the_wanted_number(
    rows: tuple[tuple[int, ...], ...] | None, longer: int
) -> None:
    pattern = None if rows is None else pattern_of(rows)
    repeat = 1 if pattern is None else int(np.lcm(*pattern.shape))
    side = cell_size(longer, max(1, longer // 2), pattern)
    assert side % repeat == 0 or (2 * side == repeat and longer // repeat < FEWEST)
    assert longer / side >= min(WANTED_SIDE / 2, longer // repeat)
    assert longer / side <= 2 * WANTED_SIDE
