"""Values as people type them and as they read them: apertures, times, ISO, steps, stops.

``parse_*`` turns what was typed into an exact value. What could mean two things is refused, with
both meanings written out, and never guessed. ``*_text`` turns a value back into what is printed on
a lens, a meter or a camera. A refusal is one line and does not say which key it is about: that is
for the caller to put in front.
"""

import math
import re
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from verify.errors import PlanError
from verify.exposure import (
    F_NUMBERS,
    ISO_SPEEDS,
    MARKED_TOLERANCE,
    SHUTTER_TIMES,
    Series,
    aperture_value,
    f_number_of,
    f_numbers,
)

TENTH = 0.1  # the step of a meter that shows tenths of a stop
MIN_F_NUMBER, MAX_F_NUMBER = 0.5, 256.0
MIN_SHUTTER_S = 1e-6
LONGEST_S = 86400.0  # a day
MIN_ISO, MAX_ISO = 1.0, 1e7

# Labels of the full stops, from Av -2 on: what tenths of a stop are counted from.
_FULL_STOPS = "0.5 0.7 1 1.4 2 2.8 4 5.6 8 11 16 22 32 45 64 90 128 180 256"
FULL_STOPS = _FULL_STOPS.split()
FIRST_AV = -2

APERTURE_FORMS = 'write it as "f/11", "f/11 + 0.3" or "exact 10.9", from f/0.5 to f/256'
SHUTTER_FORMS = 'write it as "1/125", "0.3 s", "8 s" or "bulb", from 1/1000000 s to 86400 s'
SECONDS_FORMS = 'write it as "1/2000", "0.004 s", "4 ms" or "250 us", from 0 to 86400 s'
ISO_FORMS = "write a number such as 100, from 1 to 10000000"
STEP_FORMS = 'write 0.1, "1/3", "1/2" or 1'

MINUS, EN_DASH, INFINITY = "\u2212", "\u2013", "\u221e"

# What keyboards, word processors and displays put in place of plain characters: minus and dash,
# f with hook, no-break spaces, fraction slash, closing quotation mark, double prime, Greek mu.
PLAIN = str.maketrans(
    f"{MINUS}{EN_DASH}\u0192\u00a0\u202f\u2044\u201d\u2033\u03bc", '--f  /""\u00b5'
) | {ord("\u00bd"): " 1/2", ord("\u2153"): " 1/3", ord("\u2154"): " 2/3"}

# A base starts with a digit: "f.8" is an old way to write f/8 and must not become f/0.8.
_BASE = r"[0-9]+(?:[.,][0-9]+)?"
_NUMBER = rf"(?:{_BASE}|[.,][0-9]+)"
_FRACTION = r"[0-9]+/[1-9][0-9]*"
APERTURE = re.compile(
    rf"(?P<exact>exact\s*)?(?:(?P<kind>[ft])\s*/?\s*)?(?P<base>{_BASE})"
    rf"(?:\s*(?P<sign>[+-])\s*(?P<part>{_FRACTION}|{_NUMBER})|\s+(?P<mixed>{_FRACTION}))?"
    r"(?P<exact_after>\s*exact)?"
)
TIME = re.compile(
    rf"(?P<over>{_NUMBER})(?:\s*/\s*(?P<under>{_NUMBER}))?\s*(?P<unit>[a-z\u00b5\"']*)"
)
TIME_ON_DISPLAY = re.compile(r"([0-9]+)\"([0-9])")  # 0"3 on a camera's display is 0.3 s
SECOND = dict.fromkeys(("", "s", "sec", "secs", "second", "seconds", '"', "''"), 1.0)
SUBSECOND = {"ms": 1e-3, "us": 1e-6, "\u00b5s": 1e-6}
ISO = re.compile(rf"(?:iso)?\s*(?P<speed>{_BASE})")
STEPS = {
    TENTH: ("0.1", "1/10"),
    1 / 3: ("1/3", "0.3", "0.33", "0.333", "0.3333"),  # 0.3 in cameras' menus is a third
    1 / 2: ("1/2", "0.5"),
    1.0: ("1", "1.0"),
}


