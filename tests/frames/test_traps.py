"""The traps that a frame sets when it is read, one test each, in files of known codes.

The traps are those of the project's design; details of each stand in the tests of the file that
deals with it. Those of TIFF pictures and of files that are none have a file of their own.
"""

import math
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from opcode_lists import area, coded, gain_map, polynomial, vignette
from small_files import (
    ACTIVE_AREA,
    BASELINE,
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
    ORIENTATION,
    RATIONAL,
    SHORT,
    SRATIONAL,
    TABLE,
    UNDEFINED,
    WHITE,
    WHOLE,
    WIDTH,
    linear,
    opcode_list,
    random_codes,
    read,
    tag,
    write_dng,
    write_tiff,
)

from verify.errors import NotAFrame
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.frames.raw import libraw_settings, open_raw
from verify.simulate.camera import CMYG, SIX_BY_SIX, CameraModel, Settings
from verify.simulate.dng import write_dng as simulate_dng

SINGLE = 1e-6  # relative: gains are stored in single precision


def test_black_is_per_photosite_class(tmp_path: Path) -> None:
    """Black 500 to 530 by class: with their mean each signal would be off by up to 0.004."""
    blacks = ((500, 510), (520, 530))
    codes = random_codes(HEIGHT, WIDTH)
    path = write_dng(
        tmp_path / "a.dng", codes, tag(BLACK_REPEAT, SHORT, 2, 2),
        tag(BLACK, SHORT, 500, 510, 520, 530), tag(WHITE, SHORT, 4095),
    )  # fmt: skip
    region = read(path)
    expected = linear(codes, lambda r, c: blacks[r % 2][c % 2], 4095)
    assert region.signal == pytest.approx(expected, abs=1e-12)
    assert region.black == (500, 515, 530)


def test_a_masked_border_that_disagrees_is_a_doubt_and_the_tag_stays(tmp_path: Path) -> None:
    codes = random_codes(160, 24 + WIDTH)
    codes[:, :24] = np.random.default_rng(2).normal(505.5, 2, (160, 24))
    path = write_dng(
        tmp_path / "a.dng",
        codes,
        *LEVELS,
        tag(ACTIVE_AREA, LONG, 0, 24, 160, 24 + WIDTH),
    )
    region = read(path)
    (doubt,) = region.doubts
    assert doubt.warning == "black-unsure"
    assert doubt.signal == pytest.approx(7 / (4095 - 512), rel=0.05)
    assert region.black == (512,) * 3
    assert region.signal == pytest.approx(linear(codes[:HEIGHT, 24:], 512, 4095), abs=1e-12)


