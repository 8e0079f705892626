"""Camera settings from the Exif or TIFF/EP tags of a file.

A tag that is absent, zero or not a number is unknown: None, never a value.

References
----------
CIPA DC-008 (Exif 2.32): SensitivityType and the sensitivity tags 34855 and 34864 to 34867;
SubSecTimeOriginal is the fraction of a second in decimal digits. ISO 12234-2 (TIFF/EP) keeps the
exposure tags in the first directory.
"""

import contextlib
import logging
import math
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO, cast

import exifread

from verify.frames.frame import Settings

ISO_TAG_FULL = 65535  # 34855 is a SHORT: at its end the value stands in a tag of 32 bits
SENSITIVITY_TAGS = {  # by SensitivityType: which of the 32-bit tags states the speed
    1: ("0x8831",),
    2: ("0x8832",),
    3: ("0x8833",),
    4: ("0x8832", "0x8831"),
    5: ("0x8833", "0x8831"),
    6: ("0x8832", "0x8833"),
    7: ("0x8832", "0x8833", "0x8831"),
}
ANY_SENSITIVITY = ("0x8833", "0x8832", "0x8831")
TAG_NAMES = {
    "0x8831": "StandardOutputSensitivity",
    "0x8832": "RecommendedExposureIndex",
    "0x8833": "ISOSpeed",
}
UNIT_UM = {2: 25_400.0, 3: 10_000.0, 4: 1_000.0, 5: 1.0}  # FocalPlaneResolutionUnit in um
MOST_READS = 200_000  # of a file's tags; a raw file takes some thousand
LONGEST_READ = 65_536  # bytes
LONGEST_TEXT = 200  # characters; no name or number has more, what goes on is other data
PITCH_RANGE_UM = (0.5, 50.0)  # photosites of any camera; what lies outside is a wrong tag

logging.getLogger("exifread").setLevel(logging.CRITICAL)  # a damaged file gets one line from us


def read_settings(path: Path) -> Settings:
    """Settings that the tags of a file record.

    Returns
    -------
    Settings, with None for everything that the file does not state. A file without tags gives
    an empty record; nothing is raised for damaged tags.
    """
    tags: dict[str, Any] = {}
    # exifread raises many kinds of error on damaged directories, and then gives nothing; where
    # its first directory leads into pixels, it takes them for thousands of entries
    with contextlib.suppress(Exception), path.open("rb") as file:
        tags = exifread.process_file(
            cast(BinaryIO, _Sparing(file)), details=False, extract_thumbnail=False
        )
    orientation = int(_number(tags, "Orientation") or 1)
    return Settings(
        make=_text(tags, "Make"),
        model=_text(tags, "Model", "Tag 0xC614"),
        serial=_text(tags, "BodySerialNumber", "Tag 0xC62F"),
        lens=_text(tags, "LensModel"),
        f_number=_positive(tags, "FNumber"),
        shutter_s=_positive(tags, "ExposureTime"),
        iso=_iso(tags),
        focal_mm=_positive(tags, "FocalLength"),
        pixel_pitch_um=_pixel_pitch(tags),
        captured=_captured(tags),
        orientation=orientation if 1 <= orientation <= 8 else 1,
    )


class _Sparing:
    """A file that is not read any more once settings would long have been found."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._reads = 0

    def read(self, size: int = -1) -> bytes:
        """Bytes from here on, no more than a tag of settings has."""
        self._reads += 1
        if self._reads > MOST_READS:
            msg = "no directory of settings is as long"
            raise OSError(msg)
        return self._file.read(LONGEST_READ if size < 0 else min(size, LONGEST_READ))

    def seek(self, offset: int, whence: int = 0) -> int:
        """Go to a place."""
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        """The place."""
        return self._file.tell()


def _tag(tags: dict[str, Any], *names: str) -> Any:
    """First of the named tags that is there: the Exif directory's before the image's."""
    for name in names:
        for group in ("EXIF", "Image"):
            found = tags.get(f"{group} {name}")
            if found is not None and hasattr(found, "values"):
                return found.values
    return None


def _number(tags: dict[str, Any], *names: str) -> float | None:
    """First value of a numeric tag, or None."""
    values = _tag(tags, *names)
    try:
        value = float(values[0] if isinstance(values, (list, tuple)) else values)
    except (TypeError, ValueError, IndexError, ZeroDivisionError):
        return None
    return value if math.isfinite(value) else None


def _positive(tags: dict[str, Any], *names: str) -> float | None:
    """A value above zero, or None: zero is how cameras write "unknown"."""
    value = _number(tags, *names)
    return value if value is not None and value > 0 else None


def _text(tags: dict[str, Any], *names: str) -> str | None:
    """Text of a tag without padding, or None where it is empty."""
    for name in names:
        value = _tag(tags, name)
        if isinstance(value, str):
            text = value[:LONGEST_TEXT].replace("\x00", " ").strip()
            if text:
                return text
    return None


def _iso(tags: dict[str, Any]) -> float | None:
    """ISO speed, from the 32-bit tags where the SHORT one is full or missing."""
    short = _positive(tags, "ISOSpeedRatings", "PhotographicSensitivity")
    if short is not None and short < ISO_TAG_FULL:
        return short
    kind = _number(tags, "SensitivityType")
    named = SENSITIVITY_TAGS.get(int(kind), ()) if kind is not None else ()
    for code in (*named, *ANY_SENSITIVITY):
        value = _positive(tags, TAG_NAMES[code], f"Tag {code}")
        if value is not None:
            return value
    return None


def _pixel_pitch(tags: dict[str, Any]) -> float | None:
    """Distance between photosites [um] from the focal-plane resolution, of Exif or TIFF/EP."""
    resolution = _positive(tags, "FocalPlaneXResolution", "Tag 0x920E")
    unit = _number(tags, "FocalPlaneResolutionUnit", "Tag 0x9210")
    if resolution is None:
        return None
    pitch = UNIT_UM.get(int(unit) if unit is not None else 2, UNIT_UM[2]) / resolution
    return pitch if PITCH_RANGE_UM[0] <= pitch <= PITCH_RANGE_UM[1] else None


def _captured(tags: dict[str, Any]) -> datetime | None:
    """When the exposure was made, with its fraction and, where written, the offset from UTC."""
    for name, fraction, offset in (
        ("DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal"),
        ("DateTimeDigitized", "SubSecTimeDigitized", "OffsetTimeDigitized"),
        ("DateTime", "SubSecTime", "OffsetTime"),
    ):
        text = _text(tags, name)
        if text is None:
            continue
        codes = {"OffsetTimeOriginal": "Tag 0x9011", "OffsetTime": "Tag 0x9010"}
        zone = _text(tags, offset, codes.get(offset, offset)) or ""
        digits = (_text(tags, fraction) or "").strip()
        digits = digits[:6].ljust(6, "0") if digits.isdecimal() else "000000"
        for suffix in (zone, ""):
            with contextlib.suppress(ValueError):
                form = "%Y:%m:%d %H:%M:%S.%f" + ("%z" if suffix else "")
                return datetime.strptime(f"{text[:19]}.{digits}{suffix}", form)
    return None
