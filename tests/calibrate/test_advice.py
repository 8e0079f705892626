"""verify/calibrate/advice.py: what to set, and that it cannot be read the wrong way round."""

import math
import re
from dataclasses import replace
from typing import Any

import pytest
from calibration_sets import metered
from hypothesis import assume, given
from hypothesis import strategies as st

from verify.calibrate.advice import REVERSE, advise, in_stops, step_for
from verify.calibrate.match import STANDARD
from verify.calibrate.records import Advice, Match
from verify.exposure import ISO_SPEEDS, aperture_value, exact_iso
from verify.notation import parse_camera_aperture, parse_reading_aperture
from verify.plan.records import Reading

MINUS = "\N{MINUS SIGN}"
TOLERANCE = 0.17  # stop, a plan's usual one
HALVES = ((0.02, 0.1), (0.1, 0.1), (0.11, 0.2), (0.3, 0.5), (0.51, 1.0))


def reading(av: float = 7.0, **keys: Any) -> Reading:
    """A reading at ISO 100, f/11 if no other aperture value is given."""
    made = metered(av, reading=keys).reading
    assert made is not None
    return made


def advice(
    offset: float, half: float = 0.03, match: Match = STANDARD, camera_iso: float = 100.0,
    tolerance: float = TOLERANCE, av: float = 7.0, **keys: Any,
) -> Advice:  # fmt: skip
    """Advice for an offset, on a meter at f/11 and ISO 100 unless said otherwise."""
    return advise(offset, half, match, reading(av, **keys), camera_iso, tolerance)


def test_a_camera_that_gets_too_little_needs_a_meter_that_asks_for_more() -> None:
    # The issue's own words, for an offset of -0.3.
    found = advice(-0.3)
    assert found.correction_stops == pytest.approx(0.3)
    assert found.iso == pytest.approx(exact_iso(80), rel=1e-9)
    assert found.text == (
        "Set the meter's correction so that it asks for 0.3 stop more exposure: where it reads "
        f"f/11 now it will read f/8 + 0.7. {REVERSE} "
        "Or set ISO 80 on the meter only; leave the camera at 100. "
        "In the plan then write iso = 100 and correction = 0.33."
    )


def test_a_camera_that_gets_too_much_needs_a_meter_that_asks_for_less() -> None:
    found = advice(0.3)
    assert found.correction_stops == pytest.approx(-0.3)
    assert found.iso == pytest.approx(exact_iso(125), rel=1e-9)
    assert found.text == (
        "Set the meter's correction so that it asks for 0.3 stop less exposure: where it reads "
        f"f/11 now it will read f/11 + 0.3. {REVERSE} "
        "Or set ISO 125 on the meter only; leave the camera at 100. "
        "In the plan then write iso = 100 and correction = -0.33."
    )


def shown_after(text: str, step: float = 0.1) -> float:
    """The aperture value that the meter will show, out of the sentence."""
    found = re.search(r"it will read (f/.+?)\. ", text)
    assert found is not None, text
    if step < 1 / 3:
        return aperture_value(parse_reading_aperture(found[1], step).n)
    return aperture_value(parse_camera_aperture(found[1], step).n)


@given(
    st.integers(-200, 200), st.sampled_from(HALVES), st.sampled_from([0.1, 1 / 3, 0.5]),
    st.integers(-10, 10), st.integers(4, 10),
)  # fmt: skip
def test_metering_anew_with_what_is_advised_leaves_no_error(
    hundredths: int, width: tuple[float, float], step: float, now: int, av: int
) -> None:
    """The light is L stops where a sound meter reads L; this camera gets ``offset`` more of it."""
    offset = hundredths / 100
    present = now * step
    found = advice(offset, width[0], step=step, correction=present, av=float(av))
    assume(found.correction_stops is not None and "Leave" not in found.text)
    correction = found.correction_stops or 0.0
    assume(correction != 0)
    # The meter shows light - correction, and the camera follows: what it gets is off by both.
    light = av + present
    after = light - correction
    assert (light - after) + offset == pytest.approx(0, abs=step_for(width[0], step) / 2 + 1e-6)
    assert shown_after(found.text, step) == pytest.approx(after, abs=0.01)
    more = after < av  # a smaller f-number than it shows now
    assert (" more exposure" in found.text) == more
    assert (" less exposure" in found.text) == (not more)
    if found.iso is not None:
        by_iso = light + math.log2(found.iso / 100)  # at a correction of 0
        assert by_iso == pytest.approx(after, abs=1 / 6 + 1e-6)


