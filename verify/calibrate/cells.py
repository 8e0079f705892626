"""A CSV file to rows of named cells, however a spreadsheet or an editor wrote it."""

import codecs
import csv
import difflib
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from verify.errors import PlanError, in_one_line
from verify.plan.file import LONGEST_KEY, MOST_TOLD

LARGEST = 1_000_000  # bytes; a row of readings needs about a hundred
MOST_ROWS = 2000
LONGEST_LINE = 10_000  # characters
NEW_LINE = re.compile(r"\r\n?|\n")
UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
QUOTES = (
    "its quotation marks do not fit together: they stand round a whole cell, and one inside such a "
    "cell is doubled"
)
TOO_LONG = f"it has more than {LONGEST_LINE:,} characters: it is no row of readings"
NAMES = {",": "comma", ";": "semicolon", "\t": "tab"}  # of what may separate cells
UNSEEN = dict.fromkeys(map(ord, "\u200b\u2060\ufeff"))  # zero-width characters


class _NotCells(ValueError):
    """A line cannot be taken apart; it says why."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row below the header."""

    line: int  # of the file, from 1
    cells: Mapping[str, str]  # of each column of the file; "" where nothing is to be seen
    problem: str | None = None  # why there are no cells


def read_rows(path: Path, columns: Sequence[str], needed: Sequence[str]) -> list[Row]:
    """The rows of a CSV file.

    Comma, semicolon or tab separates cells, whichever gives the header its names. Text is UTF-8, or
    UTF-16 with its byte order mark. A row is one line. Blank lines, lines that start with # and
    rows of empty cells are left out; cells that a row lacks at its end are empty.

    Parameters
    ----------
    path : the file.
    columns : names that the header may have, in small letters.
    needed : those of them that it must have.

    Raises
    ------
    PlanError
        If the file cannot be read, is too large or no text, or its header is wrong. A row that
        cannot be taken apart has its ``problem`` instead.
    """
    where = in_one_line(str(path))
    lines = [
        (number, line)
        for number, line in enumerate(NEW_LINE.split(_text(path, where)), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        msg = f"{where}: nothing is in it; its first line names the columns: {', '.join(columns)}"
        raise PlanError(msg)
    if len(lines) > MOST_ROWS + 1:
        msg = f"{where}: {len(lines) - 1:,} rows are too many: it may have up to {MOST_ROWS:,}"
        raise PlanError(msg)
    first, header = lines[0]
    try:
        delimiter, names = _header(header, columns)
    except _NotCells as error:
        msg = f"{where} line {first}: {error}"
        raise PlanError(msg) from error
    if mistakes := _mistakes_in(names, columns, needed):
        refuse(where, [f"{where} line {first}: {mistake}" for mistake in mistakes])
    rows = [_row(number, line, delimiter, names) for number, line in lines[1:]]
    rows = [row for row in rows if row.problem or any(row.cells.values())]
    if not rows:
        msg = f"{where}: there is no row below the header: write one for each frame"
        raise PlanError(msg)
    return rows


def refuse(where: str, lines: Sequence[str]) -> NoReturn:
    """Raise the PlanError of these lines, each once; of many the first, and how many more."""
    told = list(dict.fromkeys(lines))
    if len(told) > MOST_TOLD:
        told[MOST_TOLD:] = [f"{where}: and {len(told) - MOST_TOLD} more"]
    raise PlanError("\n".join(told))


def _text(path: Path, where: str) -> str:
    """The text of a file."""
    if os.path.exists(path) and not (os.path.isfile(path) or os.path.isdir(path)):
        msg = f"{where}: the readings file is not a regular file"
        raise PlanError(msg)
    try:
        with path.open("rb") as file:
            written = file.read(LARGEST + 1)
    except FileNotFoundError as error:
        msg = f"{where}: there is no such readings file"
        raise PlanError(msg) from error
    except (OSError, ValueError) as error:  # ValueError: a name that no system takes
        reason = error.strerror if isinstance(error, OSError) else None
        msg = f"{where}: the readings file cannot be read ({reason or error})"
        raise PlanError(msg) from error
    if len(written) > LARGEST:
        msg = f"{where}: it is too large for a readings file: one has up to {LARGEST:,} bytes"
        raise PlanError(msg)
    wide = written.startswith(UTF_16)
    try:
        text = written.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = "" if wide else _line_of(error.object[: error.start].decode())
        encoding = "UTF-16, as it begins" if wide else "UTF-8"
        msg = f"{where}{line}: this is not text in {encoding}: save the readings as CSV in UTF-8"
        raise PlanError(msg) from error
    before, nul, _ = text.partition("\0")
    if nul:
        line = _line_of(before)
        msg = f"{where}{line}: a NUL is in it, as in no text: save the readings as CSV in UTF-8"
        raise PlanError(msg)
    return text


def _line_of(before: str) -> str:
    """The line that begins after or holds the end of the text ``before``, for a message."""
    return f" line {len(NEW_LINE.split(before))}"


def _header(line: str, columns: Sequence[str]) -> tuple[str, list[str]]:
    """What separates cells, and the names of the columns: the reading that knows most of them."""
    read = []
    for delimiter in NAMES:
        names = [name.lower() for name in _cells(line, delimiter)]
        while names and not names[-1]:
            names.pop()
        read.append((len(set(names).intersection(columns)), len(names), delimiter, names))
    *_, delimiter, names = max(read, key=lambda found: found[:2])
    return delimiter, names


def _mistakes_in(names: Sequence[str], columns: Sequence[str], needed: Sequence[str]) -> list[str]:
    """What is wrong with the names of columns."""
    mistakes = [
        f'the column "{name}" is missing; needed: {", ".join(needed)}'
        for name in needed
        if name not in names
    ]
    mistakes += [
        f'two columns are named "{name}": keep one' for name in columns if names.count(name) > 1
    ]
    allowed = ", ".join(columns)
    for at, name in enumerate(names, 1):
        if not name:
            mistakes.append(f"column {at} has no name; allowed: {allowed}")
        elif name not in columns:
            shown = in_one_line(name, LONGEST_KEY)
            told = len(mistakes) < MOST_TOLD
            near = difflib.get_close_matches(shown, columns, 1) if told else ()
            hint = f' (did you mean "{near[0]}"?)' if near else ""
            mistakes.append(f'there is no column "{shown}"{hint}; allowed: {allowed}')
    return mistakes


def _row(number: int, line: str, delimiter: str, names: Sequence[str]) -> Row:
    """One line, taken apart."""
    try:
        cells = _cells(line, delimiter)
    except _NotCells as error:
        return Row(number, {}, str(error))
    if any(cells[len(names) :]):
        problem = (
            f"{len(cells)} cells, and the header names {len(names)} columns: put quotation marks "
            f"round a value that has a {NAMES[delimiter]} in it"
        )
        return Row(number, {}, problem)
    cells += [""] * (len(names) - len(cells))
    return Row(number, dict(zip(names, cells, strict=False)))


def _cells(line: str, delimiter: str) -> list[str]:
    """The cells of a line, without the spaces round them. Raises _NotCells."""
    if len(line) > LONGEST_LINE:
        raise _NotCells(TOO_LONG)
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=True))
    except csv.Error as error:
        raise _NotCells(QUOTES) from error
    return [cell.strip() if cell.translate(UNSEEN).strip() else "" for cell in cells]
