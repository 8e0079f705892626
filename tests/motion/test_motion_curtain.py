"""The shutter of a plan, and times that a dial has."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.exposure import exact_shutter_s
from verify.motion.curtain import shutter_of, travel_of
from verify.motion.dial import marked_no_faster, marked_no_slower
from verify.plan.motion import ShutterPlan
from verify.pulse.shutter import Curtain, Leaf


def test_travel_is_stated_or_three_quarters_of_sync() -> None:
    assert travel_of(ShutterPlan(sync_s=0.004, travel_s=0.0025)) == (0.0025, False)
    assert travel_of(ShutterPlan(sync_s=0.004)) == (0.003, True)
    assert travel_of(ShutterPlan(travel_s=0.0)) == (0.0, False)
    assert travel_of(ShutterPlan(time_s=0.008)) is None
    assert travel_of(ShutterPlan(sync_s=0.004, kind="leaf")) is None


def test_the_shutter_of_a_plan() -> None:
    assert shutter_of(ShutterPlan(sync_s=0.004)) == Curtain(0.003, 0.0)
    assert shutter_of(ShutterPlan(travel_s=0.002, delay_s=0.001)) == Curtain(0.002, 0.001)
    assert shutter_of(ShutterPlan()) is None
    leaf = ShutterPlan(kind="leaf", opening_s=0.001, closing_s=0.002, delay_s=0.0005)
    assert shutter_of(leaf) == Leaf(0.001, 0.002, 0.0005)
    assert shutter_of(ShutterPlan(kind="leaf")) == Leaf(0.0, 0.0, 0.0)


@given(st.floats(1e-4, 30))
def test_the_next_times_on_a_dial(shutter_s: float) -> None:
    slower, faster = marked_no_faster(shutter_s), marked_no_slower(shutter_s)
    assert slower is not None
    assert faster is not None
    assert faster * (1 - 1e-8) <= shutter_s <= slower * (1 + 1e-8)
    assert round(3 * math.log2(slower / faster), 6) in (0, 1)


@pytest.mark.parametrize("printed", [1 / 250, 1 / 60, 1 / 3, 2, 1 / 1000])
def test_a_time_on_the_dial_is_its_own(printed: float) -> None:
    exact_s = exact_shutter_s(printed)
    assert marked_no_faster(exact_s) == marked_no_slower(exact_s) == exact_s


def test_past_the_ends_of_the_dial() -> None:
    assert marked_no_faster(1000) is None
    assert marked_no_slower(1e-6) is None
