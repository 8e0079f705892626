"""The tags of a DNG that say how its codes are to be read: areas, mosaic, levels, opcodes.

References
----------
DNG specification 1.7.1.0 (2023), chapters 4 and 5, with the defaults named there.
"""

import struct
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray

from verify.errors import NotAFrame
from verify.frames.colors import neutral_of
from verify.frames.effects import FIX_VIGNETTE_RADIAL
from verify.frames.geometry import Box, Size
from verify.frames.levels import Levels, dark_borders, first_wide
from verify.frames.opcodes import Opcode, changes_signal, read_opcodes
from verify.frames.whole import OF_PIXELS

CFA, LINEAR_RAW = 32803, 34892  # PhotometricInterpretation
CFA_COLORS = ("red", "green", "blue", "cyan", "magenta", "yellow", "white")
COMPRESSIONS = {1, 5, 7, 8, 32773, 32946, 34892}  # that are decoded here; 7 is lossless JPEG
CFA_PATTERN = b"\x00\x01\x01\x02"  # the usual mosaic, where a file does not tell
ORIENTATION = 274
CFA_PLANE_COLOR, AS_SHOT_NEUTRAL = 50710, 50728
LIST_1, LIST_2, LIST_3 = 51008, 51009, 51022  # tags of the opcode lists
GAIN_MAP = 9  # opcode ID


def decodes(page: tifffile.TiffPage) -> bool:
    """Whether this image's compression is one that is decoded here."""
    return int(page.compression) in COMPRESSIONS


def raw_page(file: tifffile.TiffFile) -> tifffile.TiffPage | None:
    """The full-size mosaic or linear raw image of a file; None if none.

    Never a preview (NewSubFileType 1), nor an enhanced picture made from it (16), however large.
    """
    found = [
        page
        for first in file.pages
        for page in (first, *(first.pages or ()))
        if isinstance(page, tifffile.TiffPage)
        and page.photometric in (CFA, LINEAR_RAW)
        and int(page.subfiletype) == 0
    ]
    return max(found, key=lambda p: p.imagewidth * p.imagelength, default=None)


def numbers(page: tifffile.TiffPage, code: int, default: Any) -> Any:
    """Values of a numeric tag as floats, rationals resolved.

    What is no finite number is 0 in a hint, and NotAFrame in a tag that pixels hang on.
    """
    tag = page.tags.get(code)
    if tag is None:
        return None if default is None else np.asarray(default, float)
    try:
        values = np.atleast_1d(np.asarray(tag.value, float)).ravel()
    except (TypeError, ValueError) as error:
        msg = f"its tag {code} holds no numbers: it is damaged"
        raise NotAFrame(msg) from error
    if tag.dtype in (5, 10):
        pairs = values.reshape(-1, 2)
        nothing = np.where(pairs[:, 0] == 0, 0.0, np.nan)  # 0/0 is how files say nothing
        values = np.divide(pairs[:, 0], pairs[:, 1], out=nothing, where=pairs[:, 1] != 0)
    finite = np.isfinite(values)
    if code in OF_PIXELS and not finite.all():
        name = tifffile.TIFF.TAGS.get(code, "")
        msg = f"its {name} (tag {code}) has a value that is no finite number: it is damaged"
        raise NotAFrame(msg)
    return np.where(finite, values, 0.0)


def stored_orientation(file: tifffile.TiffFile) -> int:
    """Orientation of the pictures of a file, 1 to 8; 1 where it has none, or one that is not known.

    It says where in the sensor's rows a box lies. So it is read with the structure, and not lost
    with the settings where their directory is damaged.
    """
    stated = numbers(file.pages.first, ORIENTATION, [1.0]) if len(file.pages) else np.ones(1)
    return int(stated[0]) if stated.size and stated[0] in range(1, 9) else 1


def opcodes(page: tifffile.TiffPage) -> tuple[tuple[Opcode, ...], tuple[str, ...]]:
    """Opcodes to apply to the linear signal, and names of those that cannot be.

    List 1 is for stored codes. List 3 is for a picture without a mosaic; of a mosaic, what acts on
    all its colours alike is taken from it.
    """
    before, after = read_opcodes(_bytes(page, LIST_1)), read_opcodes(_bytes(page, LIST_3))
    applied = [op for op in after if page.photometric != CFA or _for_all_colors(op)]
    left_out = [op for op in (*before, *after) if op not in applied and changes_signal(op)]
    listed = (*read_opcodes(_bytes(page, LIST_2)), *applied)
    return listed, tuple(dict.fromkeys(op.name for op in left_out))


def _for_all_colors(opcode: Opcode) -> bool:
    """Whether an opcode for three planes does the same to each: a vignette, or one gain map."""
    if opcode.number == GAIN_MAP:
        plane, planes = struct.unpack_from(">2I", opcode.data, 16)
        (map_planes,) = struct.unpack_from(">I", opcode.data, 72)
        return bool(plane == 0 and planes >= 3 and map_planes == 1)
    return opcode.number == FIX_VIGNETTE_RADIAL


def _bytes(page: tifffile.TiffPage, code: int) -> bytes:
    """Value of a tag of undefined bytes."""
    tag = page.tags.get(code)
    return bytes(tag.value) if tag is not None else b""


def active_area(page: tifffile.TiffPage) -> Box:
    """Active area within the stored image; the whole image without the tag."""
    top, left, bottom, right = numbers(
        page, 50829, [0, 0, page.imagelength, page.imagewidth]
    ).astype(int)[:4]
    area = Box(int(left), int(top), int(right - left), int(bottom - top))
    if not area.inside(Size(page.imagewidth, page.imagelength)):
        msg = "its ActiveArea lies outside its picture: the file is damaged"
        raise NotAFrame(msg)
    return area


