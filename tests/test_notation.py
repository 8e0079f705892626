"""Every meaning that a typed value has, or is refused for."""

import math
import re
from collections.abc import Callable

import pytest

from verify.errors import PlanError
from verify.exposure import F_NUMBERS, aperture_stops
from verify.notation import (
    FULL_STOPS,
    parse_camera_aperture,
    parse_iso,
    parse_reading_aperture,
    parse_seconds,
    parse_shutter,
    parse_step,
)

ROUNDING = 1e-12  # relative: a few operations on doubles


def refusal(parse: Callable[..., object], *args: object) -> str:
    """The message that ``parse`` refuses with."""
    with pytest.raises(PlanError) as refused:
        parse(*args)
    return str(refused.value)


@pytest.mark.parametrize(
    ("typed", "av", "text"),
    [
        ("f/11 + 0.3", 7.3, "f/11 + 0.3"),
        ("f/11+0.3", 7.3, "f/11 + 0.3"),
        ("f/11 + 3/10", 7.3, "f/11 + 0.3"),
        ("f/11 3/10", 7.3, "f/11 + 0.3"),
        ("f/11 + 0", 7, "f/11"),
        (11, 7, "f/11"),
        (11.0, 7, "f/11"),
        ("11", 7, "f/11"),
        ("f/11", 7, "f/11"),
        ("F11", 7, "f/11"),
        (" f 11 ", 7, "f/11"),
        ("\u019211", 7, "f/11"),
        ("f/8 + 1/3", 6 + 1 / 3, "f/8 + 1/3"),
        ("f/8 1/2", 6.5, "f/8 + 1/2"),
        ("f/8\u00bd", 6.5, "f/8 + 1/2"),
        ("f/8 - 0.2", 5.8, "f/8 − 0.2"),
        ("f/8 − 0.2", 5.8, "f/8 − 0.2"),
        ("f/5,6", 5, "f/5.6"),
        ("f/5,6 + 0,3", 5.3, "f/5.6 + 0.3"),
        ("5.6 + .3", 5.3, "f/5.6 + 0.3"),
        ("5.60", 5, "f/5.6"),
        ("f/13 + 0.1", 7 + 1 / 3 + 0.1, "f/13 + 0.1"),
        ("f/0.7 + 0.9", -0.1, "f/0.7 + 0.9"),
    ],
)
def test_a_reading_is_a_printed_f_number_plus_a_part_of_a_stop(
    typed: object, av: float, text: str
) -> None:
    # "5.6 + 3/10" is f/6.277: check-values 4.3, from a note on tenths of a stop on meters.
    aperture = parse_reading_aperture(typed, 0.1)
    assert aperture.n == pytest.approx(2 ** (av / 2), rel=ROUNDING)
    assert aperture.text == text
    assert not aperture.t_stop


@pytest.mark.parametrize(
    ("typed", "n", "text"),
    [
        ("exact 8.7", 8.7, "f/8.7 exact"),
        ("exact f/8,70", 8.7, "f/8.7 exact"),
        ("f/8.7 exact", 8.7, "f/8.7 exact"),
        ("exact 11", 11.0, "f/11 exact"),
        (11.3137, 11.3137, "f/11"),
        (12.553, 12.553, "f/11 + 0.3"),
        ("8.75", 8.75, "f/8.75"),
        (11.02, 11.02, "f/11 exact"),  # 11 would be read as 11.3137
        (22.13, 22.13, "f/22.1 exact"),  # 22.1 would be refused
        (12, 12.0, "f/12"),
    ],
)
def test_a_reading_that_is_not_printed_is_taken_as_it_is(
    typed: object, n: float, text: str
) -> None:
    aperture = parse_reading_aperture(typed, 0.1)
    assert aperture.n == n
    assert aperture.text == text


@pytest.mark.parametrize("value", [1.4, 2.8, 5.6, 6.3, 7.1, 9.5, 3.5, 6.7, 13])
def test_printed_decimals_that_cannot_be_tenths_are_read_as_printed(value: float) -> None:
    aperture = parse_reading_aperture(value, 0.1)
    assert aperture.n == F_NUMBERS.find(value)[0] != value
    assert aperture.text == f"f/{value:g}"


@pytest.mark.parametrize("value", [8.7, "f/8.7", "8,70", 11.3, 16.5, 4.5, 1.8, 2.5, 5.63, 22.1])
def test_decimals_that_could_be_tenths_are_refused_on_a_tenths_meter(value: object) -> None:
    message = refusal(parse_reading_aperture, value, 0.1)
    digits = str(value).removeprefix("f/").replace(",70", ".7")
    full, tenth = (digits[:-1].rstrip("."), digits[-1])
    assert f"could be f/{full} and {tenth} tenth" in message
    assert f"or the f-number {digits}" in message
    assert f'write "f/{full} + 0.{tenth}" or "exact {digits}"' in message


def test_the_refusal_of_a_reading_in_full() -> None:
    assert refusal(parse_reading_aperture, "f/8.7", 0.1) == (
        '"f/8.7" could be f/8 and 7 tenths, or the f-number 8.7: write "f/8 + 0.7" or "exact 8.7"'
    )


