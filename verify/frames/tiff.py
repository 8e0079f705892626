"""TIFF pictures: encoded values to linear light by the stated transfer, box by box."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray

from verify.errors import NotAFrame, NotLinear
from verify.frames.cells import WANTED_SIDE, cell_size, in_cells
from verify.frames.chunks import Chunks
from verify.frames.frame import Region
from verify.frames.geometry import Box, Size
from verify.frames.levels import possible
from verify.frames.overview import Reduced
from verify.frames.transfer import Transfer, icc_transfer, stated_transfer

WHITE_IS_ZERO, BLACK_IS_ZERO, RGB = 0, 1, 2  # PhotometricInterpretation
PHOTOMETRIC = {3: "palette", 5: "CMYK", 6: "YCbCr", 8: "Lab"}
PHOTOMETRIC_TAG, ICC_PROFILE = 262, 34675
SAMPLE_STEP = 4  # columns between the pixels that stand for the scene


@dataclass(slots=True)
class TiffSource:
    """The picture of a TIFF file and its transfer."""

    chunks: Chunks
    transfer: Transfer
    channels: int  # 1 or 3; what a file has beyond (alpha) is left out
    top: float  # stored value of white: the highest code, or 1 for floating point
    inverted: bool  # white is stored as zero

    @property
    def size(self) -> Size:
        """Size of the picture as stored."""
        return self.chunks.size

    def read(self, box: Box) -> Region:
        """Linear signal of a box: (rows, cols) of a grey picture, (rows, cols, 3) of RGB."""
        codes = self.chunks.read(box)[..., : self.channels]
        signal = self._linear(codes)
        whole = codes.dtype.kind != "f"
        highest, lowest = (codes >= self.top), (codes <= 0 if whole else np.isneginf(codes))
        if self.inverted:
            highest, lowest = lowest, highest
        flat = self.channels == 1
        return Region(
            signal=signal[..., 0] if flat else signal,
            colors=("grey",) if flat else ("red", "green", "blue"),
            classes=None,
            clipped=highest[..., 0] if flat else highest,
            floored=lowest[..., 0] if flat else lowest,
            black=(0.0,) * self.channels,
            white=(self.top,) * self.channels,
            clips_at=(1.0,) * self.channels,
            luminance=None if flat else self.transfer.luminance,
            steps=(f"transfer: {self.transfer.name}",),
        )

    def scene_mean(self) -> float | None:
        """Mean luminance over a cheap sample of the picture."""
        share = np.asarray(self.transfer.luminance)
        boxes = self.chunks.sample(Box(0, 0, self.size.width, self.size.height))
        if not boxes:
            return None
        parts = (self.chunks.read(b)[:, ::SAMPLE_STEP, : self.channels] for b in boxes)
        light = np.concatenate([(self._linear(part) @ share).ravel() for part in parts])
        finite = light[np.isfinite(light)]
        return float(finite.mean()) if finite.size else None

    def reduced(self, wanted: int = WANTED_SIDE) -> Reduced:
        """The picture in cells: means of encoded values, then linear light."""
        self.chunks.keep_whole()
        size = self.size
        cell = cell_size(size.width, size.height, None, wanted)
        codes = self.chunks.read(Box(0, 0, size.width, size.height))[..., : self.channels]
        return Reduced(
            signal=self._linear(in_cells(codes, None, self.channels, cell)).astype(np.float32),
            colors=("grey",) if self.channels == 1 else ("red", "green", "blue"),
            cell=cell,
            neutral=(1.0,) * self.channels,
        )

    def close(self) -> None:
        """Close the file."""
        self.chunks.page.parent.close()

    def _linear(self, codes: NDArray[Any]) -> NDArray[np.float64]:
        """Stored codes to linear light, 1 at white."""
        values = codes.astype(np.float64) / self.top
        linear = self.transfer.to_linear(1 - values if self.inverted else values)
        return possible(linear) if codes.dtype.kind == "f" else linear


def picture_page(file: tifffile.TiffFile) -> tifffile.TiffPage:
    """The directory of a file's picture: the first that is no reduced copy of another."""
    for page in file.pages:
        if isinstance(page, tifffile.TiffPage) and not int(page.subfiletype) & 1:
            return page
    return file.pages.first


def open_tiff(page: tifffile.TiffPage, transfer: str | None) -> TiffSource:
    """Read the structure of a TIFF picture; no pixel.

    Parameters
    ----------
    page : its directory, as :func:`picture_page` finds it.
    transfer : "linear", "srgb" or a gamma states it; None or "icc" takes the embedded profile.

    Raises
    ------
    NotLinear
        If nothing says how its values follow the light, or its colours are no RGB or grey.
    NotAFrame
        If it is cut short or stored in a way that is not decoded here.
    """
    if PHOTOMETRIC_TAG not in page.tags:
        msg = (
            "nothing in it says whether its values are grey or RGB: export it as a 16-bit RGB TIFF"
        )
        raise NotLinear(msg)
    photometric = int(page.photometric)
    if photometric not in (WHITE_IS_ZERO, BLACK_IS_ZERO, RGB):
        what = PHOTOMETRIC.get(photometric, f"of colour type {photometric}")
        msg = f"it is {what}; needed is grey or RGB. Export it as a linear 16-bit RGB TIFF"
        raise NotLinear(msg)
    bits = page.bitspersample
    if page.dtype is None or page.dtype.kind not in "uf" or not isinstance(bits, int) or bits < 8:
        msg = f"its samples of {bits} bit are of a kind that is not read here: export it as 16 bit"
        raise NotAFrame(msg)
    chunks = Chunks(page)
    chunks.check()
    channels = 3 if photometric == RGB else 1
    if chunks.planes < channels:
        msg = f"it says RGB and has {chunks.planes} channels: the file is damaged"
        raise NotAFrame(msg)
    return TiffSource(
        chunks=chunks,
        transfer=_transfer(page, transfer, channels),
        channels=channels,
        top=1.0 if page.dtype.kind == "f" else float(2**page.bitspersample - 1),
        inverted=photometric == WHITE_IS_ZERO,
    )


def _transfer(page: tifffile.TiffPage, transfer: str | None, channels: int) -> Transfer:
    """The transfer as stated, else as the embedded profile says; never guessed."""
    if transfer not in (None, "icc"):
        return stated_transfer(transfer, channels)
    tag = page.tags.get(ICC_PROFILE)
    if tag is None:
        msg = (
            "nothing in it says how its values follow the light (no ICC profile): give "
            "--transfer linear, srgb or a gamma if you know it, or measure the raw file"
        )
        raise NotLinear(msg)
    return icc_transfer(bytes(tag.value), channels)