@dataclass(frozen=True, slots=True)
class Aperture:
    """An aperture as it counts and as it reads."""

    n: float  # exact f-number or T-stop
    text: str  # as a person reads it: "f/11 + 0.3", "f/13", "T5.6", "f/8.7 exact"
    t_stop: bool  # n is a T-stop: the transmission of the lens is in it


def parse_reading_aperture(value: object, step: float) -> Aperture:
    """Aperture that a meter showed.

    Parameters
    ----------
    value : text such as "f/11 + 0.3", "f/11 3/10", "exact 8.7", or a number.
    step : what the meter shows: 0.1, 1/3, 1/2 or 1 stop.

    Raises
    ------
    PlanError
        For what is no aperture, and for a full stop followed by one more decimal digit ("8.7"):
        on a meter that shows tenths it may stand for f/8 and 7 tenths. On another meter it is
        refused too, unless it is a printed f-number ("4.5"): such a meter cannot show 8.7.
    """
    written = _written(value)
    if written.t_stop:
        raise PlanError(f"{_shown(value)} is a T-stop; a meter shows f-numbers: {APERTURE_FORMS}")
    tenths = math.isclose(step, TENTH)
    meant = None if written.exact or written.part else _tenths_meant(written.base)
    if meant and (tenths or F_NUMBERS.find(float(written.base))[1] is None):
        full, digit = meant
        raise PlanError(
            f"{_shown(value)} could be f/{full} and {digit} tenth{'' if digit == '1' else 's'},"
            f" or the f-number {written.base}:"
            f' write "f/{full} + 0.{digit}" or "exact {written.base}"'
        )
    return _aperture(value, written, tenths, step)


def parse_camera_aperture(value: object, step: float = 1 / 3) -> Aperture:
    """Aperture set at a camera or a lens; "T5.6" is a T-stop.

    A decimal is a printed f-number or the f-number itself, never tenths of a stop: cameras print
    4.5 and write 8.7. Raises PlanError for what is no aperture.
    """
    return _aperture(value, _written(value), tenths=False, step=step)


def parse_shutter(value: object) -> float | None:
    """Exact shutter time [s]; None for "bulb" and "B".

    A printed time stands for its exact value: "1/125" is 1/128 s. A whole number without a unit
    is refused, because a dial that shows 125 means 1/125 s. Raises PlanError.
    """
    if _typed(value) in ("bulb", "b"):
        return None
    seconds = _seconds(value, SECOND, MIN_SHUTTER_S, "a shutter time", SHUTTER_FORMS)
    return SHUTTER_TIMES.find(seconds)[0]


def parse_seconds(value: object) -> float:
    """Time [s] of curtain travel, a delay or t.x, 0 included, as it is. Raises PlanError."""
    return _seconds(value, SECOND | SUBSECOND, 0, "a time", SECONDS_FORMS)


def parse_iso(value: object) -> float:
    """Exact ISO speed: 160 is 158.74. Raises PlanError."""
    found = ISO.fullmatch(_typed(value))
    if found is None:
        raise PlanError(f"{_shown(value)} is not an ISO speed: {ISO_FORMS}")
    speed = _number(found["speed"])
    if not MIN_ISO <= speed <= MAX_ISO:
        raise PlanError(f"{_shown(value)} is out of range for an ISO speed: {ISO_FORMS}")
    whole, _, decimals = found["speed"].replace(",", ".").partition(".")
    if isinstance(value, str) and len(decimals) == 3:
        raise PlanError(
            f"{_shown(value)} could be ISO {whole}{decimals}, or ISO {speed:g}:"
            f' write "{whole}{decimals}" or "{speed:.2f}"'
        )
    return ISO_SPEEDS.find(speed)[0]


def parse_step(value: object) -> float:
    """Step of a meter or a camera [stops]: 0.1, 1/3, 1/2 or 1. Raises PlanError."""
    typed = re.sub(r"stops?$|\s", "", _typed(value)).replace(",", ".")
    for step, spellings in STEPS.items():
        if typed in spellings or (isinstance(value, float) and math.isclose(value, step)):
            return step
    raise PlanError(f"{_shown(value)} is not a step of a meter or a camera: {STEP_FORMS}")


