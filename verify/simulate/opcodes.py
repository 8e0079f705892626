"""DNG opcodes that change the signal: the bytes of an opcode list.

References
----------
DNG specification 1.7.1.0, chapter "Opcode List Processing": big-endian whatever the file is.
"""

import struct
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

_VERSION = bytes((1, 3, 0, 0))  # of the specification that an opcode needs
_FIX_VIGNETTE_RADIAL, _MAP_POLYNOMIAL, _GAIN_MAP = 3, 8, 9

Area = tuple[int, int, int, int]  # top, left, bottom, right [px]


def opcode_list(*opcodes: tuple[int, bytes]) -> bytes:
    """Bytes of an OpcodeList tag from (number, parameters) pairs, in the order they are applied."""
    parts = [struct.pack(">I", len(opcodes))]
    for number, parameters in opcodes:
        parts.append(struct.pack(">I", number) + _VERSION)
        parts.append(struct.pack(">II", 0, len(parameters)) + parameters)
    return b"".join(parts)


def gain_map(
    area: Area, gains: NDArray[np.float64], pitch: tuple[int, int] = (1, 1)
) -> tuple[int, bytes]:
    """Opcode that multiplies ``area`` by ``gains`` (rows, columns), spread from edge to edge.

    ``pitch`` picks every n-th row and column from the corner of ``area``: one class of a mosaic.
    """
    rows, columns = gains.shape
    spacing = [1 / max(count - 1, 1) for count in (rows, columns)]
    data = struct.pack(">8I", *area, 0, 1, *pitch) + struct.pack(">2I", rows, columns)
    data += struct.pack(">4d", *spacing, 0.0, 0.0) + struct.pack(">I", 1)
    return _GAIN_MAP, data + gains.astype(">f4").tobytes()


def fix_vignette_radial(
    coefficients: Sequence[float], centre: tuple[float, float] = (0.5, 0.5)
) -> tuple[int, bytes]:
    """Opcode that multiplies by 1 + k0 r^2 + ... + k4 r^10, r = 1 in the farthest corner."""
    if len(coefficients) != 5:
        raise ValueError("FixVignetteRadial takes five coefficients")
    return _FIX_VIGNETTE_RADIAL, struct.pack(">7d", *coefficients, *centre)


def map_polynomial(area: Area, coefficients: Sequence[float]) -> tuple[int, bytes]:
    """Opcode that maps each value x of 0 to 1 to c0 + c1 x + c2 x^2 + ..."""
    data = struct.pack(">8I", *area, 0, 1, 1, 1) + struct.pack(">I", len(coefficients) - 1)
    return _MAP_POLYNOMIAL, data + struct.pack(f">{len(coefficients)}d", *coefficients)
