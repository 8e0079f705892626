"""Frames whose linear signal lies in memory: known exactly, and as odd as a test wants."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from verify.frames.cells import WANTED_SIDE, cell_size, in_cells
from verify.frames.frame import Doubt, Frame, Region, Settings
from verify.frames.geometry import Box, Size
from verify.frames.overview import Reduced
from verify.measure import PatchReading, measure
from verify.target.records import Target

Array = NDArray[np.float64]

BAYER = (("red", "green"), ("green", "blue"))
EXACT = 1e-12  # relative: sums of some thousand doubles
BLACK, WHITE = 512.0, 16383.0  # check-values 2.6


@dataclass(slots=True)
class MemorySource:
    """A source of a signal in memory."""

    signal: Array  # (rows, cols), or (rows, cols, 3) for planes
    pattern: tuple[tuple[str, ...], ...] | None = BAYER
    clips_at: float = 1.0
    floor: float = -np.inf  # signal of the lowest code
    white: float = WHITE
    scene: float | None = None
    luminance: tuple[float, ...] | None = None
    doubts: tuple[Doubt, ...] = ()
    black: float = BLACK
    neutral: tuple[float, ...] | None = None

    @property
    def size(self) -> Size:
        """Size of the picture."""
        return Size(self.signal.shape[1], self.signal.shape[0])

    def read(self, box: Box) -> Region:
        """A box of the signal, each photosite with its colour."""
        rows = slice(box.row, box.row + box.height)
        cols = slice(box.col, box.col + box.width)
        signal = self.signal[rows, cols]
        tile, colors = self._mosaic()
        classes = None
        if tile is not None:
            down, across = np.arange(rows.start, rows.stop), np.arange(cols.start, cols.stop)
            classes = tile[np.ix_(down % tile.shape[0], across % tile.shape[1])]
        return Region(
            signal=signal,
            colors=colors,
            classes=classes,
            clipped=signal >= self.clips_at,
            floored=signal <= self.floor,
            black=(self.black,) * len(colors),
            white=(self.white,) * len(colors),
            clips_at=(self.clips_at,) * len(colors),
            luminance=self.luminance,
            steps=("black", "scale to white"),
            doubts=self.doubts,
        )

    def scene_mean(self) -> float | None:
        """Mean signal that was given for the scene."""
        return self.scene

    def reduced(self, wanted: int = WANTED_SIDE) -> Reduced:
        """The picture in cells."""
        tile, colors = self._mosaic()
        cell = cell_size(self.size.width, self.size.height, tile, wanted)
        planes = self.signal if self.signal.ndim == 3 else self.signal[..., None]
        signal = in_cells(planes, tile, len(colors), cell)
        return Reduced(signal, colors, cell, self.neutral, self.clips_at)

    def close(self) -> None:
        """Nothing to let go."""

    def _mosaic(self) -> tuple[NDArray[np.uint8] | None, tuple[str, ...]]:
        """Index into the colours over a repeat, None for planes; and the colours."""
        if self.pattern is None:
            return None, ("grey",) if self.signal.ndim == 2 else ("red", "green", "blue")
        colors = tuple(sorted({c for row in self.pattern for c in row}))
        tile = np.array([[colors.index(c) for c in row] for row in self.pattern], np.uint8)
        return tile, colors


def frame_of(signal: Array, settings: Settings | None = None, **source: Any) -> Frame:
    """A frame of a signal in memory; ``source`` are fields of :class:`MemorySource`."""
    if signal.ndim == 3:
        source.setdefault("pattern", None)
    held = MemorySource(signal, **source)
    return Frame(Path("memory.dng"), settings or Settings(), held, "dng")


def even(level: float = 0.12, size: tuple[int, int] = (160, 240)) -> Array:
    """Signal of a wholly even picture of ``size`` (rows, columns)."""
    return np.full(size, level)


def middle(frame: Frame, width: int = 60, height: int = 40) -> Target:
    """A box in the middle of a frame."""
    size = frame.size
    box = Box((size.width - width) // 2, (size.height - height) // 2, width, height)
    return Target(box, box.corners(), "given")


def turned(frame: Frame, orientation: int) -> Frame:
    """The same photosites, shot with the camera turned."""
    return replace(frame, settings=replace(frame.settings, orientation=orientation))


def read(frame: Frame, flat: Frame | None = None) -> PatchReading:
    """Measure the middle of a frame."""
    return measure(frame, middle(frame), flat)


def names(patch: PatchReading) -> list[str]:
    """The warnings of a reading."""
    return [doubt.warning for doubt in patch.doubts]


def noisy(level: float, sigma: float, seed: int = 1, size: tuple[int, int] = (160, 240)) -> Array:
    """An even signal with normal noise of ``sigma`` on every photosite."""
    return level + sigma * np.random.default_rng(seed).standard_normal(size)


def whole(frame: Frame) -> PatchReading:
    """Measure all of a frame."""
    return of_box(frame, 0, 0, frame.size.width, frame.size.height)


def of_box(frame: Frame, *box: int) -> PatchReading:
    """Measure one box of a frame."""
    place = Box(*box)
    return measure(frame, Target(place, place.corners(), "given"))
