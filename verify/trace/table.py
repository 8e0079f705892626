"""A table of numbers to a trace: its layout from the first lines, its numbers in bulk."""

import io
import math
import re
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from verify.errors import PlanError, in_one_line
from verify.trace.columns import chosen
from verify.trace.layout import LOOKED_AT, Column, Layout, cells_of, is_number, layout_of
from verify.trace.preamble import AGREES, TIME_UNITS_S, plain
from verify.trace.records import Trace

WIDEST_GAP = 3.0  # median steps; across a wider one the light is not known
LATEST_S = 1e10  # three centuries: clocks that count from a date write less
COARSEST_S = 1e-3  # step of a time without a unit; coarser it is hardly one of seconds
COMMENT_LINE = re.compile(rb"(?m)^[ \t]*(?:[#%!]|;(?![ \t]*[-+.,;0-9]))[^\r\n]*")
MINUS = "\u2212".encode()


def table_trace(
    data: bytes, where: str, time: str | None = None, value: str | None = None
) -> Trace:
    """The trace in a table of numbers.

    Comma, semicolon, tab or blanks separate cells; numbers have a decimal point or, but for comma
    as separator, a decimal comma. Names, units in them or in a row of their own, and lines of keys
    and values may stand above; lines that start with #, %, ! or ; are comments. Time has its own
    column, in the unit that its name or the lines above say, else in seconds; or the lines above
    state the time between samples or their rate. Steps of time may differ, up to three times the
    median step: a wider gap is refused, because what the light did in it is not known.

    Parameters
    ----------
    data : the whole file, in UTF-8 or a one-byte encoding.
    where : its name, for messages.
    time, value : columns by name or number from 1. None: told from the table.

    Raises
    ------
    PlanError
        If there are no numbers, columns cannot be told apart, a cell is no number, or time does
        not rise, has gaps, or is in doubtful units.
    """
    if b'","' in data[-LOOKED_AT:]:  # cells in quotation marks, which may have decimal commas
        data = data.replace(b'","', b'"\t"')
    layout = layout_of(data, where)
    clock, light = chosen(layout, time, value, where)
    body = _body(data, layout)
    used = [light] if clock is None else [clock, light]
    numbers = _numbers(body, layout, used, where)
    for column, values in zip(used, numbers, strict=True):
        bad = ~np.isfinite(values)
        if bad.any():
            row = int(bad.argmax())
            found = "NaN" if np.isnan(values[row]) else "infinity"
            line = _line_of(body, layout, row)
            msg = f"{where} line {line}: {found} in column {column.number}: remove or mend it"
            raise PlanError(msg)
    if clock is None and layout.interval_s is not None:
        time_s = np.arange(numbers[0].size, dtype=np.float64) * layout.interval_s
    elif clock is not None:
        _check_rising(numbers[0], numbers[1], body, layout, clock, light, where)
        time_s = _seconds(numbers[0], clock, layout, where)
        _check_gaps(time_s, body, layout, where)
    return Trace(time_s, np.ascontiguousarray(numbers[-1]), "table")


def _body(data: bytes, layout: Layout) -> bytes:
    """The rows of numbers, as numpy reads them; a line for each line of the file."""
    start = 0
    for _, new_line in zip(range(layout.first_line), re.finditer(rb"\r\n?|\n", data), strict=False):
        start = new_line.end()
    body = data[start:].rstrip(b"\x1a\r\n\t ")
    if b'"' in body:
        body = body.replace(b'"', b"")
    if not body.isascii():
        body = body.replace(MINUS, b"-")
    marks = b"#%!" if layout.delimiter == ";" else b"#%!;"
    if any(mark in body for mark in marks) or b"\n;" in body:
        body = COMMENT_LINE.sub(b"", body)
    return body.translate(bytes.maketrans(b",", b".")) if layout.decimal_comma else body


def _text(body: bytes) -> io.TextIOWrapper:
    """The rows as a file of text; any end of a line is one."""
    return io.TextIOWrapper(io.BytesIO(body), encoding="latin-1")


def _numbers(
    body: bytes, layout: Layout, used: Sequence[Column], where: str
) -> list[NDArray[np.float64]]:
    """The columns, each (samples,)."""
    wanted = [column.number - 1 for column in used]

    def load(lines: io.TextIOWrapper | list[str]) -> NDArray[np.float64]:
        return np.loadtxt(lines, delimiter=layout.delimiter, comments=None, usecols=wanted, ndmin=2)

    try:
        return list(load(_text(body)).T)
    except ValueError:
        _refuse_cell(body, layout, wanted, where)
    try:  # rows of blanks are in the way, or another kind of blank
        return list(load([" ".join(line.split(" ")) for _, line in _rows(body, layout)]).T)
    except ValueError as error:
        msg = f"{where}: its rows of numbers cannot be read ({in_one_line(str(error), 80)})"
        raise PlanError(msg) from error


def _rows(body: bytes, layout: Layout) -> Iterator[tuple[int, str]]:
    """Rows of numbers with the number of their line in the file."""
    for number, line in enumerate(_text(body), layout.first_line + 1):
        if line.strip():
            yield number, line


