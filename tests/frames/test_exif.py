"""Camera settings as tags record them: unknown is None, and never a value."""

import struct
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import tifffile

from verify.frames.exif import read_settings
from verify.frames.frame import Settings
from verify.simulate.ifd import (
    ASCII,
    LONG,
    RATIONAL,
    SHORT,
    SRATIONAL,
    UNDEFINED,
    ByteOrder,
    Ifd,
    tiff_bytes,
)

TIME, F_NUMBER, ISO, FOCAL = 33434, 33437, 34855, 37386
KIND, SOS, REI, SPEED = 34864, 34865, 34866, 34867
ORIGINAL, DIGITIZED, CHANGED = 36867, 36868, 306
SUBSEC, SUBSEC_ORIGINAL, SUBSEC_DIGITIZED = 37520, 37521, 37522
OFFSET, OFFSET_ORIGINAL = 36880, 36881
PER_UNIT, UNIT = 41486, 41488
Tags = dict[int, tuple[int, Any]]


def written(
    path: Path, exif: Tags | None = None, first: Tags | None = None, order: ByteOrder = "<"
) -> Path:
    """A file of directories alone: tags of the first one, and of an Exif directory if any."""
    ifd = Ifd()
    ifd.add(256, LONG, 1)
    below = Ifd()
    for target, tags in ((ifd, first or {}), (below, exif or {})):
        for code, (kind, value) in tags.items():
            if value == "1/0":
                target.tags[code] = (kind, 1, struct.pack(order + "II", 1, 0))
            elif value == "0/0":
                target.tags[code] = (kind, 1, bytes(8))
            elif isinstance(value, Fraction):
                target.add(code, kind, [float(value)])
            else:
                target.add(code, kind, value)
    if exif is not None:
        ifd.children[34665] = [below]
    path.write_bytes(tiff_bytes(ifd, order))
    return path


FULL: Tags = {
    TIME: (RATIONAL, Fraction(1, 125)),
    F_NUMBER: (RATIONAL, Fraction(63, 10)),
    ISO: (SHORT, 160),
    FOCAL: (RATIONAL, 90),
    ORIGINAL: (ASCII, "2026:05:12 14:03:10"),
    SUBSEC_ORIGINAL: (ASCII, "24"),
    OFFSET_ORIGINAL: (ASCII, "+02:00"),
    42033: (ASCII, "0047  "),
    42036: (ASCII, "Tarnwick 90 mm f/4 Copy"),
}
BODY: Tags = {271: (ASCII, "Tarnwick"), 272: (ASCII, "TW-14\0\0"), 274: (SHORT, 6)}
EXPECTED = Settings(
    make="Tarnwick",
    model="TW-14",
    serial="0047",
    lens="Tarnwick 90 mm f/4 Copy",
    f_number=6.3,
    shutter_s=1 / 125,
    iso=160,
    focal_mm=90,
    captured=datetime(2026, 5, 12, 14, 3, 10, 240_000, timezone(timedelta(hours=2))),
    orientation=6,
)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("place", ["Exif", "TIFF/EP"])
def test_settings_of_an_exif_directory_and_of_the_first_one(
    place: str, order: ByteOrder, tmp_path: Path
) -> None:
    """ISO 12234-2 (TIFF/EP) keeps the exposure tags in the first directory."""
    path = tmp_path / "a.tif"
    if place == "Exif":
        written(path, FULL, BODY, order)
    else:
        written(path, None, BODY | FULL, order)
    assert read_settings(path) == EXPECTED


