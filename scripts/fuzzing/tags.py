"""Damage to the directories of a TIFF: entries and their values, pointers, chains."""

import struct
from collections.abc import Sequence

from fuzzing.patient import Mutation, Patient
from fuzzing.structure import (
    BELOW,
    MEANING,
    SETTINGS_ONLY,
    TYPE_BYTES,
    WHOLE,
    free_of_meaning,
)

KINDS = (*range(20), 129, 255, 65535)  # types of values, known and unknown
COUNTS = (0, 1, 2, 3, 4, 5, 255, 999, 1000, 65535, 65536, 10**6, 2**28, 2**31 - 1, 2**31, 2**32 - 1)
WHOLES = (0, 1, 2, 3, 7, 8, 15, 16, 127, 128, 255, 256, 4095, 32767, 32768, 65535, 65536, 100_000)
LARGE = (10**6, 2**24, 2**31 - 1, 2**31, 2**32 - 2, 2**32 - 1, 2**63, 2**64 - 1)
REALS = (float("nan"), float("inf"), -float("inf"), 0.0, -0.0, -1.0, 1e-45, 1e-300, 1e30, 1e300)


def retype(patient: Patient) -> str | None:
    """Another type for an entry's values."""
    if (found := patient.entry()) is None:
        return None
    structure, entry = found
    kind = patient.random.choice(KINDS)
    patient.put(structure.layout.order + "H", entry.at + 2, kind)
    return f"tag {entry.code}: type {entry.kind} to {kind}"


def recode(patient: Patient) -> str | None:
    """Another tag's number for an entry."""
    if (found := patient.entry()) is None:
        return None
    structure, entry = found
    there = [e.code for e in structure.entries()]
    code = patient.random.choice(
        [*there, *MEANING, *SETTINGS_ONLY, patient.random.randrange(65536)]
    )
    if patient.gentle and not patient.free(code, entry.role):
        return None
    patient.put(structure.layout.order + "H", entry.at, code)
    return f"tag {entry.code} to {code}"


def recount(patient: Patient) -> str | None:
    """Another number of values."""
    if (found := patient.entry()) is None:
        return None
    structure, entry = found
    near = (entry.count + 1, entry.count - 1, entry.count * 2, len(patient.data))
    count = patient.random.choice([*COUNTS, *near])
    patient.put(structure.layout.offset, entry.at + 4, count)
    return f"tag {entry.code}: count {entry.count} to {count}"


def repoint(patient: Patient) -> str | None:
    """Another place for values, or for the directory that an entry leads to."""
    found = patient.entry(lambda e: not e.inline or e.code in BELOW)
    if found is None:
        return None
    structure, entry = found
    to = patient.place()
    patient.put(structure.layout.offset, entry.at + 4 + structure.layout.word, to)
    return f"tag {entry.code}: to byte {to}"


