"""What mutated files showed, each in a small file that shows it: refused, or read all the same."""

import struct
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import tifffile
from small_files import (
    BLACK,
    DELTA_H,
    FLOAT,
    HEIGHT,
    LEVELS,
    LONG,
    ORIENTATION,
    RATIONAL,
    SHORT,
    TABLE,
    UNDEFINED,
    WHITE,
    WIDTH,
    changed,
    random_codes,
    read,
    tag,
    write_dng,
    write_tiff,
)

from verify.errors import NotAFrame, NotLinear
from verify.frames import exif
from verify.frames.exif import read_settings
from verify.frames.frame import Settings
from verify.frames.geometry import Box, Size
from verify.frames.open import open_frame
from verify.frames.raw import RawSource, open_raw
from verify.simulate.camera import CameraModel
from verify.simulate.camera import Settings as Set
from verify.simulate.dng import write_dng as simulated_dng
from verify.simulate.tiff import gamma_profile

Damage = Callable[[Path], Path]
IMAGE_LENGTH, STRIP_OFFSETS, ROWS_PER_STRIP, PLANAR = 257, 273, 278, 284
TILE_WIDTH, TILE_LENGTH, IMAGE_DEPTH = 322, 323, 32997
EXIF_IFD = 34665


def overwritten(path: Path, code: int, part: int, form: str, value: int, page: int = 0) -> Path:
    """A file with a part of a tag's entry written over: 2 is its type, 4 its count, 8 its value."""
    with tifffile.TiffFile(path) as file:
        directory = file.pages[page]
        assert isinstance(directory, tifffile.TiffPage)
        at, order = directory.tags[code].offset, file.byteorder
    data = bytearray(path.read_bytes())
    struct.pack_into(order + form, data, at + part, value)
    path.write_bytes(data)
    return path


def turned_dng(path: Path) -> Path:
    """A simulated DNG that was shot with the camera on its side."""
    codes = random_codes(HEIGHT, WIDTH)
    return simulated_dng(path, codes, CameraModel(), Set(orientation=6))


def test_a_damaged_exif_directory_does_not_turn_the_picture(tmp_path: Path) -> None:
    whole = turned_dng(tmp_path / "whole.dng")
    damaged = overwritten(turned_dng(tmp_path / "damaged.dng"), EXIF_IFD, 4, "I", 0)
    box = Box(3, 5, 8, 12)
    with open_frame(whole) as one, open_frame(damaged) as other:
        assert other.settings.f_number is None  # what exifread says of such a file is nothing
        assert other.settings.orientation == one.settings.orientation == 6
        assert np.array_equal(one.signal(box).signal, other.signal(box).signal)


@pytest.mark.parametrize("stated", [0, 9, 128, 65535])
def test_an_orientation_that_there_is_not_is_none(stated: int, tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), *LEVELS)
    with tifffile.TiffFile(path) as file:
        assert ORIENTATION not in file.pages.first.tags
    path = write_dng(path, random_codes(HEIGHT, WIDTH), *LEVELS, tag(ORIENTATION, SHORT, stated))
    with open_frame(path) as frame:
        assert frame.settings.orientation == 1


def leveled(path: Path) -> Path:
    """A DNG whose levels are no defaults, with a table and deltas that do not fit in an entry."""
    deltas = tag(DELTA_H, FLOAT, *np.linspace(0, 5, WIDTH).tolist())
    table = tag(TABLE, SHORT, *range(4096))
    return write_dng(path, random_codes(HEIGHT, WIDTH), *LEVELS, deltas, table)


@pytest.mark.parametrize("code", [BLACK, WHITE, DELTA_H, TABLE])
def test_a_level_of_a_type_that_there_is_not_is_refused(code: int, tmp_path: Path) -> None:
    """tifffile leaves such a tag out, and the default would stand for it."""
    read(leveled(tmp_path / "whole.dng"))
    path = overwritten(leveled(tmp_path / "a.dng"), code, 2, "H", 99)
    with pytest.raises(NotAFrame, match=f"its tag {code} is of type 99, which there is not"):
        open_frame(path)


@pytest.mark.parametrize("code", [DELTA_H, TABLE])
def test_a_level_whose_value_would_lie_in_the_header_is_refused(code: int, tmp_path: Path) -> None:
    """tifffile leaves such a tag out too."""
    path = overwritten(leveled(tmp_path / "a.dng"), code, 8, "I", 4)
    with pytest.raises(NotAFrame, match=f"the value of its tag {code} is not there"):
        open_frame(path)


