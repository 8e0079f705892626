"""Short times as photographers read them."""

import math
from typing import NamedTuple

DIGITS = 3  # that a time is shown with


class Unit(NamedTuple):
    """A unit of time and the digits after its decimal point."""

    name: str
    per_second: float
    digits: int


def unit_of(seconds: float) -> Unit:
    """The unit in which a time has three digits that tell.

    Parameters
    ----------
    seconds : 0 or more [s].
    """
    name, per_second = ("ms", 1e3) if seconds >= 0.9995e-3 else ("\N{MICRO SIGN}s", 1e6)
    size = seconds * per_second
    digits = 0 if size <= 0 else 2 - math.floor(math.log10(size * 1.0005))
    return Unit(name, per_second, min(max(digits, 0), 3))


def in_unit(seconds: float, unit: Unit) -> str:
    """A time in a unit, without its name."""
    return f"{seconds * unit.per_second:.{unit.digits}f}"


def duration_text(seconds: float) -> str:
    """A time in microseconds or milliseconds: "452 us", "1.25 ms"."""
    unit = unit_of(seconds)
    return f"{in_unit(seconds, unit)} {unit.name}"


def fraction_text(seconds: float, shorter: bool = False) -> str:
    """A time as a fraction of a second with three digits: "1/803 s"; from half a second "0.8 s".

    Parameters
    ----------
    seconds : 0 or more [s].
    shorter : rounded so that it is never longer: for a limit that is to be kept.
    """
    if seconds >= 0.5:
        return f"{seconds:.2g} s"
    if seconds <= 0:
        return "0 s"
    step = 10.0 ** (math.floor(math.log10(1 / seconds)) + 1 - DIGITS)
    per_second = (math.ceil if shorter else round)(1 / seconds / step) * step
    return f"1/{per_second:.0f} s" if per_second >= 100 else f"1/{per_second:g} s"
