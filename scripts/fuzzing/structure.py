"""The structure of a TIFF file: what mutations aim at, and what gives the pixels their meaning.

A reader of its own, apart from the one under test: it goes on where the file is damaged, and it
knows where in the file each entry and each value lies.
"""

import math
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

SUB_IFDS, EXIF_IFD, GPS_IFD, MAKER_NOTE = 330, 34665, 34853, 37500
BELOW = {SUB_IFDS: "sub", EXIF_IFD: "exif", GPS_IFD: "gps"}  # pointer tag: role of what it leads to
OFFSETS = {273: 279, 324: 325}  # tags of the places of strips and tiles: tags of their lengths
TYPE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4} | {
    16: 8, 17: 8, 18: 8,
}  # fmt: skip
WHOLE = {1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 13: "I", 16: "Q", 17: "q", 18: "Q"}
NUMBERS = {**WHOLE, 5: "II", 10: "ii", 11: "f", 12: "d"}
MOST_DIRECTORIES, MOST_ENTRIES = 64, 2000  # of a file, of a directory; more is a damaged one

# Tags that say which picture is meant, where its pixels lie and what they are worth (TIFF 6.0,
# TIFF/EP, DNG 1.7.1.0), and those by which tifffile knows variants of the format.
MEANING = (
    {254, 255, 256, 257, 258, 259, 262, 263, 266, 273, 274, 277, 278, 279, 284, 292, 293, 317}
    | {320, 322, 323, 324, 325, 330, 332, 334, 336, 338, 339, 340, 341, 347, 529, 530, 531, 532}
    | {32995, 32996, 32997, 32998, 33421, 33422, 33445, 33446, 33628, 33629, 33630, 33631, 34412}
    | {34675, 50706, 50707, 50710, 50711, 50712, 50713, 50714, 50715, 50716, 50717, 50829, 50830}
    | {50974, 50975, 51008, 51009, 51022, 52547}
)
# Tags of an Exif directory that no decoder takes for anything but settings of the camera.
SETTINGS_ONLY = (
    {33434, 33437, 34850, 34855, 34864, 34865, 34866, 34867, 36867, 36868, 36880, 36881, 36882}
    | {37377, 37378, 37380, 37381, 37383, 37384, 37385, 37386, 37520, 37521, 37522, 41486, 41487}
    | {41488, 42033, 42034, 42035, 42036, 42037}
)

Role = Literal["image", "sub", "exif", "gps"]
Free = Callable[[int, str], bool]  # whether a tag of that code in a directory of that role is idle


