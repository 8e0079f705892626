"""Camera raw files through LibRaw: the mosaic as it is, black and white as LibRaw states them.

LibRaw has to decode such a file whole; that is done once, at the first box, and kept until the
frame is closed. Nothing is demosaiced, scaled or white-balanced.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import rawpy
from numpy.typing import NDArray

from verify.errors import NotAFrame
from verify.frames.cells import WANTED_SIDE, cell_size, in_cells
from verify.frames.colors import main_color, neutral_of
from verify.frames.frame import Doubt, Region, Settings
from verify.frames.geometry import Box, Size
from verify.frames.levels import (
    Levels,
    black_doubt,
    clipping_code,
    dark_borders,
    first_wide,
)
from verify.frames.mosaic import black_of_colors, of_one_plane, repeated
from verify.frames.overview import Reduced

LETTERS = {
    "R": "red", "G": "green", "B": "blue", "C": "cyan", "M": "magenta", "Y": "yellow", "W": "white",
}  # fmt: skip
FLIP_TO_ORIENTATION = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}  # LibRaw's bits to Exif's
LIBRAW_ERRORS = (rawpy.LibRawError, OSError)  # codes below 0, and those of the system above it
UNKNOWN = (0.0, 1.0)  # what LibRaw reports for a setting that is not there
SAMPLE_ROWS = 48  # rows looked at for the clipping level and the scene's mean
CONSTANT_ROWS = 2  # rows of nothing but zeros at the end of a picture: it was cut short


@dataclass(frozen=True, slots=True)
class _Decoded:
    """A decoded mosaic or stack with what its scale needs."""

    codes: NDArray[np.uint16]  # (rows, cols, planes) visible area, a view into LibRaw's memory
    levels: Levels
    pattern: NDArray[np.uint8] | None  # index into colors, anchored at the visible corner
    colors: tuple[str, ...]
    clip_code: float  # [DN] where the sensor clips
    doubt: Doubt | None  # about black


@dataclass(slots=True)
class RawSource:
    """A file that LibRaw opened; decoded at the first use of a pixel."""

    raw: rawpy.RawPy
    foveon: bool  # three planes a photosite are this sensor's nature
    _decoded: _Decoded | None = field(default=None)

    @property
    def size(self) -> Size:
        """Size of the visible area as stored."""
        return Size(self.raw.sizes.width, self.raw.sizes.height)

    def read(self, box: Box) -> Region:
        """Linear signal of a box of the visible area."""
        d = self._decode()
        codes = d.codes[box.row : box.row + box.height, box.col : box.col + box.width]
        black, white = d.levels.black.mean((0, 1)), d.levels.white
        region = Region(
            signal=d.levels.linear(codes, box),
            colors=d.colors,
            classes=None,
            clipped=codes >= d.clip_code,
            floored=codes == 0,
            black=tuple(black.tolist()),
            white=tuple(white.tolist()),
            clips_at=tuple(((d.clip_code - black) / (white - black)).tolist()),
            steps=("decoder", "black", "scale to white"),
            doubts=() if d.doubt is None else (d.doubt,),
        )
        if codes.shape[2] > 1:
            return region
        return of_one_plane(region, box, d.pattern, d.levels.black)

    def scene_mean(self) -> float | None:
        """Mean signal of the main colour over rows spread evenly over the picture."""
        d = self._decode()
        main = d.colors.index(main_color(d.colors))
        rows = [Box(0, int(row), self.size.width, 1) for row in _spread_rows(d.codes)]
        signals = np.concatenate([d.levels.linear(d.codes[r.row : r.row + 1], r) for r in rows])
        if d.pattern is None:
            return float(signals[..., main].mean())
        classes = np.concatenate([repeated(d.pattern, r) for r in rows])
        return float(signals[classes == main].mean())

    def reduced(self, wanted: int = WANTED_SIDE) -> Reduced:
        """The visible area in cells."""
        d = self._decode()
        size = self.size
        cell = cell_size(size.width, size.height, d.pattern, wanted)
        codes = in_cells(d.codes, d.pattern, len(d.colors), cell)
        black = black_of_colors(d.levels.black, d.pattern, len(d.colors))
        span = d.levels.white[0] - black
        return Reduced(
            signal=((codes - black) / span).astype(np.float32),
            colors=d.colors,
            cell=cell,
            neutral=self._neutral(d.colors),
            clips_at=float((d.clip_code - black.max()) / span.max()),
        )

    def close(self) -> None:
        """Let LibRaw's memory go."""
        self._decoded = None
        self.raw.close()

    def _decode(self) -> _Decoded:
        """Decode once; NotAFrame where LibRaw cannot, or where the end is missing."""
        if self._decoded is not None:
            return self._decoded
        raw = self.raw
        try:
            visible: NDArray[Any] = raw.raw_image_visible
        except LIBRAW_ERRORS as error:
            raise NotAFrame(_refusal(error)) from error
        stack = visible.ndim == 3
        if stack and not self.foveon:
            msg = (
                "it holds reduced-size colour-difference (YCC) data, which is not linear: set the "
                "camera to full-size raw"
            )
            raise NotAFrame(msg)
        codes = visible[..., :3] if stack else visible[..., None]
        if codes.shape[:2] != (self.size.height, self.size.width):
            told, there = f"{self.size.width} x {self.size.height}", codes.shape[1::-1]
            msg = f"its size of {told} is not that of its pixels, {there[0]} x {there[1]}: damaged"
            raise NotAFrame(msg)
        if not codes[-CONSTANT_ROWS:].any():
            msg = "its last rows are empty: the file is cut short. Copy it again"
            raise NotAFrame(msg)
        white = float(raw.white_level)
        pattern, colors, black = _mosaic(raw, stack)
        levels = Levels(black, np.full(codes.shape[2], white))
        if not (white > black.max()):
            msg = f"LibRaw gives white {white:.0f}, not above black {black.max():.0f}"
            raise NotAFrame(msg)
        found = None
        if not stack:
            sample = codes[_spread_rows(codes), :, 0]
            found = clipping_code(sample, white, 1 if pattern is None else pattern.shape[1])
        self._decoded = _Decoded(
            codes, levels, pattern, colors, white if found is None else found,
            None if stack else self._border_doubt(levels),
        )  # fmt: skip
        return self._decoded

    def _neutral(self, colors: tuple[str, ...]) -> tuple[float, ...] | None:
        """What a neutral surface gives in each colour, by the camera's white balance."""
        gains = np.asarray(self.raw.camera_whitebalance, float)
        letters = self.raw.color_desc.decode("ascii", "replace")
        by_color = {
            LETTERS.get(letter, "white"): gain
            for letter, gain in zip(letters, gains, strict=False)
            if np.isfinite(gain) and gain > 0
        }
        # The second green has no gain of its own in most files.
        return neutral_of([1 / by_color.get(color, np.inf) for color in colors], colors)

    def _border_doubt(self, levels: Levels) -> Doubt | None:
        """Hold the border left of or above the visible area against LibRaw's black."""
        sizes = self.raw.sizes
        area = Box(sizes.left_margin, sizes.top_margin, sizes.width, sizes.height)
        dark = first_wide(dark_borders(area))
        if dark is None:
            return None
        codes = self.raw.raw_image[
            dark.row : dark.row + dark.height, dark.col : dark.col + dark.width
        ]
        place = Box(dark.col - area.col, dark.row - area.row, dark.width, dark.height)
        return black_doubt(codes, levels.black_at(place)[..., 0], float(levels.white[0]))


