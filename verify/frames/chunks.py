"""Reads a rectangle of a TIFF image from the strips or tiles that hold it, and no others."""

from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import product
from threading import Lock
from typing import Any

import imagecodecs
import numpy as np
import tifffile
from numpy.typing import NDArray

from verify.errors import NotAFrame, in_one_line
from verify.frames.geometry import Box, Size

KEPT_BYTES = 64 << 20  # decoded chunks kept, so that a border or a second box costs no new decode
JPEG = {6, 7, 34892, 33007}  # compressions whose chunks may share tables kept in a tag
DECODERS = 4  # threads on which a whole image is decoded; the codecs let them run side by side
OF_PYTHON = (TypeError, LookupError, ArithmeticError, AttributeError)  # mean nothing to a person
MOST_SQUEEZED = 1400  # bytes from one; deflate makes 1032 of it at most, LZW 1365
SAMPLE_LIMIT = 1_000_000  # pixels; a compressed picture no larger is sampled whole
SAMPLE_ROWS = 16  # rows that stand for an uncompressed picture


@dataclass(slots=True)
class Chunks:
    """The strips or tiles of one image of a TIFF file, decoded when needed."""

    page: tifffile.TiffPage  # the image's directory
    _kept: OrderedDict[int, NDArray[Any]] = field(default_factory=OrderedDict)
    _reading: Lock = field(default_factory=Lock)  # of the file, whose position threads share
    _whole: NDArray[Any] | None = None  # (rows, cols, planes) of the stored image, once decoded

    @property
    def size(self) -> Size:
        """Size of the stored image."""
        return Size(self.page.imagewidth, self.page.imagelength)

    @property
    def planes(self) -> int:
        """Samples a pixel."""
        return int(self.page.samplesperpixel)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of a chunk; a strip is as wide as the image."""
        page = self.page
        if page.is_tiled:
            return page.tilelength, page.tilewidth
        return min(page.rowsperstrip or page.imagelength, page.imagelength), page.imagewidth

    def check(self) -> None:
        """Raise NotAFrame unless every chunk lies inside the file."""
        page, (rows, cols) = self.page, self.shape
        if page.imagedepth != 1:
            msg = "it is a stack of pictures, not one: export a single picture"
            raise NotAFrame(msg)
        if min(rows, cols) < 1:
            msg = f"its parts of {cols} x {rows} pixels cannot be: it is damaged"
            raise NotAFrame(msg)
        per_plane = -(-page.imagelength // rows) * -(-page.imagewidth // cols)
        wanted = per_plane * (self.planes if page.planarconfig == 2 else 1)
        offsets, counts = page.dataoffsets, page.databytecounts
        size = page.parent.filehandle.size
        if len(offsets) < wanted or len(counts) < wanted:
            msg = f"the file lists {len(offsets)} of {wanted} parts of its picture: it is damaged"
            raise NotAFrame(msg)
        if min(counts[:wanted]) <= 0 or min(offsets[:wanted]) <= 0:
            msg = "part of the picture was never written: wait until the file is whole"
            raise NotAFrame(msg)
        across = -(-page.imagewidth // cols)
        least = self._row_bytes / (1 if self._plain else across * MOST_SQUEEZED)
        if any(
            counts[n] < least * min(rows, page.imagelength - n % per_plane // across * rows)
            for n in range(wanted)
        ):
            msg = "the file lists fewer bytes than the rows of its picture need: it is damaged"
            raise NotAFrame(msg)
        end = max(o + c for o, c in zip(offsets[:wanted], counts[:wanted], strict=True))
        if end > size:
            msg = (
                f"the file is cut short: its picture needs {end:,} bytes and {size:,} are there. "
                "Copy it again, or wait until it is written"
            )
            raise NotAFrame(msg)

    def read(self, box: Box) -> NDArray[Any]:
        """Stored codes (rows, cols, planes) of a box of the stored image."""
        rows, cols = self.shape
        page = self.page
        if self._whole is not None:
            return self._whole[box.row : box.row + box.height, box.col : box.col + box.width]
        if self._plain:
            return self._plain_rows(box)
        out = np.empty((box.height, box.width, self.planes), page.dtype)
        chunk_rows = range(box.row // rows, (box.row + box.height - 1) // rows + 1)
        chunk_cols = range(box.col // cols, (box.col + box.width - 1) // cols + 1)
        for place in product(range(self._layers), chunk_rows, chunk_cols):
            self._put(out, box, place, self._chunk(self._index(place)))
        return out

    def keep_whole(self) -> None:
        """Decode the stored image whole, on several threads; later boxes are read from it."""
        if self._whole is not None:
            return
        page, (rows, cols) = self.page, self.shape
        box = Box(0, 0, page.imagewidth, page.imagelength)
        if self._plain:
            self._whole = self._plain_rows(box)
            return
        out = np.empty((box.height, box.width, self.planes), page.dtype)
        places = product(
            range(self._layers), range(-(-box.height // rows)), range(-(-box.width // cols))
        )

        def put(place: tuple[int, int, int]) -> None:
            self._put(out, box, place, self._decoded(self._index(place)))

        pool = ThreadPoolExecutor(DECODERS)
        try:
            for _ in pool.map(put, places):
                pass
        finally:
            pool.shutdown(cancel_futures=True)
        self._whole = out
        self._kept.clear()

    def _index(self, place: tuple[int, int, int]) -> int:
        """Number in the file of the chunk at (layer, row of chunks, column of chunks)."""
        layer, i, j = place
        rows, cols = self.shape
        across, down = -(-self.page.imagewidth // cols), -(-self.page.imagelength // rows)
        return (layer * down + i) * across + j

    def _put(
        self, out: NDArray[Any], box: Box, place: tuple[int, int, int], chunk: NDArray[Any]
    ) -> None:
        """Copy what a chunk has of a box to its place in ``out``."""
        layer, i, j = place
        rows, cols = self.shape
        top, left = max(box.row, i * rows), max(box.col, j * cols)
        bottom = min(box.row + box.height, (i + 1) * rows)
        right = min(box.col + box.width, (j + 1) * cols)
        part = chunk[top - i * rows : bottom - i * rows, left - j * cols : right - j * cols]
        there = out[top - box.row : bottom - box.row, left - box.col : right - box.col]
        if self._layers > 1:
            there[..., layer] = part[..., 0]
        else:
            there[...] = part

    def sample(self, area: Box) -> list[Box]:
        """Boxes that stand for the whole of ``area`` and cost little to read; maybe none.

        A small picture is read whole; of an uncompressed one, single rows; of a large compressed
        one, a few strips or tiles, or nothing where even that is a large part of it.
        """
        page, (rows, cols) = self.page, self.shape
        if page.compression == 1 and not page.is_tiled:
            step = max(1, area.height // SAMPLE_ROWS) | 1  # odd: meets every row of a mosaic
            return [
                Box(area.col, row, area.width, 1)
                for row in range(area.row, area.row + area.height, step)
            ]
        if area.width * area.height <= SAMPLE_LIMIT:
            return [area]
        across = -(-page.imagewidth // cols)
        count = across * -(-page.imagelength // rows)
        boxes = []
        for n in range(few := min(2, count // 80)):
            i, j = divmod(int((n + 0.5) * count / few), across)
            top, left = max(i * rows, area.row), max(j * cols, area.col)
            height = min((i + 1) * rows, area.row + area.height) - top
            width = min((j + 1) * cols, area.col + area.width) - left
            if height > 0 and width > 0:
                boxes.append(Box(left, top, width, height))
        return boxes

    @property
    def decoded(self) -> bool:
        """Whether the whole image is decoded already."""
        return self._whole is not None

    @property
    def cheap(self) -> bool:
        """Whether all of it is read about as fast as a part: nothing is to be decoded."""
        return self._plain

    @property
    def count(self) -> int:
        """Strips or tiles of one plane."""
        rows, cols = self.shape
        return -(-self.page.imagelength // rows) * -(-self.page.imagewidth // cols)

    @property
    def _plain(self) -> bool:
        """Whether a row can be read from where it lies: strips of samples as they are, or packed.

        Packed samples (10, 12 or 14 bit) are whole numbers, and each row begins with a byte.
        """
        page = self.page
        whole = np.dtype(page.dtype).kind == "u"
        bits = (8, 10, 12, 14, 16, 32, 64) if whole else (16, 32, 64)
        as_it_is = page.compression == page.predictor == page.fillorder == 1
        return as_it_is and not page.is_tiled and page.bitspersample in bits

    @property
    def _layers(self) -> int:
        """Layers of chunks: one for each plane where planes are stored apart."""
        return self.planes if self.page.planarconfig == 2 else 1

    @property
    def _samples(self) -> int:
        """Samples a pixel within one chunk."""
        return 1 if self.page.planarconfig == 2 else self.planes

    @property
    def _row_bytes(self) -> int:
        """Bytes of a row of the picture in a layer of chunks, uncompressed."""
        return -(-self.page.imagewidth * self._samples * self.page.bitspersample // 8)

    def _plain_rows(self, box: Box) -> NDArray[Any]:
        """Rows of an uncompressed image, read from where they lie without decoding a strip."""
        page, (rows, _) = self.page, self.shape
        samples, row_bytes = self._samples, self._row_bytes
        down = -(-page.imagelength // rows)
        out = np.empty((box.height, box.width, self.planes), page.dtype)
        for plane in range(self._layers):
            row = box.row
            while row < box.row + box.height:
                strip = row // rows
                last = min((strip + 1) * rows, box.row + box.height)
                offset = page.dataoffsets[plane * down + strip] + (row - strip * rows) * row_bytes
                data = self._bytes(offset, (last - row) * row_bytes)
                lines = self._unpacked(data).reshape(last - row, page.imagewidth, samples)
                part = lines[:, box.col : box.col + box.width]
                place = out[row - box.row : last - box.row]
                if self._layers > 1:
                    place[..., plane] = part[..., 0]
                else:
                    place[...] = part
                row = last
        return out

    def _unpacked(self, data: bytes) -> NDArray[Any]:
        """Samples of whole uncompressed rows, flat."""
        page, bits = self.page, self.page.bitspersample
        if bits in (8, 16, 32, 64):
            return np.frombuffer(data, np.dtype(page.dtype).newbyteorder(page.parent.byteorder))
        samples: NDArray[Any] = imagecodecs.packints_decode(
            data, np.dtype(page.dtype), bits, runlen=page.imagewidth * self._samples
        )
        return samples

    def _chunk(self, index: int) -> NDArray[Any]:
        """One decoded chunk (rows, cols, samples), from those kept where it is there."""
        if index in self._kept:
            self._kept.move_to_end(index)
            return self._kept[index]
        chunk = self._decoded(index)
        self._kept[index] = chunk
        while sum(c.nbytes for c in self._kept.values()) > KEPT_BYTES and len(self._kept) > 1:
            self._kept.popitem(last=False)
        return chunk

    def _decoded(self, index: int) -> NDArray[Any]:
        """One chunk (rows, cols, samples), decoded."""
        page = self.page
        with self._reading:
            offset, count = page.dataoffsets[index], page.databytecounts[index]
        data = self._bytes(offset, count)
        try:
            with self._reading:  # a tag's value may be read from the file only when it is asked for
                decode = page.decode
                extra: dict[str, Any] = {}
                if page.compression in JPEG:
                    extra = {"jpegtables": page.jpegtables, "jpegheader": page.jpegheader}
            decoded, _, _ = decode(data, index, **extra)
        except Exception as error:  # the codecs raise errors of many kinds on damaged data
            line = "" if isinstance(error, OF_PYTHON) else (str(error).splitlines() or [""])[0]
            said = f" ({in_one_line(line, 100)})" if line else ""
            msg = f"part {index + 1} of the picture cannot be decoded{said}: copy it again"
            raise NotAFrame(msg) from error
        if decoded is None:
            msg = f"part {index + 1} of the picture is empty"
            raise NotAFrame(msg)
        chunk: NDArray[Any] = decoded[0]
        return chunk

    def _bytes(self, offset: int, count: int) -> bytes:
        """Bytes of the file, all of them or NotAFrame."""
        handle = self.page.parent.filehandle
        with self._reading:
            handle.seek(offset)
            data: bytes = handle.read(count)
        if len(data) < count:
            msg = "the file is cut short inside its picture: copy it again"
            raise NotAFrame(msg)
        return data