@dataclass(frozen=True, slots=True)
class Layout:
    """How a TIFF writes its numbers."""

    order: Literal["<", ">"]
    big: bool  # BigTIFF: offsets of 64 bits

    @property
    def offset(self) -> str:
        """struct format of an offset, and of a count of values."""
        return self.order + ("Q" if self.big else "I")

    @property
    def word(self) -> int:
        """Bytes of an offset, which a value that is no longer takes the place of."""
        return 8 if self.big else 4

    @property
    def number(self) -> str:
        """struct format of the number of entries of a directory."""
        return self.order + ("Q" if self.big else "H")

    @property
    def head(self) -> int:
        """Bytes of that number."""
        return 8 if self.big else 2

    @property
    def size(self) -> int:
        """Bytes of an entry."""
        return 4 + 2 * self.word


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a directory, and where it lies."""

    at: int  # place of the entry in the file
    code: int
    kind: int  # type of the values
    count: int  # number of values
    value_at: int  # place of the values
    length: int  # bytes of the values; 0 for a type that is not known
    role: Role  # of its directory

    @property
    def inline(self) -> bool:
        """Whether the values stand in the entry itself."""
        return self.at <= self.value_at < self.at + 20


@dataclass(frozen=True, slots=True)
class Directory:
    """One directory, and where it lies."""

    at: int  # place in the file
    role: Role
    entries: tuple[Entry, ...]
    next_at: int  # place of the offset of the directory that follows
    told_at: int  # place of the offset that leads here

    def find(self, code: int) -> Entry | None:
        """The first entry of that code."""
        return next((entry for entry in self.entries if entry.code == code), None)


@dataclass(frozen=True, slots=True)
class Structure:
    """The directories of a file, in the order in which they are met."""

    layout: Layout
    directories: tuple[Directory, ...]

    def entries(self) -> list[Entry]:
        """All entries of all directories."""
        return [entry for directory in self.directories for entry in directory.entries]


def layout_of(data: bytes | bytearray) -> Layout | None:
    """How numbers are written; None where the file does not begin as a TIFF does."""
    order: Literal["<", ">"] | None = {b"II": "<", b"MM": ">"}.get(bytes(data[:2]))  # type: ignore[assignment]
    if order is None or len(data) < 16:
        return None
    (magic,) = struct.unpack_from(order + "H", data, 2)
    return Layout(order, magic == 43)


def structure_of(data: bytes | bytearray) -> Structure | None:
    """Directories as far as they can be read; None for what is no TIFF."""
    layout = layout_of(data)
    if layout is None:
        return None
    waiting: list[tuple[int, Role]] = [(8 if layout.big else 4, "image")]
    seen: set[int] = set()
    found: list[Directory] = []
    while waiting and len(found) < MOST_DIRECTORIES:
        told_at, role = waiting.pop(0)
        (at,) = struct.unpack_from(layout.offset, data, told_at)
        directory = None if at in seen else _directory(data, layout, at, role, told_at)
        if directory is None:
            continue
        seen.add(at)
        found.append(directory)
        if role == "image":
            waiting.append((directory.next_at, "image"))
        for entry in directory.entries:
            if entry.code in BELOW and TYPE_BYTES.get(entry.kind) == layout.word:
                below: Role = BELOW[entry.code]  # type: ignore[assignment]
                places = range(entry.value_at, entry.value_at + entry.length, layout.word)
                waiting += [(place, below) for place in places[:MOST_DIRECTORIES]]
    return Structure(layout, tuple(found))


def _directory(
    data: bytes | bytearray, layout: Layout, at: int, role: Role, told_at: int
) -> Directory | None:
    """The directory at a place; None where none can be."""
    if not 8 <= at <= len(data) - layout.head:
        return None
    (number,) = struct.unpack_from(layout.number, data, at)
    next_at = at + layout.head + number * layout.size
    if number > MOST_ENTRIES or next_at + layout.word > len(data):
        return None
    places = range(at + layout.head, next_at, layout.size)
    return Directory(
        at, role, tuple(_entry(data, layout, place, role) for place in places), next_at, told_at
    )


def _entry(data: bytes | bytearray, layout: Layout, at: int, role: Role) -> Entry:
    """The entry at a place; values that would lie beyond the end have a length of 0."""
    code, kind = struct.unpack_from(layout.order + "2H", data, at)
    (count,) = struct.unpack_from(layout.offset, data, at + 4)
    value_at = at + 4 + layout.word
    length = TYPE_BYTES.get(kind, 0) * count
    if length > layout.word:
        (value_at,) = struct.unpack_from(layout.offset, data, value_at)
        if value_at + length > len(data):
            value_at, length = at + 4 + layout.word, 0
    return Entry(at, code, kind, count, value_at, length, role)


def whole_numbers(data: bytes | bytearray, layout: Layout, entry: Entry) -> list[int]:
    """Values of an entry of whole numbers; none for another type."""
    form = WHOLE.get(entry.kind)
    if form is None:
        return []
    count = min(entry.count, entry.length // struct.calcsize(form))
    return list(struct.unpack_from(f"{layout.order}{count}{form}", data, entry.value_at))


def numbers_of(data: bytes | bytearray, layout: Layout, entry: Entry) -> list[Fraction] | None:
    """Values of an entry of numbers, exact; None for another type, or where one is no number."""
    form, at, length = NUMBERS.get(entry.kind), entry.value_at, entry.length
    if form is None or length == 0:
        return None
    count = length // struct.calcsize(form[0])
    values = struct.unpack_from(f"{layout.order}{count}{form[0]}", data, at)
    if not all(map(math.isfinite, values)):
        return None
    if len(form) == 1:
        return [Fraction(value) for value in values]
    pairs = list(zip(values[::2], values[1::2], strict=True))
    if any(b == 0 and a != 0 for a, b in pairs):
        return None
    return [Fraction(a, b or 1) for a, b in pairs]  # 0/0 is how files say nothing


def chunks_of(
    data: bytes | bytearray, layout: Layout, directory: Directory
) -> Iterator[tuple[int, int]]:
    """Place and length of each strip or tile, in the order of the file's list."""
    for offsets, counts in OFFSETS.items():
        places, lengths = directory.find(offsets), directory.find(counts)
        if places is not None and lengths is not None:
            yield from zip(
                whole_numbers(data, layout, places),
                whole_numbers(data, layout, lengths),
                strict=False,
            )


