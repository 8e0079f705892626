"""Opcode lists as a DNG stores them, made from readable parts (DNG 1.7.1.0, chapter 7)."""

import struct

import numpy as np
from numpy.typing import NDArray

from verify.frames.opcodes import Opcode, apply_opcodes, read_opcodes

Array = NDArray[np.float64]

HEIGHT, WIDTH, PLANES = 9, 12, 3
WARP, FISHEYE, VIGNETTE, BAD_CONSTANT, BAD_LIST, TRIM, TABLE, POLYNOMIAL = range(1, 9)
GAIN_MAP, DELTA_ROW, DELTA_COL, SCALE_ROW, SCALE_COL, WARP_2 = range(9, 15)


def coded(number: int, data: bytes = b"", flags: int = 0) -> bytes:
    """One opcode as it is stored."""
    return struct.pack(">4I", number, 0x01030000, flags, len(data)) + data


def listed(*opcodes: bytes) -> tuple[Opcode, ...]:
    """Opcodes of a stored list."""
    return read_opcodes(struct.pack(">I", len(opcodes)) + b"".join(opcodes))


def area(
    rows: tuple[int, int] = (0, HEIGHT),
    cols: tuple[int, int] = (0, WIDTH),
    planes: tuple[int, int] = (0, PLANES),
    pitch: tuple[int, int] = (1, 1),
) -> bytes:
    """Area as stored: rows and columns from and to, first plane and their number, pitches."""
    return struct.pack(">4i4I", rows[0], cols[0], rows[1], cols[1], *planes, *pitch)


def polynomial(*terms: float, where: bytes = b"") -> bytes:
    body = struct.pack(f">I{len(terms)}d", len(terms) - 1, *terms)
    return coded(POLYNOMIAL, (where or area()) + body)


def table(*entries: int, where: bytes = b"") -> bytes:
    body = struct.pack(f">I{len(entries)}H", len(entries), *entries)
    return coded(TABLE, (where or area()) + body)


def gain_map(
    gains: Array,
    spacing: tuple[float, float],
    origin: tuple[float, float] = (0, 0),
    where: bytes = b"",
) -> bytes:
    """Gain map of (points down, points across, planes)."""
    down, across, planes = gains.shape
    head = struct.pack(">2I4dI", down, across, *spacing, *origin, planes)
    return coded(GAIN_MAP, (where or area()) + head + gains.astype(">f4").tobytes())


def lines(number: int, values: Array, where: bytes = b"") -> bytes:
    body = struct.pack(">I", len(values)) + values.astype(">f4").tobytes()
    return coded(number, (where or area()) + body)


def vignette(terms: tuple[float, ...], x: float = 0.5, y: float = 0.5) -> bytes:
    return coded(VIGNETTE, struct.pack(">7d", *terms, x, y))


def whole(opcodes: tuple[Opcode, ...], signal: Array) -> Array:
    """Signal of a whole image after the opcodes."""
    return apply_opcodes(opcodes, signal, 0, 0, signal.shape[0], signal.shape[1]).signal


def picture() -> Array:
    """Signal of a picture without two equal values."""
    return np.random.default_rng(4).uniform(0.02, 0.9, (HEIGHT, WIDTH, PLANES))
