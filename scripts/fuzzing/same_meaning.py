"""Changes to TIFF containers that leave their meaning: other places, other types, another order.

What was measured must come out of the changed file too, or the file be refused.
"""

import struct
from fractions import Fraction

from fuzzing.patient import Mutation, Patient
from fuzzing.structure import BELOW, OFFSETS, WHOLE, chunks_of, free_of_meaning, numbers_of

# Types of values, and the struct letters of each.
KINDS = {3: "H", 4: "I", 5: "II", 8: "h", 9: "i", 10: "ii", 11: "f", 12: "d"}
NOT_RESTATED = {*BELOW, *OFFSETS, *OFFSETS.values(), 33422}  # read as bytes, or as places


def move_value(patient: Patient) -> str | None:
    """A value at another place of the file."""
    found = patient.any_entry(lambda e: not e.inline and e.length > 0)
    if found is None:
        return None
    structure, entry = found
    to = len(patient.data) + patient.random.choice((0, 1, 7))
    patient.data += bytes(to - len(patient.data))
    patient.data += patient.data[entry.value_at : entry.value_at + entry.length]
    patient.put(structure.layout.offset, entry.at + 4 + structure.layout.word, to)
    return f"value of tag {entry.code} moved to {to}"


def move_chunk(patient: Patient) -> str | None:
    """A strip or tile at another place of the file."""
    found = patient.any_entry(lambda e: e.code in OFFSETS and e.kind in WHOLE and e.length > 0)
    if found is None:
        return None
    structure, places = found
    directory = next(d for d in structure.directories if places in d.entries)
    chunks = list(chunks_of(patient.data, structure.layout, directory))
    if not chunks:
        return None
    which = patient.random.randrange(len(chunks))
    at, length = chunks[which]
    to = len(patient.data) + patient.random.choice((0, 1, 2, 13))
    patient.data += bytes(to - len(patient.data)) + bytes(patient.data[at : at + length])
    form = structure.layout.order + WHOLE[places.kind]
    patient.put(form, places.value_at + which * struct.calcsize(form), to)
    return f"part {which} moved to {to}"


def move_directory(patient: Patient) -> str | None:
    """A directory at another place of the file."""
    if (found := patient.directory()) is None:
        return None
    structure, directory = found
    to = len(patient.data) + len(patient.data) % 2
    patient.data += bytes(to - len(patient.data))
    patient.data += patient.data[directory.at : directory.next_at + structure.layout.word]
    patient.put(structure.layout.offset, directory.told_at, to)
    return f"directory at {directory.at} moved to {to}"


def restate(patient: Patient) -> str | None:
    """The same numbers in another type; a decoder of camera raws may know one type only."""
    if patient.free is not free_of_meaning:
        return None
    found = patient.any_entry(
        lambda e: e.code not in NOT_RESTATED and e.kind in KINDS and 0 < e.count <= 4096
    )
    if found is None:
        return None
    structure, entry = found
    layout = structure.layout
    numbers = numbers_of(patient.data, layout, entry)
    kind = patient.random.choice(list(KINDS))
    packed = _packed(layout.order, kind, numbers)
    if packed is None:
        return None
    patient.put(layout.order + "H", entry.at + 2, kind)
    held = packed.ljust(layout.word, b"\0")
    if len(packed) > layout.word:
        held = struct.pack(layout.offset, len(patient.data))
        patient.data += packed
    at = entry.at + 4 + layout.word
    patient.data[at : at + layout.word] = held
    return f"tag {entry.code} in type {kind} for {entry.kind}"


def _packed(order: str, kind: int, numbers: list[Fraction] | None) -> bytes | None:
    """Numbers in a type; None where it does not hold them."""
    if numbers is None:
        return None
    if kind in (5, 10):
        parts = [part for number in numbers for part in number.as_integer_ratio()]
    elif kind in (11, 12):
        return struct.pack(f"{order}{len(numbers)}{KINDS[kind]}", *map(float, numbers))
    elif all(number.denominator == 1 for number in numbers):
        parts = [number.numerator for number in numbers]
    else:
        return None
    try:
        return struct.pack(f"{order}{len(parts)}{KINDS[kind][0]}", *parts)
    except struct.error:  # too large, or below zero
        return None


SAME: tuple[Mutation, ...] = (move_value, move_chunk, move_directory, restate, restate)