def test_clipping_below_white_is_found_and_never_taken_for_white(tmp_path: Path) -> None:
    """The scale must not jump with the picture: a frame without clipping has the same."""
    values = np.random.default_rng(3).normal(3500, 150, (HEIGHT, WIDTH))
    clips = np.clip(values, 0, 3600).astype(np.uint16)
    clipped = read(write_dng(tmp_path / "a.dng", clips, *LEVELS))
    assert np.array_equal(clipped.clipped, clips == 3600)
    assert clipped.clips_at[1] == pytest.approx((3600 - 512) / (4095 - 512))
    assert clipped.white == (4095,) * 3
    assert clipped.signal == pytest.approx(linear(clips, 512, 4095), abs=1e-12)
    dim = read(write_dng(tmp_path / "b.dng", clips // 2, *LEVELS))
    assert dim.signal == pytest.approx(linear(clips // 2, 512, 4095), abs=1e-12)
    assert not dim.clipped.any()


@pytest.mark.parametrize("place", ["exif", "tiff-ep"])
@pytest.mark.parametrize(("kind", "iso"), [(1, 80_000), (2, 102_400), (3, 204_800)])
def test_iso_beyond_65535_wherever_the_exposure_tags_stand(
    place: str, kind: int, iso: float, tmp_path: Path
) -> None:
    camera, settings = CameraModel(), Settings(iso=iso, f_number=6.3, shutter_s=1 / 60)
    path = simulate_dng(
        tmp_path / "a.dng", random_codes(64, 96), camera, settings, exif=place,
        sensitivity_type=kind,
    )  # fmt: skip
    with open_frame(path) as frame:
        found = frame.settings
    assert (found.iso, found.f_number) == (iso, 6.3)
    assert found.shutter_s == pytest.approx(1 / 60)


def test_zeros_and_ones_of_what_nobody_knows_are_unknown(tmp_path: Path) -> None:
    path = simulate_dng(
        tmp_path / "a.dng", random_codes(64, 96), CameraModel(), Settings(), exif="none"
    )
    with open_frame(path) as frame:
        known = frame.settings
    source, _ = open_raw(path)
    by_decoder = libraw_settings(source)
    source.close()
    for found in (known, by_decoder):
        assert (found.f_number, found.shutter_s, found.iso, found.captured) == (None,) * 4


def test_subseconds_of_05_are_a_twentieth(tmp_path: Path) -> None:
    """The settings stand with the preview in the first directory, the raw picture below it."""
    captured = datetime(2026, 5, 12, 14, 3, 10, 50_000)
    path = simulate_dng(
        tmp_path / "a.dng",
        random_codes(64, 96),
        CameraModel(),
        Settings(captured=captured),
        preview="rgb",
    )
    assert b"05\0" in path.read_bytes()
    with open_frame(path) as frame:
        assert frame.settings.captured == captured


# (row, column) of the upright picture -> stored row and column, by the words of TIFF 6.0, tag 274
STORED = {
    1: lambda r, c: (r, c),
    2: lambda r, c: (r, WIDTH - 1 - c),
    3: lambda r, c: (HEIGHT - 1 - r, WIDTH - 1 - c),
    4: lambda r, c: (HEIGHT - 1 - r, c),
    5: lambda r, c: (c, r),
    6: lambda r, c: (HEIGHT - 1 - c, r),
    7: lambda r, c: (HEIGHT - 1 - c, WIDTH - 1 - r),
    8: lambda r, c: (c, WIDTH - 1 - r),
}


@pytest.mark.parametrize("orientation", STORED)
def test_boxes_count_in_upright_pixels_from_the_corner_of_the_active_area(
    orientation: int, tmp_path: Path
) -> None:
    """An area that begins at an odd row and column, a mosaic of four colours, a DefaultCrop that
    moves nothing: each photosite has the code and the colour that it has in the file.
    """
    pattern, top, left = ((0, 1), (3, 2)), 3, 5
    codes = random_codes(HEIGHT + 4, WIDTH + 6)
    path = write_dng(
        tmp_path / "a.dng", codes, *LEVELS, tag(ORIENTATION, SHORT, orientation),
        tag(ACTIVE_AREA, LONG, top, left, top + HEIGHT, left + WIDTH),
        tag(50719, LONG, 8, 6), tag(50720, LONG, WIDTH - 16, HEIGHT - 12),
        pattern=pattern, tile=(16, 16),
    )  # fmt: skip
    with open_frame(path) as frame:
        upright = (WIDTH, HEIGHT) if orientation < 5 else (HEIGHT, WIDTH)
        assert (frame.size.width, frame.size.height) == upright
        box = Box(7, 11, 19, 13)
        region = frame.signal(box)
    assert region.classes is not None
    for row in range(box.height):
        for col in range(box.width):
            r, c = STORED[orientation](box.row + row, box.col + col)
            expected = (float(codes[top + r, left + c]) - 512) / (4095 - 512)
            assert region.signal[row, col] == pytest.approx(expected, abs=1e-12)
            assert region.colors[region.classes[row, col]] == NAMES[pattern[r % 2][c % 2]]


def test_a_linearization_table_comes_before_black(tmp_path: Path) -> None:
    table = [round(n**1.5) for n in range(256)]
    codes = random_codes(HEIGHT, WIDTH, low=50, high=256)
    path = write_dng(
        tmp_path / "a.dng", codes, tag(TABLE, SHORT, *table), tag(BLACK, SHORT, 300),
        tag(WHITE, SHORT, 4000),
    )  # fmt: skip
    expected = linear(np.array(table)[codes], 300, 4000)
    assert read(path).signal == pytest.approx(expected, abs=1e-12)


def test_black_has_deltas_for_rows_and_columns_and_fractions(tmp_path: Path) -> None:
    across, down = np.arange(WIDTH) % 3 * 2.5, np.arange(HEIGHT) % 4 * -1.5
    codes = random_codes(HEIGHT, WIDTH)
    path = write_dng(
        tmp_path / "a.dng", codes, tag(BLACK_REPEAT, SHORT, 1, 2),
        tag(BLACK, RATIONAL, 2049, 4, 1027, 2), tag(WHITE, SHORT, 4095),
        tag(DELTA_H, SRATIONAL, *(n for d in across for n in (int(2 * d), 2))),
        tag(DELTA_V, SRATIONAL, *(n for d in down for n in (int(2 * d), 2))),
    )  # fmt: skip
    expected = linear(codes, lambda r, c: (512.25, 513.5)[c % 2] + across[c] + down[r], 4095)
    assert read(path).signal == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("dtype", ["float16", "float32"])
def test_floating_point_samples_are_signal(dtype: str, tmp_path: Path) -> None:
    codes = np.random.default_rng(4).uniform(-0.01, 1.2, (HEIGHT, WIDTH)).astype(dtype)
    path = write_dng(tmp_path / "a.dng", codes, compression="deflate", predictor=True)
    assert np.array_equal(read(path).signal, codes.astype(float))


def test_a_linear_dng_is_planes_without_a_mosaic(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH, 3)
    region = read(write_dng(tmp_path / "a.dng", codes, *LEVELS, pattern=None))
    for plane, color in enumerate(("red", "green", "blue")):
        values = linear(codes[..., plane], 512, 4095).ravel()
        assert region.values(color, "signal") == pytest.approx(values, abs=1e-12)


def test_opcodes_that_change_the_signal_are_applied_or_told(tmp_path: Path) -> None:
    """A gain of 2 to 1 across, a polynomial, a vignette after them, and one that is not known."""
    codes = random_codes(HEIGHT, WIDTH)
    every = area((0, HEIGHT), (0, WIDTH), (0, 1))
    ramp = gain_map(np.array([[[2.0], [1.0]]]), (1, 1), where=every)
    path = write_dng(
        tmp_path / "a.dng", codes, *LEVELS,
        tag(LIST_2, UNDEFINED, opcode_list(ramp, polynomial(0, 0.5, 0.1, where=every))),
        tag(LIST_3, UNDEFINED, opcode_list(vignette((0.4, 0.2, 0, 0, 0)), coded(77))),
    )  # fmt: skip
    signal = linear(codes, 512, 4095) * (2 - (np.arange(WIDTH) + 0.5) / WIDTH)
    signal = np.minimum(signal, 1.0)
    signal = 0.5 * signal + 0.1 * signal**2
    y, x = np.arange(HEIGHT) - (HEIGHT - 1) / 2, np.arange(WIDTH) - (WIDTH - 1) / 2
    r2 = np.add.outer(y**2, x**2) / math.hypot(y[0], x[0]) ** 2
    signal *= 1 + 0.4 * r2 + 0.2 * r2**2
    region = read(path)
    assert region.signal == pytest.approx(signal, rel=SINGLE)
    assert region.steps[2:] == ("GainMap", "MapPolynomial", "FixVignetteRadial")
    assert [(d.warning, "opcode 77" in d.note) for d in region.doubts] == [
        ("opcode-not-applied", True)
    ]


def test_black_of_a_lossy_dng_lies_before_its_polynomial(tmp_path: Path) -> None:
    """8-bit codes with black 51 of 255, mapped far down: black taken off what the map gives, as
    a decoder's own black would have it, would leave nothing but negative signal.
    """
    codes = random_codes(HEIGHT, WIDTH, 3, low=40, high=88).astype(np.uint8)
    map_all = polynomial(0, 0.002, 0.0128, where=area((0, HEIGHT), (0, WIDTH), (0, 3)))
    path = write_dng(
        tmp_path / "a.dng", codes, tag(BLACK, SHORT, 51), tag(WHITE, SHORT, 255),
        tag(LIST_2, UNDEFINED, opcode_list(map_all)), pattern=None,
    )  # fmt: skip
    share = (codes.astype(float) - 51) / 204
    region = read(path)
    mapped = np.sign(share) * (0.002 * np.abs(share) + 0.0128 * share**2)
    assert region.signal == pytest.approx(mapped, abs=1e-12)
    assert region.clips_at == pytest.approx((0.0148,) * 3)


def test_baseline_exposure_is_told_and_never_counted(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    path = write_dng(tmp_path / "a.dng", codes, *LEVELS, tag(BASELINE, SRATIONAL, 3, 2))
    with open_frame(path) as frame:
        assert frame.signal(WHOLE).signal == pytest.approx(linear(codes, 512, 4095), abs=1e-12)
        assert any("+1.50 stop" in note for note in frame.notes)


@pytest.mark.parametrize("shape", [(20, 28, 3), (300, 400, 3), (300, 400)])
def test_a_preview_is_never_the_picture(shape: tuple[int, ...], tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    preview = np.full(shape, 200, np.uint8)
    region = read(write_dng(tmp_path / "a.dng", codes, *LEVELS, preview=preview), transfer="srgb")
    assert region.signal == pytest.approx(linear(codes, 512, 4095), abs=1e-12)


@pytest.mark.parametrize("pattern", [SIX_BY_SIX, CMYG, None], ids=["6 x 6", "CMYG", "none"])
@pytest.mark.parametrize("through", ["our reader", "LibRaw"])
def test_other_mosaics_keep_their_colours(
    pattern: tuple[str, ...] | None, through: str, tmp_path: Path
) -> None:
    camera = replace(CameraModel(pattern=pattern), masked=(8, 6, 0, 0) if pattern else (0,) * 4)
    left, top, _, _ = camera.masked
    codes = random_codes(64 + top, 96 + left)
    path = simulate_dng(tmp_path / "a.dng", codes, camera, Settings())
    box = Box(1, 3, 12, 14)
    if through == "LibRaw":
        source, _ = open_raw(path)
        region = source.read(box)
        source.close()
    else:
        region = read(path, box=box)
    if pattern is None:
        assert region.classes is None
        assert region.colors == ("grey",)
    else:
        assert region.classes is not None
        seen = [[region.colors[i][0].upper() for i in row] for row in region.classes]
        size = len(pattern)
        assert seen == [[pattern[r % size][c % size] for c in range(1, 13)] for r in range(3, 17)]
    part = codes[top + 3 : top + 17, left + 1 : left + 13]
    assert region.signal == pytest.approx(linear(part, 512, 16383), abs=1e-12)


def test_a_sensor_of_three_planes_is_measured_and_reduced_raw_refused(tmp_path: Path) -> None:
    """Both come out of LibRaw as planes; only the one whose nature they are is linear."""
    camera = CameraModel(pattern=None, planes=3)
    codes = random_codes(64, 96, 3)
    source, _ = open_raw(simulate_dng(tmp_path / "a.dng", codes, camera, Settings()))
    with pytest.raises(NotAFrame, match="not linear"):
        source.read(WHOLE)
    green = replace(source, foveon=True).read(WHOLE).signal[..., 1]
    assert green == pytest.approx(linear(codes[:HEIGHT, :WIDTH, 1], 512, 16383), abs=1e-12)
    source.close()


def test_a_single_channel_tiff_is_no_mosaic(tmp_path: Path) -> None:
    """PhotometricInterpretation decides, with sensor levels or without."""
    codes = random_codes(HEIGHT, WIDTH)
    for levels, transfer, black, white in (((), "linear", 0, 65535), (LEVELS, None, 512, 4095)):
        region = read(write_tiff(tmp_path / "a.tif", codes, *levels), transfer=transfer)
        assert region.colors == ("grey",)
        assert region.classes is None
        assert region.signal == pytest.approx(linear(codes, black, white), abs=1e-12)
