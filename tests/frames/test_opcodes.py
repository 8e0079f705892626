"""DNG opcode lists against the specification (DNG 1.7.1.0, chapter 7) and real files."""

import math
import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import rawpy
import tifffile
from opcode_lists import (
    BAD_CONSTANT,
    BAD_LIST,
    DELTA_COL,
    DELTA_ROW,
    FISHEYE,
    HEIGHT,
    POLYNOMIAL,
    SCALE_ROW,
    TRIM,
    VIGNETTE,
    WARP,
    WARP_2,
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

from verify.errors import NotAFrame
from verify.frames.opcodes import Opcode, apply_opcodes, read_opcodes

CFA, LINEAR_RAW = 32803, 34892  # PhotometricInterpretation
LIST_2, LIST_3 = 51009, 51022  # tags of the opcode lists
CODE = 1 / 65535  # a step of what a decoder hands over


@pytest.fixture
def signal() -> Array:
    return picture()


def test_opcodes_are_read_in_order_with_their_names_and_flags() -> None:
    """Bit 0 of the flags is "optional", bit 1 "not for previews"."""
    found = listed(coded(WARP, flags=2), coded(99, b"abc", flags=3), coded(BAD_LIST, b"\0" * 12, 1))
    assert [each.name for each in found] == ["WarpRectilinear", "opcode 99", "FixBadPixelsList"]
    assert [each.number for each in found] == [1, 99, 5]
    assert [each.optional for each in found] == [False, True, True]
    assert found[1].data == b"abc"


def test_no_value_and_a_count_of_zero_are_an_empty_list() -> None:
    assert read_opcodes(b"") == ()
    assert read_opcodes(b"\0\0\0\0") == ()


def test_a_list_cut_at_any_length_is_refused_in_one_line() -> None:
    stored = struct.pack(">I", 2) + polynomial(0, 1) + lines(SCALE_ROW, np.ones(HEIGHT))
    for length in range(1, len(stored)):
        with pytest.raises(NotAFrame, match="cut short") as caught:
            read_opcodes(stored[:length])
        assert "\n" not in str(caught.value)
    assert len(read_opcodes(stored)) == 2


@pytest.mark.parametrize(
    ("stored", "said"),
    [
        (coded(POLYNOMIAL, area() + struct.pack(">I2d", 2, 0, 1)), "MapPolynomial has 52 bytes"),
        (coded(POLYNOMIAL, area() + struct.pack(">I3d", 1, 0, 1, 2)), "needs 52 bytes"),
        (polynomial(0, math.nan), "finite"),
        (polynomial(*range(10)), "degree 8"),
        (polynomial(0, 1, where=area(pitch=(0, 1))), "pitch of at least 1"),
        (polynomial(0, 1, where=area(planes=(0, 0))), "at least one plane"),
        (table(), "table of 1 to 65536"),
        (gain_map(np.ones((2, 2, 1)), (0, 1)), "spacing above 0"),
        (gain_map(np.ones((0, 2, 1)), (1, 1)), "at least one gain"),
        (gain_map(np.full((1, 1, 1), np.inf), (1, 1)), "finite"),
        (lines(SCALE_ROW, np.ones(HEIGHT - 1)), f"each of {HEIGHT} lines, not for {HEIGHT - 1}"),
        (lines(DELTA_COL, np.zeros(0), where=area(cols=(4, 4))), "each of 0 lines"),
        (coded(VIGNETTE, b"\0" * 48), "FixVignetteRadial has 48 bytes"),
        (coded(TRIM, struct.pack(">4i", 0, 5, 4, 5)), "leave a picture"),
    ],
)
def test_parameters_that_make_no_sense_are_refused(stored: bytes, said: str) -> None:
    with pytest.raises(NotAFrame, match=said) as caught:
        listed(stored)
    assert "\n" not in str(caught.value)


def test_warps_repairs_and_trimming_leave_the_signal_and_are_no_loss(signal: Array) -> None:
    trim = coded(TRIM, struct.pack(">4i", 1, 1, HEIGHT, WIDTH))
    others = [coded(n, b"\0" * 8) for n in (WARP, FISHEYE, BAD_CONSTANT, BAD_LIST, WARP_2)]
    done = apply_opcodes(listed(trim, *others), signal, 0, 0, HEIGHT, WIDTH)
    assert (done.applied, done.not_applied) == ((), ())
    assert np.array_equal(done.signal, signal)


@pytest.mark.parametrize("flags", [0, 1])
def test_an_unknown_opcode_is_reported_optional_or_not(signal: Array, flags: int) -> None:
    opcodes = listed(coded(15, flags=flags), polynomial(0, 0.5), coded(15, flags=flags))
    done = apply_opcodes(opcodes, signal, 0, 0, HEIGHT, WIDTH)
    assert done.applied == ("MapPolynomial",)
    assert done.not_applied == ("opcode 15",)
    assert done.signal == pytest.approx(signal / 2)


def test_opcodes_act_in_the_order_of_the_list(signal: Array) -> None:
    halve, raise_ = polynomial(0, 0.5), polynomial(0.1, 1)
    assert whole(listed(halve, raise_), signal) == pytest.approx(signal / 2 + 0.1)
    assert whole(listed(raise_, halve), signal) == pytest.approx((signal + 0.1) / 2)


def test_an_opcode_that_misses_the_region_is_not_listed(signal: Array) -> None:
    opcodes = listed(polynomial(0, 0.5, where=area(rows=(0, 3))))
    assert apply_opcodes(opcodes, signal[3:], 3, 0, HEIGHT, WIDTH).applied == ()
    assert apply_opcodes(opcodes, signal[2:], 2, 0, HEIGHT, WIDTH).applied == ("MapPolynomial",)


def test_the_signal_given_is_not_changed(signal: Array) -> None:
    before = signal.copy()
    whole(listed(polynomial(0, 0.5), vignette((1, 0, 0, 0, 0))), signal)
    assert np.array_equal(signal, before)


def test_a_mosaic_keeps_its_two_dimensions(signal: Array) -> None:
    opcodes = listed(polynomial(0, 0.5, where=area(planes=(0, 1))), vignette((1, 0, 0, 0, 0)))
    mosaic = whole(opcodes, signal[..., 0])
    assert mosaic.shape == (HEIGHT, WIDTH)
    assert mosaic == pytest.approx(whole(opcodes, signal[..., :1])[..., 0])


def test_deltas_in_codes_are_reported_not_added(signal: Array) -> None:
    done = apply_opcodes(
        listed(lines(DELTA_ROW, np.full(HEIGHT, 12.0))), signal, 0, 0, HEIGHT, WIDTH
    )
    assert done.not_applied == ("DeltaPerRow",)
    assert np.array_equal(done.signal, signal)


@dataclass(frozen=True, slots=True)
class RealDng:
    """Raw image of a real DNG."""

    path: Path
    codes: Array  # as stored
    lists: dict[int, tuple[Opcode, ...]]  # opcode lists by their tag


def real_dng(folder: Path, name: str) -> RealDng:
    """Read it with its codes and opcode lists; skip where it is not there."""
    path = folder / "raw" / name
    if not path.exists():
        pytest.skip(f"the real frame {name} is not there")
    with tifffile.TiffFile(path) as file:
        pages = [page for page in file.pages[0].pages or () if isinstance(page, tifffile.TiffPage)]
        raws = [page for page in pages if page.photometric in (CFA, LINEAR_RAW)]
        raw = next(page for page in raws if page.subfiletype == 0)
        lists = {tag: raw.tags.get(tag) for tag in (LIST_2, LIST_3)}
        values = {tag: bytes(found.value) if found else b"" for tag, found in lists.items()}
        return RealDng(
            path, raw.asarray().astype(float), {tag: read_opcodes(v) for tag, v in values.items()}
        )


@pytest.mark.parametrize(
    ("name", "white"),
    [
        ("canon_eos_6d_lossy_linear.dng", [1, 1, 1]),
        ("lg_g4_sample_1mp_lossy_linear.dng", [0.51, 0.998, 0.714]),
        # black 51 of 255 is left in on both sides: LibRaw maps the codes with it
        ("nikon_d500_lossy_linear_600x400.dng", [0.0149, 0.0148, 0.0149]),
    ],
)
def test_polynomials_of_lossy_files_give_what_libraw_gives(
    real_frames: Path, name: str, white: list[float]
) -> None:
    """LibRaw cuts the mapped value to a whole code, so it lies up to one below."""
    dng = real_dng(real_frames, name)
    rows, cols, _ = dng.codes.shape
    with rawpy.imread(str(dng.path)) as raw:
        by_libraw = raw.raw_image[:rows, :cols, :3] / 65535
    done = apply_opcodes(dng.lists[LIST_2], dng.codes / 255, 0, 0, rows, cols)
    assert done.applied == ("MapPolynomial",)
    assert done.not_applied == ()
    assert np.abs(done.signal - CODE / 2 - by_libraw).max() <= 0.51 * CODE
    top = apply_opcodes(dng.lists[LIST_2], np.ones((1, 1, 3)), 0, 0, rows, cols).signal
    assert top[0, 0] == pytest.approx(white, rel=2e-3)


def test_black_comes_off_before_the_polynomials_of_a_real_file(real_frames: Path) -> None:
    """A frame near black: only then does its noise lie evenly about a level near black.

    A fifth of the codes or more lie below the tagged black of 51. Mapped with the black left in,
    they would all be light.
    """
    dng = real_dng(real_frames, "nikon_d500_lossy_linear_600x400.dng")
    opcodes, black = dng.lists[LIST_2], 51.0
    done = apply_opcodes(opcodes, (dng.codes - black) / (255 - black), 0, 0, *dng.codes.shape[:2])
    for plane in range(3):
        values = done.signal[..., plane]
        assert np.mean(values < 0) > 0.15
        assert abs(np.median(values) - values.mean()) < 0.15 * values.std()
        assert 0 < values.mean() < 2 * CODE


def test_gain_maps_of_a_real_mosaic_at_single_photosites(real_frames: Path) -> None:
    """Four maps of 29 x 40 points, one for each class of a 2 x 2 mosaic."""
    dng = real_dng(real_frames, "pixel7_darkframe_510x382.dng")
    opcodes, (height, width) = dng.lists[LIST_2], dng.codes.shape
    assert [each.name for each in opcodes] == ["GainMap"] * 4
    gain = apply_opcodes(opcodes, np.ones((height, width)), 0, 0, height, width).signal
    for row, col in [(0, 0), (100, 201), (181, 300), (381, 508), (77, 33)]:
        data = opcodes[2 * (row % 2) + col % 2].data
        assert struct.unpack(">2i", data[:8]) == (row % 2, col % 2)
        down, across, step_v, step_h, *_ = struct.unpack(">2I4dI", data[32:76])
        points = np.array(struct.unpack(f">{down * across}f", data[76:])).reshape(down, across)
        at_v, at_h = (row + 0.5) / height / step_v, (col + 0.5) / width / step_h
        i, j, v, h = int(at_v), int(at_h), at_v % 1, at_h % 1
        expected = (1 - v) * ((1 - h) * points[i, j] + h * points[i, j + 1])
        expected += v * ((1 - h) * points[i + 1, j] + h * points[i + 1, j + 1])
        assert gain[row, col] == pytest.approx(expected, rel=1e-9)
    assert 1.04 < gain.min() < gain.max() < 1.08


def test_the_warp_of_a_real_file_is_no_loss(real_frames: Path) -> None:
    warp = real_dng(real_frames, "pixel7_darkframe_510x382.dng").lists[LIST_3]
    done = apply_opcodes(warp, np.ones((4, 4, 3)), 0, 0, 382, 510)
    assert [each.name for each in warp] == ["WarpRectilinear"]
    assert (done.applied, done.not_applied) == ((), ())
