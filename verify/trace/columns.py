"""Which column of a table is time and which is light: as told, or where there is one answer."""

import math
from typing import NoReturn

import numpy as np

from verify.errors import PlanError, in_one_line
from verify.trace.layout import Column, Layout
from verify.trace.preamble import is_time, plain

MOST_LISTED = 20  # columns in a message
LONGEST_NAME = 40  # characters of a name in a message
ASK = "say --time COLUMN --value COLUMN (a name, or a number from 1)"


def chosen(
    layout: Layout, time: str | None, value: str | None, where: str
) -> tuple[Column | None, Column]:
    """Column of time, None where samples have a stated interval instead, and column of light.

    Raises PlanError where they cannot be told, and where there is no such column as asked for.
    """
    numbers = [column for column in layout.columns if column.head is not None]
    given_time = _named(layout, time, "--time", where)
    light = _named(layout, value, "--value", where)
    if given_time is not None and given_time == light:
        msg = f"{where}: --time and --value name the same column: {_listed(layout)}"
        raise PlanError(msg)
    if len(numbers) == 1 and (given_time or not layout.interval_s):
        msg = (
            f"{where}: there is one column of numbers only, and nothing states the time between"
            ' samples: add a column of time, or a line "Sample Interval,0.000004" above (seconds)'
        )
        raise PlanError(msg)
    if len(numbers) == 1:
        return None, numbers[0]
    clock = given_time or _clock([n for n in numbers if n is not light], layout, where)
    if light is None:
        rest = [n for n in numbers if n is not clock and not _is_count(n)]
        if len(rest) != 1:
            _ask(layout, where)
        light = rest[0]
    return clock, light


def _named(layout: Layout, asked: str | None, option: str, where: str) -> Column | None:
    """The column that an option names."""
    if asked is None:
        return None
    key = plain(asked)
    for names in (
        [plain(column.name) for column in layout.columns],
        [plain(f"{column.name} ({column.unit})") for column in layout.columns],
        [str(column.number) for column in layout.columns],
    ):
        if names.count(key) == 1 and key:
            column = layout.columns[names.index(key)]
            if column.head is None:
                msg = f"{where}: {option}: column {_shown(column)} does not hold numbers"
                raise PlanError(msg)
            return column
        if names.count(key) > 1 and key:
            msg = f"{where}: {option}: several columns have this name: say its number"
            raise PlanError(f"{msg}: {_listed(layout)}")
    msg = f'{where}: {option}: there is no column "{in_one_line(asked, LONGEST_NAME)}"'
    raise PlanError(f"{msg}; the columns are {_listed(layout)}")


def _clock(numbers: list[Column], layout: Layout, where: str) -> Column | None:
    """The column of time by its name or its unit; else the only one that rises."""
    said = [column for column in numbers if is_time(column.name, column.unit)]
    if len(said) == 1:
        return said[0]
    rising = [column for column in numbers if _rises(column)]
    counting = [column for column in rising if _is_count(column)]
    real = [column for column in rising if column not in counting]
    if not said and len(real or counting) == 1:
        return (real or counting)[0]
    if layout.interval_s and not said and not rising:
        return None
    if said or rising:
        _ask(layout, where)
    msg = f"{where}: no column rises all the way down, as time does: {_listed(layout)}: {ASK}"
    raise PlanError(msg)


def _rises(column: Column) -> bool:
    """Whether the first values of a column rise from row to row."""
    if column.head is None:
        return False
    head = column.head[np.isfinite(column.head)]
    return head.size > 2 and bool(np.all(np.diff(head) > 0))


def _is_count(column: Column) -> bool:
    """Whether a column only numbers the samples; one that is said to be time does not."""
    head = column.head
    return (
        head is not None
        and head.size > 2
        and not is_time(column.name, column.unit)
        and bool(np.all(np.diff(head) == 1))
        and math.isclose(head[0], round(head[0]))
    )


def _ask(layout: Layout, where: str) -> NoReturn:
    """Ask which column is which."""
    msg = f"{where}: its columns cannot be told apart: {_listed(layout)}: {ASK}"
    raise PlanError(msg)


def _listed(layout: Layout) -> str:
    """The columns, for a message."""
    shown = [_shown(column) for column in layout.columns[:MOST_LISTED]]
    more = len(layout.columns) - MOST_LISTED
    return ", ".join(shown) + (f" and {more} more" if more > 0 else "")


def _shown(column: Column) -> str:
    """A column, for a message."""
    return in_one_line(str(column), LONGEST_NAME)
