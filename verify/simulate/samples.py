"""Picture arrays as the strips or tiles of a TIFF: cutting, packing and compressing."""

import zlib
from dataclasses import dataclass
from typing import Any, Literal

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from verify.simulate.ifd import LONG, SHORT, ByteOrder, Ifd

Compression = Literal["none", "ljpeg", "deflate", "lzw", "packbits"]

_COMPRESSION_TAGS = {"none": 1, "lzw": 5, "ljpeg": 7, "deflate": 8, "packbits": 32773}
_JPEG_BITS = range(2, 17)
_FLOAT_PREDICTOR = 3  # as DNG writers use it; some decoders take it for granted in deflated floats


@dataclass(frozen=True, slots=True)
class Storage:
    """How an array lies in the file."""

    compression: Compression = "none"
    tile: tuple[int, int] | None = None  # rows, columns, multiples of 16; None: strips
    rows_per_strip: int | None = None  # None: one strip
    bits: int | None = None  # packed depth of whole-number samples; None: that of their type
    order: ByteOrder = "<"  # of the whole file


def put_picture(ifd: Ifd, picture: NDArray[Any], storage: Storage) -> None:
    """Put ``picture`` (rows, columns[, planes]) into ``ifd``, with the tags that describe it.

    Raises
    ------
    ValueError
        If the compression cannot hold such samples.
    """
    height, width = picture.shape[:2]
    planes = picture.shape[2] if picture.ndim > 2 else 1
    bits = storage.bits or picture.dtype.itemsize * 8
    ifd.add(256, LONG, width)
    ifd.add(257, LONG, height)
    ifd.add(258, SHORT, [bits] * planes)
    ifd.add(259, SHORT, _COMPRESSION_TAGS[storage.compression])
    ifd.add(277, SHORT, planes)
    ifd.add(284, SHORT, 1)
    ifd.add(339, SHORT, [3 if picture.dtype.kind == "f" else 1] * planes)
    if storage.tile:
        ifd.tiled = True
        ifd.add(322, LONG, storage.tile[1])
        ifd.add(323, LONG, storage.tile[0])
    else:
        ifd.add(278, LONG, storage.rows_per_strip or height)
    if storage.compression == "deflate" and picture.dtype.kind == "f":
        ifd.add(317, SHORT, _FLOAT_PREDICTOR)
    ifd.segments = [_encoded(part, storage, bits) for part in _cut(picture, storage)]


def _cut(picture: NDArray[Any], storage: Storage) -> list[NDArray[Any]]:
    """Strips, the last as short as it is; or tiles, those at the edge filled up with its values."""
    height, width = picture.shape[:2]
    if not storage.tile:
        rows = storage.rows_per_strip or height
        return [picture[top : top + rows] for top in range(0, height, rows)]
    high, wide = storage.tile
    beyond = [(0, -height % high), (0, -width % wide)] + [(0, 0)] * (picture.ndim - 2)
    filled = np.pad(picture, beyond, mode="edge")
    return [
        filled[top : top + high, left : left + wide]
        for top in range(0, height, high)
        for left in range(0, width, wide)
    ]


def _encoded(part: NDArray[Any], storage: Storage, bits: int) -> bytes:
    if storage.compression == "ljpeg":
        if part.ndim > 2 or part.dtype.kind != "u" or bits not in _JPEG_BITS:
            raise ValueError("lossless JPEG is written for one plane of whole numbers only")
        return bytes(imagecodecs.ljpeg_encode(np.ascontiguousarray(part), bitspersample=bits))
    if storage.compression == "deflate" and part.dtype.kind == "f":
        differences = imagecodecs.floatpred_encode(np.ascontiguousarray(part), axis=1)
        return zlib.compress(differences.tobytes(), 6)
    raw = _raw_rows(part, storage.order, bits)
    if storage.compression == "deflate":
        return zlib.compress(b"".join(raw), 6)
    if storage.compression == "lzw":
        return bytes(imagecodecs.lzw_encode(b"".join(raw)))
    if storage.compression == "packbits":
        # TIFF 6.0, section 9: each row is packed by itself.
        return b"".join(bytes(imagecodecs.packbits_encode(row)) for row in raw)
    return b"".join(raw)


def _raw_rows(part: NDArray[Any], order: ByteOrder, bits: int) -> list[bytes]:
    """Uncompressed rows; samples of an odd depth packed most significant bit first."""
    if bits == part.dtype.itemsize * 8:
        ordered = part.astype(part.dtype.newbyteorder(order))
        return [row.tobytes() for row in ordered]
    return [bytes(imagecodecs.packints_encode(row.ravel(), bits)) for row in part]
