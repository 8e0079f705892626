"""Damage to what the directories of a TIFF lead to: strips and tiles, notes, profiles; the end."""

import struct

from fuzzing.patient import Mutation, Patient
from fuzzing.structure import MAKER_NOTE, OFFSETS, WHOLE, chunks_of
from fuzzing.tags import LARGE, REALS, WHOLES

PLENTY = 1 << 20  # bytes that a part may grow by


def rechunk(patient: Patient) -> str | None:
    """Other places or lengths of strips and tiles."""
    tags = {*OFFSETS, *OFFSETS.values()}
    if (
        found := patient.entry(lambda e: e.code in tags and e.kind in WHOLE and e.length > 0)
    ) is None:
        return None
    structure, entry = found
    random, form = patient.random, structure.layout.order + WHOLE[entry.kind]
    size = struct.calcsize(form)
    which = random.randrange(entry.length // size)
    (old,) = struct.unpack_from(form, patient.data, entry.value_at + which * size)
    if entry.code in OFFSETS:
        new = random.choice((patient.place(), old + 1, old - 1, old + 16, 0))
    else:
        new = random.choice((0, 1, old // 2, old - 1, old + 1, old * 2, *LARGE))
    patient.put(form, entry.value_at + which * size, new)
    return f"tag {entry.code}[{which}]: {old} to {new}"


def _chunk(patient: Patient) -> tuple[int, int] | None:
    """One strip or tile, inside the file; of a preview alone where nothing else may be hit."""
    structure = patient.structure()
    if structure is None:
        return None
    spans = []
    for directory in structure.directories:
        kind = directory.find(254)
        preview = kind is not None and patient.data[kind.value_at : kind.value_at + 4].count(1) == 1
        if preview or not patient.gentle:
            spans += list(chunks_of(patient.data, structure.layout, directory))
    inside = [(at, n) for at, n in spans if n > 0 and at >= 8 and at + n <= len(patient.data)]
    return patient.random.choice(inside) if inside else None


def corrupt(patient: Patient) -> str | None:
    """Bits, runs, or the end of a strip or tile changed."""
    if (chunk := _chunk(patient)) is None:
        return None
    at, length = chunk
    random = patient.random
    how = random.choice(("bits", "zeros", "ones", "noise", "end", "head", "reals"))
    first, last = sorted((random.randrange(length), random.randrange(length)))
    span = {"head": (0, min(16, length)), "end": (first, length)}.get(how, (first, last + 1))
    if how == "bits":
        for _ in range(random.choice((1, 2, 8, 64))):
            patient.data[at + random.randrange(length)] ^= 1 << random.randrange(8)
    elif how == "reals":
        for _ in range(random.choice((1, 20, 400))):
            form = random.choice(("<f", ">f", "<d", ">d"))
            size = struct.calcsize(form)
            patient.put(form, at + random.randrange(length) // size * size, random.choice(REALS))
    else:
        number = span[1] - span[0]
        fill = {"ones": b"\xff" * number, "noise": random.randbytes(number)}
        fill["head"] = random.randbytes(number)
        patient.data[at + span[0] : at + span[1]] = fill.get(how, bytes(number))
    return f"part at {at}: {how}"


def grow(patient: Patient) -> str | None:
    """A strip or tile moved to the end, with more data than it had."""
    found = patient.entry(lambda e: e.code in OFFSETS and e.kind in WHOLE and e.length > 0)
    if found is None:
        return None
    structure, places = found
    layout, random = structure.layout, patient.random
    directory = next(d for d in structure.directories if places in d.entries)
    lengths = directory.find(OFFSETS[places.code])
    chunks = list(chunks_of(patient.data, layout, directory))
    if lengths is None or not chunks:
        return None
    which = random.randrange(len(chunks))
    at, length = chunks[which]
    more = random.choice((1, 100, 5000, PLENTY))
    held = bytes(patient.data[at : at + length])
    new_at = len(patient.data)
    patient.data += held + random.choice((bytes(more), random.randbytes(more), held[:more]))
    for entry, number in ((places, new_at), (lengths, len(patient.data) - new_at)):
        form = layout.order + WHOLE[entry.kind]
        patient.put(form, entry.value_at + which * struct.calcsize(form), number)
    return f"part {which} grown by {more}"


def append(patient: Patient) -> str | None:
    """Anything behind the end of the file."""
    random = patient.random
    number = random.choice((1, 2, 16, 1000, 70_000))
    what = random.choice((bytes(number), random.randbytes(number), bytes(patient.data[:number])))
    patient.data += what
    return f"{len(what)} bytes appended"


def scribble(patient: Patient) -> str | None:
    """Values of the maker's note, or of another tag of bytes, overwritten."""
    found = patient.entry(lambda e: e.code == MAKER_NOTE or (e.kind in (1, 2, 7) and e.length > 4))
    if found is None or found[1].length == 0:
        return None
    entry = found[1]
    number = patient.random.randrange(1, entry.length + 1)
    patient.data[entry.value_at : entry.value_at + number] = patient.random.randbytes(number)
    return f"{number} bytes of tag {entry.code} overwritten"


def reword(patient: Patient) -> str | None:
    """Numbers inside a tag of bytes, such as a list of opcodes or a profile: big-endian there."""
    found = patient.entry(lambda e: e.kind in (1, 7) and e.length >= 8)
    if found is None:
        return None
    entry, random = found[1], patient.random
    for _ in range(random.choice((1, 1, 2, 4))):
        at = entry.value_at + random.randrange(entry.length // 4) * 4
        form = random.choice((">I", ">I", ">I", ">f", ">d"))
        value = random.choice(WHOLES + LARGE[:6]) if form == ">I" else random.choice(REALS)
        patient.put(form, at, value)
    return f"numbers inside tag {entry.code}"


HARMLESS: tuple[Mutation, ...] = (
    corrupt,
    append,
    scribble,
)  # to previews, behind the end, in notes
PARTS: tuple[Mutation, ...] = (*HARMLESS, rechunk, rechunk, corrupt, corrupt, grow, reword, reword)
