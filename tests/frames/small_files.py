"""Small files of known codes, written by tifffile; and what must be read from them."""

import struct
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Literal

import numpy as np
import tifffile
from numpy.typing import NDArray

from verify.frames.frame import Region
from verify.frames.geometry import Box
from verify.frames.open import open_frame

HEIGHT, WIDTH = 40, 56  # of most pictures here
WHOLE = Box(0, 0, WIDTH, HEIGHT)

Tag = tuple[int, int, int, Any, bool]  # as tifffile takes it
Codes = NDArray[Any]

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL, FLOAT, DOUBLE = (
    1,
    2,
    3,
    4,
    5,
    7,
    10,
    11,
    12,
)
CFA, LINEAR_RAW = 32803, 34892  # PhotometricInterpretation
ORIENTATION, TABLE, BLACK_REPEAT, BLACK, DELTA_H, DELTA_V, WHITE = 274, 50712, *range(50713, 50718)
ACTIVE_AREA, MASKED_AREAS, BASELINE, LINEAR_LIMIT = 50829, 50830, 50730, 50734
LIST_1, LIST_2, LIST_3 = 51008, 51009, 51022

RGGB = ((0, 1), (1, 2))  # DNG codes: 0 red, 1 green, 2 blue, 3 cyan, 4 magenta, 5 yellow, 6 white
NAMES = ("red", "green", "blue", "cyan", "magenta", "yellow", "white")


def tag(code: int, kind: int, *values: float | bytes) -> Tag:
    """A tag; the numbers of a rational come in pairs."""
    if isinstance(values[0], bytes):
        return code, kind, len(values[0]), values[0], True
    pairs = 2 if kind in (RATIONAL, SRATIONAL) else 1
    return code, kind, len(values) // pairs, values if len(values) > 1 else values[0], True


LEVELS = (tag(BLACK, SHORT, 512), tag(WHITE, SHORT, 4095))  # plain ones


def opcode_list(*opcodes: bytes) -> bytes:
    """Value of an opcode list tag."""
    return struct.pack(">I", len(opcodes)) + b"".join(opcodes)


def random_codes(*shape: int, low: int = 600, high: int = 4000, seed: int = 1) -> Codes:
    """Whole codes without any order."""
    return np.random.default_rng(seed).integers(low, high, shape).astype(np.uint16)


def write_dng(
    path: Path,
    codes: Codes,
    *tags: Tag,
    pattern: Sequence[Sequence[int]] | None = RGGB,
    preview: Codes | None = None,
    order: Literal["<", ">"] = "<",
    big: bool = False,
    **layout: Any,
) -> Path:
    """A DNG of codes as they are: a mosaic, or linear planes where ``pattern`` is None.

    ``tags`` are those of the raw picture. With a ``preview`` that lies in the first directory and
    the raw picture in one below it. ``layout`` goes to tifffile.
    """
    version = tag(50706, BYTE, bytes((1, 4, 0, 0)))
    own = list(tags)
    if pattern is not None:
        own += [tag(33421, SHORT, len(pattern), len(pattern[0]))]
        own += [tag(33422, BYTE, bytes(c for row in pattern for c in row))]
    kind = "linear_raw" if pattern is None else "cfa"
    odd = codes.ndim == (2 if pattern is None else 3)  # what tifffile does not write as such
    if odd:
        kind = "minisblack"
    plain: dict[str, Any] = {"metadata": None, "software": False}
    with tifffile.TiffWriter(path, byteorder=order, bigtiff=big) as file:
        if preview is None:
            file.write(codes, photometric=kind, extratags=[version, *own], **plain, **layout)
        else:
            plain["photometric"] = "rgb" if preview.ndim == 3 else "minisblack"
            file.write(preview, subifds=1, subfiletype=1, extratags=[version], **plain)
            del plain["photometric"]
            file.write(codes, photometric=kind, extratags=own, **plain, **layout)
    return changed(path, 262, LINEAR_RAW if pattern is None else CFA) if odd else path


def write_tiff(
    path: Path,
    codes: Codes,
    *tags: Tag,
    order: Literal["<", ">"] = "<",
    big: bool = False,
    **layout: Any,
) -> Path:
    """A TIFF of codes as they are, RGB where they have three planes or more."""
    planes = codes.shape[2] if codes.ndim == 3 else 1
    layout.setdefault("photometric", "rgb" if planes >= 3 else "minisblack")
    with tifffile.TiffWriter(path, byteorder=order, bigtiff=big) as file:
        file.write(codes, extratags=list(tags), metadata=None, software=False, **layout)
    return path


def changed(path: Path, code: int, value: Any, page: int = 0, dtype: int | None = None) -> Path:
    """The same file with the value of one tag written over."""
    with tifffile.TiffFile(path, mode="r+") as file:
        directory = file.pages[page]
        assert isinstance(directory, tifffile.TiffPage)
        directory.tags[code].overwrite(value, dtype=dtype)
    return path


def linear(
    codes: Codes,
    black: Callable[[int, int], float] | float,
    white: float,
    corner: tuple[int, int] = (0, 0),
) -> NDArray[np.float64]:
    """(code - black) / (white - black), photosite by photosite.

    ``black`` is a number, or a function of row and column; ``corner`` is where they count from.
    """
    at = black if callable(black) else (lambda _row, _col: float(black))
    rows, cols = codes.shape
    top, left = corner
    return np.array(
        [
            [(float(codes[r, c]) - at(r - top, c - left)) / (white - at(r - top, c - left))
             for c in range(cols)]
            for r in range(rows)
        ]
    )  # fmt: skip


def read(path: Path, box: Box = WHOLE, transfer: str | None = None) -> Region:
    """The region of a file that is opened for it."""
    with open_frame(path, transfer) as frame:
        return frame.signal(box)


def check(path: Path, expected: NDArray[np.float64], box: Box = WHOLE) -> Region:
    """The region of a DNG, which must have that signal."""
    with open_frame(path) as frame:
        assert frame.kind == "dng"
    region = read(path, box)
    assert np.allclose(region.signal, expected, rtol=0, atol=1e-12)
    return region
