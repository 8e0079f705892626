"""A file to be damaged: what in it may be hit, and where things may be led to."""

import struct
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from fuzzing.structure import Directory, Entry, Free, Structure, chunks_of, structure_of


@dataclass(slots=True)
class Patient:
    """A file to be damaged, and what may be hit."""

    data: bytearray
    random: Random
    free: Free  # tags that are no part of the pixels' meaning
    gentle: bool  # hit nothing else

    def structure(self) -> Structure | None:
        """The directories as they are now."""
        return structure_of(self.data)

    def entries(self, structure: Structure) -> list[Entry]:
        """Entries that may be hit."""
        return [e for e in structure.entries() if not self.gentle or self.free(e.code, e.role)]

    def entry(
        self, wanted: Callable[[Entry], bool] = lambda _: True
    ) -> tuple[Structure, Entry] | None:
        """One of the entries that may be hit."""
        structure = self.structure()
        if structure is None:
            return None
        chosen = [e for e in self.entries(structure) if wanted(e)]
        return (structure, self.random.choice(chosen)) if chosen else None

    def any_entry(self, wanted: Callable[[Entry], bool]) -> tuple[Structure, Entry] | None:
        """One of all entries, for what leaves their meaning."""
        structure = self.structure()
        chosen = [] if structure is None else [e for e in structure.entries() if wanted(e)]
        return (structure, self.random.choice(chosen)) if structure and chosen else None

    def directory(self) -> tuple[Structure, Directory] | None:
        """One of the directories."""
        structure = self.structure()
        if structure is None or not structure.directories:
            return None
        return structure, self.random.choice(structure.directories)

    def place(self) -> int:
        """A place in the file, or near it, that an offset may be led to."""
        structure, size = self.structure(), len(self.data)
        told = [0, 1, 4, 8, size - 1, size, size + 1, size // 2, 2**31 - 1, 2**31, 2**32 - 1]
        if structure is not None and structure.directories:
            some = self.random.choice(structure.directories)
            told += [some.at, some.at + 1, some.next_at, some.told_at]
            told += [entry.at for entry in some.entries[:3]]
            told += [place for place, _ in chunks_of(self.data, structure.layout, some)][:3]
        return self.random.choice([*told, self.random.randrange(size + 1)])

    def put(self, form: str, at: int, *numbers: float) -> None:
        """Write numbers where they fit; whole ones are cut to their type."""
        size = struct.calcsize(form)
        if not 0 <= at <= len(self.data) - size:
            return
        letter = form[-1]
        if letter not in "fd":
            bits = 8 * struct.calcsize(letter)
            numbers = tuple(int(n) % 2**bits for n in numbers)
            form = form[:-1] + letter.upper()
        try:
            struct.pack_into(form, self.data, at, *numbers)
        except OverflowError:  # a double that is no float
            struct.pack_into(form, self.data, at, *(0.0 for _ in numbers))


Mutation = Callable[[Patient], str | None]  # what was done, in a few words; None: nothing to hit
