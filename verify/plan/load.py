"""A plan file to the tables written in it, and what of them a message quotes."""

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from verify.errors import PlanError, in_one_line

LARGEST_PLAN = 250_000  # bytes; a thousand set-ups need less
MOST_DOTS = 200  # of a line; the time that dotted keys take grows with the square of their number
LONGEST_QUOTED = 60  # characters of a value in a message
MOST_BITS = 128  # of a whole number; no key allows one as large


def load_tables(path: Path) -> dict[str, Any]:
    """The tables of a plan file.

    Raises
    ------
    PlanError
        If it cannot be read, is no text or no TOML, or holds what no plan needs.
    """
    where = in_one_line(str(path))
    return parse_tables(read_text(path, "plan", LARGEST_PLAN), where, "plan")


def parse_tables(text: str, where: str, what: str) -> dict[str, Any]:
    """The tables of a text in TOML.

    Parameters
    ----------
    text : of a file.
    where : the file; stands before each mistake.
    what : such as "plan": what the file is, for messages.

    Raises
    ------
    PlanError
        If it is no TOML, or holds what no such file needs.
    """
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") > MOST_DOTS and not line.lstrip().startswith("#"):
            msg = (
                f"{where}: line {number} has more than {MOST_DOTS} dots: it is no line of a {what}"
            )
            raise PlanError(msg)
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        msg = f"{where}: this is not TOML: {in_one_line(str(error), 200)}"
        raise PlanError(msg) from error
    except RecursionError as error:
        msg = f"{where}: its values are nested too deeply for a {what}"
        raise PlanError(msg) from error
    except ValueError as error:  # tomllib lets Python's own limit on digits through
        raise _too_long(where, what) from error
    if any(value.bit_length() > MOST_BITS for value in _whole_numbers(tables)):
        raise _too_long(where, what)
    return tables


def quoted(value: object) -> str:
    """What was written, about as it stands in the file, on one line."""
    return in_one_line(json.dumps(value, ensure_ascii=False, default=str), LONGEST_QUOTED)


def read_text(path: Path, what: str, largest: int) -> str:
    """The text of a file.

    Parameters
    ----------
    what : such as "plan": what the file is, for messages.
    largest : bytes that it may have.

    Raises
    ------
    PlanError
        If it cannot be read, or is no text of that size.
    """
    where = in_one_line(str(path))
    try:
        if path.exists() and not (path.is_file() or path.is_dir()):
            msg = f"{where}: the {what} is not a regular file"
            raise PlanError(msg)
        if (size := path.stat().st_size) > largest:
            msg = f"{where}: {size:,} bytes are no {what}: one has up to {largest:,}"
            raise PlanError(msg)
        return path.read_text(encoding="utf-8-sig")  # some editors write a BOM
    except FileNotFoundError as error:
        msg = f"{where}: there is no such {what}"
        raise PlanError(msg) from error
    except UnicodeDecodeError as error:
        msg = f"{where}: this is not text in UTF-8: save the {what} as UTF-8"
        raise PlanError(msg) from error
    except OSError as error:
        msg = f"{where}: the {what} cannot be read ({error.strerror or error})"
        raise PlanError(msg) from error


def _whole_numbers(value: object) -> Iterator[int]:
    """Every whole number in tables and lists."""
    waiting = [value]
    while waiting:
        held = waiting.pop()
        if isinstance(held, int):
            yield held
        elif isinstance(held, dict):
            waiting += held.values()
        elif isinstance(held, list):
            waiting += held


def _too_long(where: str, what: str) -> PlanError:
    """The error for a number that no key allows and that Python may not write out."""
    return PlanError(f"{where}: a number in it has more digits than any {what} needs")
