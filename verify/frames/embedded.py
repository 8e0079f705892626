"""The picture embedded in a DNG as its overview, where its framing can be trusted.

A camera or a converter may have cut it, padded it, straightened it or rendered it in black and
white. So it is held against a few parts of the sensor's own picture first: the same light and
shade must stand at the same places, and at no others. The same parts say what signal a tone of
it stands for.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray

from verify.frames.cells import WANTED_SIDE
from verify.frames.geometry import Box, Size
from verify.frames.overview import Reduced

SIDE = (400, 2400)  # pixels of the longer side; a smaller one shows too little, a larger costs more
SAME_SHAPE = 0.012  # of the ratio of the sides
PARTS = 7  # of the sensor's picture it is held against
AGREES = 0.93  # rank correlation of levels
SHIFT = 4  # pixels; so much off its place it must agree less
LESS = 0.008
LEAST_CELLS = 200
SPARSE = 4  # of the rows and columns, one tells enough of its colours
COLORLESS = 2.0  # codes between channels; a picture with less is black and white
TONES = 24  # steps of the curve from its codes to signal

Sample = Callable[[Box], NDArray[np.float32]]


@dataclass(frozen=True, slots=True)
class _Placed:
    """A part of the sensor's own picture beside the embedded one."""

    signal: NDArray[np.float32]  # (rows, cols) of the main colour, a value for each of its pixels
    x: NDArray[np.float64]  # (cols,) of their middles in the embedded picture [pixel]
    y: NDArray[np.float64]  # (rows,)


def embedded_pictures(file: tifffile.TiffFile, page: tifffile.TiffPage) -> list[NDArray[np.uint8]]:
    """Decoded RGB pictures (rows, cols, 3) of fitting size beside the raw one, smallest first."""
    pages = [p for first in file.pages for p in (first, *(first.pages or ()))]
    fitting = [
        p
        for p in pages
        if isinstance(p, tifffile.TiffPage)
        and p is not page
        and int(p.subfiletype) & 1
        and int(p.photometric) in (2, 6)
        and p.samplesperpixel == 3
        and p.dtype == np.uint8
        and SIDE[0] <= max(p.imagewidth, p.imagelength) <= SIDE[1]
    ]
    found = []
    for p in sorted(fitting, key=lambda p: p.imagewidth * p.imagelength)[:1]:
        try:
            picture: NDArray[Any] = p.asarray(maxworkers=1)
        except Exception:  # the codecs raise many kinds; there is the sensor's own picture
            continue
        if picture.shape == (p.imagelength, p.imagewidth, 3):
            found.append(np.asarray(picture, np.uint8))
    return found


def trusted(
    picture: NDArray[np.uint8],
    frames: Sequence[Box],
    parts: Sequence[Box],
    sample: Sample,
) -> Reduced | None:
    """An embedded picture as an overview; None where its framing cannot be trusted.

    Parameters
    ----------
    picture : (rows, cols, 3) RGB, not turned.
    frames : what it may show, in stored pixels of the active area.
    parts : of the active area, that cost little to read.
    sample : signal of the main colour of such a part, (rows, cols).
    """
    some = picture[::SPARSE, ::SPARSE].astype(np.int16)
    if float((some.max(2) - some.min(2)).mean()) < COLORLESS:
        return None
    rows, cols = picture.shape[:2]
    light = _linear(picture)
    read = [(part, sample(part)) for part in parts]
    for frame in frames:
        if abs(cols / rows * frame.height / frame.width - 1) > SAME_SHAPE:
            continue
        cell = frame.width / cols
        places = [_placed(part, own, frame, cell) for part, own in read]
        green = np.ascontiguousarray(light[..., 1])
        shown, signal = _compared(green, places)
        if signal.size >= LEAST_CELLS and _agrees(green, places):
            curve = _curve(shown, signal)
            smaller = max(1, round(max(rows, cols) / WANTED_SIDE))
            size = cols // smaller, rows // smaller
            whole = light[: size[1] * smaller, : size[0] * smaller]
            light = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA))
            main = np.interp(light[..., 1], *curve)
            ratio = light / np.maximum(light[..., 1:2], 1e-4)
            return Reduced(
                signal=(main[..., None] * ratio).astype(np.float32),
                colors=("red", "green", "blue"),
                cell=cell * smaller,
                neutral=(1.0, 1.0, 1.0),
                corner=(float(frame.col), float(frame.row)),
                made_from="embedded",
            )
    return None


