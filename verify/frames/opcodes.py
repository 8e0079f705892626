"""DNG opcode lists: what a file asks to be done to its signal before the signal counts.

OpcodeList2 acts on the linear signal of the photosites, just after black is subtracted and the
range divided; OpcodeList3 acts on the demosaiced signal. OpcodeList1 acts on stored values, which
are not a signal: it is no input for :func:`apply_opcodes`. Only what changes the signal of an
evenly lit patch is applied: maps, gains, scales and deltas, not warps and repairs of photosites.

The specification clips to 0..1 after every opcode. Here a signal below 0 stays below 0, so that
noise about black keeps its mean, and a gain may lift a signal above 1, so that a corrected corner
is not taken for a clipped one.

References
----------
Digital Negative Specification 1.7.1.0, chapter "Mapping Raw Values to Linear Reference Values"
and chapter 7, "Opcode List Processing".
"""

import struct
from dataclasses import dataclass

import numpy as np

from verify.errors import NotAFrame
from verify.frames.effects import (
    Area,
    Effect,
    Parameters,
    Signal,
    Spot,
    effect_of,
)

TRIM_BOUNDS = 6  # opcode ID
_LEAVES_EVEN_LIGHT = frozenset({1, 2, 4, 5, 6, 14})  # warps, repairs, trimming
_NAMES = {
    1: "WarpRectilinear",
    2: "WarpFisheye",
    3: "FixVignetteRadial",
    4: "FixBadPixelsConstant",
    5: "FixBadPixelsList",
    6: "TrimBounds",
    7: "MapTable",
    8: "MapPolynomial",
    9: "GainMap",
    10: "DeltaPerRow",
    11: "DeltaPerColumn",
    12: "ScalePerRow",
    13: "ScalePerColumn",
    14: "WarpRectilinear2",
}
_MAX_PERIOD = 64  # photosites: more than any mosaic repeats by


@dataclass(frozen=True, slots=True)
class Opcode:
    """One operation of an opcode list, in the order of the list."""

    number: int  # opcode ID of the specification
    name: str  # its name there, "opcode 99" for an ID that this specification does not know
    optional: bool  # the file allows a reader to leave it out
    data: bytes  # its parameters, big-endian, checked


