"""Frames in their order to stretches: within one the picture shows the same set.

Each frame is compared with the reference of the current stretch, its first usable frame. Where it
is not the same set, earlier stretches are looked at, for a set is put back at times; where none
fits, a new stretch begins.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from verify.scene.change import LEAST_USABLE, change_between
from verify.scene.records import Change, Tiles

REMEMBERED = 6  # earlier stretches that a frame is compared with


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What a frame shows."""

    tiles: Tiles | None  # None: the frame could not be read
    settings_stops: float = 0.0  # what its camera settings let it have more than any fixed ones


@dataclass(frozen=True, slots=True, eq=False)
class InStretch:
    """A frame in its stretch."""

    stretch: int | None  # counted from 0; None: not known
    reference: int | None  # number of the frame that it is held against
    change: Change | None  # from that frame; None: not known
    begins: bool = False  # whether a new stretch begins with it, by what it shows


@dataclass(frozen=True, slots=True, eq=False)
class _Reference:
    """The frame that a stretch is held against."""

    number: int  # of the frame
    tiles: Tiles
    settings_stops: float


def stretches_of(frames: Iterable[Shown]) -> list[InStretch]:
    """Frames in their stretches; only references are kept in memory.

    Parameters
    ----------
    frames : in the order of time, of one body and set-up.
    """
    references: list[_Reference] = []
    current = 0
    found: list[InStretch] = []
    for number, frame in enumerate(frames):
        if frame.tiles is None:
            found.append(InStretch(None, None, None))
            continue
        own = _Reference(number, frame.tiles, frame.settings_stops)
        if not references:
            if _usable(frame.tiles):
                references.append(own)
                found.append(InStretch(0, number, _change(own, own), begins=True))
            else:
                found.append(InStretch(None, None, None))
            continue
        change = _change(references[current], own)
        if change.same_set is False and _usable(frame.tiles):
            fitting = _earlier(references, current, own)
            if fitting is None:
                current, change = len(references), _change(own, own)
                references.append(own)
                found.append(InStretch(current, number, change, begins=True))
                continue
            current, change = fitting
        found.append(InStretch(current, references[current].number, change))
    return found


def _change(reference: _Reference, own: _Reference) -> Change:
    """The change between two frames, settings taken out."""
    return change_between(reference.tiles, own.tiles, own.settings_stops - reference.settings_stops)


def _earlier(
    references: list[_Reference], current: int, own: _Reference
) -> tuple[int, Change] | None:
    """The other stretch whose reference agrees best with a frame; None where none does."""
    best: tuple[int, Change] | None = None
    others = [n for n in range(len(references)) if n != current][-REMEMBERED:]
    for n in others:
        change = _change(references[n], own)
        share = change.agreed_share or 0.0
        if change.majority and (best is None or share > (best[1].agreed_share or 0.0)):
            best = n, change
    return best


def _usable(tiles: Tiles) -> bool:
    """Whether enough of a picture is neither clipped nor at black."""
    itself = change_between(tiles, tiles)
    return itself.usable_share >= LEAST_USABLE and itself.stops is not None
