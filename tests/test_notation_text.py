"""Texts as people read them, and that each of them reads back as the value it was made of."""

import math
import re
from collections.abc import Callable

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from verify.errors import PlanError
from verify.exposure import (
    F_NUMBERS,
    ISO_SPEEDS,
    SHUTTER_TIMES,
    Series,
    aperture_stops,
    f_number_of,
    stops_between,
)
from verify.notation import (
    FULL_STOPS,
    aperture_text,
    iso_text,
    parse_camera_aperture,
    parse_iso,
    parse_reading_aperture,
    parse_seconds,
    parse_shutter,
    parse_step,
    shutter_text,
    stops_text,
)

ROUNDING = 1e-12  # relative: a few operations on doubles
DIGITS = 0.0051  # relative: half a unit of the third digit, which is all that a text keeps
SAME_LABEL = 0.0011  # relative: what is this close to an exact value is written by its label
PRINTED_STOPS = 0.1  # a printed value is at most 0.093 stop from what it stands for (1/60 is 1/64)

F_NUMBER = st.floats(0.5, 256)
FULL_STOP = st.sampled_from(FULL_STOPS[1:-1])  # a part of a stop can be added and taken away
TENTH_PARTS = st.integers(1, 9)
# What aperture, time and number texts are made of, so that draws come near to being read.
TYPED = st.one_of(
    st.text(max_size=60),
    st.text(alphabet="fT/0123456789.,+- exact s\"'", max_size=12),
    st.from_regex(r"\A(exact )?[fFtT]?/?[0-9]{1,3}[.,]?[0-9]?( ?[+-] ?[0-9.,/]{1,4})?\Z"),
    st.floats(),
    st.integers(),
    st.booleans(),
    st.none(),
    st.lists(st.integers(), max_size=2),
)
PARSERS: list[Callable[[object], object]] = [
    lambda value: parse_reading_aperture(value, 0.1),
    lambda value: parse_reading_aperture(value, 1 / 3),
    parse_camera_aperture,
    parse_shutter,
    parse_seconds,
    parse_iso,
    parse_step,
]


@pytest.mark.parametrize(
    ("n", "text", "tenths_text"),
    [
        (11.3137, "f/11", "f/11"),
        (12.553, "f/12.6", "f/11 + 0.3"),
        (12.6992, "f/13", "f/13"),
        (9.5137, "f/9.5", "f/8 + 0.5"),
        (10.93, "f/10.9", "f/8 + 0.9"),
        (10.7, "f/10.7", "f/10.7"),
        (1.1892, "f/1.2", "f/1 + 0.5"),
        (8.7, "f/8.7", "f/8.7 exact"),
        (4.49, "f/4.5", "f/4.5 exact"),
        (11.0, "f/11 exact", "f/11 exact"),
        (80.635, "f/80", "f/80"),
        (256.0, "f/256", "f/256"),
        (0.9659, "f/0.966", "f/0.7 + 0.9"),
    ],
)
def test_aperture_text(n: float, text: str, tenths_text: str) -> None:
    assert aperture_text(n) == text
    assert aperture_text(n, tenths=True) == tenths_text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (1 / 128, "1/125 s"),
        (0.31498, "0.3 s"),
        (2 ** (-2 / 3), "0.6 s"),
        (2 ** (-1 / 3), "0.8 s"),
        (0.5, "0.5 s"),
        (0.25, "1/4 s"),
        (2**-10.5, "1/1500 s"),
        (2**-15, "1/32000 s"),
        (8, "8 s"),
        (64, "60 s"),
        (120, "120 s"),
        (1234.5, "1234 s"),
        (0.004725, "1/212 s"),
        (1 / 21333, "1/21333 s"),
        (0.045, "1/22.2 s"),
        (None, "bulb"),
    ],
)
def test_shutter_text(seconds: float | None, text: str) -> None:
    assert shutter_text(seconds) == text


@pytest.mark.parametrize(
    ("iso", "text"),
    [
        (158.74, "160"),
        (57, "57"),
        (57.3, "57.3"),
        (6.25, "6"),
        (102400, "102400"),
        (12345, "12345"),
    ],
)
def test_iso_text(iso: float, text: str) -> None:
    assert iso_text(iso) == text


@pytest.mark.parametrize(
    ("x", "text", "one_digit"),
    [
        (1 / 3, "+0.33", "+0.3"),
        (-0.5, "−0.50", "−0.5"),
        (0.0, "0.00", "0.0"),
        (-0.0, "0.00", "0.0"),
        (-0.004, "0.00", "0.0"),
        (0.004, "0.00", "0.0"),
        (-0.006, "−0.01", "0.0"),
        (10.0, "+10.00", "+10.0"),
        (math.nan, "–", "–"),
        (-math.inf, "−\u221e", "−\u221e"),
        (math.inf, "+\u221e", "+\u221e"),
    ],
)
def test_stops_text(x: float, text: str, one_digit: str) -> None:
    assert stops_text(x) == text
    assert stops_text(x, digits=1) == one_digit