@pytest.mark.parametrize("offset", [-1.0, -0.5, -0.3, 0.3, 0.4, 1.3])
def test_the_iso_is_one_of_the_meter_and_within_a_sixth_of_the_correction(offset: float) -> None:
    found = advice(offset)
    assert found.iso is not None
    assert found.correction_stops is not None
    assert min(abs(math.log2(found.iso / exact)) for exact in ISO_SPEEDS.exacts) < 1e-6
    left = found.correction_stops - math.log2(100 / found.iso)
    assert abs(left) <= 1 / 6 + 1e-6
    assert ("ISO goes in thirds" in found.text) == (abs(left) >= 0.1)


def test_how_far_the_iso_is_off_is_said_in_words() -> None:
    # 0.5 more is asked for; ISO 64 asks for 0.67 more, so 0.17 of it is too much.
    assert "(ISO goes in thirds: that is 0.17 stop more than needed.)" in advice(-0.5).text
    assert "(ISO goes in thirds: that is 0.17 stop less than needed.)" in advice(0.5).text


@pytest.mark.parametrize("offset", [-0.2, 0.2])
def test_an_iso_that_would_be_as_far_off_is_not_offered(offset: float) -> None:
    """A third for a fifth turns 0.2 over into 0.13 under."""
    found = advice(offset)
    assert found.iso is None
    assert "ISO" not in found.text


def test_a_tenth_is_no_iso() -> None:
    found = advice(-0.1, 0.02, tolerance=0.05)
    assert found.correction_stops == pytest.approx(0.1)
    assert found.iso is None
    assert "ISO" not in found.text
    assert found.text.endswith(REVERSE)


def test_the_camera_stays_where_it_was() -> None:
    found = advice(-0.3, camera_iso=exact_iso(160), iso=160)
    assert "Or set ISO 125 on the meter only; leave the camera at 160." in found.text
    assert found.text.endswith("In the plan then write iso = 160 and correction = 0.33.")


def test_a_meter_at_another_iso_than_the_camera_is_said() -> None:
    found = advice(-0.3, camera_iso=400.0)
    # f/11 at ISO 100 is f/22 at ISO 400: the correction stands alone with the camera's ISO.
    assert found.text.startswith(
        "With ISO 400 on the meter, set the meter's correction so that it asks for 0.3 stop more "
        "exposure: where it reads f/22 now it will read f/16 + 0.7."
    )
    assert "Or set ISO 320 on the meter only; leave the camera at 400." in found.text


def test_thirds_where_the_meter_shows_thirds() -> None:
    found = advice(-0.3, step="1/3")
    assert found.correction_stops == pytest.approx(1 / 3, abs=1e-5)
    assert "asks for 1/3 stop more exposure: where it reads f/11 now it will read f/10." in (
        found.text
    )
    two = advice(0.7, step="1/3")
    assert "asks for 2/3 stop less exposure: where it reads f/11 now it will read f/14." in (
        two.text
    )
    assert two.iso == pytest.approx(exact_iso(160))


def test_halves_where_the_meter_shows_halves() -> None:
    found = advice(-0.4, step="1/2")
    assert found.correction_stops == pytest.approx(0.5)
    assert "asks for 0.5 stop more exposure: where it reads f/11 now it will read f/9.5." in (
        found.text
    )


def test_a_present_correction_is_replaced_and_not_added_to() -> None:
    found = advice(0.2, correction=0.3)
    assert found.correction_stops == pytest.approx(-0.2)
    assert found.text == (
        "Set the meter's correction so that it asks for 0.5 stop less exposure than now: where it "
        "reads f/11 now it will read f/11 + 0.5. It is at +0.30 stop now; the whole correction is "
        f"then {MINUS}0.20, not {MINUS}0.20 on top of it. {REVERSE}"
    )


def test_a_present_correction_that_is_right_stays() -> None:
    found = advice(-0.3, correction=0.3)
    assert found.correction_stops == pytest.approx(0.3)
    assert found.text.startswith(
        "Leave the meter's correction at +0.30 stop: that is what is needed. "
        "Or set ISO 80 on the meter only, its correction at 0;"
    )


