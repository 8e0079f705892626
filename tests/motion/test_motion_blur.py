"""Blur in pixels, its limits and its verdict."""

import math

import pytest
from courses import exponential, rectangle
from hypothesis import given
from hypothesis import strategies as st

from verify.motion.blur import blur_of, blur_verdict, limits_px
from verify.motion.kernel import Spread, spread_of
from verify.plan.motion import Limits, Sensor

FULL = Sensor(pitch_um=4.0, width_mm=36.0, height_mm=24.0)
LIMITS = (1.5, 3.0)
TENTH_S = 1 / 1000
DECAY = spread_of(exponential(TENTH_S / math.log(10)), TENTH_S)


@pytest.mark.parametrize(
    ("width_px", "verdict"),
    [(0, "sharp"), (1.5, "sharp"), (1.51, "slight"), (3.0, "slight"), (3.01, "smeared")],
)
def test_verdicts(width_px: float, verdict: str) -> None:
    """The limits that the issue states: 1.5 and 3 pixels."""
    assert blur_verdict(width_px, *LIMITS) == verdict


def test_all_of_a_blur() -> None:
    """2 m/s at 1:20 under an exponential flash: widths ln 5 and ln 9 time constants."""
    blur = blur_of(DECAY, 1e5, FULL, LIMITS)
    decay_um = 1e5 * TENTH_S / math.log(10)
    assert blur.width_um == pytest.approx(math.log(5) * decay_um, rel=1e-6)
    assert blur.edge_um == pytest.approx(math.log(9) * decay_um, rel=1e-6)
    assert blur.width_px == pytest.approx(blur.width_um / 4)
    assert blur.edge_px == pytest.approx(blur.edge_um / 4)
    assert blur.height_share == pytest.approx(blur.width_um / 24_000)
    # Check-values 7: MTF50 of an exponential is 0.27566 / a, in cycles per mm for a in mm.
    assert blur.mtf50_cycles_per_mm == pytest.approx(0.27566 / (decay_um / 1000), rel=2e-5)
    assert blur.equivalent_s == pytest.approx(0.95055 * TENTH_S, rel=1e-5)
    assert blur.verdict == "smeared"


def test_what_is_not_known_is_none() -> None:
    blur = blur_of(DECAY, 1e5, Sensor(), LIMITS)
    assert blur.width_um > 0
    assert (blur.width_px, blur.edge_px, blur.height_share) == (None, None, None)
    assert (blur.verdict, blur.longest_tenth_s) == (None, None)
    unjudged = blur_of(DECAY, 1e5, FULL, None)
    assert unjudged.width_px is not None
    assert (unjudged.verdict, unjudged.longest_tenth_s) == (None, None)
    unquoted = blur_of(spread_of(exponential(1e-6), None), 1e5, FULL, LIMITS)
    assert (unquoted.verdict, unquoted.longest_tenth_s) == ("sharp", None)


def test_the_longest_t_tenth_is_just_sharp() -> None:
    longest_s = blur_of(DECAY, 1e5, FULL, LIMITS).longest_tenth_s
    assert longest_s is not None
    decay_s = longest_s / math.log(10)
    at_it = blur_of(spread_of(exponential(decay_s), longest_s), 1e5, FULL, LIMITS)
    assert at_it.width_px == pytest.approx(1.5, rel=1e-9)


@pytest.mark.parametrize(
    ("limits", "sensor", "wanted"),
    [
        (Limits(), Sensor(), (1.5, 3.0)),
        (Limits(sharp_px=2, slight_px=5), FULL, (2, 5)),
        # Check-values 7: 0.2 mm at 250 mm. A print of 240 mm from 36 mm: 0.03 mm on the sensor.
        (Limits(print_mm=240, viewing_mm=250), FULL, (7.5, 15.0)),
        (Limits(print_mm=240, viewing_mm=500), FULL, (15.0, 30.0)),
        (Limits(print_mm=480, viewing_mm=250), FULL, (3.75, 7.5)),
        (Limits(print_mm=9000, viewing_mm=250), FULL, (1.0, 2.0)),  # no finer than a pixel
        (Limits(print_mm=240, viewing_mm=250), Sensor(pitch_um=4.0), None),
        (Limits(print_mm=240, viewing_mm=250), Sensor(width_mm=36.0), None),
    ],
)
def test_limits(limits: Limits, sensor: Sensor, wanted: tuple[float, float] | None) -> None:
    found = limits_px(limits, sensor)
    assert found == (wanted if wanted is None else pytest.approx(wanted))


SPREADS = st.sampled_from([DECAY, spread_of(rectangle(0.001), 0.001)])


@given(SPREADS, st.floats(1, 1e7), st.floats(0.1, 10))
def test_twice_the_speed_is_twice_the_blur(spread: Spread, speed: float, times: float) -> None:
    one, other = (blur_of(spread, v, FULL, LIMITS) for v in (speed, times * speed))
    assert other.width_px == pytest.approx(times * (one.width_px or 0))
    assert other.edge_um == pytest.approx(times * one.edge_um)
    assert other.mtf50_cycles_per_mm == pytest.approx(one.mtf50_cycles_per_mm / times)
    assert other.equivalent_s == one.equivalent_s
    assert other.longest_tenth_s == pytest.approx((one.longest_tenth_s or 0) / times)
