"""Image speed and blur by v t m (check-values 7.1), and which keys are missing."""

from dataclasses import replace

import pytest
from courses import rectangle

from verify.motion.blur import blur_of
from verify.motion.image import (
    AMBIENT,
    FLASH,
    MAGNIFICATION,
    PITCH,
    READING,
    SHUTTER,
    SPEED,
    WIDTH,
    image_speed_of,
    image_speed_um_s,
    magnification_of,
    missing_for_blur,
    missing_for_ghost,
    sensor_of,
)
from verify.motion.kernel import spread_of
from verify.plan.motion import Ambient, FlashLamp, Limits, MotionPlan, Sensor, ShutterPlan, Subject

LAMP = FlashLamp(None, 1.0, None, None, 1 / 800, None, "decaying")
NOTHING = Sensor()


@pytest.mark.parametrize(
    ("speed", "time_s", "magnification", "blur_um"),
    [
        # Check-values 7.1 (5 m/s at the subject itself) and its examples.
        (5, 1 / 1000, 1, 5000), (5, 1 / 40_000, 1, 125),
        (3, 1 / 800, 0.02, 75), (5, 1 / 1000, 0.02, 100), (10, 1 / 8000, 0.1, 125),
        (2, 1 / 1000, 0.05, 100),
        # Check-values 7, longest duration for 0.03 mm.
        (1, 1500e-6, 0.02, 30), (3, 500e-6, 0.02, 30), (5, 300e-6, 0.02, 30),
        (10, 150e-6, 0.02, 30), (5, 60e-6, 0.1, 30), (2, 30e-6, 0.5, 30), (5, 6e-6, 1, 30),
    ],
)  # fmt: skip
def test_an_even_exposure_smears_by_speed_time_and_magnification(
    speed: float, time_s: float, magnification: float, blur_um: float
) -> None:
    moved = image_speed_um_s(speed, magnification)
    assert moved * time_s == pytest.approx(blur_um, rel=1e-12)
    blur = blur_of(spread_of(rectangle(time_s), time_s), moved, NOTHING, None)
    assert moved * blur.equivalent_s == pytest.approx(blur_um, rel=1e-8)
    assert blur.width_um == pytest.approx(0.8 * blur_um, rel=1e-8)


def test_magnification_is_stated_or_comes_from_the_width_of_the_field() -> None:
    assert magnification_of(Subject(1.0, magnification=0.05), None) == 0.05
    assert magnification_of(Subject(1.0, magnification=0.05, field_width_m=9.0), 36) == 0.05
    assert magnification_of(Subject(1.0, field_width_m=1.8), 36.0) == pytest.approx(0.02)
    assert magnification_of(Subject(1.0, field_width_m=1.8), None) is None
    assert magnification_of(Subject(1.0), 36.0) is None


def test_speed_of_the_image() -> None:
    assert image_speed_of(Subject(3.0, field_width_m=1.8), Sensor(width_mm=36)) == pytest.approx(
        60_000
    )
    assert image_speed_of(Subject(3.0), Sensor(width_mm=36)) is None
    assert image_speed_of(None, Sensor(width_mm=36)) is None


def test_the_plan_goes_before_what_frames_tell() -> None:
    stated = Sensor(pitch_um=4.0, covered_first="top")
    found = sensor_of(stated, Sensor(pitch_um=5.0, width_mm=36.0, height_mm=24.0))
    assert found == Sensor(4.0, 36.0, 24.0, "top")


@pytest.mark.parametrize(
    ("plan", "told", "recorded", "missing"),
    [
        (MotionPlan(), NOTHING, False, (FLASH, SPEED, MAGNIFICATION, PITCH)),
        (MotionPlan(lamps=(LAMP,)), NOTHING, False, (SPEED, MAGNIFICATION, PITCH)),
        (MotionPlan(subject=Subject(1.0)), Sensor(4.0), True, (MAGNIFICATION,)),
        (MotionPlan(subject=Subject(1.0, field_width_m=1)), Sensor(4.0), True, (WIDTH,)),
        (MotionPlan(subject=Subject(1.0, field_width_m=1)), Sensor(4.0, 36.0), True, ()),
        (
            MotionPlan(subject=Subject(1.0, magnification=1), sensor=Sensor(4.0)),
            NOTHING,
            True,
            (),
        ),
        (
            MotionPlan(
                subject=Subject(1.0, magnification=1), limits=Limits(print_mm=1, viewing_mm=1)
            ),
            Sensor(4.0),
            True,
            (WIDTH,),
        ),
    ],
)
def test_what_is_missing_for_the_blur(
    plan: MotionPlan, told: Sensor, recorded: bool, missing: tuple[str, ...]
) -> None:
    assert missing_for_blur(plan, told, recorded) == missing


def test_what_is_missing_for_the_ghost() -> None:
    still = MotionPlan(subject=Subject(1.0, magnification=1), sensor=Sensor(4.0))
    assert missing_for_ghost(still, NOTHING, False, False) == (AMBIENT, SHUTTER)
    assert missing_for_ghost(still, NOTHING, True, True) == ()
    said = MotionPlan(
        subject=still.subject,
        sensor=still.sensor,
        ambient=Ambient(stops_under_flash=4),
        shutter=ShutterPlan(time_s=1 / 128),
    )
    assert missing_for_ghost(said, NOTHING, False, False) == ()
    metered = replace(said, ambient=Ambient(n=2.0))
    assert missing_for_ghost(metered, NOTHING, False, False) == ()
    assert missing_for_ghost(metered, NOTHING, False, False, flash_metered=False) == (READING,)
    assert missing_for_ghost(MotionPlan(), NOTHING, True, True) == (SPEED, MAGNIFICATION, PITCH)
