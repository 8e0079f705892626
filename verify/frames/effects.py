"""What each opcode of a DNG opcode list does to a signal: parameters to a function of arrays.

A signal below 0 stays below 0: maps are mirrored about their value at 0, which is what the
published reference implementation does, so that noise about black keeps its mean. A gain may lift
a signal above 1. A map is not defined above 1: what is above 1 is mapped as 1.

References
----------
Digital Negative Specification 1.7.1.0, chapter 7, "Opcode List Processing".
"""

import math
import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from verify.errors import NotAFrame

Signal = NDArray[np.float64]

FIX_VIGNETTE_RADIAL, MAP_TABLE, MAP_POLYNOMIAL = 3, 7, 8  # opcode IDs
_MAX_DEGREE = 8  # of a MapPolynomial, by the specification
_TABLE_TOP = 65535  # the code that stands for a signal of 1 in a MapTable
_MAX_PLANES = 65535  # SamplesPerPixel is a 16-bit number


@dataclass(frozen=True, slots=True)
class Area:
    """The photosites that an opcode acts on; all of the image where top..bottom is empty."""

    top: int  # first row
    left: int  # first column
    bottom: int  # row after the last
    right: int  # column after the last
    plane: int  # first plane
    planes: int  # number of planes
    row_pitch: int  # every how many rows, counted from the top
    col_pitch: int  # every how many columns, counted from the left


@dataclass(frozen=True, slots=True)
class Spot:
    """Where in the image the photosites lie that an effect is asked for."""

    rows: NDArray[np.intp]  # (rows,) row of each in the image
    cols: NDArray[np.intp]  # (cols,) column of each in the image
    nth_row: NDArray[np.intp]  # (rows,) how many rows of the opcode come before
    nth_col: NDArray[np.intp]  # (cols,) how many columns of the opcode come before
    height: int  # of the whole image, photosites
    width: int  # of the whole image, photosites


Effect = Callable[[Signal, Spot], Signal]  # (rows, cols, planes of the opcode) -> the same shape


class Parameters:
    """Reads the parameters of one opcode from front to back."""

    def __init__(self, name: str, data: bytes) -> None:
        self.name = name
        self.data = data
        self.at = 0

    def numbers(self, kind: str, count: int) -> NDArray[np.float64]:
        """Return the next ``count`` numbers; ``kind`` is a struct code: "I", "i", "H", "f", "d"."""
        size = count * struct.calcsize(f">{kind}")
        if self.at + size > len(self.data):
            raise self.malformed(f"{self.at + size} bytes of parameters or more")
        values = np.frombuffer(self.data, f">{kind}", count, self.at).astype(np.float64)
        if not np.all(np.isfinite(values)):
            raise self.malformed("finite parameters")
        self.at += size
        return values

    def integer(self) -> int:
        """Return the next unsigned 32-bit integer."""
        return int(self.numbers("I", 1)[0])

    def area(self) -> Area:
        """Return the area that most opcodes start with."""
        top, left, bottom, right = (int(edge) for edge in self.numbers("i", 4))
        area = Area(top, left, bottom, right, *(self.integer() for _ in range(4)))
        if min(area.planes, area.row_pitch, area.col_pitch) < 1:
            raise self.malformed("at least one plane and a pitch of at least 1")
        return area

    def end(self) -> None:
        """Raise where parameters are left over: then something was misread."""
        if self.at != len(self.data):
            raise self.malformed(f"{self.at} bytes of parameters")

    def malformed(self, needed: str) -> NotAFrame:
        """Error of one line that says what was needed."""
        return NotAFrame(
            f"the file's opcode list is damaged: {self.name} has {len(self.data)} bytes of"
            f" parameters and needs {needed}; copy the file from its source again"
        )


def effect_of(number: int, parameters: Parameters) -> tuple[Area, Effect] | None:
    """Where and how an opcode changes the signal; None where that is not known.

    Raises
    ------
    NotAFrame : the parameters are cut short, too many or make no sense.
    """
    if number not in _READERS:
        return None
    everywhere = Area(0, 0, 0, 0, 0, _MAX_PLANES, 1, 1)
    area = everywhere if number == FIX_VIGNETTE_RADIAL else parameters.area()
    effect = _READERS[number](parameters, area)
    parameters.end()
    return None if effect is None else (area, effect)


def _fix_vignette_radial(parameters: Parameters, _area: Area) -> Effect:
    """Radial gain 1 + k0 r^2 + ... + k4 r^10, r = 1 at the photosite farthest from the centre."""
    gain_terms = np.append(1.0, parameters.numbers("d", 5))
    centre_x, centre_y = parameters.numbers("d", 2)

    def effect(signal: Signal, spot: Spot) -> Signal:
        x = spot.cols - centre_x * (spot.width - 1)
        y = spot.rows - centre_y * (spot.height - 1)
        farthest = math.hypot(
            max(abs(centre_x), abs(1 - centre_x)) * (spot.width - 1),
            max(abs(centre_y), abs(1 - centre_y)) * (spot.height - 1),
        )
        r_squared = np.add.outer(y**2, x**2) / (farthest or 1.0) ** 2
        return signal * _polynomial(r_squared, gain_terms)[..., np.newaxis]

    return effect


