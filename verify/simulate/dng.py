"""Simulated exposures as DNG files, in the layouts that cameras and converters write.

References
----------
DNG specification 1.7.1.0; TIFF/EP (ISO 12234-2) for the mosaic tags.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from os import PathLike
from pathlib import Path
from typing import Any, Literal

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from verify.simulate.camera import CameraModel, Settings
from verify.simulate.exif import ExifPlace, put_settings
from verify.simulate.ifd import (
    ASCII,
    BYTE,
    LONG,
    RATIONAL,
    SHORT,
    SRATIONAL,
    UNDEFINED,
    ByteOrder,
    Ifd,
    tiff_bytes,
)
from verify.simulate.samples import Compression, Storage, put_picture

_COLOUR_CODES = {"R": 0, "G": 1, "B": 2, "C": 3, "M": 4, "Y": 5}
_CFA, _LINEAR_RAW = 32803, 34892  # PhotometricInterpretation
_D65 = 21  # CalibrationIlluminant
# XYZ to camera space of an invented sensor; a fourth row serves mosaics of four colours.
_COLOUR_MATRIX = (0.9, -0.3, -0.1, -0.4, 1.2, 0.2, 0.0, 0.2, 0.6, 0.1, 0.5, 0.3)
_THUMBNAIL_PX = 96  # width of the preview
_OPCODE_TAGS = {1: 51008, 2: 51009, 3: 51022}


@dataclass(frozen=True, slots=True)
class DngLayout:
    """How the file is laid out; the defaults are a plain raw picture in the first directory."""

    compression: Compression = "none"
    tile: tuple[int, int] | None = None  # rows, columns, multiples of 16; None: strips
    rows_per_strip: int | None = None  # None: one strip
    packed: bool = False  # uncompressed samples of the camera's own depth, bit after bit
    samples: Literal["uint16", "float16", "float32"] = "uint16"  # floats: 1 is the white level
    order: ByteOrder = "<"
    exif: ExifPlace = "exif"
    sensitivity_type: int = 2  # 1 SOS, 2 REI, 3 ISO speed: which tag holds an ISO above 65535
    preview: Literal["rgb", "jpeg"] | None = None  # in the first directory, the raw in one below it
    preview_picture: NDArray[np.uint8] | None = None  # it, not upright; None: small and grey
    table: NDArray[np.uint16] | None = None  # LinearizationTable: ascending DN of each stored code
    masked_areas: bool = False  # MaskedAreas, besides ActiveArea
    crop_px: int = 0  # DefaultCrop: so much narrower than the active area on each side
    baseline_exposure: float | None = None  # stops; a hint for rendering
    linear_response_limit: float | None = None  # share of white up to which the signal is linear
    opcodes: Mapping[int, bytes] = field(default_factory=dict)  # number of the list -> its bytes
    without: tuple[int, ...] = ()  # tags left out again


def write_dng(
    path: str | PathLike[str],
    mosaic: NDArray[np.uint16],
    camera: CameraModel,
    settings: Settings,
    **layout: Any,
) -> Path:
    """Write ``mosaic`` as a DNG.

    Parameters
    ----------
    mosaic : (rows, columns) or (rows, columns, 3), the whole sensor, not upright [DN].
    layout : fields of :class:`DngLayout`.

    Raises
    ------
    ValueError
        If the compression cannot hold such samples.
    """
    options = DngLayout(**layout)
    raw = Ifd()
    _put_raw(raw, mosaic, camera, options)
    first = raw
    if options.preview:
        first = Ifd()
        _put_preview(first, mosaic, camera, options)
        first.children[330] = [raw]
    _put_file_tags(first, camera, options)
    put_settings(first, camera, settings, options.exif, options.sensitivity_type)
    for ifd in {id(raw): raw, id(first): first}.values():
        for tag in options.without:
            ifd.tags.pop(tag, None)
    path = Path(path)
    path.write_bytes(tiff_bytes(first, options.order))
    return path


def square_root_table(codes: int, white: int) -> NDArray[np.uint16]:
    """Give a LinearizationTable whose steps grow with the signal as its shot noise does."""
    return np.rint(np.linspace(0, 1, codes) ** 2 * white).astype(np.uint16)


def _put_file_tags(ifd: Ifd, camera: CameraModel, options: DngLayout) -> None:
    ifd.add(50706, BYTE, (1, 4, 0, 0))
    ifd.add(50707, BYTE, (1, 4 if options.samples != "uint16" else 3, 0, 0))
    ifd.add(50708, ASCII, f"{camera.make} {camera.model}")
    ifd.add(50735, ASCII, camera.serial)
    colours = _plane_colours(camera)
    if len(colours) > 1:
        ifd.add(50721, SRATIONAL, _COLOUR_MATRIX[: 3 * len(colours)])
        ifd.add(50728, RATIONAL, [camera.gain(colour) for colour in colours])
        ifd.add(50778, SHORT, _D65)
    if options.baseline_exposure is not None:
        ifd.add(50730, SRATIONAL, options.baseline_exposure)
    if options.linear_response_limit is not None:
        ifd.add(50734, RATIONAL, options.linear_response_limit)


def _put_raw(ifd: Ifd, mosaic: NDArray[np.uint16], camera: CameraModel, options: DngLayout) -> None:
    ifd.add(254, LONG, 0)
    stored, scale = _stored_samples(mosaic, camera, options)
    # Lossless JPEG states the depth of its samples, and the tag has to agree.
    own_depth = options.packed or options.compression == "ljpeg"
    bits = _stored_bits(camera, options) if own_depth and options.samples == "uint16" else None
    put_picture(
        ifd,
        stored,
        Storage(options.compression, options.tile, options.rows_per_strip, bits, options.order),
    )
    if camera.pattern is None:
        ifd.add(262, SHORT, _LINEAR_RAW)
    else:
        _put_pattern(ifd, camera.pattern, _plane_colours(camera))
    _put_levels(ifd, mosaic.shape, camera, options, scale)
    _put_areas(ifd, mosaic.shape, camera, options)
    for number, data in options.opcodes.items():
        ifd.add(_OPCODE_TAGS[number], UNDEFINED, data)


def _stored_samples(
    mosaic: NDArray[np.uint16], camera: CameraModel, options: DngLayout
) -> tuple[NDArray[Any], float]:
    """Samples as stored, and how many DN one of their units is."""
    if options.samples != "uint16":
        return (mosaic / camera.white).astype(options.samples), float(camera.white)
    if options.table is None:
        return mosaic, 1.0
    table = options.table.astype(np.int64)
    middles = (table[1:] + table[:-1]) / 2
    return np.searchsorted(middles, mosaic).astype(np.uint16), 1.0


def _stored_bits(camera: CameraModel, options: DngLayout) -> int:
    return camera.bits if options.table is None else (len(options.table) - 1).bit_length()


def _plane_colours(camera: CameraModel) -> str:
    """Letters of the colour planes in the order that CFAPlaneColor lists them."""
    if camera.pattern is None:
        return "RGB" if camera.planes > 1 else "G"
    present = set("".join(camera.pattern))
    return "RGB" if present <= set("RGB") else "".join(c for c in "GMCYRB" if c in present)


def _put_pattern(ifd: Ifd, pattern: tuple[str, ...], colours: str) -> None:
    ifd.add(262, SHORT, _CFA)
    ifd.add(33421, SHORT, (len(pattern), len(pattern[0])))
    ifd.add(33422, BYTE, [_COLOUR_CODES[letter] for letter in "".join(pattern)])
    ifd.add(50710, BYTE, [_COLOUR_CODES[letter] for letter in colours])
    ifd.add(50711, SHORT, 1)


def _put_levels(
    ifd: Ifd, shape: tuple[int, ...], camera: CameraModel, options: DngLayout, scale: float
) -> None:
    tile = np.array(camera.black)
    values = (tile / scale).ravel()
    repeat = (1, 1) if camera.planes > 1 else tile.shape
    whole = bool(np.all(values == np.rint(values)))
    ifd.add(50713, SHORT, repeat)
    black = np.resize(values, max(values.size, camera.planes))
    ifd.add(50714, SHORT if whole else RATIONAL, black.tolist())
    ifd.add(50717, LONG, [round(camera.white / scale)] * camera.planes)
    if options.table is not None:
        ifd.add(50712, SHORT, options.table.tolist())
    left, top, right, bottom = camera.masked
    deltas = (
        (50715, camera.black_columns, shape[1] - left - right),
        (50716, camera.black_rows, shape[0] - top - bottom),
    )
    for tag, cycle, count in deltas:
        if any(cycle):
            ifd.add(tag, SRATIONAL, np.resize(np.array(cycle) / scale, count).tolist())


def _put_areas(ifd: Ifd, shape: tuple[int, ...], camera: CameraModel, options: DngLayout) -> None:
    left, top, right, bottom = camera.masked
    height, width = shape[:2]
    if any(camera.masked):
        ifd.add(50829, LONG, (top, left, height - bottom, width - right))
    if options.masked_areas:
        borders = (
            (0, 0, top, width),
            (top, 0, height - bottom, left),
            (top, width - right, height - bottom, width),
            (height - bottom, 0, height, width),
        )
        areas = [area for area in borders if area[0] < area[2] and area[1] < area[3]]
        ifd.add(50830, LONG, [edge for area in areas for edge in area])
    crop = options.crop_px
    ifd.add(50719, LONG, (crop, crop))
    ifd.add(50720, LONG, (width - left - right - 2 * crop, height - top - bottom - 2 * crop))


def _put_preview(
    ifd: Ifd, mosaic: NDArray[np.uint16], camera: CameraModel, options: DngLayout
) -> None:
    """Put a rendered picture, as a tone curve would show it: not linear on purpose."""
    rgb = options.preview_picture
    if rgb is None:
        rgb = _small_preview(mosaic, camera)
    ifd.add(254, LONG, 1)
    put_picture(ifd, rgb, Storage(order=options.order))
    ifd.add(262, SHORT, 2)
    if options.preview == "jpeg":
        ifd.segments = [bytes(imagecodecs.jpeg8_encode(rgb, level=85))]
        ifd.add(259, SHORT, 7)
        ifd.add(262, SHORT, 6)


def _small_preview(mosaic: NDArray[np.uint16], camera: CameraModel) -> NDArray[np.uint8]:
    left, top, right, bottom = camera.masked
    active = mosaic[top : mosaic.shape[0] - bottom, left : mosaic.shape[1] - right]
    step = max(1, active.shape[1] // _THUMBNAIL_PX)
    grey = active[::step, ::step] if active.ndim == 2 else active[::step, ::step, 1]
    linear = np.clip((grey - camera.mean_black()) / (camera.white - camera.mean_black()), 0, 1)
    return np.repeat(np.rint(255 * linear[..., None] ** (1 / 2.2)).astype(np.uint8), 3, axis=2)
