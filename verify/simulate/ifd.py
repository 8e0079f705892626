"""A TIFF container writer: image file directories, their sub-directories and their picture data.

References
----------
TIFF 6.0; TIFF/EP (ISO 12234-2) for sub-directories.
"""

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

ByteOrder = Literal["<", ">"]

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED = 1, 2, 3, 4, 5, 7
SRATIONAL, DOUBLE, DIRECTORY = 10, 12, 13

_CODES = {SHORT: "H", LONG: "I", RATIONAL: "II", SRATIONAL: "ii", DOUBLE: "d", DIRECTORY: "I"}
_LARGEST_DENOMINATOR = 1_000_000  # keeps 1/125 as 1/125 and fits 32 bits for every value here


Tag = tuple[int, int, list[float] | bytes]  # type, count, values


@dataclass(slots=True)
class Ifd:
    """One image file directory, filled by :meth:`add` and written by :func:`tiff_bytes`."""

    tags: dict[int, Tag] = field(default_factory=dict)  # by number
    children: dict[int, list["Ifd"]] = field(default_factory=dict)  # pointer tag -> directories
    segments: list[bytes] = field(default_factory=list)  # encoded strips or tiles, in file order
    tiled: bool = False  # the segments are tiles

    def add(self, tag: int, kind: int, value: float | str | bytes | Sequence[float]) -> None:
        """Add a tag; numbers alone or in sequence, text for ASCII, bytes for BYTE and UNDEFINED."""
        if isinstance(value, str):
            value = value.encode("ascii") + b"\0"
        if isinstance(value, bytes):
            self.tags[tag] = (kind, len(value), value)
            return
        values = [value] if isinstance(value, int | float) else list(value)
        if kind == BYTE:
            self.tags[tag] = (kind, len(values), bytes(int(v) for v in values))
            return
        self.tags[tag] = (kind, len(values), values)


def tiff_bytes(first: Ifd, order: ByteOrder = "<") -> bytes:
    """Serialise ``first`` and all below it: directories first, picture data after them."""
    directories = list(_walk(first))
    for each in directories:
        _reserve_pointers(each)
    place = 8
    starts: dict[int, int] = {}
    for each in directories:
        starts[id(each)] = place
        place += _directory_size(each, order)
    picture = bytearray()
    for each in directories:
        offsets = []
        for segment in each.segments:
            offsets.append(place + len(picture))
            picture += _even(segment)
        if each.segments:
            each.add(324 if each.tiled else 273, LONG, offsets)
        for tag, below in each.children.items():
            each.add(tag, LONG, [starts[id(child)] for child in below])
    out = bytearray(b"II*\0" if order == "<" else b"MM\0*")
    out += struct.pack(order + "I", 8)
    for each in directories:
        out += _directory(each, starts[id(each)], order)
    return bytes(out + picture)


def _walk(ifd: Ifd) -> Iterator[Ifd]:
    yield ifd
    for below in ifd.children.values():
        for child in below:
            yield from _walk(child)


def _reserve_pointers(ifd: Ifd) -> None:
    """Put in the tags whose values are offsets, so that every directory has its final size."""
    if ifd.segments:
        ifd.add(324 if ifd.tiled else 273, LONG, [0] * len(ifd.segments))
        ifd.add(325 if ifd.tiled else 279, LONG, [len(segment) for segment in ifd.segments])
    for tag, below in ifd.children.items():
        ifd.add(tag, LONG, [0] * len(below))


def _packed(kind: int, values: list[float] | bytes, order: ByteOrder) -> bytes:
    if isinstance(values, bytes):
        return values
    if kind in (RATIONAL, SRATIONAL):
        numbers: list[float] = []
        for value in values:
            fraction = Fraction(value).limit_denominator(_LARGEST_DENOMINATOR)
            numbers += [fraction.numerator, fraction.denominator]
    else:
        numbers = [v if kind == DOUBLE else int(v) for v in values]
    return struct.pack(order + _CODES[kind] * len(values), *numbers)


def _even(data: bytes) -> bytes:
    return data + b"\0" * (len(data) % 2)


def _directory_size(ifd: Ifd, order: ByteOrder) -> int:
    packed = (_packed(kind, values, order) for kind, _, values in ifd.tags.values())
    return 6 + 12 * len(ifd.tags) + sum(len(_even(data)) for data in packed if len(data) > 4)


def _directory(ifd: Ifd, start: int, order: ByteOrder) -> bytes:
    """One directory with its long values behind it; the tags ascend, as TIFF 6.0 demands."""
    table = bytearray(struct.pack(order + "H", len(ifd.tags)))
    beyond = bytearray()
    first_beyond = start + 6 + 12 * len(ifd.tags)
    for tag, (kind, count, values) in sorted(ifd.tags.items()):
        data = _packed(kind, values, order)
        table += struct.pack(order + "HHI", tag, kind, count)
        if len(data) > 4:
            table += struct.pack(order + "I", first_beyond + len(beyond))
            beyond += _even(data)
        else:
            table += data.ljust(4, b"\0")
    return bytes(table + struct.pack(order + "I", 0) + beyond)