@dataclass(frozen=True, slots=True)
class Applied:
    """A signal after an opcode list, with what was done to it."""

    signal: Signal  # as given in shape; linear, may be below 0 and above 1
    applied: tuple[str, ...]  # names of the opcodes that changed this region, each once
    not_applied: tuple[str, ...]  # names of the opcodes that could not be applied, each once


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a region lies in its image, all in photosites."""

    top: int  # row of the first photosite of the region in the image
    left: int  # column of it
    height: int  # of the image
    width: int  # of the image

    def trimmed(self, top: int, left: int, bottom: int, right: int) -> "_Place":
        """Where the region lies once the image is trimmed to these edges."""
        return _Place(self.top - top, self.left - left, bottom - top, right - left)


def read_opcodes(data: bytes) -> tuple[Opcode, ...]:
    """Opcodes of an opcode list, each with its parameters checked.

    Parameters
    ----------
    data : value of tag OpcodeList2 or OpcodeList3; empty where the file has none.

    Raises
    ------
    NotAFrame : the list or the parameters of one opcode are cut short or make no sense.
    """
    if not data:
        return ()
    cut = "the file's opcode list is cut short: {}; copy the file from its source again"
    if len(data) < struct.calcsize(">I"):
        raise NotAFrame(cut.format(f"{len(data)} bytes, not even a count"))
    (count,) = struct.unpack_from(">I", data)
    at, opcodes = struct.calcsize(">I"), []
    for nth in range(1, count + 1):
        if at + struct.calcsize(">4I") > len(data):
            raise NotAFrame(cut.format(f"opcode {nth} of {count} is missing"))
        number, _version, flags, size = struct.unpack_from(">4I", data, at)
        at += struct.calcsize(">4I")
        name = _NAMES.get(number, f"opcode {number}")
        if at + size > len(data):
            raise NotAFrame(cut.format(f"{name} has {len(data) - at} of {size} bytes"))
        opcode = Opcode(number, name, bool(flags & 1), bytes(data[at : at + size]))
        if number == TRIM_BOUNDS:
            _trim_edges(Parameters(name, opcode.data))
        effect_of(number, Parameters(name, opcode.data))
        opcodes.append(opcode)
        at += size
    return tuple(opcodes)


def changes_signal(opcode: Opcode) -> bool:
    """Whether an opcode changes the signal of an evenly lit patch, or may: it is not known."""
    return opcode.number not in _LEAVES_EVEN_LIGHT


def apply_opcodes(
    opcodes: tuple[Opcode, ...], signal: Signal, top: int, left: int, height: int, width: int
) -> Applied:
    """Signal of a region after an opcode list.

    Parameters
    ----------
    opcodes : from :func:`read_opcodes`, of OpcodeList2 or OpcodeList3.
    signal : (rows, cols) or (rows, cols, planes), linear, 0 at black, 1 at white; not changed.
    top, left : row and column of its first photosite in the active area.
    height, width : of the whole active area, photosites.

    Returns
    -------
    The signal in the same shape. A place that a warp would move stays where it is, so a gain that
    the file applies after a warp is taken at the place before it.

    Raises
    ------
    NotAFrame : the parameters of an opcode make no sense.
    """
    planes_last = signal[..., np.newaxis] if signal.ndim == 2 else signal
    result = planes_last.astype(np.float64)
    place = _Place(top, left, height, width)
    applied: dict[str, None] = {}
    not_applied: dict[str, None] = {}
    for opcode in opcodes:
        parameters = Parameters(opcode.name, opcode.data)
        if opcode.number == TRIM_BOUNDS:  # what follows counts from the trimmed image
            place = place.trimmed(*_trim_edges(parameters))
        if opcode.number in _LEAVES_EVEN_LIGHT:
            continue
        work = effect_of(opcode.number, parameters)
        if work is None:
            not_applied[opcode.name] = None
        elif _change(result, place, *work):
            applied[opcode.name] = None
    return Applied(result.reshape(signal.shape), tuple(applied), tuple(not_applied))


def _trim_edges(parameters: Parameters) -> tuple[int, int, int, int]:
    """Top, left, bottom, right of a TrimBounds."""
    top, left, bottom, right = (int(edge) for edge in parameters.numbers("i", 4))
    if top >= bottom or left >= right:
        raise parameters.malformed("edges that leave a picture")
    return top, left, bottom, right


def _change(signal: Signal, place: _Place, area: Area, effect: Effect) -> bool:
    """Change ``signal`` in place where it meets ``area``; return whether it does."""
    if area.top >= area.bottom or area.left >= area.right:
        whole = (0, 0, place.height, place.width)
        area = Area(*whole, area.plane, area.planes, area.row_pitch, area.col_pitch)
    rows = _meeting(area.top, area.bottom, area.row_pitch, place.top, signal.shape[0])
    cols = _meeting(area.left, area.right, area.col_pitch, place.left, signal.shape[1])
    part = signal[
        rows.start : rows.stop : rows.step,
        cols.start : cols.stop : cols.step,
        area.plane : area.plane + area.planes,
    ]
    if part.size == 0:
        return False
    at_rows, at_cols = np.asarray(rows) + place.top, np.asarray(cols) + place.left
    nth_row = (at_rows - area.top) // area.row_pitch
    nth_col = (at_cols - area.left) // area.col_pitch
    part[...] = effect(part, Spot(at_rows, at_cols, nth_row, nth_col, place.height, place.width))
    return True


def _meeting(first: int, stop: int, pitch: int, start: int, count: int) -> range:
    """Lines of a region that an area has: every ``pitch``-th from ``first`` until ``stop``.

    The region begins at line ``start`` and has ``count`` lines; the range counts from there.
    """
    first += max(0, -((first - start) // pitch)) * pitch
    return range(first - start, max(first, min(stop, start + count)) - start, pitch)
