"""DNG, and TIFF files that state sensor levels: from structure to linear signal, box by box.

Order of the DNG specification: linearization table, black (repeating pattern, rows, columns),
scale, then OpcodeList2. This project divides each photosite by (white - its own black), so that
every class clips at 1. Opcode list 3 belongs after demosaicing, but its vignette correction and
gain maps act on every photosite alike and are applied too. BaselineExposure is a rendering hint
and never enters.

References
----------
DNG specification 1.7.1.0 (2023), chapters 4 to 7.
"""

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray

from verify.errors import NotAFrame
from verify.frames.cells import WANTED_SIDE, cell_size, in_cells
from verify.frames.chunks import Chunks
from verify.frames.colors import main_color
from verify.frames.dng_tags import (
    active_area,
    decodes,
    default_crop,
    levels,
    masked_border,
    mosaic,
    neutral,
    numbers,
    opcodes,
)
from verify.frames.embedded import embedded_pictures, parts_of, trusted
from verify.frames.frame import Doubt, Region
from verify.frames.geometry import Box, Size
from verify.frames.levels import BORDER_WIDTH, Levels, black_doubt, clipping_code, possible
from verify.frames.mosaic import black_of_colors, of_one_plane, repeated
from verify.frames.opcodes import Applied, Opcode, apply_opcodes
from verify.frames.overview import Reduced

SAMPLE_ROWS = 48  # rows looked at for the clipping level
EMBEDDED_FROM = 4_000_000  # pixels; a smaller picture is decoded as fast as it is checked
LEAST_CHUNKS = 16  # strips or tiles; of fewer, the few that are checked are most of the work
# SubTileBlockSize, RowInterleaveFactor, ColumnInterleaveFactor and CFALayout: 1 is plain order
FAR_ABOVE = (
    16  # codes from the lowest to black; no noise reaches as far in every photosite of a row
)
ORDER_OF_PHOTOSITES = (50974, 50975, 52547, 50711)