def test_a_present_correction_too_many_goes() -> None:
    found = advice(0.02, correction=-0.4)
    assert found.correction_stops == 0
    assert found.text.endswith(f" The meter's correction is {MINUS}0.40 now: set it to 0.")


@pytest.mark.parametrize(("half", "step"), HALVES)
def test_never_finer_than_the_interval(half: float, step: float) -> None:
    assert step_for(half, 0.1) == pytest.approx(step)
    wanted = 2 * half + 0.55
    found = advice(-wanted, half).correction_stops
    assert found is not None
    assert found / step == pytest.approx(round(found / step), abs=1e-5)
    assert abs(found - wanted) <= step / 2 + 1e-9


@pytest.mark.parametrize(
    ("half", "meter", "step"),
    [(0.1, 1 / 3, 1 / 3), (0.4, 1 / 3, 2 / 3), (0.8, 1 / 3, 1.0), (0.1, 0.5, 0.5), (0.6, 0.5, 1)],
)
def test_steps_of_other_meters(half: float, meter: float, step: float) -> None:
    assert step_for(half, meter) == pytest.approx(step)


@pytest.mark.parametrize("offset", [0.0, 0.05, -0.07])
def test_none_is_needed_where_the_interval_has_zero_and_is_in_the_tolerance(offset: float) -> None:
    found = advice(offset, abs(offset) + 0.01)
    assert (found.correction_stops, found.iso) == (0.0, None)
    assert found.text.startswith("No correction is needed: what it could be, ")
    assert found.text.endswith("is within the tolerance.")
    assert "set it to" not in found.text


def test_the_tolerance_decides() -> None:
    assert advice(0.05, 0.1, tolerance=0.151).correction_stops == 0
    assert advice(0.05, 0.1, tolerance=0.149).correction_stops is None


def test_whether_any_is_needed_cannot_be_told() -> None:
    found = advice(-0.2, 0.4)
    assert (found.correction_stops, found.iso) == (None, None)
    assert found.text == (
        "Whether a correction is needed cannot be told: it would be +0.20 stop, and lies between "
        f"{MINUS}0.20 and +0.60. Shoot a better set."
    )


@pytest.mark.parametrize(("offset", "half"), [(-0.22, 0.21), (0.24, 0.23), (-3.0, 1.4)])
def test_how_much_is_needed_cannot_be_told(offset: float, half: float) -> None:
    found = advice(offset, half)
    assert (found.correction_stops, found.iso) == (None, None)
    assert found.text.startswith("How much correction is needed cannot be told: it would be ")
    assert "No correction is needed" not in found.text


def test_less_than_can_be_set_is_none() -> None:
    found = advice(-0.04, 0.01)
    assert (found.correction_stops, found.iso) == (0.0, None)
    assert found.text == "No correction is needed: +0.04 stop is less than can be set."


def test_too_fine_for_the_meter_and_beyond_the_tolerance_is_kept_instead() -> None:
    found = advice(-0.4, 0.05, step=1.0)
    assert (found.correction_stops, found.iso) == (None, None)
    assert found.text.startswith("+0.40 stop of correction is needed, and the meter's steps are")


def test_what_is_matched_is_in_the_correction_and_not_in_the_offset() -> None:
    wanted = Match("headroom", 0.5, "white below clipping")
    assert advice(0.2, match=wanted).correction_stops == pytest.approx(0.3)
    assert advice(0.5, match=wanted).correction_stops == 0
    assert advice(0.5, match=replace(wanted, stops=0.1)).correction_stops == pytest.approx(-0.4)


@pytest.mark.parametrize(
    ("x", "text"),
    [
        (0.1, "0.1 stop"), (-0.3, "0.3 stop"), (1.0, "1 stop"), (1.5, "1.5 stops"),
        (1 / 3, "1/3 stop"), (-2 / 3, "2/3 stop"), (4 / 3, "1 1/3 stops"), (0.333333, "1/3 stop"),
        (2.0, "2 stops"), (0.5, "0.5 stop"),
    ],
)  # fmt: skip
def test_sizes_as_meters_show_them(x: float, text: str) -> None:
    assert in_stops(x) == text
