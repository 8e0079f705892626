"""What stands above the numbers of a table: names, units, and the time between samples."""

import re
from collections.abc import Sequence
from itertools import pairwise

from verify.errors import PlanError

S, MS, US, NS = 1.0, 1e-3, 1e-6, 1e-9
TIME_UNITS_S = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), S),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), MS),
    **dict.fromkeys(("us", "\u00b5s", "usec", "\u00b5sec", "microsecond", "microseconds"), US),
    **dict.fromkeys(("ns", "nsec", "nanosecond", "nanoseconds"), NS),
}
VOLTS = {"v", "mv", "uv", "\u00b5v", "volt", "volts", "millivolt", "millivolts"}
VALUE_UNITS = VOLTS | {
    "a",
    "ma",
    "ua",
    "\u00b5a",
    "na",
    "w",
    "mw",
    "lx",
    "lux",
    "klx",
    "%",
    "a.u.",
    "au",
}
VALUE_UNITS |= {"count", "counts", "adc", "dn", "lsb", "raw", "fs"}
TIME_NAMES = {"time", "t", "times", "x", "x-axis", "zeit", "temps", "tiempo", "tempo"}
RATE_UNIT = re.compile(r"(?P<times>[kmg]?)(?:hz|(?:s|sa|smp|sample|samples)/s(?:ec)?|sps|1/s)?")
RATE_TIMES = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}
INTERVAL_KEY = re.compile(  # a step or a resolution alone may be one of the value
    r"(?:x|t|time|sampl\w+|horizontal) ?(?:interval|increment|incr?|period|step|resolution)"
    r"|interval|increment|sampl\w+ time|delta ?[xt]?|d[xt]"
)
RATE_KEY = re.compile(
    r"(?:sampl\w+|horizontal) ?(?:rate|freq\w*)|samplerate|rate|fs|samples per s\w*"
)
UNIT_KEY = re.compile(r"(?:x|t|time|horizontal)(?: axis)? units?")
PAIR = re.compile(
    r"(?P<key>[^\W\d_][^,;:=\t\d]*?)[\s:=,;\"]+"
    r"(?P<number>[+-]?(?:[0-9]+(?:[.@][0-9]+)?|[.@][0-9]+)(?:[eE][+-]?[0-9]+)?)[\s,;\"]*"
    r"(?P<unit>[^\s,;\"()\[\]]*)"
)
AGREES = 0.01  # relative; instruments round what they print


def plain(text: str) -> str:
    """A name or a unit to compare: small letters, one sign for micro, single blanks."""
    return " ".join(text.replace("\u03bc", "\u00b5").lower().replace("_", " ").split())


def parted(cell: str) -> tuple[str, str]:
    """Name and unit of a cell of the header: ("time", "ms") of "time (ms)"; "" where not said."""
    if plain(cell) in TIME_UNITS_S or plain(cell) in VOLTS:
        return cell, cell
    bracketed = re.fullmatch(r"(.*?)[\s_]*[(\[{]\s*([^()\[\]{}]+?)\s*[)\]}]\s*", cell)
    if bracketed:
        return bracketed[1] or bracketed[2], bracketed[2]
    last = re.fullmatch(r"(.*\S)(?:\s*[/,:_]\s*|\s+(?:in\s+)?)(\S+)", cell)
    if last and (plain(last[2]) in TIME_UNITS_S or plain(last[2]) in VOLTS):
        return last[1], last[2]
    return cell, ""


def is_unit(cell: str) -> bool:
    """Whether a cell holds a unit and nothing else, in brackets or without."""
    unit = plain(cell.strip("()[]{} "))
    return unit in TIME_UNITS_S or unit in VALUE_UNITS


def is_time(name: str, unit: str) -> bool:
    """Whether a column is one of time by its name or its unit."""
    return plain(name) in TIME_NAMES or plain(unit) in TIME_UNITS_S


def interval_in(lines: Sequence[str], decimal_comma: bool, where: str) -> float | None:
    """Time between samples [s] that the lines above the numbers state; None where they do not.

    A key with its value ("Sample Interval,4e-6", "sample rate: 250 kHz"), or a key with its value
    in the same place of the next line. Raises PlanError where two of them disagree.
    """
    found = []
    for line in lines:
        for pair in PAIR.finditer(line.replace(",", "@") if decimal_comma else line):
            found.append(_interval(pair["key"], pair["number"].replace("@", "."), pair["unit"]))
    for above, below in pairwise(lines):
        if any(symbol.isdigit() for symbol in re.sub(r"[A-Za-z]\d+", "", above)):
            continue  # it has values of its own
        for delimiter in "\t;,":
            cells = zip(above.split(delimiter), below.split(delimiter), strict=False)
            found += [_interval(key, _pointed(value, decimal_comma), "") for key, value in cells]
    stated = [interval for interval in found if interval is not None]
    if stated and max(stated) > min(stated) * (1 + AGREES):
        msg = (
            f"{where}: mixed units: above the numbers, the time between samples is"
            f" {min(stated):g} s in one place and {max(stated):g} s in another: correct the file"
        )
        raise PlanError(msg)
    return stated[0] if stated else None


def time_unit_in(lines: Sequence[str]) -> str:
    """Unit of time that a line such as "Horizontal Units,ms" states; "" where none does."""
    for line in lines:
        key, *rest = re.split(r"\s*[,;:=\t]\s*", line.strip(), maxsplit=1)
        if rest and UNIT_KEY.fullmatch(plain(key)):
            unit = plain(rest[0].strip('",;\t ()[]'))
            if unit in TIME_UNITS_S:
                return unit
    return ""


def _pointed(number: str, decimal_comma: bool) -> str:
    """A number with a decimal point."""
    return number.replace(",", ".") if decimal_comma else number


def _interval(key: str, number: str, unit: str) -> float | None:
    """Time between samples [s] of one key and its value, where the key is one of those."""
    name, key_unit = parted(key.strip(' "'))
    name, unit = plain(name), plain(key_unit or unit)
    if not (INTERVAL_KEY.fullmatch(name) or RATE_KEY.fullmatch(name)):
        return None
    try:
        value = float(number)
    except ValueError:
        return None
    if INTERVAL_KEY.fullmatch(name):
        interval = value * TIME_UNITS_S.get(unit, S)
    else:
        rate_unit = RATE_UNIT.fullmatch(unit)
        rate = value * RATE_TIMES[rate_unit["times"] if rate_unit else ""]
        interval = 1 / rate if rate > 0 else 0.0
    return interval if 1e-12 <= interval <= 1 else None