def _spread_rows(codes: NDArray[Any]) -> NDArray[np.intp]:
    """Rows spread over a picture, in odd steps so that every row of a mosaic's repeat is met."""
    return np.arange(0, codes.shape[0], max(1, codes.shape[0] // SAMPLE_ROWS) | 1)


def _mosaic(
    raw: rawpy.RawPy, stack: bool
) -> tuple[NDArray[np.uint8] | None, tuple[str, ...], NDArray[np.float64]]:
    """Pattern, colours and black (rows, cols, planes) as LibRaw describes them."""
    blacks = np.asarray(raw.black_level_per_channel, float)
    if stack:
        return None, ("red", "green", "blue"), blacks[:3].reshape(1, 1, 3)
    indices = _pattern(raw)
    if indices is None or raw.num_colors == 1:
        return None, ("grey",), blacks[:1].reshape(1, 1, 1)
    letters = raw.color_desc.decode("ascii", "replace")
    names = [LETTERS.get(letters[i] if i < len(letters) else "?", "white") for i in range(4)]
    colors = tuple(dict.fromkeys(names[i] for i in sorted(set(indices.ravel().tolist()))))
    pattern = np.array([[colors.index(names[i]) for i in row] for row in indices], np.uint8)
    return pattern, colors, blacks[indices][..., None]


def _pattern(raw: rawpy.RawPy) -> NDArray[np.uint8] | None:
    """LibRaw's colour indices of one repeat of the mosaic, anchored at the visible corner.

    ``raw_pattern`` itself starts at the corner of the whole sensor, margins included, where LibRaw
    has no sound answer for a mosaic of 6 x 6 behind a wide margin.
    """
    try:
        repeat = raw.raw_pattern
    except NotImplementedError as error:
        msg = f"LibRaw describes its mosaic in a way that is not known here ({error})"
        raise NotAFrame(msg) from error
    if repeat is None:
        return None
    rows, cols = repeat.shape
    top, left = raw.sizes.top_margin, raw.sizes.left_margin
    return np.array(
        [[raw.raw_color(top + r, left + c) for c in range(cols)] for r in range(rows)], np.uint8
    )


def _refusal(error: Exception) -> str:
    """One line for what LibRaw could not do."""
    said = error.args[0] if error.args else ""
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)
    return (
        f"LibRaw cannot decode it ({text or type(error).__name__}): it is no picture it knows, or "
        "it is damaged or cut short. Copy it again, or save it as a DNG"
    )


def open_raw(path: Path) -> tuple[RawSource, int]:
    """Open a file with LibRaw; no pixel is decoded.

    Returns
    -------
    The source, and the Exif Orientation as LibRaw understands it.

    Raises
    ------
    NotAFrame
        If LibRaw does not open it.
    """
    try:
        raw = rawpy.imread(str(path))
    except LIBRAW_ERRORS as error:
        raise NotAFrame(_refusal(error)) from error
    with path.open("rb") as file:
        foveon = file.read(4) == b"FOVb"
    return RawSource(raw, foveon), FLIP_TO_ORIENTATION.get(raw.sizes.flip, 1)


def libraw_settings(source: RawSource) -> Settings:
    """What LibRaw found of the settings, zeros and ones for unknown taken out.

    LibRaw tells them only once the file is decoded; NotAFrame where it cannot be.
    """
    try:
        other, lens = source.raw.other, source.raw.lens
    except LIBRAW_ERRORS as error:
        raise NotAFrame(_refusal(error)) from error

    def known(value: float) -> float | None:
        return float(value) if np.isfinite(value) and value > 0 and value not in UNKNOWN else None

    captured = other.timestamp if other.timestamp and other.timestamp.year > 1970 else None
    return Settings(
        lens=lens.model or None,
        f_number=known(round(other.aperture, 4)),
        shutter_s=known(float(f"{other.shutter_speed:.6g}")),  # LibRaw keeps it in single precision
        iso=known(other.iso_speed),
        focal_mm=known(round(other.focal_length, 3)),
        captured=captured,
    )