@pytest.mark.parametrize("full", FULL_STOPS)
@pytest.mark.parametrize("digit", range(1, 10))
def test_what_a_refusal_says_to_write_is_read_as_each_of_the_meanings(
    full: str, digit: int
) -> None:
    typed = f"{full}{digit}" if "." in full else f"{full}.{digit}"
    if typed in FULL_STOPS:
        assert parse_reading_aperture(typed, 0.1).n == F_NUMBERS.find(float(typed))[0]
        return
    in_tenths, as_number = re.findall('"([^"]+)"', refusal(parse_reading_aperture, typed, 0.1))[-2:]
    if full != "256":  # the largest f-number there is: nothing above it is read
        n = parse_reading_aperture(in_tenths, 0.1).n
        base = F_NUMBERS.find(float(full))[0]
        assert aperture_stops(n, base) == pytest.approx(digit / 10, rel=ROUNDING)
        assert parse_reading_aperture(as_number, 0.1).n == float(typed)


@pytest.mark.parametrize("step", [1 / 3, 1 / 2, 1.0])
def test_a_meter_without_tenths_shows_printed_decimals_and_no_others(step: float) -> None:
    assert parse_reading_aperture(4.5, step).n == pytest.approx(2 ** (13 / 6), rel=ROUNDING)
    assert parse_reading_aperture(2.5, step).n == pytest.approx(2 ** (4 / 3), rel=ROUNDING)
    # Such a meter cannot show 8.7, so whoever typed it may have meant tenths all the same.
    assert "exact 8.7" in refusal(parse_reading_aperture, 8.7, step)
    assert parse_reading_aperture("f/8 + 0.7", step).n == pytest.approx(2**3.35, rel=ROUNDING)


@pytest.mark.parametrize(
    ("typed", "n", "text", "t_stop"),
    [
        ("T5.6", math.sqrt(32), "T5.6", True),
        ("t/5.6 + 0.3", 2 ** (5.3 / 2), "T5.6 + 0.3", True),
        ("T 1.5", 1.5, "T1.5", True),
        ("exact T5.7", 5.7, "T5.7 exact", True),
        ("f/13", 2 ** (22 / 6), "f/13", False),
        (4.5, 2 ** (13 / 6), "f/4.5", False),
        (8.7, 8.7, "f/8.7", False),
        ("f/11.3", 11.3, "f/11.3", False),
        (10.93, 10.93, "f/10.9", False),
        (11, 2**3.5, "f/11", False),
        (1.2, 2**0.25, "f/1.2", False),
        ("f/11 + 1/3", 2 ** (22 / 6), "f/11 + 1/3", False),
    ],
)
def test_camera_apertures(typed: object, n: float, text: str, t_stop: bool) -> None:
    aperture = parse_camera_aperture(typed)
    assert aperture.n == pytest.approx(n, rel=ROUNDING)
    assert (aperture.text, aperture.t_stop) == (text, t_stop)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("f/11 + 3", 'write 3 tenths as "f/11 + 0.3"'),
        ("f/11 + 1.0", 'write 1 tenths as "f/11 + 0.1"'),
        ("f/11 - 3/2", "less than 1"),
        ("f/10.93 + 0.3", "not printed on a lens"),
        ("exact 8 + 0.3", "is exact"),
        ("f/0.4", "out of range for an aperture"),
        (300, "from f/0.5 to f/256"),
        ("f/256 + 0.5", "out of range for an aperture"),
        ("9" * 400, "out of range for an aperture"),
        (0, "0 is out of range"),
        (-8, "-8 is not an aperture"),
        pytest.param(10**5000, "more than 15 digits", id="5001 digits"),
        (math.nan, "nan is not an aperture"),
        (math.inf, "inf is not an aperture"),
        (True, "true is not an aperture"),
        (None, "a value of type NoneType is not an aperture"),
        ([11], "a value of type list is not an aperture"),
        ("", '"" is not an aperture: write it as "f/11", "f/11 + 0.3" or "exact 10.9"'),
        ("f/eleven", '"f/eleven" is not an aperture'),
        ("11 + ", '"11 + " is not an aperture'),
        ("1/125", '"1/125" is not an aperture'),
        ("f.8", '"f.8" is not an aperture'),  # an old way to write f/8; not f/0.8
        ("f/11 3", '"f/11 3" is not an aperture'),
        ("f/8 + 3/0", '"f/8 + 3/0" is not an aperture'),
        ("f/8\n\x1b[31m", '"f/8  [31m" is not an aperture'),
    ],
)
def test_no_aperture(typed: object, says: str) -> None:
    by_meter = refusal(parse_reading_aperture, typed, 0.1)
    for message in (by_meter, refusal(parse_camera_aperture, typed)):
        assert says in message
        assert message.isprintable()