@given(st.floats(-20, 20), st.integers(0, 3))
def test_stops_text_is_the_number_and_0_has_no_sign(x: float, digits: int) -> None:
    text = stops_text(x, digits)
    read = float(text.replace("−", "-"))
    assert abs(read - x) <= 0.5001 * 10**-digits
    assert (text[0] in "+−") == (read != 0)


@pytest.mark.parametrize(
    ("series", "text", "parse"),
    [
        (F_NUMBERS, aperture_text, lambda typed: parse_camera_aperture(typed).n),
        (F_NUMBERS, aperture_text, lambda typed: parse_reading_aperture(typed, 1 / 3).n),
        (SHUTTER_TIMES, shutter_text, parse_shutter),
        (ISO_SPEEDS, iso_text, parse_iso),
    ],
    ids=["camera", "meter", "shutter", "iso"],
)
def test_every_printed_value_reads_back_as_itself(
    series: Series, text: Callable[[float], str], parse: Callable[[str], float]
) -> None:
    for exact in series.exacts:
        assert parse(text(exact)) == exact


@given(F_NUMBER)
@example(11.0)
@example(22.13)
@example(1.26)
def test_an_aperture_text_reads_back(n: float) -> None:
    at_camera = parse_camera_aperture(aperture_text(n))
    on_meter = parse_reading_aperture(aperture_text(n, tenths=True), 0.1)
    assert at_camera.n == pytest.approx(n, rel=DIGITS)
    assert on_meter.n == pytest.approx(n, rel=DIGITS)


@given(TYPED)
@example("f/8 - 1/3")
@example("exact T5.7")
@example(22.13)
def test_the_text_of_a_typed_aperture_reads_back(typed: object) -> None:
    for parse in (lambda value: parse_reading_aperture(value, 0.1), parse_camera_aperture):
        try:
            aperture = parse(typed)
        except PlanError:
            continue
        again = parse(aperture.text)
        assert again.t_stop == aperture.t_stop
        assert again.n == pytest.approx(aperture.n, rel=DIGITS)


@given(st.integers(-20, 160))
def test_every_tenth_of_a_stop_reads_back_exactly(tenths: int) -> None:
    n = f_number_of(tenths / 10)
    text = aperture_text(n, tenths=True)
    assert re.fullmatch(r"f/[0-9.]+( \+ 0\.[1-9])?", text)
    assert parse_reading_aperture(text, 0.1).n == pytest.approx(n, rel=ROUNDING)


@given(FULL_STOP, TENTH_PARTS)
def test_parts_add_in_stops(full: str, part: int) -> None:
    base, above, below = (
        parse_reading_aperture(typed, 0.1).n
        for typed in (full, f"{full} + 0.{part}", f"{full} - 0.{part}")
    )
    assert aperture_stops(above, base) == pytest.approx(part / 10, rel=1e-9)
    assert aperture_stops(base, below) == pytest.approx(part / 10, rel=1e-9)
    rest = parse_reading_aperture(f"{full} + {10 - part}/10", 0.1).n
    assert above * rest == pytest.approx(base * base * math.sqrt(2), rel=ROUNDING)


@given(F_NUMBER)
def test_an_aperture_is_moved_only_where_it_is_printed(n: float) -> None:
    read = parse_camera_aperture(n).n
    if read != n:
        nearest = min(F_NUMBERS.labels, key=lambda label: abs(math.log(label / n)))
        assert nearest == pytest.approx(n, rel=SAME_LABEL)
        assert abs(aperture_stops(read, n)) < PRINTED_STOPS


@given(st.floats(1 / 32000, 3600))
def test_a_shutter_text_reads_back(seconds: float) -> None:
    read = parse_shutter(shutter_text(seconds))
    assert read is not None
    assert abs(stops_between(read, seconds)) < PRINTED_STOPS


@given(st.floats(3, 409600))
def test_an_iso_text_reads_back(iso: float) -> None:
    assert abs(stops_between(parse_iso(iso_text(iso)), iso)) < PRINTED_STOPS


@pytest.mark.parametrize("parse", PARSERS)
@given(typed=TYPED)
def test_whatever_is_typed_is_read_or_refused_in_one_short_line(
    parse: Callable[[object], object], typed: object
) -> None:
    try:
        parse(typed)
    except PlanError as refused:
        message = str(refused)
        assert message.isprintable()
        assert len(message) < 200
