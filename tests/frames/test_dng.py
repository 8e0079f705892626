"""DNG files of known codes: their signal by the words of the specification (DNG 1.7.1.0)."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from opcode_lists import area, gain_map, polynomial, vignette
from small_files import (
    ACTIVE_AREA,
    BLACK,
    BLACK_REPEAT,
    DELTA_H,
    DELTA_V,
    HEIGHT,
    LEVELS,
    LIST_2,
    LIST_3,
    LONG,
    NAMES,
    RATIONAL,
    RGGB,
    SHORT,
    SRATIONAL,
    TABLE,
    UNDEFINED,
    WHITE,
    WHOLE,
    WIDTH,
    check,
    linear,
    opcode_list,
    random_codes,
    read,
    tag,
    write_dng,
)

from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.simulate.camera import SIX_BY_SIX
from verify.simulate.ifd import ByteOrder

LAYOUTS: dict[str, dict[str, Any]] = {
    "one strip": {},
    "strips": {"rowsperstrip": 7},
    "tiles": {"tile": (16, 32)},
    "deflate": {"compression": "deflate", "predictor": True, "tile": (16, 32)},
    "lossless JPEG": {
        "compression": "jpeg", "compressionargs": {"lossless": True}, "bitspersample": 12,
        "tile": (16, 32),
    },
    "12 bit packed": {"bitspersample": 12, "rowsperstrip": 7},
    "big-endian": {"order": ">", "tile": (16, 32)},
    "BigTIFF": {"big": True, "rowsperstrip": 7},
    "in a SubIFD": {"preview": np.full((90, 120, 3), 99, np.uint8), "tile": (16, 32)},
    "grey preview larger than the raw": {"preview": np.full((200, 300), 9, np.uint8)},
    "in a SubIFD, big-endian BigTIFF": {
        "preview": np.full((90, 120, 3), 99, np.uint8), "order": ">", "big": True,
    },
}  # fmt: skip


@pytest.mark.parametrize("name", LAYOUTS)
def test_signal_of_every_layout(name: str, tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    path = write_dng(tmp_path / "a.dng", codes, *LEVELS, **LAYOUTS[name])
    region = check(path, linear(codes, 512, 4095))
    assert region.colors == ("red", "green", "blue")
    assert region.classes is not None
    assert np.array_equal(region.classes, np.tile([[0, 1], [1, 2]], (20, 28)))
    assert region.black == (512,) * 3
    assert region.white == (4095,) * 3
    assert region.clips_at == (1,) * 3
    assert region.steps == ("black", "scale to white")
    assert region.doubts == ()


Drawn = tuple[Path, NDArray[np.float64]]


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Drawn:
    """A tiled file with everything that depends on the place, and its whole signal."""
    codes = random_codes(HEIGHT + 3, WIDTH + 5)
    delta_h, delta_v = np.arange(WIDTH) * 3 - 40, 25 - np.arange(HEIGHT)
    points = np.random.default_rng(8).uniform(1, 2, (3, 4, 1))
    gains = gain_map(points, (0.5, 1 / 3), where=area((1, HEIGHT), (0, WIDTH), (0, 1), (2, 2)))
    path = write_dng(
        tmp_path_factory.mktemp("drawn") / "a.dng",
        codes,
        tag(BLACK_REPEAT, SHORT, 2, 2),
        tag(BLACK, SHORT, 500, 510, 520, 530),
        tag(WHITE, SHORT, 4095),
        tag(DELTA_H, SRATIONAL, *(n for d in delta_h for n in (int(d), 4))),
        tag(DELTA_V, SRATIONAL, *(n for d in delta_v for n in (int(d), 2))),
        tag(ACTIVE_AREA, LONG, 3, 5, HEIGHT + 3, WIDTH + 5),
        tag(LIST_2, UNDEFINED, opcode_list(gains)),
        tag(LIST_3, UNDEFINED, opcode_list(vignette((0.3, 0.1, 0, 0, 0.05), 0.4, 0.6))),
        tile=(16, 16),
        compression="deflate",
    )
    return path, read(path).signal


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_box_is_the_region_of_the_whole(drawn: Drawn, data: st.DataObject) -> None:
    path, whole = drawn
    top, left = data.draw(st.integers(0, HEIGHT - 1)), data.draw(st.integers(0, WIDTH - 1))
    rows, cols = (data.draw(st.integers(1, n)) for n in (HEIGHT - top, WIDTH - left))
    region = read(path, Box(left, top, cols, rows))
    assert np.allclose(
        region.signal, whole[top : top + rows, left : left + cols], rtol=0, atol=1e-12
    )
    assert region.classes is not None
    assert region.classes[0, 0] == RGGB[top % 2][left % 2]


def test_black_is_a_pattern_with_rows_and_columns_added(tmp_path: Path) -> None:
    """BlackLevel in 256ths, repeated 3 x 2 while the mosaic repeats 2 x 2; deltas in fractions.

    42 x 60 photosites hold whole repeats of all, so that the means of a colour are theirs.
    """
    blacks = [[500.5, 510.25], [520.0, 530.75], [540.0, 509.5]]
    rows, cols = 42, 60
    across, down = np.arange(cols) % 5 - 2.5, np.arange(rows) % 7 * 0.25
    codes = random_codes(rows, cols)
    path = write_dng(
        tmp_path / "a.dng",
        codes,
        tag(BLACK_REPEAT, SHORT, 3, 2),
        tag(BLACK, RATIONAL, *(n for row in blacks for b in row for n in (int(b * 256), 256))),
        tag(WHITE, LONG, 4095),
        tag(DELTA_H, SRATIONAL, *(n for d in across for n in (int(d * 2), 2))),
        tag(DELTA_V, SRATIONAL, *(n for d in down for n in (int(d * 4), 4))),
    )

    def black(row: int, col: int) -> float:
        return float(blacks[row % 3][col % 2] + across[col] + down[row])

    region = check(path, linear(codes, black, 4095), Box(0, 0, cols, rows))
    at = np.array([[black(r, c) for c in range(cols)] for r in range(rows)])
    assert region.colors == ("red", "green", "blue")
    greens = np.concatenate([at[::2, 1::2].ravel(), at[1::2, ::2].ravel()])
    assert region.black == pytest.approx(
        (at[::2, ::2].mean(), greens.mean(), at[1::2, 1::2].mean())
    )


@pytest.mark.parametrize("values", [(512.5,), (500.25, 512.5, 525.0)])
@pytest.mark.parametrize("whites", [(4095,), (3000, 4095, 3500)])
def test_linear_planes_have_a_black_and_a_white_each(
    values: tuple[float, ...], whites: tuple[int, ...], tmp_path: Path
) -> None:
    codes = random_codes(HEIGHT, WIDTH, 3, high=2900)
    path = write_dng(
        tmp_path / "a.dng",
        codes,
        tag(BLACK, RATIONAL, *(n for b in values for n in (int(b * 4), 4))),
        tag(WHITE, SHORT, *whites),
        pattern=None,
    )
    black, white = np.resize(values, 3), np.resize(whites, 3)
    planes = [linear(codes[..., p], float(black[p]), float(white[p])) for p in range(3)]
    region = check(path, np.stack(planes, axis=-1))
    assert region.colors == ("red", "green", "blue")
    assert region.classes is None
    assert region.black == pytest.approx(tuple(black))
    assert region.white == pytest.approx(tuple(white))
    assert region.values("green", "signal") == pytest.approx(planes[1].ravel())


def test_planes_stored_one_after_another(tmp_path: Path) -> None:
    codes = random_codes(3, HEIGHT, WIDTH)
    path = write_dng(
        tmp_path / "a.dng", codes, *LEVELS, pattern=None, planarconfig="separate",
        tile=(16, 16), compression="deflate",
    )  # fmt: skip
    check(path, np.stack([linear(plane, 512, 4095) for plane in codes], axis=-1))


@pytest.mark.parametrize("dtype", ["float16", "float32", "float64"])
@pytest.mark.parametrize("order", ["<", ">"])
def test_floating_point_samples_are_signal_with_white_at_1(
    dtype: str, order: ByteOrder, tmp_path: Path
) -> None:
    """NaN stays NaN and is not clipped; nothing is at the floor of a type without one."""
    codes = np.random.default_rng(3).uniform(-0.1, 1.1, (HEIGHT, WIDTH)).astype(dtype)
    codes[4, 6], codes[5, 7] = np.nan, np.inf
    path = write_dng(
        tmp_path / "a.dng", codes, order=order, compression="deflate", predictor=True, tile=(16, 32)
    )
    region = read(path)
    assert np.array_equal(region.signal, codes.astype(float), equal_nan=True)
    assert np.array_equal(region.clipped, codes >= 1)
    assert not region.floored.any()
    with open_frame(path) as frame:
        mean = frame.scene_mean()
    green = codes[np.add(*np.indices(codes.shape)) % 2 == 1].astype(float)
    assert mean == pytest.approx(float(green[np.isfinite(green)].mean()), rel=1e-9)


def test_a_linearization_table_holds_its_last_value_for_higher_codes(tmp_path: Path) -> None:
    """DNG 1.7.1.0, chapter 5: codes beyond the table become its last entry."""
    table = np.rint(np.linspace(16, 60, 300) ** 2).astype(int)
    codes = random_codes(HEIGHT, WIDTH, low=0, high=360)
    path = write_dng(
        tmp_path / "a.dng", codes, tag(TABLE, SHORT, *table.tolist()), tag(BLACK, SHORT, 256),
        tag(WHITE, SHORT, 3600),
    )  # fmt: skip
    mapped = table[np.minimum(codes, 299)]
    region = check(path, linear(mapped, 256, 3600))
    assert region.steps[0] == "linearization table"
    assert np.array_equal(region.clipped, codes >= 299)
    assert np.array_equal(region.floored, codes == 0)


def test_white_left_out_is_the_highest_code(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    path = write_dng(tmp_path / "a.dng", codes, bitspersample=12)
    check(path, linear(codes, 0, 4095))


def test_clipped_is_at_white_and_floored_at_the_lowest_code(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    codes[3, 4], codes[5, 6], codes[7, 8], codes[9, 9] = 4095, 4094, 4200, 0
    region = read(write_dng(tmp_path / "a.dng", codes, *LEVELS))
    assert np.argwhere(region.clipped).tolist() == [[3, 4], [7, 8]]
    assert np.argwhere(region.floored).tolist() == [[9, 9]]
    assert region.signal[9, 9] == pytest.approx(-512 / (4095 - 512))


MOSAICS: dict[str, tuple[tuple[int, ...], ...]] = {
    "BGGR": ((2, 1), (1, 0)),
    "GRBG": ((1, 0), (2, 1)),
    "GBRG": ((1, 2), (0, 1)),
    "CMYG": ((1, 4), (3, 5)),
    "with white": ((0, 1), (6, 2)),
    "6 x 6": tuple(tuple("RGB".index(c) for c in row) for row in SIX_BY_SIX),
    "2 x 4": ((0, 1, 2, 1), (1, 0, 1, 2)),
}


@pytest.mark.parametrize("corner", [(0, 0), (1, 0), (0, 1), (3, 5), (9, 7)])
@pytest.mark.parametrize("name", MOSAICS)
def test_the_mosaic_begins_at_the_corner_of_the_active_area(
    name: str, corner: tuple[int, int], tmp_path: Path
) -> None:
    """DNG 1.7.1.0, CFAPattern: relative to the top-left corner of the ActiveArea."""
    pattern, (top, left) = MOSAICS[name], corner
    codes = random_codes(HEIGHT + top + 2, WIDTH + left + 1)
    area_tag = tag(ACTIVE_AREA, LONG, top, left, top + HEIGHT, left + WIDTH)
    path = write_dng(tmp_path / "a.dng", codes, *LEVELS, area_tag, pattern=pattern, tile=(16, 16))
    with open_frame(path) as frame:
        assert (frame.size.width, frame.size.height) == (WIDTH, HEIGHT)
        for box in (WHOLE, Box(3, 5, 11, 7), Box(7, 0, 1, 1)):
            region = frame.signal(box)
            assert region.classes is not None
            for row in range(box.height):
                for col in range(box.width):
                    r, c = box.row + row, box.col + col
                    code = pattern[r % len(pattern)][c % len(pattern[0])]
                    assert region.colors[region.classes[row, col]] == NAMES[code]
                    expected = (float(codes[top + r, left + c]) - 512) / (4095 - 512)
                    assert region.signal[row, col] == pytest.approx(expected, abs=1e-12)


def test_one_plane_without_a_mosaic_is_grey(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    region = check(
        write_dng(tmp_path / "a.dng", codes, *LEVELS, pattern=None), linear(codes, 512, 4095)
    )
    assert region.colors == ("grey",)
    assert region.classes is None


@pytest.mark.parametrize("pattern", [RGGB, None])
def test_a_sensor_that_clips_below_white_is_found_out(
    pattern: tuple[tuple[int, int], ...] | None, tmp_path: Path
) -> None:
    values = np.random.default_rng(3).normal(3500, 150, (HEIGHT, WIDTH))
    codes = np.clip(values, 0, 3600).astype(np.uint16)
    path = write_dng(tmp_path / "a.dng", codes, *LEVELS, pattern=pattern)
    region = check(path, linear(codes, 512, 4095))
    assert np.array_equal(region.clipped, codes == 3600)
    assert region.clips_at[0] == pytest.approx((3600 - 512) / (4095 - 512))


def test_list_2_acts_after_black_and_list_3_after_it(tmp_path: Path) -> None:
    """On linear planes all of list 3; a map that names one plane leaves the others alone."""
    codes = random_codes(HEIGHT, WIDTH, 3)
    whole = area((0, HEIGHT), (0, WIDTH), (0, 3))
    green = area((0, HEIGHT), (0, WIDTH), (1, 1))
    path = write_dng(
        tmp_path / "a.dng",
        codes,
        *LEVELS,
        tag(LIST_2, UNDEFINED, opcode_list(polynomial(0, 0.5, where=whole))),
        tag(LIST_3, UNDEFINED, opcode_list(polynomial(0.25, 1, where=green))),
        pattern=None,
    )
    expected = np.stack([linear(codes[..., p], 512, 4095) for p in range(3)], axis=-1) / 2
    expected[..., 1] += 0.25
    region = check(path, expected)
    assert region.steps == ("black", "scale to white", "MapPolynomial")
    assert region.clips_at == pytest.approx((0.5, 0.75, 0.5))
    assert region.doubts == ()


def test_a_gain_moves_the_level_of_clipping_with_the_card(tmp_path: Path) -> None:
    """Each colour clips where its own opcodes put white, at the place of the box."""
    codes = random_codes(HEIGHT, WIDTH)
    whole = area((0, HEIGHT), (0, WIDTH), (0, 1))
    red = area((0, HEIGHT), (0, WIDTH), (0, 1), (2, 2))
    stretched = gain_map(np.array([[[1.0], [3.0]]] * 2), (1, 1), where=whole)
    path = write_dng(
        tmp_path / "a.dng",
        codes,
        *LEVELS,
        tag(LIST_2, UNDEFINED, opcode_list(polynomial(0, 0.5, where=red), stretched)),
    )
    column = 20
    region = read(path, Box(column, 8, 2, 2))
    gains = [1 + 2 * (c + 0.5) / WIDTH for c in (column, column + 1)]
    green, blue = (gains[0] + gains[1]) / 2, gains[1]
    assert region.clips_at == pytest.approx((gains[0] / 2, green, blue), rel=1e-6)


def test_a_mean_of_the_scene_from_every_layout(tmp_path: Path) -> None:
    """Of noise about one level every sample is as good as the whole."""
    codes = np.rint(np.random.default_rng(7).normal(2000, 40, (1100, 1000))).astype(np.uint16)
    expected = pytest.approx((2000 - 512) / (4095 - 512), rel=1e-3)
    few = {"tile": (64, 64), "compression": "lzw"}
    layouts: list[dict[str, Any]] = [{}, few, {"tile": (512, 512)}]
    for n, layout in enumerate(layouts):
        with open_frame(write_dng(tmp_path / f"{n}.dng", codes, *LEVELS, **layout)) as frame:
            assert frame.scene_mean() == (expected if n < 2 else None)