def test_a_level_that_is_there_twice_must_be_the_same(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    note, more = tag(65000, SHORT, 7), tag(65001, SHORT, 8)  # private tags: they mean nothing
    path = write_dng(tmp_path / "a.dng", codes, *LEVELS, note, more)
    same = overwritten(path, 65000, 0, "H", BLACK)
    same = overwritten(same, BLACK, 8, "H", 7)
    assert read(same).black == (7.0,) * 3
    other = overwritten(same, 65001, 0, "H", BLACK)
    with pytest.raises(NotAFrame, match=f"its tag {BLACK} is there twice and says two things"):
        open_frame(other)


def test_a_raw_file_that_lost_its_version_is_not_taken_for_another_kind(tmp_path: Path) -> None:
    """Without it LibRaw reads the file, which has its own ways with the black of each photosite."""
    path = overwritten(leveled(tmp_path / "a.dng"), 50706, 4, "I", 2**31 - 1)
    with pytest.raises(NotAFrame, match="cut short: tag 50706 of it"):
        open_frame(path)


def test_the_picture_in_a_later_directory_is_held_to_the_same(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    path = tmp_path / "a.tif"
    with tifffile.TiffWriter(path) as file:
        plain: dict[str, Any] = {"metadata": None, "photometric": "minisblack"}
        file.write(codes[::8, ::8], subfiletype=1, **plain)
        file.write(codes, extratags=[tag(BLACK, SHORT, 512), tag(WHITE, SHORT, 4095)], **plain)
    with open_frame(path) as frame:
        assert frame.size == Size(WIDTH, HEIGHT)
    with pytest.raises(NotAFrame, match=f"its tag {BLACK} is of type 99"):
        open_frame(overwritten(path, BLACK, 2, "H", 99, page=1))


def test_a_picture_that_ends_in_zeros_was_never_written_whole(tmp_path: Path) -> None:
    """As where a copy breaks off that had made the file of its full length before."""
    path = write_dng(tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), *LEVELS)
    data = path.read_bytes()
    missing = 5 * 2 * WIDTH + 9  # bytes: five rows and a little
    path.write_bytes(data[:-missing] + bytes(missing))
    with open_frame(path) as frame:
        frame.signal(Box(0, 0, WIDTH, HEIGHT - 6))
        with pytest.raises(NotAFrame, match="rows of its picture are empty"):
            frame.signal(Box(4, HEIGHT - 9, 8, 6))


def test_a_picture_without_a_pedestal_may_be_black(tmp_path: Path) -> None:
    codes = random_codes(HEIGHT, WIDTH)
    codes[10:20] = 0
    for levels in ((tag(WHITE, SHORT, 4095),), (tag(BLACK, SHORT, 9), tag(WHITE, SHORT, 4095))):
        region = read(write_dng(tmp_path / "a.dng", codes, *levels))
        assert region.floored[10:20].all()


def test_a_private_tag_of_an_unknown_type_is_nobodys_business(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), *LEVELS, tag(65000, SHORT, 7))
    before = read(path)
    assert np.array_equal(read(overwritten(path, 65000, 2, "H", 99)).signal, before.signal)


def tiff(path: Path, **layout: Any) -> Path:
    """A compressed grey TIFF."""
    return write_tiff(path, random_codes(48, 64), compression="zlib", **layout)