def default_crop(page: tifffile.TiffPage, area: Box) -> tuple[Box, ...]:
    """The part that renderers show (DefaultCrop), within the active area, where there is one."""
    origin, size = numbers(page, 50719, []), numbers(page, 50720, [])
    if origin.size != 2 or size.size != 2 or not np.isfinite([*origin, *size]).all():
        return ()
    col, row, width, height = (round(float(v)) for v in (*origin, *size))
    box = Box(col, row, width, height)
    return (box,) if box.inside(Size(area.width, area.height)) else ()


def mosaic(
    page: tifffile.TiffPage, planes: int
) -> tuple[NDArray[np.uint8] | None, tuple[str, ...]]:
    """Mosaic pattern and the names of its colours; (None, names of the planes) without one."""
    if page.photometric != CFA:
        names = {1: ("grey",), 3: ("red", "green", "blue"), 4: ("red", "green", "blue", "white")}
        if planes not in names:
            msg = f"a linear raw image of {planes} planes is not known here"
            raise NotAFrame(msg)
        return None, names[planes]
    if planes != 1:
        msg = f"a mosaic of {planes} samples a photosite is not known here"
        raise NotAFrame(msg)
    rows, cols = numbers(page, 33421, [2, 2]).astype(int)[:2]
    codes = np.frombuffer(_bytes(page, 33422) or CFA_PATTERN, np.uint8)
    if rows < 1 or cols < 1 or codes.size != rows * cols or codes.max() >= len(CFA_COLORS):
        msg = f"its mosaic of {rows} x {cols} with codes {codes[:36].tolist()} is not known here"
        raise NotAFrame(msg)
    present = sorted({int(c) for c in codes})
    index = np.array([present.index(c) for c in codes], np.uint8).reshape(rows, cols)
    return index, tuple(CFA_COLORS[c] for c in present)


def neutral(
    file: tifffile.TiffFile, page: tifffile.TiffPage, colors: tuple[str, ...]
) -> tuple[float, ...] | None:
    """What a surface neutral by the camera's white balance (AsShotNeutral) gives in each colour."""
    values = numbers(file.pages.first, AS_SHOT_NEUTRAL, numbers(page, AS_SHOT_NEUTRAL, []))
    if len(colors) == 1:
        return (1.0,)
    planes = np.frombuffer(_bytes(page, CFA_PLANE_COLOR) or bytes(range(values.size)), np.uint8)
    named = (CFA_COLORS[p] if p < len(CFA_COLORS) else "" for p in planes)
    by_color = dict(zip(named, values.tolist(), strict=False))
    return neutral_of([by_color.get(color, 0.0) for color in colors], colors)


def levels(
    page: tifffile.TiffPage, planes: int, area: Box, table: NDArray[np.float64] | None
) -> Levels:
    """Black and white of the active area, with the specification's defaults."""
    rows, cols = (int(n) for n in numbers(page, 50713, [1, 1])[:2])
    black = numbers(page, 50714, [0.0])
    if black.size == 1:
        rows, cols, black = 1, 1, np.full(planes, black[0])
    if black.size != rows * cols * planes:
        msg = f"its BlackLevel has {black.size} values for {rows} x {cols} x {planes}"
        raise NotAFrame(msg)
    if np.dtype(page.dtype).kind == "f":
        top = 1.0
    else:
        top = float(2 ** (16 if table is not None else page.bitspersample) - 1)
    white = numbers(page, 50717, [top])
    if white.size not in (1, planes):
        msg = f"its WhiteLevel has {white.size} values for {planes} samples a photosite"
        raise NotAFrame(msg)
    white = np.broadcast_to(white, planes).astype(float)
    pattern = black.reshape(rows, cols, planes)
    of_row, of_col = _delta(page, 50716, area.height), _delta(page, 50715, area.width)
    added = sum(float(delta.max()) for delta in (of_row, of_col) if delta is not None)
    finite = np.isfinite(pattern).all() and np.isfinite(white).all() and np.isfinite(added)
    if not (finite and (white > pattern.max((0, 1)) + added).all()):
        highest = pattern.max((0, 1)) + added
        msg = f"its white level {white.tolist()} is not above its black level {highest.tolist()}"
        raise NotAFrame(msg)
    return Levels(pattern, white, of_row, of_col)


def _delta(page: tifffile.TiffPage, code: int, length: int) -> NDArray[np.float64] | None:
    """BlackLevelDeltaV or -H, one value for each row or column of the active area."""
    delta: NDArray[np.float64] | None = numbers(page, code, None)
    if delta is None or not delta.any():
        return None
    if delta.size != length:
        msg = f"its black level deltas have {delta.size} values for {length} rows or columns"
        raise NotAFrame(msg)
    return delta


def masked_border(page: tifffile.TiffPage, area: Box) -> Box | None:
    """A masked border: as the file lists it, else what lies left of or above the active area."""
    listed = numbers(page, 50830, [])
    size = Size(page.imagewidth, page.imagelength)
    boxes = [
        Box(int(left), int(top), int(right - left), int(bottom - top))
        for top, left, bottom, right in listed[: listed.size // 4 * 4].reshape(-1, 4)
    ]
    upright_first = sorted(boxes or dark_borders(area), key=lambda b: b.height < b.width)
    return first_wide(b for b in upright_first if b.inside(size))