def aperture_text(n: float, tenths: bool = False, step: float = 1 / 3) -> str:
    """Aperture as a lens, or a meter that shows ``tenths``, prints it.

    Nothing is moved: a value between two steps is written with three digits, and with " exact"
    after it where those digits could be read as another f-number. Finite ``n`` > 0.
    """
    if tenths:
        counted = round(aperture_value(n) * 10)
        whole, part = divmod(counted, 10)
        near = abs(n / f_number_of(counted / 10) - 1) <= MARKED_TOLERANCE
        if near and 0 <= whole - FIRST_AV < len(FULL_STOPS):
            return f"f/{FULL_STOPS[whole - FIRST_AV]}" + (f" + 0.{part}" if part else "")
    label = _label(f_numbers(step), n)
    text = _three_digits(n) if label is None else f"{label:g}"
    misread = label is None and F_NUMBERS.find(float(text))[1] is not None
    if misread or (tenths and _tenths_meant(text)):
        return f"f/{text} exact"
    return f"f/{text}"


def shutter_text(shutter_s: float | None) -> str:
    """Shutter time as a camera prints it: 1/128 is "1/125 s"; None is "bulb"."""
    if shutter_s is None:
        return "bulb"
    printed = _label(SHUTTER_TIMES, shutter_s) or shutter_s
    # Printed times are fractions up to 1/4 s and decimals from 0.3 s on.
    return f"{_three_digits(printed)} s" if printed > 0.29 else f"1/{_three_digits(1 / printed)} s"


def iso_text(iso: float) -> str:
    """ISO speed as a camera prints it: 158.74 is "160"."""
    return _three_digits(_label(ISO_SPEEDS, iso) or iso)


def stops_text(x: float, digits: int = 2) -> str:
    """Stops with their sign, and without one where they round to 0; an en dash for NaN."""
    if math.isnan(x):
        return EN_DASH
    size = INFINITY if math.isinf(x) else f"{abs(x):.{digits}f}"
    if not size.strip("0."):
        return size
    return ("+" if x > 0 else MINUS) + size


def _shown(value: object) -> str:
    """What was typed, quoted for a message of one line."""
    if isinstance(value, str):
        line = "".join(c if c.isprintable() else " " for c in value)
        return f'"{line[:40]}..."' if len(line) > 40 else f'"{line}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) >= 10**15:
        return "a number of more than 15 digits"
    known = isinstance(value, int | float)
    return f"{value}" if known else f"a value of type {type(value).__name__}"


def _typed(value: object) -> str:
    """Plain lower-case text of what was typed; "" for what is neither text nor a finite number."""
    if isinstance(value, str):
        return value.translate(PLAIN).strip().lower()
    if isinstance(value, bool) or not isinstance(value, int | float):
        return ""
    if isinstance(value, int):
        return str(value) if abs(value) < 10**15 else ""
    return format(Decimal(repr(float(value))), "f") if math.isfinite(value) else ""


def _number(text: str) -> float:
    """Value of a number with a decimal point or comma, or of a fraction such as "3/10"."""
    over, _, under = text.replace(",", ".").partition("/")
    return float(over) / float(under) if under else float(over)


def _plain_digits(number: str) -> str:
    """The same number with a decimal point and without needless zeros: "8,70" is "8.7"."""
    return f"{Decimal(number.replace(',', '.')).normalize():f}"


@dataclass(frozen=True, slots=True)
class _Written:
    """A typed aperture, taken apart."""

    base: str  # digits of the f-number, with a decimal point
    sign: str  # of the part: "+", "-"
    part: str  # part of a stop: "0.3", "1/3"; "" where there is none
    exact: bool  # the f-number stands for itself
    t_stop: bool  # it is a T-stop


