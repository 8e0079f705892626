"""Overviews of files: the signal of every cell is that of its own photosites."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from opcode_lists import area, gain_map, polynomial
from overviews import COLS, FLOATS, HALF_CODE, ROWS, agrees, cell_means, whole_of
from small_files import (
    ACTIVE_AREA,
    BLACK,
    BLACK_REPEAT,
    DELTA_H,
    DELTA_V,
    LEVELS,
    LIST_2,
    LONG,
    SHORT,
    SRATIONAL,
    TABLE,
    UNDEFINED,
    WHITE,
    opcode_list,
    random_codes,
    tag,
    write_dng,
    write_tiff,
)

from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.frames.raw import open_raw
from verify.simulate import camera as simulated
from verify.simulate.camera import CMYG, SIX_BY_SIX, CameraModel
from verify.simulate.dng import square_root_table
from verify.simulate.dng import write_dng as write_simulated
from verify.simulate.tiff import srgb_profile

CURVE = "DngSource.reduced() leaves out the curve of lossy files: codes count as signal"

LAYOUTS: dict[str, dict[str, Any]] = {
    "one strip": {},
    "strips": {"rowsperstrip": 7},
    "tiles": {"tile": (16, 32)},
    "deflate": {"compression": "deflate", "predictor": True, "tile": (16, 32)},
    "deflated strips": {"compression": "deflate", "rowsperstrip": 5},
    "lossless JPEG": {
        "compression": "jpeg", "compressionargs": {"lossless": True}, "bitspersample": 12,
        "tile": (16, 32),
    },
    "12 bit packed": {"bitspersample": 12, "rowsperstrip": 7},
    "big-endian": {"order": ">", "rowsperstrip": 7},
    "big-endian tiles": {"order": ">", "tile": (16, 32), "compression": "deflate"},
}  # fmt: skip


@pytest.mark.parametrize("orientation", [1, 6])
@pytest.mark.parametrize("name", LAYOUTS)
def test_a_dng_of_every_layout(name: str, orientation: int, tmp_path: Path) -> None:
    codes = random_codes(ROWS, COLS)
    turn = tag(274, SHORT, orientation)
    path = write_dng(tmp_path / "a.dng", codes, *LEVELS, turn, **LAYOUTS[name])
    overview = agrees(path, HALF_CODE)
    assert (overview.cell, overview.made_from, overview.clips_at) == (2, "sensor", 1)
    assert overview.signal.shape[:2] == ((21, 30) if orientation == 1 else (30, 21))


def test_a_dng_with_a_border_and_a_black_of_each_class(tmp_path: Path) -> None:
    codes = random_codes(ROWS + 3, COLS + 9)
    path = write_dng(
        tmp_path / "a.dng", codes,
        tag(BLACK_REPEAT, SHORT, 2, 2), tag(BLACK, SHORT, 500, 540, 580, 620),
        tag(WHITE, SHORT, 4095), tag(ACTIVE_AREA, LONG, 3, 5, ROWS + 3, COLS + 5),
    )  # fmt: skip
    # Both greens are one colour: the mean of their signals is not quite that of their codes with
    # the mean of their blacks, as they have not the same span (40 codes of 3500).
    agrees(path, HALF_CODE + 0.01)
    even = np.full_like(codes, 2000)
    black = np.array([[500, 540], [580, 620]])
    of_class = (2000 - black) / (4095 - black)
    with open_frame(write_dng(path, even, *_levels_of(black))) as frame:
        red, green, blue = frame.overview().signal.mean((0, 1), dtype=float)
    assert red == pytest.approx(of_class[0, 0], abs=FLOATS)
    assert green == pytest.approx((of_class[0, 1] + of_class[1, 0]) / 2, abs=1e-4)
    assert blue == pytest.approx(of_class[1, 1], abs=FLOATS)


def _levels_of(black: NDArray[np.int_]) -> tuple[Any, ...]:
    return (
        tag(BLACK_REPEAT, SHORT, *black.shape),
        tag(BLACK, SHORT, *black.ravel().tolist()),
        tag(WHITE, SHORT, 4095),
    )


def test_a_dng_with_black_that_rows_and_columns_add(tmp_path: Path) -> None:
    """What repeats within a cell is exact; what drifts over the picture is so on average."""
    codes = random_codes(ROWS, COLS)
    repeats = [(8 if n % 2 else -4, 1) for n in range(ROWS)]
    path = write_dng(
        tmp_path / "a.dng", codes, *LEVELS,
        tag(DELTA_V, SRATIONAL, *(value for pair in repeats for value in pair)),
    )  # fmt: skip
    agrees(path, HALF_CODE + 12 / 3583)  # of the rows of one colour, half the range
    drift = [(n - COLS // 2, 2) for n in range(COLS)]
    path = write_dng(
        tmp_path / "b.dng", codes, *LEVELS,
        tag(DELTA_H, SRATIONAL, *(value for pair in drift for value in pair)),
        tag(DELTA_V, SRATIONAL, *[20, 1] * ROWS),
    )  # fmt: skip
    overview = agrees(path, HALF_CODE + COLS / 4 / 3583)
    with open_frame(path) as frame:
        off = overview.signal - cell_means(frame, overview)
    assert abs(float(off.mean())) < 5e-5  # of 0.0056 that the rows add


def test_a_dng_with_a_linearization_table(tmp_path: Path) -> None:
    table = square_root_table(4096, 4095)
    path = write_dng(
        tmp_path / "a.dng", random_codes(ROWS, COLS), tag(BLACK, SHORT, 64),
        tag(WHITE, SHORT, 4095), tag(TABLE, SHORT, *table.tolist()),
    )  # fmt: skip
    agrees(path, FLOATS)  # no whole codes are averaged


def test_a_finer_overview(tmp_path: Path) -> None:
    """As many cells as are wanted, of the same light."""
    across = np.linspace(600, 3900, 1440)
    codes = np.rint(np.broadcast_to(across, (960, 1440))).astype(np.uint16)
    path = write_dng(tmp_path / "a.dng", codes, *LEVELS, rowsperstrip=64)
    with open_frame(path) as frame:
        coarse, fine = frame.overview(), frame.overview(720)
        expected = cell_means(frame, fine)
    assert (coarse.cell, fine.cell) == (4, 2)
    assert np.abs(fine.signal - expected).max() <= HALF_CODE
    same = fine.signal.reshape(240, 2, 360, 2, 3).mean((1, 3))
    assert np.abs(coarse.signal - same).max() <= 2 * HALF_CODE


def test_opcodes_are_left_out(tmp_path: Path) -> None:
    """They cost more than a look at a picture is worth, and change light by far less than a card's
    edge does."""
    codes, gains = random_codes(ROWS, COLS), gain_map(np.full((2, 2, 1), 1.3), (1, 1))
    plain = write_dng(tmp_path / "a.dng", codes, *LEVELS)
    with_map = write_dng(
        tmp_path / "b.dng", codes, *LEVELS, tag(LIST_2, UNDEFINED, opcode_list(gains))
    )
    with open_frame(plain) as first, open_frame(with_map) as second:
        assert np.array_equal(first.overview().signal, second.overview().signal)
        assert not np.allclose(whole_of(first).signal, whole_of(second).signal)


def test_an_opcode_that_makes_codes_linear_is_not_left_out(tmp_path: Path) -> None:
    """As lossy DNG files have one: their codes are encoded, and MapPolynomial undoes it."""
    codes = random_codes(ROWS, COLS, 3, low=0, high=4095)
    undo = [polynomial(0, 0.05, 0.95, where=area((0, ROWS), (0, COLS), (n, 1))) for n in range(3)]
    path = write_dng(
        tmp_path / "a.dng", codes, tag(BLACK, SHORT, 0), tag(WHITE, SHORT, 4095),
        tag(LIST_2, UNDEFINED, opcode_list(*undo)), pattern=None,
    )  # fmt: skip
    agrees(path, FLOATS)


@pytest.mark.parametrize("planes", [3, 4])
def test_a_linear_dng(planes: int, tmp_path: Path) -> None:
    codes = random_codes(ROWS, COLS, planes)
    levels = tag(BLACK, SHORT, *range(500, 500 + planes)), tag(WHITE, SHORT, *[4095] * planes)
    path = write_dng(tmp_path / "a.dng", codes, *levels, pattern=None)
    overview = agrees(path, FLOATS)
    assert overview.cell == 1
    assert overview.colors == ("red", "green", "blue", "white")[:planes]


def test_a_linear_dng_with_a_white_of_each_plane(tmp_path: Path) -> None:
    codes = random_codes(ROWS, COLS, 3)
    levels = tag(BLACK, SHORT, 500, 510, 520), tag(WHITE, SHORT, 4000, 3000, 2000)
    agrees(write_dng(tmp_path / "a.dng", codes, *levels, pattern=None), FLOATS)


def test_a_monochrome_and_a_floating_point_dng(tmp_path: Path) -> None:
    codes = random_codes(ROWS, COLS)
    overview = agrees(write_dng(tmp_path / "a.dng", codes, *LEVELS, pattern=None), FLOATS)
    assert (overview.colors, overview.neutral, overview.cell) == (("grey",), (1,), 1)
    levels = tag(BLACK, SHORT, 0), tag(WHITE, SHORT, 1)
    light = np.random.default_rng(3).uniform(0, 1, (ROWS, COLS)).astype(np.float32)
    agrees(write_dng(tmp_path / "b.dng", light, *levels), FLOATS)


@pytest.mark.parametrize("pattern", [CMYG, SIX_BY_SIX])
@pytest.mark.parametrize("orientation", [1, 7])
def test_other_mosaics(pattern: tuple[str, ...], orientation: int, tmp_path: Path) -> None:
    body = CameraModel(pattern=pattern, white=4095, bits=12)
    settings = simulated.Settings(orientation=orientation)
    path = write_simulated(tmp_path / "a.dng", random_codes(ROWS, COLS), body, settings)
    overview = agrees(path, HALF_CODE)
    assert overview.cell == (2 if pattern == CMYG else 3)


def test_through_libraw(tmp_path: Path) -> None:
    """The same file by its own source and by the one for camera files."""
    body = CameraModel(black=((500.0, 540.0), (540.0, 620.0)), white=4095, bits=12)
    codes = random_codes(64, 96)
    path = write_simulated(tmp_path / "a.dng", codes, body, simulated.Settings())
    source, _ = open_raw(path)
    reduced = source.reduced()
    with open_frame(path) as frame:
        own = frame.overview()
        assert reduced.colors == own.colors
        assert np.abs(reduced.signal - own.signal).max() <= FLOATS
        assert reduced.neutral == pytest.approx(own.neutral, rel=1e-5)
        assert np.abs(own.signal - cell_means(frame, own)).max() <= HALF_CODE
    source.close()


def test_where_a_sensor_clips_below_white_through_libraw(tmp_path: Path) -> None:
    body = CameraModel(clip=14000)
    codes = random_codes(64, 96, low=9000, high=18000).clip(max=14000)
    path = write_simulated(tmp_path / "a.dng", codes, body, simulated.Settings())
    source, _ = open_raw(path)
    assert source.reduced().clips_at == pytest.approx((14000 - 512) / (16383 - 512))
    source.close()


def test_where_a_sensor_clips_below_white(tmp_path: Path) -> None:
    body = CameraModel(clip=14000)
    codes = random_codes(64, 96, low=9000, high=18000).clip(max=14000)
    path = write_simulated(tmp_path / "a.dng", codes, body, simulated.Settings())
    with open_frame(path) as frame:
        assert frame.overview().clips_at == pytest.approx((14000 - 512) / (16383 - 512))
        assert whole_of(frame).clips_at[1] == pytest.approx((14000 - 512) / (16383 - 512))


TIFFS: dict[str, tuple[str, dict[str, Any]]] = {
    "linear": ("linear", {}),
    "sRGB": ("srgb", {}),
    "a gamma, in strips": ("2.2", {"rowsperstrip": 7}),
    "tiles, deflated": ("linear", {"tile": (16, 32), "compression": "deflate"}),
    "planes apart": ("linear", {"planarconfig": "separate"}),
    "big-endian": ("srgb", {"order": ">"}),
}


@pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.float32])
@pytest.mark.parametrize("planes", [1, 3])
@pytest.mark.parametrize("name", TIFFS)
def test_a_tiff(name: str, planes: int, kind: Any, tmp_path: Path) -> None:
    transfer, layout = TIFFS[name]
    if planes == 1 and "planarconfig" in layout:
        layout = {}
    shape = (ROWS, COLS) if planes == 1 else (ROWS, COLS, planes)
    light = np.random.default_rng(4).uniform(0, 1, shape)
    top = 1 if kind is np.float32 else np.iinfo(kind).max
    path = write_tiff(tmp_path / "a.tif", (light * top).astype(kind), **layout)
    overview = agrees(path, FLOATS, transfer)
    assert (overview.cell, overview.neutral) == (1, (1,) * planes)
    assert overview.colors == (("grey",) if planes == 1 else ("red", "green", "blue"))


def test_a_tiff_with_a_profile_an_alpha_channel_or_white_as_zero(tmp_path: Path) -> None:
    codes = random_codes(ROWS, COLS, 4, low=0, high=65535)
    profile = srgb_profile()
    icc = tag(34675, UNDEFINED, profile)
    path = write_tiff(tmp_path / "a.tif", codes, icc, photometric="rgb", extrasamples=[2])
    assert agrees(path, FLOATS).signal.shape[2] == 3
    inverted = write_tiff(tmp_path / "b.tif", codes[..., 0], photometric="miniswhite")
    overview = agrees(inverted, FLOATS, "linear")
    assert overview.signal[..., 0] == pytest.approx(1 - codes[..., 0] / 65535, abs=FLOATS)


def test_a_large_encoded_picture_is_averaged_before_it_is_decoded(tmp_path: Path) -> None:
    """Cells of an even surface are right; over an edge the mean of codes is not that of light."""
    across = np.linspace(0.2, 0.8, 1440)
    codes = np.rint(np.broadcast_to(across, (900, 1440)) * 65535).astype(np.uint16)
    path = write_tiff(tmp_path / "a.tif", codes)
    overview = agrees(path, 1e-5, "2.2")
    assert overview.cell == 3
    assert overview.signal.shape == (300, 480, 1)


@pytest.mark.parametrize(
    "name",
    ["RAW_NIKON_D1.NEF", "RAW_CANON_G1.CRW", "RAW_KODAK_DC50.KDC", "blackmagic_pocket_cup.dng",
     "canon550d_magiclantern_colorchecker.dng", "oiio_synthetic_bayer_256x172.dng",
     "canon_eos_6d_lossy_linear.dng"],
)  # fmt: skip
def test_overviews_of_real_files(name: str, real_frames: Path) -> None:
    with open_frame(real_frames / "raw" / name) as frame:
        overview = frame.overview()
        expected = cell_means(frame, overview)
        span = min(w - b for w, b in zip(*_ends(frame), strict=True))
    off = np.abs(overview.signal - expected)
    if "lossy" in name:  # its curve is applied to the means of cells: edges within one bend it
        assert np.median(off / np.maximum(expected, 1e-4)) < 0.02
        assert np.mean(off <= 0.05 * expected + 1e-3) > 0.9
    else:  # half a code
        assert np.mean(off <= 0.51 / span + 1e-5) > 0.999


def _ends(frame: Frame) -> tuple[tuple[float, ...], tuple[float, ...]]:
    region = frame.signal(Box(0, 0, 16, 16))
    return region.white, region.black
