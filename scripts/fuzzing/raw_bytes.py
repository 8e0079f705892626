"""Damage to files of any format: what a copy, a disk or a wrong tool does to their bytes."""

from collections.abc import Callable, Sequence
from random import Random

from fuzzing.structure import chunks_of, structure_of

HEADS = (
    b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"II\x1a\0",
    b"FUJIFILM", b"FOVb", b"\0MRM", b"\xff\xd8\xff\xe1", b"\0\0\0\x18ftypcrx ", b"\0\0\0\0",
    b"\x89PNG\r\n\x1a\n", b"RIFF\0\0\0\0WEBP", b"\0\0\0\x0cJXL \r\n\x87\n", b"GIF8", b"BM",
)  # fmt: skip

ByteMutation = Callable[[bytearray, Random], str]


def cut(data: bytearray, random: Random) -> str:
    """The end is missing, from a place where something begins or ends, or from any."""
    at = random.choice((*_edges(data), *_edges(data), random.randrange(len(data) + 1)))
    at = min(max(0, at + random.choice((0, 0, -1, 1, 2, 8))), len(data))
    del data[at:]
    return f"cut at {at}"


def blank(data: bytearray, random: Random) -> str:
    """A range of zeros, as of a block that was never written."""
    first, last = sorted(random.randrange(len(data) + 1) for _ in range(2))
    if random.random() < 0.5:
        last = min(last, first + random.choice((1, 2, 4, 16, 512, 4096)))
    data[first:last] = bytes(last - first)
    return f"zeros from {first} to {last}"


def noise(data: bytearray, random: Random) -> str:
    """Single bytes overwritten, most of them where directories usually lie."""
    if not data:
        return "nothing to overwrite"
    reach = random.choice((16, 200, 2000, len(data), len(data)))
    places = [
        random.randrange(min(reach, len(data))) for _ in range(random.choice((1, 3, 10, 100)))
    ]
    for at in places:
        data[at] = random.choice((0, 255, random.randrange(256)))
    return f"bytes overwritten at {places[:10]}"


def behead(data: bytearray, random: Random) -> str:
    """The first bytes of another format, or another byte order."""
    head = random.choice(HEADS)
    data[: len(head)] = head
    return f"begins with {head!r}"


def prepend(data: bytearray, random: Random) -> str:
    """Something in front, so that no offset holds."""
    front = random.choice((b"\0", b"\xef\xbb\xbf", bytes(data[: random.randrange(1, 200)])))
    data[:0] = front
    return f"{len(front)} bytes in front"


def lose(data: bytearray, random: Random) -> str:
    """Some bytes missing in the middle, as where line ends were converted."""
    if random.random() < 0.3:
        data[:] = data.replace(b"\r\n", b"\n") if b"\r\n" in data else data.replace(b"\n", b"\r\n")
        return "line ends converted"
    first = random.randrange(len(data) + 1)
    number = random.choice((1, 2, 12, 512))
    del data[first : first + number]
    return f"{number} bytes missing at {first}"


def repeat(data: bytearray, random: Random) -> str:
    """A range twice."""
    first, last = sorted(random.randrange(len(data) + 1) for _ in range(2))
    data[last:last] = data[first:last][:100_000]
    return f"bytes {first} to {last} twice"


def empty(data: bytearray, random: Random) -> str:
    """Nothing, or next to nothing."""
    del data[random.choice((0, 1, 2, 4, 7, 8, 9, 12, 16)) :]
    return f"no more than {len(data)} bytes"


BYTES: tuple[ByteMutation, ...] = (
    cut, cut, cut, blank, blank, noise, noise, noise, behead, prepend, lose, repeat, empty,
)  # fmt: skip


def _edges(data: bytearray) -> Sequence[int]:
    """Places in a TIFF at which a directory, a value or a part of the picture begins or ends."""
    structure = structure_of(data)
    if structure is None:
        return (0, 1, 4, 8, len(data) // 2, len(data) - 1)
    places = [8, len(data) - 1]
    for directory in structure.directories:
        places += [directory.at, directory.next_at]
        for entry in directory.entries:
            places += [entry.at, entry.value_at, entry.value_at + entry.length]
        for at, number in chunks_of(data, structure.layout, directory):
            places += [at, at + number, at + number // 2]
    return places
