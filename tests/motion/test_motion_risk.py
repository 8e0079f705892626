"""The whole of what to expect of an exposure, from a plan and a flash."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from courses import decaying, exponential, firing
from hypothesis import given
from hypothesis import strategies as st

from verify.motion.records import MotionRisk
from verify.motion.risk import moving
from verify.plan.motion import Ambient, Limits, MotionPlan, Sensor, ShutterPlan, Subject
from verify.pulse.records import Firing
from verify.warnings import WARNINGS

TENTH_S = 1 / 250
FLASH = decaying(TENTH_S)
FULL = Sensor(pitch_um=4.0, width_mm=36.0, height_mm=24.0)
PLAN = MotionPlan(
    subject=Subject(speed_m_s=2.0, size_m=0.3, magnification=0.05),
    sensor=FULL,
    ambient=Ambient(stops_under_flash=4.0),
    shutter=ShutterPlan(time_s=1 / 160, sync_s=1 / 200, travel_s=0.003, delay_s=0.0),
)
WHOLE = moving(PLAN, FLASH)


def motion_risk(
    plan: MotionPlan, flash: Firing | None, shutter_s: float | None, **more: Any
) -> MotionRisk:
    """What to expect of one exposure."""
    return moving(plan, flash, **more).at(shutter_s)


def test_everything_is_told() -> None:
    risk = WHOLE.at(1 / 160)
    assert risk.rests_on == "recording"
    assert risk.blur is not None
    decay_um = 1e5 * TENTH_S / math.log(10)
    assert risk.blur.width_px == pytest.approx(math.log(5) * decay_um / 4, rel=1e-6)
    assert risk.blur.verdict == "smeared"
    assert risk.ghost is not None
    assert risk.ghost.ambient_under_flash_stops == 4.0
    assert risk.ghost.trail_px == pytest.approx(1e5 / 160 / 4)
    assert risk.ghost.verdict == "faint"
    # Check-values 3.7: travel 3 ms, 1/160 s, t.1 of 1/250 s: the row covered first loses 0.241.
    assert risk.shutter_loss_stops == pytest.approx(0.241, abs=6e-4)
    assert risk.warnings == ("shutter-cuts",)
    assert set(risk.warnings) <= set(WARNINGS)
    starts = ["A t.1 of", "Or let it", "To hide the", "A shutter time", "The shutter takes"]
    for text, start in zip(risk.advice, starts, strict=True):
        assert text.startswith(start)
    assert risk.notes == ()


@pytest.mark.parametrize(
    ("shutter", "tenth", "lost"),
    [
        (250, 250, 1.192),
        (250, 500, 0.548),
        (250, 1000, 0.152),
        (200, 250, 0.548),
        (160, 500, 0.035),
    ],
)
def test_the_loss_of_the_row_that_loses_most(shutter: int, tenth: int, lost: float) -> None:
    """Check-values 3.7: travel of 3 ms, plain seconds."""
    risk = motion_risk(PLAN, decaying(1 / tenth), 1 / shutter)
    assert risk.shutter_loss_stops == pytest.approx(lost, abs=6e-4)
    assert ("shutter-cuts" in risk.warnings) is (lost > 0.1)


def test_each_frame_by_its_own_shutter_time() -> None:
    times_s = [1 / 200, 1 / 100, 1 / 50]
    risks = [WHOLE.at(time_s) for time_s in times_s]
    assert {risk.blur for risk in risks} == {WHOLE.blur}
    for time_s, risk in zip(times_s, risks, strict=True):
        assert risk == motion_risk(PLAN, FLASH, time_s)
        assert risk.ghost is not None
        under = 4 + math.log2(1 / 160 / time_s)
        assert risk.ghost.ambient_under_flash_stops == pytest.approx(under)
    lost = [risk.shutter_loss_stops or 0 for risk in risks]
    assert lost == sorted(lost, reverse=True)


@given(st.floats(1e-3, 4))
def test_half_the_time_is_a_stop_less_ambient_and_half_the_trail(shutter_s: float) -> None:
    one, other = WHOLE.at(shutter_s).ghost, WHOLE.at(shutter_s / 2).ghost
    assert one is not None
    assert other is not None
    stops = one.ambient_under_flash_stops + 1
    assert other.ambient_under_flash_stops == pytest.approx(stops)
    assert other.trail_px == pytest.approx((one.trail_px or 0) / 2)
    assert (other.delta_l or 0) <= (one.delta_l or 0) + 1e-12


def test_what_frames_tell_of_the_ambient_light_goes_before_the_plan() -> None:
    ghost = WHOLE.at(1 / 40, ambient_stops=7.5).ghost
    assert ghost is not None
    assert ghost.ambient_under_flash_stops == 7.5
    measured = moving(PLAN, FLASH, ambient_stops=6.0).at(1 / 40).ghost
    assert measured is not None
    assert measured.ambient_under_flash_stops == pytest.approx(4.0)


def test_the_meter_tells_of_the_ambient_light_with_the_reading_of_the_flash() -> None:
    plan = replace(PLAN, ambient=Ambient(n=2.0))
    assert motion_risk(plan, FLASH, 1 / 160).ghost is None
    ghost = motion_risk(plan, FLASH, 1 / 160, flash_n=8.0, pops=2).ghost
    assert ghost is not None
    assert ghost.ambient_under_flash_stops == pytest.approx(5)


def test_what_is_not_known_is_none() -> None:
    nothing = motion_risk(MotionPlan(), None, 1 / 160)
    assert (nothing.rests_on, nothing.blur, nothing.ghost) == (None, None, None)
    assert nothing.shutter_loss_stops is None
    assert (nothing.advice, nothing.warnings, nothing.notes) == ((), (), ())
    still = motion_risk(replace(PLAN, subject=None), FLASH, 1 / 160)
    assert still.blur is None
    assert still.ghost is not None
    assert (still.ghost.trail_px, still.ghost.verdict) == (None, None)
    assert still.shutter_loss_stops is not None
    assert motion_risk(replace(PLAN, shutter=ShutterPlan()), FLASH, 1 / 160).warnings == ()
    bulb = WHOLE.at(None)
    assert bulb.shutter_loss_stops is None
    assert bulb.ghost is not None
    assert bulb.ghost.trail_px is None
    wide = motion_risk(replace(PLAN, sensor=Sensor()), FLASH, 1 / 160, told=Sensor(pitch_um=5.0))
    assert wide.blur is not None
    assert wide.blur.width_px == pytest.approx(wide.blur.width_um / 5)
    assert wide.blur.height_share is None


def test_travel_that_is_assumed_is_told() -> None:
    """Three quarters of 4 ms: check-values 3.7 for a travel of 3 ms."""
    plan = replace(PLAN, shutter=ShutterPlan(sync_s=0.004))
    risk = motion_risk(plan, FLASH, 1 / 250)
    assert risk.shutter_loss_stops == pytest.approx(1.192, abs=6e-4)
    assert risk.warnings == ("travel-assumed", "shutter-cuts")
    assert "travel-assumed" not in motion_risk(plan, FLASH, None).warnings
    leaf = replace(PLAN, shutter=ShutterPlan(sync_s=0.004, kind="leaf"))
    found = motion_risk(leaf, FLASH, 1 / 250)
    # Check-values 3.6: a window of 4 ms.
    assert found.shutter_loss_stops == pytest.approx(0.1520, abs=6e-4)
    assert "travel-assumed" not in found.warnings


def test_a_row_that_gets_nothing() -> None:
    risk = WHOLE.at(1 / 1000)
    assert risk.shutter_loss_stops == math.inf
    assert risk.advice[-1].startswith("A part of the frame gets no flash at all")


def test_the_shutter_time_that_is_advised_keeps_the_tolerance() -> None:
    assert WHOLE.fastest_s is not None
    at_it = WHOLE.at(WHOLE.fastest_s)
    assert at_it.shutter_loss_stops == pytest.approx(0.1, abs=1e-6)
    # Not past sync, however short the flash.
    assert moving(PLAN, decaying(1e-5)).fastest_s == PLAN.shutter.sync_s


def test_several_pops() -> None:
    """In one long opening nobody knows when they fired; shorter ones are one for each pop."""
    whole = moving(PLAN, FLASH, pops=4)
    assert whole.at(8.0).shutter_loss_stops is None
    assert whole.at(1 / 160).shutter_loss_stops == WHOLE.at(1 / 160).shutter_loss_stops
    assert "several-pops" in whole.at(8.0).warnings
    assert any("4 pops" in advice for advice in whole.at(8.0).advice)
    assert moving(replace(PLAN, subject=None), FLASH, pops=4).at(8.0).warnings == ()
    assert WHOLE.at(8.0).shutter_loss_stops == 0


def test_a_model_is_told_once() -> None:
    modelled = replace(decaying(TENTH_S, rests_on="model"), warnings=("durations-modelled",))
    risk = motion_risk(PLAN, modelled, 1 / 50)
    assert risk.rests_on == "model"
    assert risk.warnings == ("durations-modelled",)
    assert motion_risk(PLAN, decaying(TENTH_S, "model"), 1 / 50).warnings == risk.warnings
    slow = firing(FLASH.course, TENTH_S, warnings=("slow-sensor",))
    assert motion_risk(PLAN, slow, 1 / 50).warnings == ("slow-sensor",)


def test_a_size_that_is_not_stated_is_told_where_it_matters() -> None:
    assert PLAN.subject is not None
    plan = replace(PLAN, subject=replace(PLAN.subject, size_m=None))
    assert "size_m" in motion_risk(plan, FLASH, 1 / 50).notes[0]
    assert motion_risk(plan, FLASH, 1 / 50, ambient_stops=9).notes == ()


def test_a_delay_that_is_not_stated_is_told_where_it_matters() -> None:
    """Check-values 3.7: a delay is a shorter shutter time. 3 ms of travel, t.1 of 1/1000 s."""
    plan = replace(PLAN, shutter=ShutterPlan(travel_s=0.003))
    short = decaying(1 / 1000)
    risk = motion_risk(plan, short, 0.0045)
    late = motion_risk(plan, short, 0.0035).shutter_loss_stops
    assert (risk.shutter_loss_stops or 0) < 0.1 < (late or 0)
    assert f"would cost {late:.2f} stop" in risk.notes[0]
    assert motion_risk(plan, short, 1 / 50).notes == ()


def test_limits_of_a_print_judge_the_blur_and_the_trail() -> None:
    plan = replace(PLAN, limits=Limits(print_mm=240.0, viewing_mm=25_000.0))
    risk = motion_risk(plan, FLASH, 1 / 160)
    assert risk.blur is not None
    assert risk.blur.verdict == "sharp"
    assert risk.ghost is not None
    assert risk.ghost.verdict == "hidden"


def test_a_course_without_light_is_refused() -> None:
    dark = firing(replace(exponential(), value=np.zeros(20_001)), None)
    with pytest.raises(ValueError, match="no light"):
        moving(PLAN, dark)