UNDECODABLE: dict[str, tuple[Damage, str]] = {
    "tiles of no width": (
        lambda path: changed(tiff(path, tile=(16, 32)), TILE_WIDTH, 0), "cannot be decoded: copy",
    ),
    "tiles of no height": (
        lambda path: changed(tiff(path, tile=(16, 32)), TILE_LENGTH, 0), "parts of 32 x 0",
    ),
    "strips of no rows": (
        lambda path: overwritten(tiff(path), ROWS_PER_STRIP, 8, "I", 0), "cannot be decoded: copy",
    ),
    "floats of a depth that nobody reads": (
        lambda path: changed(
            write_tiff(path, np.ones((8, 64), np.float32), compression="zlib", predictor=True),
            258, 24,
        ),
        "cannot be decoded",
    ),
    "a stack": (
        lambda path: overwritten(
            write_tiff(path, random_codes(48, 64), tag(65000, SHORT, 2)), 65000, 0, "H", IMAGE_DEPTH
        ),
        "a stack",
    ),
    "places that are no whole numbers": (
        lambda path: overwritten(tiff(path), STRIP_OFFSETS, 2, "H", FLOAT),
        "its tag 273 does not hold whole numbers",
    ),
    "more pixels than its bytes can hold": (
        lambda path: changed(
            changed(tiff(path), IMAGE_LENGTH, 60_000), ROWS_PER_STRIP, 60_000, dtype=LONG
        ),
        "fewer bytes than the rows of its picture need",
    ),
    "a layout over one": (
        lambda path: overwritten(
            write_tiff(path, random_codes(48, 64, 3)), PLANAR, 2, "H", RATIONAL
        ),
        "its tag 284 does not hold one whole number",
    ),
    "two layouts": (
        lambda path: overwritten(write_tiff(path, random_codes(48, 64, 3)), PLANAR, 4, "I", 2),
        "its tag 284 does not hold one whole number",
    ),
    "black in words": (
        lambda path: write_dng(path, random_codes(48, 64), tag(BLACK, 2, b"dark\0")),
        "tag 50714 holds no numbers",
    ),
    "white over zero": (
        lambda path: write_dng(path, random_codes(48, 64), tag(WHITE, RATIONAL, 4095, 0)),
        "WhiteLevel .* no finite number",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", UNDECODABLE)
def test_what_cannot_be_decoded_gets_one_line_for_people(name: str, tmp_path: Path) -> None:
    make, said = UNDECODABLE[name]
    path = make(tmp_path / "a.tif")
    with pytest.raises(NotAFrame, match=said) as caught, open_frame(path, "linear") as frame:
        frame.signal(Box(0, 0, 4, 4))
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200


def test_what_python_says_of_damaged_tags_is_kept_from_people(tmp_path: Path) -> None:
    path = overwritten(tiff(tmp_path / "a.tif"), 256, 4, "I", 2)  # a width of two numbers
    with pytest.raises(NotAFrame) as caught:
        open_frame(path, "linear")
    said = str(caught.value)
    assert "damaged" in said
    assert "'" not in said
    assert "object" not in said


def test_a_profile_for_no_colours_at_all(tmp_path: Path) -> None:
    profile = bytearray(gamma_profile(1.8))
    profile[16:20] = bytes(4)  # where its header has the colour space
    path = write_tiff(
        tmp_path / "a.tif", random_codes(48, 64, 3), tag(34675, UNDEFINED, bytes(profile))
    )
    with pytest.raises(NotLinear) as caught:
        open_frame(path)
    assert str(caught.value).isprintable()


def test_names_of_cameras_end(tmp_path: Path) -> None:
    path = simulated_dng(
        tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), CameraModel(model="x" * 5000), Set()
    )
    model = read_settings(path).model
    assert model is not None
    assert len(model) == exif.LONGEST_TEXT


def test_a_file_of_nothing_but_entries_is_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sixty thousand entries of a thousand values each would take minutes."""
    path = turned_dng(tmp_path / "a.dng")
    assert read_settings(path).f_number == 11
    monkeypatch.setattr(exif, "MOST_READS", 30)
    assert read_settings(path) == Settings()


def test_a_text_as_long_as_the_file_is_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = turned_dng(tmp_path / "a.dng")
    monkeypatch.setattr(exif, "LONGEST_READ", 4)
    assert read_settings(path).model == "TW-1"


def test_sizes_that_are_not_those_of_the_pixels_are_refused(tmp_path: Path) -> None:
    """LibRaw believes a damaged file that its picture is higher than its sensor."""
    source, _ = open_raw(turned_dng(tmp_path / "a.dng"))
    with pytest.raises(NotAFrame, match="its size of 56 x 41 is not that of its pixels, 56 x 40"):
        RawSource(claiming(source.raw, height=41), foveon=False).read(Box(0, 0, 4, 4))
    source.close()


def claiming(raw: Any, **claimed: int) -> Any:
    """An open raw file that claims other sizes."""

    class Claiming:
        sizes = SimpleNamespace(**{**raw.sizes._asdict(), **claimed})

        def __getattr__(self, name: str) -> Any:
            return getattr(raw, name)

    return Claiming()


def test_long_lists_are_not_told_whole(tmp_path: Path) -> None:
    many = tag(50713, SHORT, 32, 32), tag(BLACK, SHORT, *[60_000] * 1024)
    path = write_dng(
        tmp_path / "a.dng", random_codes(HEIGHT, WIDTH), *many, tag(WHITE, SHORT, 4095)
    )
    with pytest.raises(NotAFrame, match="not above its black level") as caught:
        open_frame(path)
    assert len(str(caught.value)) < 200
    pattern = tag(33421, SHORT, 100, 100), tag(33422, 1, bytes([9]) * 10_000)
    path = write_dng(path, random_codes(HEIGHT, WIDTH), *LEVELS, *pattern, pattern=None)
    path = changed(path, 262, 32803)
    with pytest.raises(NotAFrame, match="is not known here") as caught:
        open_frame(path)
    assert len(str(caught.value)) < 250
