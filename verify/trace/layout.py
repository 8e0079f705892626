"""How a table of numbers is laid out, told from its first lines."""

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.errors import PlanError
from verify.trace.preamble import (
    TIME_UNITS_S,
    interval_in,
    is_unit,
    parted,
    plain,
    time_unit_in,
)

LOOKED_AT = 65536  # bytes from the beginning; the preamble of an instrument has a few thousand
LAST_ROWS = 20  # of them, by which columns are told: below any preamble
NEW_LINE = re.compile(r"\r\n?|\n")
COMMENT = re.compile(r"\s*(?:[#%!]|;(?!\s*[-+.,;0-9]))[#%!;\s]*")
NUMBER = re.compile(
    r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:e[+-]?[0-9]+)?|[+-]?(?:nan|inf|infinity)", re.IGNORECASE
)
WITH_UNIT = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?\s*([^\W\d_]+)")
# What separates cells, and whether numbers have a decimal comma; of equal fits the first counts.
READINGS = [("\t", False), (";", False), (",", False), (None, False)]
READINGS += [("\t", True), (";", True), (None, True)]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table."""

    number: int  # from 1
    name: str  # without the unit; "" where the table has no header
    unit: str  # as written; "" where not said
    head: NDArray[np.float64] | None  # its first values; None for a column that is not of numbers

    def __str__(self) -> str:
        unit = f" ({self.unit})" if self.unit and self.unit != self.name else ""
        return f'{self.number} "{self.name}{unit}"' if self.name else f"{self.number}"


@dataclass(frozen=True, slots=True)
class Layout:
    """How a table is written."""

    first_line: int  # lines above the first row of numbers
    delimiter: str | None  # what separates cells; None: blanks
    decimal_comma: bool  # numbers have a decimal comma
    columns: tuple[Column, ...]  # all of them
    interval_s: float | None  # time between samples that is stated above the numbers
    time_unit: str  # unit of time stated above the numbers, not in a column; "" where none is


@dataclass(frozen=True, slots=True)
class _Fit:
    """The lines of a table in one reading of what separates cells."""

    delimiter: str | None
    decimal_comma: bool
    rows: list[list[str] | None]  # cells of each line; None for a comment and for a blank line
    numeric: tuple[int, ...]  # indices of the columns of numbers
    matched: int  # of the last rows, those that have numbers there
    strays: int  # cells in them that are neither numbers nor empty

    @property
    def merit(self) -> tuple[int, int, int]:
        """What makes one reading better than another."""
        return self.matched, -self.strays, len(self.numeric)


def layout_of(data: bytes, where: str) -> Layout:
    """Layout of a table. Raises PlanError where there are no numbers in it, or no telling how."""
    lines = _head(data)
    fits = [_fit(lines, *reading) for reading in READINGS]
    best = max(fits, key=lambda fit: fit.merit)
    if _units_in_cells(lines[-LAST_ROWS:]):
        msg = (
            f"{where}: there are units in the cells, maybe mixed: write numbers only, and the unit"
            ' in the header, as "time (us)"'
        )
        raise PlanError(msg)
    if not best.numeric:
        msg = f"{where}: there are no rows of numbers in this text: a recording is a table"
        raise PlanError(msg)
    first = _first_row(best)
    above = [COMMENT.sub("", line, count=1).strip() for line in lines[:first]]
    above = [line for line in above if line]
    if best.delimiter == ",":
        best = _without_commas(best, fits[-1], interval_in(above, True, where), where)
    first = _first_row(best)
    unstated = [line for line in above if interval_in([line], best.decimal_comma, where) is None]
    names, units = _header(unstated[-3:], best, first)
    rows = [row for row in best.rows[first:] if row is not None]
    columns = tuple(
        Column(n + 1, name, unit, _values(rows, n, best) if n in best.numeric else None)
        for n, (name, unit) in enumerate(_named(names, units, where))
    )
    stated = [*above, lines[first]]
    interval_s = interval_in(stated, best.decimal_comma, where)
    unit = time_unit_in(above)
    return Layout(first, best.delimiter, best.decimal_comma, columns, interval_s, unit)


def _head(data: bytes) -> list[str]:
    """The first lines, whole."""
    head = data[:LOOKED_AT]
    try:
        text = head.decode()
    except UnicodeDecodeError as error:
        # A character cut at the end is still UTF-8; else the one-byte encoding most in use.
        cut = error.start > len(head) - 4 and len(data) > len(head)
        text = head[: error.start].decode() if cut else head.decode("cp1252", "replace")
    text = text.replace("\u2212", "-").replace('"', "").rstrip("\x1a\r\n\t ")
    lines = NEW_LINE.split(text)
    return lines[:-1] if len(data) > LOOKED_AT and len(lines) > 1 else lines


def _fit(lines: Sequence[str], delimiter: str | None, decimal_comma: bool) -> _Fit:
    """The lines in one reading."""
    rows = [
        None if not line.strip() or COMMENT.match(line) else cells_of(line, delimiter)
        for line in lines
    ]
    last = [row for row in rows if row is not None][-LAST_ROWS:]
    masks = [
        tuple(n for n, cell in enumerate(row) if is_number(cell, decimal_comma)) for row in last
    ]
    counted = Counter(mask for mask in masks if mask)
    numeric = max(counted, key=lambda mask: (counted[mask], len(mask)), default=())
    matching = [row for row, mask in zip(last, masks, strict=True) if set(numeric) <= set(mask)]
    strays = sum(bool(cell) and n not in numeric for row in matching for n, cell in enumerate(row))
    return _Fit(delimiter, decimal_comma, rows, numeric, len(matching) if numeric else 0, strays)


def _units_in_cells(lines: Sequence[str]) -> bool:
    """Whether most cells of these lines are a number with its unit."""
    cells = [cell.strip() for line in lines for cell in re.split("[,;\t]", line)]
    found = [WITH_UNIT.fullmatch(cell) for cell in cells]
    return 2 * sum(match is not None and is_unit(match[1]) for match in found) > len(cells)


def cells_of(line: str, delimiter: str | None) -> list[str]:
    """The cells of a line, without blanks round them."""
    return [cell.strip() for cell in line.split(delimiter)]


def is_number(cell: str, decimal_comma: bool) -> bool:
    """Whether a cell is a number, NaN and infinity among them."""
    if decimal_comma:
        if "." in cell:
            return False
        cell = cell.replace(",", ".")
    return NUMBER.fullmatch(cell) is not None


def _first_row(fit: _Fit) -> int:
    """Index of the first line with numbers in their columns; a bad row below it is a mistake."""
    return next(
        at
        for at, row in enumerate(fit.rows)
        if row is not None
        and all(n < len(row) and is_number(row[n], fit.decimal_comma) for n in fit.numeric)
    )


def _without_commas(fit: _Fit, other: _Fit, interval_s: float | None, where: str) -> _Fit:
    """Decide what commas are where all cells between them are whole numbers.

    "0,512" may be the row of sample 0 with the code 512, or the one value 0.512. It is a value
    where the time between samples is stated and the first cells do not count the samples.
    """
    rows = [row for row in fit.rows[_first_row(fit) :] if row is not None]
    cells = [cell for row in rows for cell in row]
    if not all(re.fullmatch(r"([+-]?[0-9]+(e[+-]?[0-9]+)?)?", cell) for cell in cells):
        return fit
    first = [float(row[0]) for row in rows if is_number(row[0], False)]
    counts = len(first) > 1 and bool(np.all(np.diff(first) > 0))
    if interval_s and not counts and max(map(len, rows)) == 2 and len(other.numeric) == 1:
        return other
    if any(re.match(r"[+-]?0[0-9]", cell) for cell in cells):
        msg = (
            f"{where}: commas seem to separate columns and decimals both: save the table with"
            " semicolons between columns"
        )
        raise PlanError(msg)
    return fit


def _header(above: Sequence[str], fit: _Fit, first: int) -> tuple[list[str], list[str]]:
    """Cells of the names and of the row of units, as many as there are columns."""
    count = max(len(row) for row in fit.rows[first:] if row is not None)
    names, units = [""] * count, [""] * count
    for line in reversed(above):
        cells = _header_cells(line, fit, count)
        if not cells:
            continue
        cells += [""] * (count - len(cells))
        said = [cell for cell in cells if cell]
        if all(map(is_unit, said)) and not any(units):
            units = [cell.strip("()[]{} ") for cell in cells]
        elif not any(re.match(r"[+-]?[.,]?[0-9]", cell) for cell in said):
            if not re.search(r"\bunits?$", cells[0], re.IGNORECASE):
                names = cells
            break
    return names, units


def _header_cells(line: str, fit: _Fit, count: int) -> list[str]:
    """Cells of a line that may be a header: by the table's own delimiter, or by another."""
    splits = [cells_of(line, fit.delimiter)]
    splits += [[c.strip() for c in re.split(by, line)] for by in (r"\t", ";", ",", r"\s{2,}")]
    splits.append(re.findall(r"\S+(?:\s*[(\[][^)\]]*[)\]])?", line))
    for cells in splits:
        while cells and not cells[-1]:
            cells.pop()
        if fit.numeric[-1] < len(cells) <= count and all(cells[n] for n in fit.numeric):
            return cells
    return []


def _named(names: Sequence[str], units: Sequence[str], where: str) -> list[tuple[str, str]]:
    """Name and unit of each column. Raises PlanError where two units are given for one."""
    named = []
    for number, (cell, below) in enumerate(zip(names, units, strict=True), 1):
        name, unit = parted(cell)
        scales = {TIME_UNITS_S.get(plain(said), math.nan) for said in (unit, below)}
        both = is_unit(unit) and is_unit(below)
        if both and len(scales) > 1:
            msg = f"{where}: mixed units in column {number}: {unit} in its name, {below} below it"
            raise PlanError(msg)
        named.append((name, unit if is_unit(unit) or not below else below))
    return named


def _values(rows: Sequence[Sequence[str]], n: int, fit: _Fit) -> NDArray[np.float64]:
    """The first values of one column; NaN for what is no number."""
    cells = [row[n] if n < len(row) else "" for row in rows]
    return np.array(
        [
            float(cell.replace(",", ".")) if is_number(cell, fit.decimal_comma) else np.nan
            for cell in cells
        ]
    )
