"""Linear and rendered TIFF files with a known transfer from light to code values.

References
----------
TIFF 6.0; IEC 61966-2-1 for the sRGB curve; ISO 15076-1 for the profiles.
"""

from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import Any, Literal

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from verify.simulate.camera import CameraModel, Settings
from verify.simulate.exif import put_settings
from verify.simulate.ifd import LONG, SHORT, UNDEFINED, ByteOrder, Ifd, tiff_bytes
from verify.simulate.samples import Compression, Storage, put_picture

Transfer = Literal["linear", "srgb"] | float

_PROFILE_DATE = slice(24, 36)  # bytes of an ICC header
_FIXED_DATE = bytes.fromhex("07ea00010001000000000000")  # the first of January 2026
# Chromaticities of IEC 61966-2-1: white, then red, green and blue, each x, y and a scale of 1.
_SRGB_WHITE = (0.3127, 0.3290, 1.0)
_SRGB_PRIMARIES = (0.64, 0.33, 1.0, 0.30, 0.60, 1.0, 0.15, 0.06, 1.0)


@dataclass(frozen=True, slots=True)
class TiffLayout:
    """How the picture is coded and laid out."""

    transfer: Transfer = "linear"  # "linear", "srgb", or a gamma: code = light ** (1 / gamma)
    dtype: Literal["uint8", "uint16", "float16", "float32"] = "uint16"
    icc: bytes | None = None  # profile as it goes into the file; nothing checks that it is true
    compression: Compression = "none"
    tile: tuple[int, int] | None = None  # rows, columns, multiples of 16; None: strips
    rows_per_strip: int | None = None  # None: one strip
    order: ByteOrder = "<"
    camera: CameraModel | None = None  # with settings: written as Exif
    settings: Settings | None = None


def write_tiff(path: str | PathLike[str], linear: NDArray[np.floating[Any]], **layout: Any) -> Path:
    """Write a picture as a TIFF.

    Parameters
    ----------
    linear : (rows, columns) or (rows, columns, 3), light with 1 at white. Whole-number files clip
        at 0 and 1; floating-point files keep what is beyond, and NaN and infinity.
    layout : fields of :class:`TiffLayout`.
    """
    options = TiffLayout(**layout)
    ifd = Ifd()
    ifd.add(254, LONG, 0)
    code = _coded(np.asarray(linear, np.float64), options.transfer)
    storage = Storage(
        options.compression, options.tile, options.rows_per_strip, order=options.order
    )
    put_picture(ifd, _quantised(code, options.dtype), storage)
    ifd.add(262, SHORT, 2 if linear.ndim > 2 else 1)
    if options.icc is not None:
        ifd.add(34675, UNDEFINED, options.icc)
    if options.camera is not None and options.settings is not None:
        put_settings(ifd, options.camera, options.settings, "exif")
    path = Path(path)
    path.write_bytes(tiff_bytes(ifd, options.order))
    return path


def srgb_profile() -> bytes:
    """ICC profile of sRGB."""
    return _dated(imagecodecs.cms_profile("srgb"))


def linear_profile() -> bytes:
    """ICC profile with the primaries of sRGB and a straight curve."""
    return gamma_profile(1.0)


def gamma_profile(gamma: float) -> bytes:
    """ICC profile with the primaries of sRGB and a curve of ``gamma``."""
    return _dated(
        imagecodecs.cms_profile(
            "rgb", whitepoint=_SRGB_WHITE, primaries=_SRGB_PRIMARIES, gamma=gamma
        )
    )


def grey_profile(gamma: float) -> bytes:
    """ICC profile of a single channel with a curve of ``gamma``."""
    return _dated(imagecodecs.cms_profile("gray", gamma=gamma))


def _dated(profile: bytes) -> bytes:
    """``profile`` with a fixed date, so that the same call gives the same bytes on any day."""
    dated = bytearray(profile)
    dated[_PROFILE_DATE] = _FIXED_DATE
    return bytes(dated)


def _coded(light: NDArray[np.float64], transfer: Transfer) -> NDArray[np.float64]:
    if transfer == "linear":
        return light
    positive = np.maximum(light, 0)
    if transfer == "srgb":
        return np.where(light <= 0.0031308, 12.92 * light, 1.055 * positive ** (1 / 2.4) - 0.055)
    return positive ** (1 / float(transfer))


def _quantised(code: NDArray[np.float64], dtype: str) -> NDArray[Any]:
    if dtype.startswith("float"):
        return code.astype(dtype)
    top = np.iinfo(dtype).max
    return np.rint(np.clip(code, 0, 1) * top).astype(dtype)
