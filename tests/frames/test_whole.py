"""Files cut short anywhere: nothing their directories point to may lie beyond the end."""

import struct
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
import tifffile
from small_files import (
    BLACK,
    BYTE,
    LONG,
    RATIONAL,
    SHORT,
    UNDEFINED,
    WHITE,
    changed,
    random_codes,
    tag,
    write_dng,
    write_tiff,
)

from verify.errors import FrameError, NotAFrame
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.frames.whole import check_directories, check_pictures
from verify.simulate.ifd import Ifd, tiff_bytes

PREVIEW = np.full((30, 40, 3), 99, np.uint8)
LEVELS = (tag(BLACK, RATIONAL, 2049, 4), tag(WHITE, SHORT, 4095))
Order = Literal["<", ">"]


def write(path: Path, order: Order, big: bool) -> Path:
    """A DNG with a preview, whose raw picture and its levels lie below the first directory."""
    codes = random_codes(24, 32)
    return write_dng(path, codes, *LEVELS, preview=PREVIEW, order=order, big=big, rowsperstrip=8)


@pytest.mark.parametrize("big", [False, True])
@pytest.mark.parametrize("order", ["<", ">"])
def test_a_whole_file_passes_and_one_cut_anywhere_does_not(
    order: Order, big: bool, tmp_path: Path
) -> None:
    path = write(tmp_path / "a.dng", order, big)
    with tifffile.TiffFile(path) as file:
        check_directories(file)
        check_pictures(file)
    data = path.read_bytes()
    for length in (*range(0, len(data), 31), *range(len(data) - 9, len(data))):
        path.write_bytes(data[:length])
        with pytest.raises(FrameError) as caught, open_frame(path, "srgb") as frame:
            frame.signal(Box(0, 0, 4, 4))
        assert "\n" not in str(caught.value)


def behind(path: Path, values_last: bool) -> tuple[Path, int]:
    """A TIFF as many programs write it, the picture first and its directory behind it.

    Returned with the place where the directory begins. Behind that lies the black level.
    """
    codes = random_codes(24, 32).astype("<u2").tobytes()
    ifd = Ifd()
    numbers = {256: 32, 257: 24, 258: 16, 259: 1, 262: 1, 273: 8, 277: 1, 278: 24, 279: len(codes)}
    for code, value in numbers.items():
        ifd.add(code, LONG, value)
    ifd.add(BLACK, RATIONAL, [512.25])
    ifd.add(WHITE, LONG, 4095)
    head, body = tiff_bytes(ifd)[:8], bytearray(tiff_bytes(ifd)[8:])
    start = 8 + len(codes)
    at = body.index(struct.pack("<HHI", BLACK, RATIONAL, 1)) + 8
    (old,) = struct.unpack_from("<I", body, at)
    struct.pack_into("<I", body, at, old - 8 + start)
    if not values_last:  # the value within the file, the directory last
        body, codes = body[: old - 8], codes[:-8] + bytes(body[old - 8 : old])
        struct.pack_into("<I", body, at, start - 8)
    path.write_bytes(head[:4] + struct.pack("<I", start) + codes + bytes(body))
    return path, start


@pytest.mark.parametrize("values_last", [True, False])
def test_a_level_cut_off_behind_the_picture_is_not_taken_for_0(
    values_last: bool, tmp_path: Path
) -> None:
    """The picture is all there; a reader that leaves the tag out would measure it with black 0."""
    path, start = behind(tmp_path / "a.tif", values_last)
    with open_frame(path) as frame:
        black = frame.signal(Box(0, 0, 4, 4)).black
    assert black == pytest.approx((512.25,))
    data = path.read_bytes()
    for length in range(start, len(data)):
        path.write_bytes(data[:length])
        with pytest.raises(NotAFrame, match="cut short"):
            open_frame(path, "linear")