def test_a_meter_shows_no_t_stops() -> None:
    message = refusal(parse_reading_aperture, "T5.6", 0.1)
    assert message.startswith('"T5.6" is a T-stop; a meter shows f-numbers')


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [
        *[(typed, 1 / 128) for typed in ("1/125", "1/125 s", "1 / 125", 0.008, "0,008")],
        *[
            (typed, 8.0)
            for typed in ("8s", "8 s", "8 sec", '8"', "8''", "8\u2033", "8 seconds", 8.0)
        ],
        *[(typed, 2 ** (-5 / 3)) for typed in ("0.3s", ".3 s", "0,3", "1/3", '0"3')],
        ("2.5", 2 ** (4 / 3)),
        ('2"5', 2 ** (4 / 3)),
        ("1/60", 1 / 64),
        ("1/128", 1 / 128),
        ("1/212", 1 / 212),
        ("1", 1.0),
        (1, 1.0),
        ("120 s", 120.0),
        ("bulb", None),
        (" Bulb", None),
        ("B", None),
    ],
)
def test_shutter_times(typed: object, seconds: float | None) -> None:
    found = parse_shutter(typed)
    assert found == (None if seconds is None else pytest.approx(seconds, rel=ROUNDING))


@pytest.mark.parametrize("typed", [125, "125"])
@pytest.mark.parametrize("parse", [parse_shutter, parse_seconds])
def test_a_whole_number_of_seconds_needs_its_unit(
    parse: Callable[[object], object], typed: object
) -> None:
    message = refusal(parse, typed)
    assert message.endswith('125 s or 125 s: write "1/125" or "125 s"')


@pytest.mark.parametrize(
    "typed",
    [0, -1, "1/0", "", "nan", math.nan, True, None, 1e-7, "100000 s", "9" * 400, "2 min", "8 ms"],
)
def test_no_shutter_time(typed: object) -> None:
    message = refusal(parse_shutter, typed)
    assert 'shutter time: write it as "1/125", "0.3 s", "8 s" or "bulb"' in message
    assert len(message) < 200


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [
        ("1/125", 0.008),
        (0.0033, 0.0033),
        ("3.3 ms", 0.0033),
        ("250 us", 0.00025),
        ("250 \u00b5s", 0.00025),
        ("250 \u03bcs", 0.00025),
        ("60 s", 60.0),
        (0, 0.0),
    ],
)
def test_travel_delay_and_flash_duration_are_never_snapped(typed: object, seconds: float) -> None:
    assert parse_seconds(typed) == pytest.approx(seconds, rel=ROUNDING)


@pytest.mark.parametrize("typed", ["-1 ms", "bulb", "", math.inf, False, "1e-3", "90000 s"])
def test_no_time(typed: object) -> None:
    assert 'a time: write it as "1/2000", "0.004 s", "4 ms"' in refusal(parse_seconds, typed)


@pytest.mark.parametrize(
    ("typed", "iso"),
    [
        *[(typed, 100 * 2 ** (2 / 3)) for typed in (160, "160", 160.0, "ISO 160", "iso160")],
        (64, 100 * 2 ** (-2 / 3)),
        (57, 57.0),
        ("158,74", 158.74),
        (12800, 12800.0),
    ],
)
def test_iso_speeds(typed: object, iso: float) -> None:
    assert parse_iso(typed) == pytest.approx(iso, rel=ROUNDING)


def test_iso_with_a_mark_between_thousands_is_refused() -> None:
    assert refusal(parse_iso, "12,800") == (
        '"12,800" could be ISO 12800, or ISO 12.8: write "12800" or "12.80"'
    )
    assert 'write "1600" or "1.60"' in refusal(parse_iso, "1.600")


@pytest.mark.parametrize("typed", [0, -100, 0.5, 1e9, "auto", "", None, True, math.nan, "100/21"])
def test_no_iso_speed(typed: object) -> None:
    assert "ISO speed: write a number such as 100, from 1 to" in refusal(parse_iso, typed)


@pytest.mark.parametrize(
    ("typed", "step"),
    [
        *[(typed, 0.1) for typed in (0.1, "0.1", "0,1", "1/10", "1/10 stop")],
        *[(typed, 1 / 3) for typed in (1 / 3, 0.33, 0.3, "1/3", "1 / 3", "1/3 stop", "\u2153")],
        *[(typed, 1 / 2) for typed in (0.5, "1/2", "0.5 stops")],
        *[(typed, 1.0) for typed in (1, 1.0, "1", "1 stop")],
    ],
)
def test_steps(typed: object, step: float) -> None:
    assert parse_step(typed) == step


@pytest.mark.parametrize("typed", [0, 2, -0.1, 0.25, "1/4", "", "stop", None, True, math.nan])
def test_no_step(typed: object) -> None:
    assert refusal(parse_step, typed).endswith('a camera: write 0.1, "1/3", "1/2" or 1')


def test_a_meter_of_half_stops_means_half_stops() -> None:
    """13 is printed for 2^(22/6) by third-stop displays and for 2^(22.5/6) by half-stop ones."""
    assert parse_reading_aperture("f/13", 1 / 2).n == pytest.approx(2**3.75)
    assert parse_reading_aperture("f/13", 1 / 3).n == pytest.approx(2 ** (22 / 6))
    assert parse_reading_aperture("f/13", 0.1).n == pytest.approx(2 ** (22 / 6))
