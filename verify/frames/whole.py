"""Whether a TIFF file is whole: everything that its directories point to is there, and once.

A reader leaves out a tag whose value is not there, or is of a type that it does not know. Of a
file cut short behind its picture it would take the black level for the default of 0, the settings
for unknown, or a preview for the picture; and of two black levels it would take either.

References
----------
TIFF 6.0, section 2; TIFF/EP (ISO 12234-2) for directories below a directory. BigTIFF has the same
structure with offsets of 64 bits.
"""

import struct
from collections.abc import Iterator

import tifffile

from verify.errors import NotAFrame

SUB_IFDS, EXIF_IFD, MAKER_NOTE = 330, 34665, 37500
RAW_DATA_OFFSET, NOWHERE = 280, 2**32 - 1  # some camera files state the place of a strip apart
TYPE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4} | {
    16: 8, 17: 8, 18: 8,
}  # fmt: skip
POINTERS = {4: "I", 13: "I", 16: "Q", 18: "Q"}  # types that an offset may have
# Tags that the values of pixels hang on: which picture, its layout, its mosaic and its levels.
OF_PIXELS = frozenset(
    {254, 256, 257, 258, 259, 262, 266, 273, 274, 277, 278, 279, 284, 317, 322, 323, 324, 325, 330}
    | {338, 339, 347, 33421, 33422, 34675, 50706, 50710, 50711, 50712, 50713, 50714, 50715, 50716}
    | {50717, 50829, 50830, 50974, 50975, 51008, 51009, 51022, 52547}
)
# Of these, what can only be whole numbers, and what can only be one of them.
WHOLE_TYPES = {1, 3, 4, 6, 8, 9, 13, 16, 17, 18}
ONE_NUMBER = {254, 256, 257, 259, 262, 266, 277, 284, 317, 322, 323}
NUMBERS = {258, 273, 278, 279, 324, 325, 338, 339} | ONE_NUMBER
FIRST_PLACE = 8  # in a file, behind its header; no value lies before it
MOST_TAGS = 4096  # of a directory; more are no directory


def check_directories(
    file: tifffile.TiffFile, page: tifffile.TiffPage | None = None, all_tags: bool = True
) -> None:
    """Raise NotAFrame unless every directory and every value of a tag is inside the file.

    And unless every tag that the values of pixels hang on can be read, and says one thing. Of a
    file that another decoder reads, these tags alone count: without ``all_tags``.

    Maker notes are left out: some software moves them and leaves their old place behind. The
    directories that follow the first are too, but for that of the picture itself, ``page``: what
    lies behind it may be anything.
    """
    handle, tiff, size = file.filehandle, file.tiff, file.filehandle.size
    handle.seek(tiff.offsetsize)  # 4 in a TIFF, 8 in a BigTIFF: there the first offset is
    waiting = [*struct.unpack(tiff.offsetformat, handle.read(tiff.offsetsize))]
    if page is not None:
        waiting.append(page.offset)
    pointers = {SUB_IFDS, EXIF_IFD} if all_tags else {SUB_IFDS}
    seen: set[int] = set()
    while waiting:
        start = waiting.pop()
        if start in seen:
            continue
        seen.add(start)
        said: dict[int, tuple[int, int, bytes]] = {}
        for code, kind, count, value in _entries(file, start):
            if code in OF_PIXELS:
                _check_once(code, said.setdefault(code, (kind, count, value)), (kind, count, value))
            length = TYPE_BYTES.get(kind, 0) * count
            data = value[:length]
            if length > tiff.offsetsize:
                (at,) = struct.unpack(tiff.offsetformat, value)
                if at < FIRST_PLACE and code in OF_PIXELS:
                    msg = f"the value of its tag {code} is not there: it is damaged"
                    raise NotAFrame(msg)
                if at + length > size:
                    if code == MAKER_NOTE or not (all_tags or code in OF_PIXELS):
                        continue
                    raise _cut(f"tag {code} of it", at + length, size)
                handle.seek(at)
                data = handle.read(length) if code in pointers else b""
            if code in pointers and kind in POINTERS:
                waiting += struct.unpack(f"{tiff.byteorder}{count}{POINTERS[kind]}", data)


def check_pictures(file: tifffile.TiffFile) -> None:
    """Raise NotAFrame unless the data of every picture listed is inside the file.

    A decoder may go on with old data where the file ends, and give a picture of them.
    """
    size = file.filehandle.size
    for first in file.pages:
        for page in (first, *(getattr(first, "pages", None) or ())):
            offsets = page.dataoffsets
            if tuple(offsets) == (NOWHERE,):
                offsets = (page.tags.valueof(RAW_DATA_OFFSET, 0),)
            spans = zip(offsets, page.databytecounts, strict=False)
            end = max((offset + count for offset, count in spans), default=0)
            if end > size:
                raise _cut("a picture in it", end, size)


def _entries(file: tifffile.TiffFile, start: int) -> Iterator[tuple[int, int, int, bytes]]:
    """Tags of the directory at ``start``: code, type, count, and value or the offset of it."""
    handle, tiff, size = file.filehandle, file.tiff, file.filehandle.size
    if start + tiff.tagnosize > size:
        raise _cut("a directory of it", start + tiff.tagnosize, size)
    handle.seek(start)
    (count,) = struct.unpack(tiff.tagnoformat, handle.read(tiff.tagnosize))
    end = start + tiff.tagnosize + count * tiff.tagsize + tiff.offsetsize
    if count > MOST_TAGS:
        msg = f"a directory of it claims {count} tags: it is damaged"
        raise NotAFrame(msg)
    if end > size:
        raise _cut("a directory of it", end, size)
    yield from struct.iter_unpack(tiff.tagheaderformat, handle.read(count * tiff.tagsize))


def _check_once(code: int, first: tuple[int, int, bytes], found: tuple[int, int, bytes]) -> None:
    """Refuse a tag that cannot be read as it is meant, or is there twice with other values."""
    if found[0] not in TYPE_BYTES:
        msg = f"its tag {code} is of type {found[0]}, which there is not: it is damaged"
        raise NotAFrame(msg)
    if (code in NUMBERS and found[0] not in WHOLE_TYPES) or (code in ONE_NUMBER and found[1] != 1):
        many = "one whole number" if code in ONE_NUMBER else "whole numbers"
        msg = f"its tag {code} does not hold {many}: it is damaged"
        raise NotAFrame(msg)
    if found != first:
        msg = f"its tag {code} is there twice and says two things: it is damaged"
        raise NotAFrame(msg)


def _cut(what: str, end: int, size: int) -> NotAFrame:
    """One line for what reaches beyond the end of the file."""
    return NotAFrame(
        f"the file is cut short: {what} ends at byte {end:,} and {size:,} are there. Copy it "
        "again, or wait until it is written"
    )