def free_of_meaning(code: int, role: str) -> bool:
    """Whether a tag says nothing about pixels to a reader of TIFF and DNG."""
    return code not in MEANING


def free_in_raw(code: int, role: str) -> bool:
    """The same for a camera raw file, where any tag may mean something to a decoder."""
    return role == "exif" and code in SETTINGS_ONLY


def meaning_of(data: bytes | bytearray, free: Free) -> object | None:
    """All that gives the pixels of a file their values, to be compared with that of another file.

    Parameters
    ----------
    data : the file.
    free : the tags that are left out of it.

    Returns
    -------
    The header, each directory's entries with their values, and the strips and tiles of every
    picture that is no preview; None for what is no TIFF. Where they lie is no part of it.
    """
    structure = structure_of(data)
    if structure is None:
        return None
    layout = structure.layout
    parts: list[object] = [bytes(data[:4])]
    for directory in structure.directories:
        kind = directory.find(254)
        preview = kind is not None and whole_numbers(data, layout, kind) == [1]
        own = [
            (entry.code, *_value(data, layout, entry))
            for entry in directory.entries
            if not free(entry.code, directory.role)
        ]
        held = (
            []
            if preview
            else [bytes(data[a : a + n]) for a, n in chunks_of(data, layout, directory)]
        )
        if own or held:
            parts.append((directory.role, own, held))
    return parts


def unclear_meaning(data: bytes | bytearray, free: Free) -> bool:
    """Whether a tag that gives pixels their values cannot be read, or says two things.

    A reader that takes its default for it, or the first of two, gives other values than were meant.
    """
    structure = structure_of(data)
    for directory in () if structure is None else structure.directories:
        own = [e for e in directory.entries if not free(e.code, directory.role)]
        if any(e.kind not in TYPE_BYTES or (e.count > 0 and e.length == 0) for e in own):
            return True
        reals = [e for e in own if e.kind in (5, 10, 11, 12) and e.length > 0]
        if structure and any(numbers_of(data, structure.layout, e) is None for e in reals):
            return True
        values = {(e.code, bytes(data[e.value_at : e.value_at + e.length])) for e in own}
        if any(e.value_at < 8 for e in own) or len({e.code for e in own}) < len(values):
            return True
    return False


def _value(data: bytes | bytearray, layout: Layout, entry: Entry) -> tuple[object, ...]:
    """Values of an entry, numbers alike in every type; of a pointer no value, which is a place."""
    if entry.code in BELOW or entry.code in OFFSETS:
        return entry.kind, entry.count
    numbers = numbers_of(data, layout, entry)
    if numbers is not None and entry.kind != 1:
        return ("numbers", *numbers)
    return entry.kind, entry.count, bytes(data[entry.value_at : entry.value_at + entry.length])


def with_text(data: bytearray, code: int, text: bytes) -> bytearray:
    """The file with other text under a tag, wherever it has the tag; the text goes to its end."""
    structure = structure_of(data)
    for entry in () if structure is None else structure.entries():
        if entry.code == code and structure is not None:
            layout = structure.layout
            struct.pack_into(layout.order + "H", data, entry.at + 2, 2)
            struct.pack_into(layout.offset, data, entry.at + 4, len(text))
            held = text.ljust(layout.word, b"\0")
            if len(text) > layout.word:
                held = struct.pack(layout.offset, len(data))
                data += text
            data[entry.at + 4 + layout.word : entry.at + 4 + 2 * layout.word] = held
    return data