def _map_table(parameters: Parameters, _area: Area) -> Effect:
    """Look-up by the 16-bit code of the signal, between entries in a line; its end goes on."""
    entries = parameters.integer()
    if not 1 <= entries <= _TABLE_TOP + 1:
        raise parameters.malformed(f"a table of 1 to {_TABLE_TOP + 1} entries")
    values = parameters.numbers("H", entries) / _TABLE_TOP
    codes = np.arange(entries) / _TABLE_TOP

    def effect(signal: Signal, _spot: Spot) -> Signal:
        return _mirrored(signal, values[0], np.interp(np.abs(signal), codes, values))

    return effect


def _map_polynomial(parameters: Parameters, _area: Area) -> Effect:
    """Polynomial of the signal, coefficients from the constant term up."""
    degree = parameters.integer()
    if degree > _MAX_DEGREE:
        raise parameters.malformed(f"a polynomial of degree {_MAX_DEGREE} or less")
    terms = parameters.numbers("d", degree + 1)

    def effect(signal: Signal, _spot: Spot) -> Signal:
        size = np.minimum(np.abs(signal), 1.0)
        return _mirrored(signal, terms[0], _polynomial(size, terms))

    return effect


def _polynomial(at: Signal, terms: Signal) -> Signal:
    """Value of a polynomial, terms from the constant one up."""
    value = np.full_like(at, terms[-1])
    for term in terms[-2::-1]:
        value = value * at + term
    return value


def _mirrored(signal: Signal, at_zero: float, mapped_size: Signal) -> Signal:
    """Mapped signal from the mapped size of it: below 0 mirrored about the value at 0."""
    return np.where(signal < 0, 2 * at_zero - mapped_size, mapped_size)


def _gain_map(parameters: Parameters, _area: Area) -> Effect:
    """Gain interpolated between the points of a map that spans the image, held outside them."""
    points_v, points_h = parameters.integer(), parameters.integer()
    spacing_v, spacing_h, origin_v, origin_h = parameters.numbers("d", 4)
    map_planes = parameters.integer()
    if min(points_v, points_h, map_planes) < 1:
        raise parameters.malformed("at least one gain")
    if (points_v > 1 and spacing_v <= 0) or (points_h > 1 and spacing_h <= 0):
        raise parameters.malformed("a spacing above 0")
    gains = parameters.numbers("f", points_v * points_h * map_planes)
    gains = gains.reshape(points_v, points_h, map_planes)

    def effect(signal: Signal, spot: Spot) -> Signal:
        row, row_share = _between((spot.rows + 0.5) / spot.height, origin_v, spacing_v, points_v)
        col, col_share = _between((spot.cols + 0.5) / spot.width, origin_h, spacing_h, points_h)
        across = gains[:, col] + col_share[:, np.newaxis] * (
            gains[:, np.minimum(col + 1, points_h - 1)] - gains[:, col]
        )
        below = across[np.minimum(row + 1, points_v - 1)]
        gain = across[row] + row_share[:, np.newaxis, np.newaxis] * (below - across[row])
        plane = np.minimum(np.arange(signal.shape[2]), map_planes - 1)
        return signal * gain[:, :, plane]

    return effect


def _between(
    position: Signal, origin: float, spacing: float, points: int
) -> tuple[NDArray[np.intp], Signal]:
    """Map point before each position (a share of the image's side) and the share beyond it."""
    if points == 1:
        return np.zeros(position.shape, np.intp), np.zeros(position.shape)
    steps = np.clip((position - origin) / spacing, 0, points - 1)
    before = np.floor(steps).astype(np.intp)
    return before, steps - before


def _delta(parameters: Parameters, area: Area, per_row: bool) -> Effect | None:
    """Value added to each row or column; None where it cannot be meant for a signal of 0 to 1.

    Some writers count deltas in 16-bit codes here, which the specification does not know.
    """
    deltas = _line_values(parameters, area, per_row)
    if np.any(np.abs(deltas) > 1):
        return None
    return lambda signal, spot: signal + _of_lines(deltas, spot, per_row)


def _scale(parameters: Parameters, area: Area, per_row: bool) -> Effect:
    """Factor on each row or column."""
    scales = _line_values(parameters, area, per_row)
    return lambda signal, spot: signal * _of_lines(scales, spot, per_row)


def _line_values(parameters: Parameters, area: Area, per_row: bool) -> Signal:
    """Read one value for each row or column of the area."""
    first, stop, pitch = (
        (area.top, area.bottom, area.row_pitch)
        if per_row
        else (area.left, area.right, area.col_pitch)
    )
    lines, needed = parameters.integer(), len(range(first, stop, pitch))
    if lines != needed or needed == 0:
        raise parameters.malformed(f"a value for each of {needed} lines, not for {lines}")
    return parameters.numbers("f", lines)


def _of_lines(values: Signal, spot: Spot, per_row: bool) -> Signal:
    """Values of the rows or columns of a spot, to go with (rows, cols, planes)."""
    return values[spot.nth_row][:, None, None] if per_row else values[spot.nth_col][:, None]


_READERS: dict[int, Callable[[Parameters, Area], Effect | None]] = {
    3: _fix_vignette_radial,
    7: _map_table,
    8: _map_polynomial,
    9: _gain_map,
    10: partial(_delta, per_row=True),
    11: partial(_delta, per_row=False),
    12: partial(_scale, per_row=True),
    13: partial(_scale, per_row=False),
}
