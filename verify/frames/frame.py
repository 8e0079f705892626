"""The record of one picture file, and of a region of its linear signal.

A ``Frame`` is lazy: opening one reads its settings and its structure, no pixel. ``signal`` decodes
what a box needs. The three kinds of source (``raw``, ``dng``, ``tiff``) hand over a ``Region`` in
the stored orientation; the frame turns it upright.
"""

from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from verify.errors import BoxError, NotAFrame
from verify.frames.cells import WANTED_SIDE
from verify.frames.geometry import Box, Size, stored_box, upright, upright_size
from verify.frames.overview import Overview, Reduced, turned


@dataclass(frozen=True, slots=True)
class Settings:
    """What the file records of the camera and its settings; None where it does not."""

    make: str | None = None
    model: str | None = None
    serial: str | None = None  # of the body
    lens: str | None = None
    f_number: float | None = None  # as recorded: 11 for a marked f/11
    shutter_s: float | None = None  # as recorded [s]: 0.008 for a marked 1/125
    iso: float | None = None  # as recorded
    focal_mm: float | None = None
    pixel_pitch_um: float | None = None  # distance between photosites [um]
    captured: datetime | None = None  # with fraction; with a time zone where the file has one
    orientation: int = 1  # Exif Orientation, 1 to 8

    def or_else(self, other: "Settings") -> "Settings":
        """These settings, with what is unknown taken from a second source."""
        missing = [f.name for f in fields(self) if getattr(self, f.name) is None]
        return replace(self, **{name: getattr(other, name) for name in missing})


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something in a frame that makes its numbers doubtful, before anything is measured."""

    warning: str  # a name from the table of warnings
    note: str = ""  # one sentence with the figures of this frame; empty if the table says it all
    signal: float = 0.0  # what it may be worth, in linear signal; goes into the uncertainty


@dataclass(frozen=True, slots=True)
class Region:
    """Linear signal of a rectangle of photosites.

    ``signal`` is (rows, cols) for a mosaic and for monochrome, (rows, cols, planes) for a picture
    of several planes. 0 is black and 1 the stated white, each photosite with its own black;
    values below 0 stay.
    """

    signal: NDArray[np.float64]
    colors: tuple[str, ...]  # colour of each class of photosites, or of each plane
    classes: NDArray[np.uint8] | None  # (rows, cols) index into ``colors``; None for planes
    clipped: NDArray[np.bool_]  # shape of ``signal``: at or above the clipping level
    floored: NDArray[np.bool_]  # shape of ``signal``: at the lowest code the file can hold
    black: tuple[float, ...]  # black of each colour [DN], the mean over the region
    white: tuple[float, ...]  # stated white of each colour [DN]
    clips_at: tuple[float, ...]  # signal at which each colour clips, 1 unless it is lower
    luminance: tuple[float, ...] | None = None  # share of Y of each plane of an RGB picture
    steps: tuple[str, ...] = ()  # what was applied to the stored values, in order
    doubts: tuple[Doubt, ...] = ()

    def values(
        self, color: str, of: Literal["signal", "clipped", "floored"]
    ) -> NDArray[np.float64] | NDArray[np.bool_]:
        """``of`` for the photosites of one colour, flat; empty for a colour that is not there."""
        array: NDArray[np.float64] | NDArray[np.bool_] = getattr(self, of)
        if color not in self.colors:
            return array.ravel()[:0]
        index = self.colors.index(color)
        if self.classes is not None:
            array = array[self.classes == index]
        elif array.ndim == 3:
            array = array[..., index]
        return array.ravel()


class Source(Protocol):
    """What a kind of file gives: a region in stored orientation, and the scene's mean."""

    @property
    def size(self) -> Size:
        """Size of the active area as stored."""

    def read(self, box: Box) -> Region:
        """Linear signal of a box of stored photosites, counted from the active area's corner."""

    def scene_mean(self) -> float | None:
        """Mean signal over the picture, from a cheap sample; None if that would cost a decode."""

    def reduced(self, wanted: int = WANTED_SIDE) -> Reduced:
        """The whole picture, about ``wanted`` cells long; what that decodes is kept."""

    def close(self) -> None:
        """Let the file and its decoded pixels go."""


@dataclass(slots=True)
class Kept:
    """A source whose regions are kept, and that several threads may read."""

    source: Source
    _lock: Lock = field(default_factory=Lock)
    _regions: dict[Box, Region] = field(default_factory=dict)

    @property
    def size(self) -> Size:
        """Size of the active area as stored."""
        return self.source.size

    def read(self, box: Box) -> Region:
        """Linear signal of a box, decoded the first time it is asked for."""
        with self._lock:
            if box not in self._regions:
                self._regions[box] = self.source.read(box)
            return self._regions[box]

    def scene_mean(self) -> float | None:
        """Mean signal over the picture."""
        with self._lock:
            return self.source.scene_mean()

    def reduced(self, wanted: int = WANTED_SIDE) -> Reduced:
        """The whole picture at reduced size."""
        with self._lock:
            return self.source.reduced(wanted)

    def close(self) -> None:
        """Let the file go."""
        self._regions.clear()
        self.source.close()


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture file. Use it in a ``with`` block, or close it."""

    path: Path
    settings: Settings
    source: Source
    kind: str  # "raw", "dng" or "tiff"
    scene_referred: bool = True  # False for a rendered picture: a tone curve may be in it
    linear_limit: float = 1.0  # signal above which the response may bend (LinearResponseLimit)
    notes: tuple[str, ...] = ()  # sentences for whoever reads the results

    @property
    def size(self) -> Size:
        """Size of the upright picture (the active area) [pixel]."""
        return upright_size(self.source.size, self.settings.orientation)

    def signal(self, box: Box) -> Region:
        """Linear signal of a box, upright.

        Parameters
        ----------
        box : in upright pixels, counted from the corner of the active area.

        Raises
        ------
        BoxError
            If the box does not lie inside the picture.
        NotAFrame
            If the pixels cannot be decoded.
        """
        size = self.size
        if not box.inside(size):
            msg = (
                f"the box {box.col},{box.row},{box.width},{box.height} reaches outside the "
                f"upright picture of {size.width} x {size.height} pixels: give one inside it"
            )
            raise BoxError(msg)
        turn = self.settings.orientation
        stored = self.source.read(stored_box(box, self.source.size, turn))
        return replace(
            stored,
            signal=upright(stored.signal, turn),
            classes=None if stored.classes is None else upright(stored.classes, turn),
            clipped=upright(stored.clipped, turn),
            floored=upright(stored.floored, turn),
        )

    def scene_mean(self) -> float | None:
        """Mean signal of the picture from a cheap sample; None where that costs a whole decode."""
        return self.source.scene_mean()

    def overview(self, wanted: int = WANTED_SIDE) -> Overview:
        """The whole picture at reduced size, upright.

        Parameters
        ----------
        wanted : cells along the longer side, as nearly as the mosaic allows.

        Raises
        ------
        NotAFrame
            If the pixels cannot be decoded.
        """
        reduced = self.source.reduced(wanted)
        if not reduced.signal.size:
            size = self.size
            msg = (
                f"its picture of {size.width} x {size.height} pixels is too small to look for a "
                "card in: say where it is with --card"
            )
            raise NotAFrame(msg)
        return turned(reduced, self.source.size, self.settings.orientation)

    def __enter__(self) -> "Frame":
        return self

    def __exit__(self, *_: object) -> None:
        self.source.close()