def parts_of(size: Size, chunk: tuple[int, int]) -> list[Box]:
    """Parts spread over an active area, each about one strip or tile."""
    rows, cols = min(chunk[0], size.height), min(chunk[1], size.width)
    across = np.linspace(0, size.width - cols, PARTS).astype(int)
    down = np.linspace(0, size.height - rows, PARTS).astype(int)
    order = (0, 3, 6, 2, 5, 1, 4)  # each row of them another column
    return [
        Box(int(across[order[n]]) // cols * cols, int(down[n]) // rows * rows, cols, rows)
        for n in range(PARTS)
    ]


def _linear(picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Codes as if by the curve of sRGB (IEC 61966-2-1), 0 to 1."""
    code = np.arange(256) / 255
    curve = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return curve.astype(np.float32)[picture]


def _placed(part: Box, own: NDArray[np.float32], frame: Box, cell: float) -> _Placed:
    """A part of the sensor's picture at the size of the embedded one, and where it lies in that."""
    across, down = max(1, round(part.width / cell)), max(1, round(part.height / cell))
    x = part.col + (np.arange(across) + 0.5) * part.width / across
    y = part.row + (np.arange(down) + 0.5) * part.height / down
    return _Placed(
        signal=np.asarray(cv2.resize(own, (across, down), interpolation=cv2.INTER_AREA)),
        x=(x - frame.col) / cell - 0.5,
        y=(y - frame.row) / cell - 0.5,
    )


def _compared(
    light: NDArray[np.float32], places: Sequence[_Placed], shift: tuple[int, int] = (0, 0)
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The picture's light and the sensor's signal at the same places."""
    shown, signal = [], []
    for place in places:
        x, y = place.x + shift[0], place.y + shift[1]
        inside = np.ix_((y >= 0) & (y <= light.shape[0] - 1), (x >= 0) & (x <= light.shape[1] - 1))
        grid = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
        seen = cv2.remap(light, grid[0], grid[1], cv2.INTER_LINEAR)
        shown.append(seen[inside].ravel())
        signal.append(place.signal[inside].ravel())
    return np.concatenate(shown).astype(float), np.concatenate(signal).astype(float)


def _agrees(light: NDArray[np.float32], places: Sequence[_Placed]) -> bool:
    """Whether light and signal go together at their places, and less so beside them."""
    here = _rank_correlation(*_compared(light, places))
    if here < AGREES:
        return False
    ways = ((SHIFT, 0), (-SHIFT, 0), (0, SHIFT), (0, -SHIFT))
    beside = (_rank_correlation(*_compared(light, places, way)) for way in ways)
    return all(here >= other + LESS for other in beside)


def _rank_correlation(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """Spearman's coefficient; 0 where there is nothing to compare."""
    if one.size < LEAST_CELLS or np.ptp(one) == 0 or np.ptp(other) == 0:
        return 0.0
    return float(np.corrcoef(_ranks(one), _ranks(other))[0, 1])


def _ranks(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Ranks of values, of equal ones the mean. scipy's takes as long to import as all else here."""
    _, which, counts = np.unique(values, return_inverse=True, return_counts=True)
    return np.asarray((np.cumsum(counts) - (counts - 1) / 2)[which])


def _curve(
    shown: NDArray[np.float64], signal: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rising curve from the picture's light to signal, through the middles of equal parts."""
    parts = np.array_split(np.argsort(shown), TONES)
    x = np.array([np.median(shown[p]) for p in parts])
    y = np.maximum.accumulate([np.median(signal[p]) for p in parts])
    # Beyond the darkest and the lightest that were met, in proportion.
    x = np.concatenate([[0.0], x, [max(1.0, x[-1])]])
    y = np.concatenate([[0.0], y, [y[-1] * x[-1] / max(x[-2], 1e-4)]])
    return x, y