def test_the_exif_directory_counts_before_the_first_one(tmp_path: Path) -> None:
    path = written(tmp_path / "a.tif", {ISO: (SHORT, 200)}, {ISO: (SHORT, 100)})
    assert read_settings(path).iso == 200


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "empty"),
        (b"II*\0", "four bytes"),
        (b"II*\0\xff\xff\xff\x7f", "a directory beyond the end"),
        (b"II*\0\x08\0\0\0\xff\xff" + b"\x9a\x82\x05\0" * 40, "a directory that never ends"),
        (b"no picture at all", "text"),
        (bytes(range(256)) * 9, "anything"),
    ],
)
def test_a_file_without_readable_tags_gives_an_empty_record(
    data: bytes, why: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.tif"
    path.write_bytes(data)
    assert read_settings(path) == Settings(), why
    assert capfd.readouterr() == ("", "")


UNKNOWN: dict[str, tuple[str, Tags]] = {
    "shutter of 0": ("shutter_s", {TIME: (RATIONAL, 0)}),
    "shutter of 1/0": ("shutter_s", {TIME: (RATIONAL, "1/0")}),
    "shutter of 0/0": ("shutter_s", {TIME: (RATIONAL, "0/0")}),
    "shutter below 0": ("shutter_s", {TIME: (SRATIONAL, Fraction(-1, 60))}),
    "f/0": ("f_number", {F_NUMBER: (RATIONAL, 0)}),
    "f-number of 0/0": ("f_number", {F_NUMBER: (RATIONAL, "0/0")}),
    "ISO 0": ("iso", {ISO: (SHORT, 0)}),
    "ISO 65535 and nothing else": ("iso", {ISO: (SHORT, 65535)}),
    "ISO 65535 and tags of 0": ("iso", {ISO: (SHORT, 65535), KIND: (SHORT, 2), REI: (LONG, 0)}),
    "focal length of 0": ("focal_mm", {FOCAL: (RATIONAL, 0)}),
    "a serial of blanks": ("serial", {42033: (ASCII, "   ")}),
    "a lens of nothing": ("lens", {42036: (ASCII, "")}),
    "a time of zeros": ("captured", {ORIGINAL: (ASCII, "0000:00:00 00:00:00")}),
    "a time of blanks": ("captured", {ORIGINAL: (ASCII, "    :  :     :  :  ")}),
    "a pitch that cannot be": ("pixel_pitch_um", {PER_UNIT: (RATIONAL, 180), UNIT: (SHORT, 2)}),
}


@pytest.mark.parametrize("name", UNKNOWN)
def test_what_says_nothing_is_unknown(name: str, tmp_path: Path) -> None:
    field, tags = UNKNOWN[name]
    assert getattr(read_settings(written(tmp_path / "a.tif", tags)), field) is None


def test_ones_in_exif_are_values(tmp_path: Path) -> None:
    """A second at f/1: only a decoder writes these for "unknown"."""
    tags: Tags = {TIME: (RATIONAL, 1), F_NUMBER: (RATIONAL, 1), ISO: (SHORT, 1)}
    settings = read_settings(written(tmp_path / "a.tif", tags))
    assert (settings.shutter_s, settings.f_number, settings.iso) == (1, 1, 1)


HIGH: Tags = {SOS: (LONG, 70_001), REI: (LONG, 102_400), SPEED: (LONG, 90_003)}


@pytest.mark.parametrize(
    ("kind", "iso"),
    [(1, 70_001), (2, 102_400), (3, 90_003), (4, 102_400), (5, 90_003), (6, 102_400), (7, 102_400)],
)
def test_beyond_65535_the_tag_that_sensitivity_type_names_counts(
    kind: int, iso: float, tmp_path: Path
) -> None:
    """CIPA DC-008, SensitivityType: 1 SOS, 2 REI, 3 ISO speed, 4 to 7 several of them."""
    tags = {ISO: (SHORT, 65535), KIND: (SHORT, kind), **HIGH}
    assert read_settings(written(tmp_path / "a.tif", tags)).iso == iso


@pytest.mark.parametrize("code", [SOS, REI, SPEED])
@pytest.mark.parametrize("full", [True, False])
def test_beyond_65535_any_tag_is_better_than_none(code: int, full: bool, tmp_path: Path) -> None:
    tags: Tags = {code: HIGH[code], KIND: (SHORT, 0)}
    if full:
        tags[ISO] = (SHORT, 65535)
    assert read_settings(written(tmp_path / "a.tif", tags)).iso == HIGH[code][1]


def test_below_65535_the_usual_tag_counts(tmp_path: Path) -> None:
    tags = {ISO: (SHORT, 64), KIND: (SHORT, 2), **HIGH}
    assert read_settings(written(tmp_path / "a.tif", tags)).iso == 64


@pytest.mark.parametrize(
    ("digits", "microsecond"),
    [("05", 50_000), ("5", 500_000), ("50", 500_000), ("000", 0), ("123456789", 123_456),
     ("24 ", 240_000), ("", 0), ("ab", 0)],
)  # fmt: skip
def test_subseconds_are_digits_after_the_point(
    digits: str, microsecond: int, tmp_path: Path
) -> None:
    """CIPA DC-008: "05" is 0.05 s (check-values, section 11)."""
    tags: Tags = {ORIGINAL: (ASCII, "2026:05:12 14:03:10"), SUBSEC_ORIGINAL: (ASCII, digits)}
    captured = read_settings(written(tmp_path / "a.tif", tags)).captured
    assert captured == datetime(2026, 5, 12, 14, 3, 10, microsecond)


@pytest.mark.parametrize(
    ("text", "offset"),
    [("+02:00", timedelta(hours=2)), ("-05:30", -timedelta(hours=5, minutes=30)),
     ("Z", timedelta(0)), ("   :  ", None), ("", None)],
)  # fmt: skip
def test_offsets_from_utc(text: str, offset: timedelta | None, tmp_path: Path) -> None:
    tags: Tags = {ORIGINAL: (ASCII, "2026:05:12 14:03:10"), OFFSET_ORIGINAL: (ASCII, text)}
    captured = read_settings(written(tmp_path / "a.tif", tags)).captured
    assert captured is not None
    assert captured.utcoffset() == offset


def test_the_time_of_the_exposure_is_better_than_that_of_a_change(tmp_path: Path) -> None:
    """Each with its own fraction and its own offset."""
    exif: Tags = {
        ORIGINAL: (ASCII, "0000:00:00 00:00:00"),
        SUBSEC_ORIGINAL: (ASCII, "99"),
        DIGITIZED: (ASCII, "2026:05:12 14:03:11"),
        SUBSEC_DIGITIZED: (ASCII, "75"),
        SUBSEC: (ASCII, "25"),
        OFFSET: (ASCII, "+01:00"),
    }
    first: Tags = {CHANGED: (ASCII, "2026:06:01 09:00:00")}
    captured = read_settings(written(tmp_path / "a.tif", exif, first)).captured
    assert captured == datetime(2026, 5, 12, 14, 3, 11, 750_000)
    del exif[DIGITIZED]
    captured = read_settings(written(tmp_path / "b.tif", exif, first)).captured
    assert captured == datetime(2026, 6, 1, 9, 0, 0, 250_000, timezone(timedelta(hours=1)))


@pytest.mark.parametrize(
    ("tags", "pitch"),
    [
        ({PER_UNIT: (RATIONAL, 2540), UNIT: (SHORT, 2)}, 10.0),
        ({PER_UNIT: (RATIONAL, 2540)}, 10.0),
        ({PER_UNIT: (RATIONAL, 2500), UNIT: (SHORT, 3)}, 4.0),
        ({PER_UNIT: (RATIONAL, 250), UNIT: (SHORT, 4)}, 4.0),
        ({37390: (RATIONAL, 2500), 37392: (SHORT, 3)}, 4.0),
    ],
)
def test_pixel_pitch_by_the_unit_of_the_focal_plane(
    tags: Tags, pitch: float, tmp_path: Path
) -> None:
    """Units 2 inch, the default, 3 cm, 4 mm; TIFF/EP has the same under its own numbers."""
    found = read_settings(written(tmp_path / "a.tif", tags)).pixel_pitch_um
    assert found == pytest.approx(pitch)


@pytest.mark.parametrize("value", [0, 9, 65535])
def test_an_orientation_that_is_none_is_upright(value: int, tmp_path: Path) -> None:
    path = written(tmp_path / "a.tif", None, {274: (SHORT, value)})
    assert read_settings(path).orientation == 1


def test_names_that_only_a_dng_has(tmp_path: Path) -> None:
    """UniqueCameraModel and CameraSerialNumber, where Make and the like are missing."""
    first: Tags = {50708: (ASCII, "Tarnwick TW-14"), 50735: (ASCII, "A-0047")}
    settings = read_settings(written(tmp_path / "a.tif", None, first))
    assert (settings.model, settings.serial) == ("Tarnwick TW-14", "A-0047")


def test_text_that_is_no_text_is_unknown(tmp_path: Path) -> None:
    first: Tags = {271: (UNDEFINED, b"\x80\x81"), 272: (SHORT, 7)}
    settings = read_settings(written(tmp_path / "a.tif", None, first))
    assert settings.model is None


def test_settings_of_a_bigtiff_are_unknown_and_never_wrong(tmp_path: Path) -> None:
    """The library that reads the tags knows no 64-bit offsets."""
    path = tmp_path / "a.tif"
    tags = [(F_NUMBER, RATIONAL, 1, (63, 10), True), (ISO, SHORT, 1, 160, True)]
    with tifffile.TiffWriter(path, bigtiff=True) as file:
        file.write(shape=(4, 4), dtype="uint16", extratags=tags, metadata=None)
    assert read_settings(path) == Settings()