def _written(value: object) -> _Written:
    """Take a typed aperture apart. Raises PlanError where it is not written as one."""
    found = APERTURE.fullmatch(_typed(value))
    if found is None:
        raise PlanError(f"{_shown(value)} is not an aperture: {APERTURE_FORMS}")
    part = found["part"] or found["mixed"] or ""
    if part.endswith("/10") or "/" not in part:
        part = _plain_digits(str(_number(part))) if part else ""
    return _Written(
        base=_plain_digits(found["base"]),
        sign=found["sign"] or "+",
        part=part,
        exact=bool(found["exact"] or found["exact_after"]),
        t_stop=found["kind"] == "t",
    )


def _tenths_meant(digits: str) -> tuple[str, str] | None:
    """Full stop and tenths that a decimal could stand for: "8.7" is ("8", "7"), "6.3" is None."""
    full = digits[:-1].rstrip(".")
    if "." in digits and digits not in FULL_STOPS and full in FULL_STOPS:
        return full, digits[-1]
    return None


def _aperture(value: object, written: _Written, tenths: bool, step: float = 1 / 3) -> Aperture:
    """The aperture of what was typed, taken apart and not ambiguous. Raises PlanError."""
    n, label = f_numbers(step).find(float(written.base))
    part = _part_stops(value, written, label) if written.part else 0.0
    n = float(written.base) if written.exact else n * 2 ** (part / 2)
    if not MIN_F_NUMBER <= n <= MAX_F_NUMBER:
        raise PlanError(f"{_shown(value)} is out of range for an aperture: {APERTURE_FORMS}")
    if written.exact:
        text = f"f/{written.base} exact"
    elif label is None:
        text = aperture_text(n, tenths)
    else:
        text = f"f/{label:g}"
    if part:
        text += f" {MINUS if part < 0 else '+'} {written.part}"
    return Aperture(n, text.replace("f/", "T") if written.t_stop else text, written.t_stop)


def _part_stops(value: object, written: _Written, label: float | None) -> float:
    """Stops that a part adds to an f-number printed as ``label``. Raises PlanError."""
    if written.exact or label is None:
        lacking = "is exact" if written.exact else "is not printed on a lens"
        raise PlanError(
            f"{_shown(value)} adds a part of a stop to an f-number that {lacking}: {APERTURE_FORMS}"
        )
    part = _number(written.part)
    if part >= 1:
        tenths = written.part if len(written.part) == 1 else "3"
        raise PlanError(
            f"{_shown(value)} adds a whole stop or more: a part of a stop is less than 1,"
            f' so write {tenths} tenths as "f/{label:g} + 0.{tenths}"'
        )
    return -part if written.sign == "-" else part


def _seconds(
    value: object, units: dict[str, float], shortest_s: float, what: str, forms: str
) -> float:
    """Seconds of a typed time, not snapped. Raises PlanError."""
    text = _typed(value)
    display = TIME_ON_DISPLAY.fullmatch(text)
    found = TIME.fullmatch(f"{display[1]}.{display[2]} s" if display else text)
    under = _number(found["under"] or "1") if found else 0.0
    if found is None or found["unit"] not in units or under == 0:
        raise PlanError(f"{_shown(value)} is not {what}: {forms}")
    over = found["over"]
    seconds = _number(over) / under * units[found["unit"]]
    if not shortest_s <= seconds <= LONGEST_S:
        raise PlanError(f"{_shown(value)} is out of range for {what}: {forms}")
    if over.isdigit() and seconds > 1 and not (found["under"] or found["unit"]):
        raise PlanError(
            f'{_shown(value)} could be 1/{over} s or {over} s: write "1/{over}" or "{over} s"'
        )
    return seconds


def _label(series: Series, exact: float) -> float | None:
    """Printed label of an exact value in its shortest spelling (0.3, not 1/3), or None."""
    labels = series.labels[np.abs(series.exacts / exact - 1) <= MARKED_TOLERANCE]
    return min((float(label) for label in labels), key=lambda x: len(f"{x:g}"), default=None)


def _three_digits(x: float) -> str:
    """Three significant digits, or all of them before the decimal point."""
    return f"{x:.3g}" if x < 100 else str(round(x))