@dataclass(slots=True)
class DngSource:
    """One image of a DNG: its chunks, levels, mosaic and opcodes."""

    chunks: Chunks
    area: Box  # active area within the stored image
    levels: Levels
    pattern: NDArray[np.uint8] | None  # (rows, cols) index into colors, anchored at the area
    colors: tuple[str, ...]
    table: NDArray[np.float64] | None  # linearization table, stored code to code
    opcodes: tuple[Opcode, ...]  # that are applied
    left_out: tuple[str, ...]  # names of opcodes that change the signal and cannot be applied
    masked: Box | None  # border that saw no light, within the stored image
    neutral: tuple[float, ...] | None  # what a neutral surface gives in each colour
    crop: tuple[Box, ...]  # what previews may show instead of the active area; at most one
    lowest: float  # lowest linear code the file can hold [DN]
    clip_code: float | None = None  # [DN] where codes pile up below white, once found

    @property
    def size(self) -> Size:
        """Size of the active area as stored."""
        return Size(self.area.width, self.area.height)

    def read(self, box: Box) -> Region:
        """Linear signal of a box of the active area."""
        codes = self._linear_codes(_moved(box, self.area))
        self._check_written(codes)
        done = self._signal(codes, box)
        planes = codes.shape[2]
        clip = np.array([self._clip_code(codes, plane) for plane in range(planes)])
        pattern = self.levels.mean_black(box)
        black, white = pattern.mean((0, 1)), self.levels.white
        doubts = []
        if left_out := dict.fromkeys((*self.left_out, *done.not_applied)):
            note = f"the file asks for {', '.join(left_out)}, which is not applied"
            doubts.append(Doubt("opcode-not-applied", note))
        if (border := self._border_doubt(box)) is not None:
            doubts.append(border)
        region = Region(
            signal=done.signal,
            colors=self.colors,
            classes=None,
            clipped=codes >= clip,
            floored=codes <= self.lowest,
            black=tuple(float(b) for b in black),
            white=tuple(float(w) for w in white),
            clips_at=tuple(((clip - black) / (white - black)).tolist()),
            steps=self._steps() + done.applied,
            doubts=tuple(doubts),
        )
        if planes == 1:
            region = of_one_plane(region, box, self.pattern, pattern)
        if not self.opcodes:
            return region
        return replace(region, clips_at=self._moved_clipping(clip, box, region.classes))

    def _check_written(self, codes: NDArray[Any]) -> None:
        """Refuse rows of nothing but the lowest code where black lies well above it.

        A copy that broke off may leave a file of the full length, with zeros from there on.
        """
        empty = (codes <= self.lowest).all(axis=(1, 2))
        if self.levels.black.min() - self.lowest >= FAR_ABOVE and empty.any():
            msg = "rows of its picture are empty: it was never written whole. Copy it again"
            raise NotAFrame(msg)

    def _moved_clipping(
        self, clip: NDArray[np.float64], box: Box, classes: NDArray[np.uint8] | None
    ) -> tuple[float, ...]:
        """Signal at which each colour clips over a box: the opcodes move it as they move the card.

        A colour with no photosite in the box gets the mean of the others.
        """
        codes = np.broadcast_to(clip, (box.height, box.width, clip.size))
        signal = self._signal(codes, box).signal
        if classes is None:
            return tuple(signal.mean((0, 1)).tolist())
        own = [signal[classes == i] for i in range(len(self.colors))]
        return tuple(float((o if o.size else signal).mean()) for o in own)

    def _signal(self, codes: NDArray[Any], box: Box) -> Applied:
        """Codes of a box (rows, cols, planes) to signal of that shape, opcodes applied."""
        signal = self.levels.linear(codes, box)
        if not self.opcodes:
            return Applied(possible(signal) if codes.dtype.kind == "f" else signal, (), ())
        shaped = signal[..., 0] if signal.shape[2] == 1 else signal
        size = self.size
        done = apply_opcodes(self.opcodes, shaped, box.row, box.col, size.height, size.width)
        return replace(done, signal=possible(done.signal.reshape(signal.shape)))

    def scene_mean(self) -> float | None:
        """Mean signal of the main colour over a cheap sample of the picture."""
        main = self.colors.index(main_color(self.colors))
        parts = []
        for stored in self.chunks.sample(self.area):
            box = _moved_back(stored, self.area)
            signal = self._signal(self._linear_codes(stored), box).signal
            if self.pattern is None:
                parts.append(signal[..., main].ravel())
            else:
                parts.append(signal[repeated(self.pattern, box) == main].ravel())
        values = np.concatenate(parts) if parts else np.empty(0)
        finite = values[np.isfinite(values)]
        return float(finite.mean()) if finite.size else None

    def reduced(self, wanted: int = WANTED_SIDE) -> Reduced:
        """The active area in cells, or the embedded picture where that costs less.

        Of a mosaic the opcodes are left out, which even the light out a little. Of planes they
        are applied: they can be the curve that the codes are stored by.
        """
        shown = self._embedded() if wanted == WANTED_SIDE else None
        if shown is not None:
            return shown
        self.chunks.keep_whole()
        count, size = len(self.colors), self.size
        cell = cell_size(size.width, size.height, self.pattern, wanted)
        codes = self._linear_codes(self.area)
        black = black_of_colors(self._even_black(), self.pattern, count)
        white = np.resize(self.levels.white, count)  # of a mosaic one for all colours
        signal = (in_cells(codes, self.pattern, count, cell) - black) / (white - black)
        if self.opcodes and self.pattern is None and signal.size:
            rows, cols = signal.shape[:2]
            shaped = signal[..., 0] if count == 1 else signal
            done = apply_opcodes(self.opcodes, shaped, 0, 0, rows, cols)
            signal = done.signal.reshape(signal.shape)
        return Reduced(
            signal=signal.astype(np.float32),
            colors=self.colors,
            cell=cell,
            neutral=self.neutral,
            clips_at=self._clips_at(codes, float(white[0]), float(black.max())),
        )

    def _clips_at(self, codes: NDArray[Any], white: float, black: float) -> float:
        """Signal at which the photosites of a mosaic clip, by rows spread over the picture."""
        if codes.shape[2] > 1 or codes.dtype.kind == "f":
            return 1.0
        rows = codes[:: max(1, codes.shape[0] // SAMPLE_ROWS) | 1, :, 0]
        found = clipping_code(rows, white, 1 if self.pattern is None else self.pattern.shape[1])
        return 1.0 if found is None else (found - black) / (white - black)

    def _embedded(self) -> Reduced | None:
        """The embedded picture, of a large file whose parts can be decoded one by one."""
        chunks, size = self.chunks, self.size
        if chunks.decoded or size.width * size.height < EMBEDDED_FROM or len(self.colors) == 1:
            return None
        if chunks.cheap or chunks.count < LEAST_CHUNKS:
            return None
        frames = [Box(0, 0, size.width, size.height), *self.crop]
        for picture in embedded_pictures(chunks.page.parent, chunks.page):
            shown = trusted(picture, frames, parts_of(size, chunks.shape), self._main_signal)
            if shown is not None:
                return shown
        return None

    def _main_signal(self, box: Box) -> NDArray[np.float32]:
        """Signal of the main colour in a box, (rows, cols) of whole repeats of the mosaic."""
        codes = self._linear_codes(_moved(box, self.area))
        main = self.colors.index(main_color(self.colors))
        if self.pattern is None:
            plane, black = codes[..., main], self._even_black().mean()
            return np.asarray((plane - black) / (self.levels.white[0] - black), np.float32)
        signal = self.levels.linear(codes, box)[..., 0].astype(np.float32)
        own = (repeated(self.pattern, box) == main).astype(np.float32)
        side = (int(self.pattern.shape[1]), int(self.pattern.shape[0]))
        total = cv2.boxFilter(signal * own, -1, side, normalize=False)
        return np.asarray(total / np.maximum(cv2.boxFilter(own, -1, side, normalize=False), 1))

    def _even_black(self) -> NDArray[np.float64]:
        """The repeating black with what rows and columns add on average [DN]."""
        return self.levels.mean_black(Box(0, 0, self.area.width, self.area.height))

    def close(self) -> None:
        """Close the file."""
        self.chunks.page.parent.close()

    def _linear_codes(self, stored: Box) -> NDArray[Any]:
        """Codes (rows, cols, planes) of a box of the stored image, through the table."""
        codes = self.chunks.read(stored)
        if self.table is None:
            return codes
        linear: NDArray[np.float64] = self.table[np.minimum(codes, self.table.size - 1)]
        return linear

    def _clip_code(self, codes: NDArray[Any], plane: int) -> float:
        """Code at which a plane clips: the stated white, or lower where codes pile up."""
        white = float(self.levels.white[plane])
        if codes.shape[2] > 1 or (codes.dtype.kind == "f" and self.table is None):
            return white
        if self.clip_code is None:
            step = 1 if self.pattern is None else self.pattern.shape[1]
            self.clip_code = clipping_code(codes[..., plane], white, step)
        return white if self.clip_code is None else self.clip_code

    def _border_doubt(self, box: Box) -> Doubt | None:
        """Hold the masked border beside the box against the stated black.

        Of a striped file the border is decoded with the box; of a tiled one, one tile's worth.
        """
        if self.masked is None or self.chunks.planes > 1:
            return None
        part = _near_rows(self.masked, _moved(box, self.area))
        if self.chunks.page.is_tiled:
            rows, cols = self.chunks.shape
            part = Box(part.col, part.row, min(part.width, cols), min(part.height, rows))
        codes = self._linear_codes(part)[..., 0]
        place = _moved_back(part, self.area)
        black = self.levels.black_at(place)[..., 0]
        return black_doubt(codes, black, float(self.levels.white[0]))

    def _steps(self) -> tuple[str, ...]:
        """What is done to the stored codes before the opcodes, in order."""
        table = ("linearization table",) if self.table is not None else ()
        return (*table, "black", "scale to white")


def _moved(box: Box, area: Box) -> Box:
    """A box of the active area as a box of the stored image."""
    return Box(box.col + area.col, box.row + area.row, box.width, box.height)


def _moved_back(box: Box, area: Box) -> Box:
    """A box of the stored image as a box of the active area."""
    return Box(box.col - area.col, box.row - area.row, box.width, box.height)


def _near_rows(border: Box, near: Box) -> Box:
    """The part of an upright border beside the rows of a box, or closest to them."""
    if border.height < border.width:
        return border
    rows = min(max(near.height, BORDER_WIDTH), border.height)
    top = min(max(near.row, border.row), border.row + border.height - rows)
    return Box(border.col, top, border.width, rows)


def open_dng(file: tifffile.TiffFile, page: tifffile.TiffPage) -> tuple[DngSource, float]:
    """Read the structure of an image that states sensor levels; no pixel.

    Parameters
    ----------
    file, page : an open DNG or TIFF file and its image, as :func:`raw_page` finds it.

    Returns
    -------
    The source, and the LinearResponseLimit.

    Raises
    ------
    NotAFrame
        If the image is cut short, or stored in a way that is not decoded here.
    """
    if not decodes(page):
        msg = (
            f"its pixels are compressed with a method (TIFF number {int(page.compression)}) that "
            "is not decoded here: save it as a DNG with lossless compression"
        )
        raise NotAFrame(msg)
    if page.dtype is None or page.dtype.kind not in "uf":
        msg = f"its samples of {page.bitspersample} bit are of a kind that is not read here"
        raise NotAFrame(msg)
    for code in ORDER_OF_PHOTOSITES:
        if numbers(page, code, [1.0]).max() > 1:
            name = tifffile.TIFF.TAGS[code]
            msg = f"its photosites are stored out of order ({name}), which is not decoded here"
            raise NotAFrame(msg)
    chunks = Chunks(page)
    chunks.check()
    area = active_area(page)
    pattern, colors = mosaic(page, chunks.planes)
    whole = page.dtype.kind == "u"
    table = numbers(page, 50712, None) if whole else None  # a table is for whole codes
    lowest = 0.0 if whole else -np.inf
    applied, left_out = opcodes(page)
    source = DngSource(
        chunks=chunks,
        area=area,
        levels=levels(page, chunks.planes, area, table),
        pattern=pattern,
        colors=colors,
        table=table,
        opcodes=applied,
        left_out=left_out,
        masked=masked_border(page, area),
        neutral=neutral(file, page, colors),
        crop=default_crop(page, area),
        lowest=lowest if table is None else float(table.min()),
    )
    limits = [numbers(p, 50734, [1.0])[0] for p in (page, file.pages.first)]
    return source, min((float(x) for x in limits if 0 < x < 1), default=1.0)