def revalue(patient: Patient) -> str | None:
    """Other values in the place of some: ends of their type, zeros, no numbers, no denominator."""
    found = patient.entry(lambda e: e.length > 0 and e.code not in BELOW)
    if found is None:
        return None
    structure, entry = found
    random, order = patient.random, structure.layout.order
    size = TYPE_BYTES[entry.kind]
    which = random.randrange(min(entry.length // size, 4096))
    at = entry.value_at + which * size
    if entry.kind in (5, 10):
        pair = random.choice(WHOLES + LARGE[:6]), random.choice((0, 0, 1, *WHOLES, *LARGE[:6]))
        patient.put(order + "2I", at, *pair)
        return f"tag {entry.code}[{which}] = {pair[0]}/{pair[1]}"
    if entry.kind in (11, 12):
        real = random.choice(REALS)
        patient.put(order + ("f" if entry.kind == 11 else "d"), at, real)
        return f"tag {entry.code}[{which}] = {real}"
    if entry.kind in (2, 7):
        patient.data[at] = random.randrange(256)
        return f"tag {entry.code}[{which}] = byte {patient.data[at]}"
    (old,) = struct.unpack_from(order + WHOLE[entry.kind], patient.data, at)
    whole = random.choice([*WHOLES, *LARGE, old + 1, old - 1, old * 2, old // 2])
    patient.put(order + WHOLE[entry.kind], at, whole)
    return f"tag {entry.code}[{which}] = {whole}"


def exchange(patient: Patient) -> str | None:
    """Two entries of a directory in each other's place, so that tags do not ascend."""
    if (found := patient.entry()) is None:
        return None
    structure, one = found
    own = next(d for d in structure.directories if one in d.entries).entries
    other = patient.random.choice([e for e in patient.entries(structure) if e in own])
    size = structure.layout.size
    held = patient.data[one.at : one.at + size]
    patient.data[one.at : one.at + size] = patient.data[other.at : other.at + size]
    patient.data[other.at : other.at + size] = held
    return f"tags {one.code} and {other.code} exchanged"


def overwrite(patient: Patient) -> str | None:
    """An entry twice: one of the others is lost."""
    if (found := patient.entry()) is None:
        return None
    structure, lost = found
    source = patient.random.choice(patient.entries(structure))
    size = structure.layout.size
    patient.data[lost.at : lost.at + size] = patient.data[source.at : source.at + size]
    return f"tag {source.code} in the place of {lost.code}"


def delete(patient: Patient) -> str | None:
    """A directory without one of its entries."""
    if (found := patient.entry()) is None:
        return None
    structure, entry = found
    layout = structure.layout
    directory = next(d for d in structure.directories if entry in d.entries)
    end = directory.next_at + layout.word
    rest = bytes(patient.data[entry.at + layout.size : end])
    patient.data[entry.at : end] = rest + bytes(layout.size)
    patient.put(layout.number, directory.at, len(directory.entries) - 1)
    return f"tag {entry.code} deleted"


def insert(patient: Patient) -> str | None:
    """A directory with one more entry, which may be there already; it moves to the end."""
    if (found := patient.directory()) is None:
        return None
    structure, directory = found
    layout, random = structure.layout, patient.random
    codes = [*SETTINGS_ONLY, *range(65000, 65004), 33432, 306, 315, 700, *MEANING]
    code, kind = random.choice(codes), random.choice((*TYPE_BYTES, 0, 129))
    if patient.gentle and not patient.free(code, directory.role):
        return None
    value = random.randbytes(random.choice((0, 1, 4, 8, 9, 64, 300)))
    count = random.choice((len(value) // TYPE_BYTES.get(kind, 1), *COUNTS))
    value_at = len(patient.data)
    start, end = directory.at + layout.head, directory.next_at
    held = [bytes(patient.data[at : at + layout.size]) for at in range(start, end, layout.size)]
    entry = struct.pack(layout.order + "2H", code, kind)
    entry += struct.pack(layout.offset, count % 2 ** (8 * layout.word))
    entry += struct.pack(layout.offset, value_at)
    sorted_in = random.random() < 0.7
    held.insert(sum(e.code < code for e in directory.entries) if sorted_in else 0, entry)
    after = bytes(patient.data[directory.next_at : directory.next_at + layout.word])
    patient.data += value + bytes(len(value) % 2)
    at = len(patient.data)
    patient.data += struct.pack(layout.number, len(held)) + b"".join(held) + after
    patient.put(layout.offset, directory.told_at, at)
    return f"tag {code} of type {kind}, count {count}, inserted"


def rechain(patient: Patient) -> str | None:
    """Another place for the directory that follows one, or a number of entries that is not so."""
    structure = patient.structure()
    if structure is None or not structure.directories:
        return None
    chosen = patient.random.choice(structure.directories)
    if patient.gentle and patient.free is not free_of_meaning:
        return None  # a decoder of camera raws looks for pictures along the chain
    if patient.gentle:  # the last one only: nothing is lost
        chosen = [d for d in structure.directories if d.role == "image"][-1]
    if patient.gentle or patient.random.random() < 0.6:
        to = patient.place()
        patient.put(structure.layout.offset, chosen.next_at, to)
        return f"directory after {chosen.at}: {to}"
    number = len(chosen.entries)
    number = patient.random.choice((0, 1, number + 1, number - 1, number * 2, 4097, 65535))
    patient.put(structure.layout.number, chosen.at, number)
    return f"directory at {chosen.at}: {number} entries"


def relink(patient: Patient) -> str | None:
    """A pointer to a directory below led to another one: its own, the first, any."""
    if (found := patient.entry(lambda e: e.code in BELOW and e.length > 0)) is None:
        return None
    structure, entry = found
    to = patient.random.choice([d.at for d in structure.directories])
    patient.put(structure.layout.offset, entry.value_at, to)
    return f"tag {entry.code} leads to the directory at {to}"


def retag(patient: Patient) -> str | None:
    """A tag that the reading of pixels hangs on, with a value out of the ordinary."""
    found = patient.entry(lambda e: e.code in MEANING and e.kind in WHOLE and e.length > 0)
    if found is None:
        return None
    structure, entry = found
    form = WHOLE[entry.kind]
    values = [*WHOLES, *LARGE, *UNUSUAL.get(entry.code, ())]
    number = min(entry.length // struct.calcsize(form), 64)
    whole = [patient.random.choice(values) for _ in range(number)]
    if patient.random.random() < 0.5:
        whole = whole[:1] * number
    patient.put(f"{structure.layout.order}{number}{form}", entry.value_at, *whole)
    return f"tag {entry.code} = {whole[:8]}"


UNUSUAL: dict[int, Sequence[int]] = {  # tag: values that mean something, seldom what was meant
    254: (0, 1, 4, 16, 65537),
    258: (1, 2, 4, 6, 8, 10, 12, 14, 16, 24, 32, 64),
    259: (
        1,
        2,
        3,
        4,
        5,
        6,
        7,
        8,
        99,
        32773,
        32946,
        33003,
        34712,
        34887,
        34892,
        34925,
        50000,
        52546,
    ),
    262: (0, 1, 2, 3, 4, 5, 6, 8, 32803, 32844, 32845, 34892, 51177, 52527),
    266: (1, 2),
    274: tuple(range(10)),
    277: (1, 2, 3, 4, 5, 6),
    284: (1, 2, 3),
    317: (1, 2, 3, 34892, 34893),
    339: (1, 2, 3, 4, 5, 6),
    33421: (1, 2, 3, 6, 8),
    33422: tuple(range(9)),
    50711: tuple(range(1, 10)),
}


ENTRIES: tuple[Mutation, ...] = (
    retype, recode, recount, repoint, revalue, revalue, exchange, overwrite, delete, insert, insert,
    rechain, relink,
)  # fmt: skip
LEVELS: tuple[Mutation, ...] = (retag, retag, retag)