def test_a_preview_is_not_taken_for_the_picture_that_is_cut_off(tmp_path: Path) -> None:
    """The directory of the raw picture lies behind the preview and beyond the end."""
    path = write(tmp_path / "a.dng", "<", False)
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        assert page.pages is not None
        below, end = page.pages[0].offset, page.dataoffsets[0] + page.databytecounts[0]
    assert end <= below
    path.write_bytes(path.read_bytes()[:below])
    with pytest.raises(NotAFrame, match="cut short"):
        open_frame(path, "srgb")


def test_settings_that_are_cut_off_are_not_taken_for_unknown(tmp_path: Path) -> None:
    """The Exif directory last: without it the f-number would be that of the plan."""
    exif, first = Ifd(), Ifd()
    exif.add(33437, RATIONAL, [6.3])
    first.add(256, SHORT, 1)
    first.children[34665] = [exif]
    path = tmp_path / "a.tif"
    data = tiff_bytes(first)
    for length in range(38, len(data)):  # from the end of the first directory
        path.write_bytes(data[:length])
        with tifffile.TiffFile(path) as file, pytest.raises(NotAFrame, match="cut short"):
            check_directories(file)
    path.write_bytes(data)
    with tifffile.TiffFile(path) as file:
        check_directories(file)


@pytest.mark.parametrize(
    ("code", "kind", "value"),
    [
        (37500, UNDEFINED, b"a maker note that was moved"),
        (65000, UNDEFINED, b"abc"),
        (65000, BYTE, b"\1\2"),
    ],
)
def test_what_does_no_harm_passes(code: int, kind: int, value: bytes, tmp_path: Path) -> None:
    """A maker note whose place is beyond the end, and values inside the directory."""
    path = write_tiff(tmp_path / "a.tif", random_codes(8, 8), tag(code, kind, value))
    data = bytearray(path.read_bytes())
    at = data.index(struct.pack("<HHI", code, kind, len(value))) + 8
    if len(value) > 4:
        struct.pack_into("<I", data, at, len(data) - 3)
    path.write_bytes(data)
    with open_frame(path, "linear") as frame:
        assert frame.signal(Box(0, 0, 8, 8)).signal.shape == (8, 8)


def test_directories_that_go_round_in_a_circle_come_to_an_end(tmp_path: Path) -> None:
    first = Ifd()
    first.add(256, LONG, 8)
    first.add(330, LONG, [8, 8, 8])
    first.add(34665, LONG, 8)
    path = tmp_path / "a.tif"
    path.write_bytes(tiff_bytes(first))
    with tifffile.TiffFile(path) as file:
        check_directories(file)


def test_a_directory_that_follows_itself_is_one_picture(tmp_path: Path) -> None:
    codes = random_codes(8, 8)
    path = write_tiff(tmp_path / "a.tif", codes)
    data = bytearray(path.read_bytes())
    (start,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, start)
    struct.pack_into("<I", data, start + 2 + 12 * count, start)
    path.write_bytes(data)
    with open_frame(path, "linear") as frame:
        assert frame.signal(Box(0, 0, 8, 8)).signal == pytest.approx(codes / 65535)


@pytest.mark.parametrize(
    ("code", "value", "said"),
    [(279, 10**9, "a picture in it ends"), (273, 10**8, "a picture in it ends")],
)
def test_pictures_beyond_the_end_are_named(
    code: int, value: Any, said: str, tmp_path: Path
) -> None:
    path = changed(write_tiff(tmp_path / "a.tif", random_codes(8, 8)), code, value, dtype=LONG)
    with tifffile.TiffFile(path) as file, pytest.raises(NotAFrame, match=said) as caught:
        check_pictures(file)
    assert "cut short" in str(caught.value)


def test_too_many_tags_are_damage(tmp_path: Path) -> None:
    path = write(tmp_path / "a.dng", "<", False)
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        assert page.pages is not None
        below = page.pages[0].offset
    data = bytearray(path.read_bytes())
    struct.pack_into("<H", data, below, 60_000)
    path.write_bytes(data)
    with tifffile.TiffFile(path) as file, pytest.raises(NotAFrame, match="60000 tags"):
        check_directories(file)