def _line_of(body: bytes, layout: Layout, row: int) -> int:
    """Line of the file that holds a row of numbers, counted from 0."""
    return next(number for n, (number, _) in enumerate(_rows(body, layout)) if n == row)


def _refuse_cell(body: bytes, layout: Layout, wanted: Sequence[int], where: str) -> None:
    """Raise the PlanError of the first cell that is no number, where there is one."""
    for number, line in _rows(body, layout):
        cells = cells_of(line, layout.delimiter)
        for n in wanted:
            if n >= len(cells) or not cells[n]:
                msg = (
                    f"{where} line {number}: column {n + 1} is empty: mend the row, or delete it"
                    " if the recording was cut short there"
                )
                raise PlanError(msg)
            if not is_number(cells[n], False):
                msg = f'{where} line {number}: "{in_one_line(cells[n], 40)}" in column {n + 1} is'
                raise PlanError(f"{msg} no number")


def _check_rising(
    clock: NDArray[np.float64],
    light: NDArray[np.float64],
    body: bytes,
    layout: Layout,
    clock_column: Column,
    light_column: Column,
    where: str,
) -> None:
    """Raise PlanError where time does not rise from each row to the next."""
    with np.errstate(over="ignore"):  # of numbers that are no times; they are refused later
        wrong = np.diff(clock) <= 0
    if not wrong.any():
        return
    if clock.size > 2 and np.all(np.diff(light) > 0):
        msg = (
            f"{where}: its columns look swapped: column {light_column.number} rises all the way"
            f" down, as time does, and column {clock_column.number} does not: say --time"
            f" {light_column.number} --value {clock_column.number}"
        )
        raise PlanError(msg)
    row = int(wrong.argmax()) + 1
    line = _line_of(body, layout, row)
    if clock[row] == clock[row - 1]:
        msg = (
            f"{where} line {line}: time stands still at {clock[row]:g}: save it with more digits,"
            " or state the time between samples above and leave the column out"
        )
    else:
        msg = f"{where} line {line}: time runs backwards, from {clock[row - 1]:g} to {clock[row]:g}"
    raise PlanError(msg)


def _seconds(
    clock: NDArray[np.float64], column: Column, layout: Layout, where: str
) -> NDArray[np.float64]:
    """Time in seconds. Raises PlanError where its unit is in doubt."""
    unit = plain(column.unit)
    stated = TIME_UNITS_S.get(unit) if unit else TIME_UNITS_S.get(layout.time_unit)
    if unit and stated is None:
        msg = f'{where}: "{in_one_line(column.unit, 40)}" is no unit of time: write s, ms, us or ns'
        raise PlanError(msg)
    if unit and layout.time_unit and stated != TIME_UNITS_S[layout.time_unit]:
        msg = f"{where}: mixed units: time is in {unit} by its name, in {layout.time_unit} above it"
        raise PlanError(msg)
    scale = stated or 1.0
    if max(abs(clock[0]), abs(clock[-1])) * scale > LATEST_S:
        msg = f"{where}: {clock[-1]:g} in column {column.number} is no time of a recording"
        raise PlanError(msg)
    if clock.size < 2:
        return clock
    steps = np.diff(clock)
    step = float(np.median(steps))
    interval_s = layout.interval_s
    if stated is None and interval_s and np.all(steps == 1):
        return np.asarray((clock - clock[0]) * interval_s, np.float64)  # the column counts samples
    ratio = abs(float(np.mean(steps))) * scale / interval_s if interval_s else 1.0
    if abs(ratio - 1) > AGREES and (stated is None or _is_other_unit(ratio)):
        msg = (
            f"{where}: mixed units: {interval_s:g} s between samples by the lines above, and"
            f" {np.mean(steps) * scale:g} s by column {column.number}: write the unit of time in"
            " its name"
        )
        raise PlanError(msg)
    if stated is None and step > COARSEST_S:
        msg = (
            f"{where}: column {column.number} has no unit and steps by {step:g}, too much for"
            ' seconds: write the unit of time in its name, as "time (us)"'
        )
        raise PlanError(msg)
    return np.asarray(clock * scale, np.float64)


def _is_other_unit(ratio: float) -> bool:
    """Whether two times differ as two units do, and not because samples were left out."""
    thousands = math.log10(ratio) / 3
    return round(thousands) != 0 and abs(thousands - round(thousands)) < 0.01


def _check_gaps(time_s: NDArray[np.float64], body: bytes, layout: Layout, where: str) -> None:
    """Raise PlanError where samples are missing."""
    if time_s.size < 2:
        return
    steps = np.diff(time_s)
    typical = float(np.median(steps))
    widest = int(steps.argmax())
    if steps[widest] > WIDEST_GAP * typical:
        msg = (
            f"{where} line {_line_of(body, layout, widest + 1)}: a gap of {steps[widest]:g} s in"
            f" the time, where samples are {typical:g} s apart: record the flash without gaps"
        )
        raise PlanError(msg)
