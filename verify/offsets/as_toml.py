"""Saved offsets as TOML, to keep a copy of, to read and to hand on; and back."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from verify.errors import PlanError, in_one_line
from verify.offsets.records import SavedOffset
from verify.offsets.tables import checked, values_of
from verify.plan.load import parse_tables, quoted, read_text

NAME, VERSION = "greyproof.offsets", 1
FORMAT = f"{NAME}/{VERSION}"
LARGEST_FILE = 2_000_000  # characters; two thousand offsets need less
HEAD = f"""\
# Offsets between meters and cameras, as greyproof fitted them.
#
# offset_stops is measured minus the standard's expectation, with the correction taken out: above 0
# the frames came out lighter than the meter promised. A correction, which is dialled into the
# meter, is above 0 where it asks for more exposure. The two have opposite signs: an offset of -0.3
# is made good by a correction of +0.3.
#
# Numbers of stops, ISO speeds and f-numbers are exact: f/11 is 11.313708498984761. u_stops is one
# standard uncertainty, u_same_card_stops that where the same card is used again, interval_stops
# has a chance of 95 %. A part comes on top of offset_stops at its ISO or aperture.

format = "{FORMAT}"
"""
SHORT = {"\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r", '"': '\\"', "\\": "\\\\"}


def to_toml(offsets: Sequence[SavedOffset]) -> str:
    """Offsets as a TOML file that :func:`from_toml` reads back, every figure as it was.

    Raises
    ------
    PlanError
        If an offset has what no file of them may have, such as a figure that is no number.
    """
    blocks = [HEAD]
    for offset in offsets:
        values = values_of(offset)
        checked(values, f"offset {quoted(offset.name)}")
        parts = values.pop("part")
        blocks.append(_table("[[offset]]", values))
        blocks += [_table("[[offset.part]]", part) for part in parts]
    return "\n".join(blocks)


def read_toml(path: Path) -> tuple[SavedOffset, ...]:
    """Offsets from a TOML file. Raises PlanError as :func:`from_toml`, or if it cannot be read."""
    return from_toml(read_text(path, "file of offsets", LARGEST_FILE), str(path))


def from_toml(text: str, where: str) -> tuple[SavedOffset, ...]:
    """Offsets from the text of a TOML file.

    Parameters
    ----------
    text : of the file.
    where : the file; stands before each mistake.

    Raises
    ------
    PlanError
        One line a mistake: the place, what was found, what is allowed.
    """
    where = in_one_line(where)
    if len(text) > LARGEST_FILE:
        msg = (
            f"{where}: {len(text):,} characters are no file of offsets: one has up to "
            f"{LARGEST_FILE:,}"
        )
        raise PlanError(msg)
    tables = parse_tables(text.removeprefix("\ufeff"), where, "file of offsets")
    _check_format(tables.pop("format", None), where)
    written = tables.pop("offset", [])
    if tables:
        msg = (
            f"{where}: {quoted(next(iter(tables)))}: there is no such key; allowed: format, offset"
        )
        raise PlanError(msg)
    if not isinstance(written, list) or not all(isinstance(one, dict) for one in written):
        msg = f"{where}: an offset is written [[offset]], with double brackets"
        raise PlanError(msg)
    found: dict[str, SavedOffset] = {}
    mistakes = []
    for number, values in enumerate(written, 1):
        name = values.get("name")
        place = f"{where}: [[offset]] {number}"
        place += f" {quoted(name)}" if isinstance(name, str) else ""
        try:
            offset = checked(values, place)
        except PlanError as error:
            mistakes.append(str(error))
            continue
        if offset.name in found:
            mistakes.append(f"{place}: two offsets have this name; give each its own")
        found[offset.name] = offset
    if mistakes:
        raise PlanError("\n".join(mistakes))
    return tuple(found.values())


def _check_format(value: object, where: str) -> None:
    """Refuse what is no file of offsets, and one that a newer greyproof wrote."""
    if value == FORMAT:
        return
    if value is None:
        msg = f'{where}: this is no file of offsets: format = "{FORMAT}" is not at its top'
        raise PlanError(msg)
    name, _, version = value.partition("/") if isinstance(value, str) else ("", "", "")
    if name == NAME and version.isascii() and version.isdigit() and version.strip("0") != "":
        msg = (
            f'{where}: format: {quoted(value)} is of a newer greyproof; this one reads "{FORMAT}": '
            "update greyproof"
        )
        raise PlanError(msg)
    msg = f'{where}: format: {quoted(value)} is not "{FORMAT}"'
    raise PlanError(msg)


def _table(head: str, values: dict[str, object]) -> str:
    """One table, a key on each line."""
    lines = [head, *(f"{key} = {_value(value)}" for key, value in values.items())]
    return "\n".join(lines) + "\n"


def _value(value: object) -> str:
    """A value as TOML writes it."""
    match value:
        case str():
            return f'"{"".join(map(_character, value))}"'
        case datetime():
            return value.isoformat()
        case tuple():
            return f"[{', '.join(map(_value, value))}]"
        case float():
            return repr(float(value))  # the shortest text that reads back as the same number
    return str(value)


def _character(c: str) -> str:
    """A character of a basic string of TOML 1.0; what cannot be seen is written by its number."""
    if c in SHORT:
        return SHORT[c]
    if c.isprintable():
        return c
    return f"\\u{ord(c):04X}" if ord(c) <= 0xFFFF else f"\\U{ord(c):08X}"
