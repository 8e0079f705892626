"""How far the ambient light lies under the flash."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.motion.ambient import ambient_stated, at_shutter, by_meter
from verify.plan.motion import Ambient

TIMES = st.floats(1e-4, 60)


@given(st.floats(-5, 15), TIMES, TIMES)
def test_half_the_shutter_time_is_one_stop_less_ambient(
    stops: float, stated_s: float, shutter_s: float
) -> None:
    there = at_shutter(stops, stated_s, shutter_s)
    assert at_shutter(stops, stated_s, shutter_s / 2) == pytest.approx(there + 1)
    assert at_shutter(stops, stated_s, stated_s) == stops
    assert at_shutter(there, shutter_s, stated_s) == pytest.approx(stops)


def test_an_unknown_time_leaves_the_statement_as_it_is() -> None:
    assert at_shutter(4.0, None, 2.0) == 4.0
    assert at_shutter(4.0, 2.0, None) == 4.0
    assert at_shutter(math.inf, 1.0, 2.0) == math.inf


def test_two_readings() -> None:
    """f/11 of flash and f/2.8 of ambient light, both exact, lie four stops apart."""
    assert by_meter(2 ** (7 / 2), 2 ** (3 / 2)) == pytest.approx(4)
    assert by_meter(8, 8) == 0
    # Four pops of which the meter saw one: two stops more flash.
    assert by_meter(2 ** (7 / 2), 2 ** (3 / 2), camera_pops=4) == pytest.approx(6)
    assert by_meter(8, 8, camera_pops=4, reading_pops=4) == 0


def test_what_a_plan_states() -> None:
    assert ambient_stated(None, 8.0) is None
    assert ambient_stated(Ambient(stops_under_flash=3.0), None) == 3.0
    assert ambient_stated(Ambient(n=2.0), 8.0) == pytest.approx(4)
    assert ambient_stated(Ambient(n=2.0), 8.0, camera_pops=2) == pytest.approx(5)
    assert ambient_stated(Ambient(n=2.0), None) is None
