"""The plan's sections on flash durations, motion, ambient light and the shutter."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from readings import METERED, plan_of

from verify.plan.file import read_plan, set_up_of
from verify.plan.layers import merged
from verify.plan.motion import (
    NO_MOTION,
    Ambient,
    FlashLamp,
    Limits,
    MotionPlan,
    Sensor,
    ShutterPlan,
    Subject,
)
from verify.plan.records import Plan

Read = Callable[[str], Plan]

EVERY_KEY = f"""\
{METERED}
[camera]
shutter = "1/160"
sync = "1/200"
travel = "3.1 ms"
delay = "500 us"

[[flash]]
lamp = "key"
share = 0.7
power = 7.0
quoted_at = 6.5
t_half = "1/800"
t_tenth = "1/250"
kind = "decaying"

[[flash]]
share = 0.3
power = " 1/4 "
quoted_at = "1/1"
t_tenth = "250 us"
kind = "cut"

[subject]
speed = 2
direction = "along"
size_m = 0.3
magnification = 0.05
against = "black"

[sensor]
pixel_pitch_um = 4.0
width_mm = 36.0
height_mm = 24.0
covered_first = "top"

[ambient]
stops_under_flash = 4.0

[limits]
sharp_px = 2.0
slight_px = 4.0
"""


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Write a plan and read it."""
    return partial(plan_of, tmp_path)


def near(value: float) -> Any:
    """A value that arithmetic may have rounded."""
    return pytest.approx(value)


def motion(read: Read, text: str) -> MotionPlan:
    """What the main set-up of a plan says of motion."""
    return read(text).main.motion


def subject(read: Read, keys: str, camera: str = "") -> Subject:
    """What moves, by keys beside a speed."""
    found = motion(read, f"{METERED}[camera]\n{camera}\n[subject]\nspeed = 1\n{keys}\n").subject
    assert found is not None
    return found


def test_every_key(read: Read) -> None:
    """Travel, delay and t.x are as typed; only shutter times stand for their exact values."""
    assert motion(read, EVERY_KEY) == MotionPlan(
        lamps=(
            FlashLamp("key", 0.7, 7.0, 6.5, 1 / 800, 1 / 250, "decaying"),
            FlashLamp(None, 0.3, "1/4", "1/1", None, near(250e-6), "cut"),
        ),
        subject=Subject(2.0, "along", 0.3, 0.05, None, "black"),
        sensor=Sensor(4.0, 36.0, 24.0, "top"),
        ambient=Ambient(stops_under_flash=4.0),
        limits=Limits(2.0, 4.0),
        shutter=ShutterPlan(
            near(2 ** (-22 / 3)),
            near(2 ** (-23 / 3)),
            travel_s=near(0.0031),
            delay_s=near(0.0005),
        ),
    )


def test_a_plan_that_says_nothing_of_it(read: Read) -> None:
    assert motion(read, METERED) == NO_MOTION
    assert motion(read, "") == NO_MOTION
    assert read_plan(None).main.motion == NO_MOTION


def test_what_is_not_written_is_as_usual(read: Read) -> None:
    found = motion(read, METERED + '[[flash]]\nt_half = "1/1000"\n[subject]\nspeed = 0.5\n')
    assert found.lamps == (FlashLamp(None, 1.0, None, None, 0.001, None, "decaying"),)
    assert found.subject == Subject(0.5, "across", None, None, None, "grey")
    assert found.sensor == Sensor(None, None, None, "bottom")
    assert found.limits == Limits(1.5, 3.0)
    assert found.ambient is None


def test_the_shutter_is_that_of_the_camera_else_of_the_reading(read: Read) -> None:
    metered = METERED + 'shutter = "1/60"\n'
    assert motion(read, metered).shutter.time_s == 1 / 64
    assert motion(read, metered + '[camera]\nshutter = "1/125"').shutter.time_s == 1 / 128
    assert motion(read, metered + '[camera]\nshutter = "bulb"').shutter.time_s is None
    assert motion(read, METERED + 'shutter = "bulb"').shutter.time_s is None


def test_without_a_reading_the_shutter_is_known_all_the_same(read: Read) -> None:
    found = read('[camera]\nshutter = "1/125"\nsync = "1/60"\ntravel = "1/300"\n').main
    assert found.camera is None
    assert found.motion.shutter == ShutterPlan(1 / 128, 1 / 64, "curtain", 1 / 300)


def test_a_leaf_shutter(read: Read) -> None:
    text = '[camera]\nshutter_kind = "leaf"\nopening = "1.5 ms"\nclosing = "2 ms"\n'
    found = motion(read, text).shutter
    assert (found.kind, found.travel_s, found.delay_s) == ("leaf", None, None)
    assert (found.opening_s, found.closing_s) == pytest.approx((0.0015, 0.002))


def test_focal_length_and_distance_give_the_magnification(read: Read) -> None:
    """The thin lens: 100 mm at 1.1 m is 1:10, at twice the focal length 1:1."""
    assert subject(read, "focal_mm = 100\ndistance_m = 1.1").magnification == pytest.approx(0.1)
    assert subject(read, "focal_mm = 100\ndistance_m = 0.2").magnification == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("keys", "camera", "magnification"),
    [
        ("", "magnification = 0.4", 0.4),
        ("", "extension_mm = 40\nfocal_mm = 120", pytest.approx(1 / 3)),
        ("", "magnification = 0", None),
        ("", "focal_mm = 120", None),
        ("", "bellows_stops = 1", None),
        ("magnification = 0.2", "magnification = 0.4", 0.2),
        ("field_width_m = 1.2", "magnification = 0.4", None),
    ],
)
def test_where_nothing_says_how_large_it_is_the_bellows_do(
    read: Read, keys: str, camera: str, magnification: float | None
) -> None:
    found = subject(read, keys, camera)
    assert found.magnification == magnification
    assert found.field_width_m == (1.2 if "field_width_m" in keys else None)


def test_ambient_light_by_the_meter_is_an_f_number_of_its_step(read: Read) -> None:
    by_tenths = motion(read, METERED + '[ambient]\naperture = "f/2.8 + 0.5"').ambient
    assert by_tenths == Ambient(n=near(2**1.75))
    in_thirds = motion(read, METERED + 'step = "1/3"\n[ambient]\naperture = 4.5').ambient
    assert in_thirds == Ambient(n=near(2 ** (13 / 6)))
    alone = motion(read, '[ambient]\naperture = "f/2.8"').ambient
    assert alone == Ambient(n=near(2**1.5))


def test_an_ambient_frame_lies_beside_the_plan(read: Read, tmp_path: Path) -> None:
    found = motion(read, '[ambient]\nframe = "dark/ambient.dng"').ambient
    assert found == Ambient(frame=tmp_path / "dark" / "ambient.dng")


def test_limits_by_a_print(read: Read) -> None:
    found = motion(read, "[limits]\nprint_mm = 400\nviewing_mm = 600").limits
    assert (found.print_mm, found.viewing_mm) == (400.0, 600.0)


SET_UP = '\n[[setup]]\nname = "low"\nframes = "1-9"\n'


def test_a_set_up_inherits_and_changes_a_key(read: Read) -> None:
    main, low = read(EVERY_KEY + SET_UP + "subject = { speed = 3 }").setups
    assert low.motion.subject == Subject(3.0, "along", 0.3, 0.05, None, "black")
    assert low.motion.lamps == main.motion.lamps
    assert low.motion.shutter == main.motion.shutter


def test_the_lamps_of_a_set_up_replace_all_others(read: Read) -> None:
    low = read(f'{EVERY_KEY}{SET_UP}[[setup.flash]]\nlamp = "top"\nt_half = "1/500"\n').setups[1]
    assert low.motion.lamps == (FlashLamp("top", 1.0, None, None, 0.002, None, "decaying"),)
    assert read(f"{EVERY_KEY}{SET_UP}flash = []\n").setups[1].motion.lamps == ()


@pytest.mark.parametrize(
    ("own", "changed"),
    [
        ("subject = { field_width_m = 2 }", {"magnification": None, "field_width_m": 2.0}),
        ("subject = { focal_mm = 100, distance_m = 1.1 }", {"magnification": pytest.approx(0.1)}),
        ('ambient = { aperture = "f/4" }', {"stops_under_flash": None, "n": 4.0}),
        (
            "limits = { print_mm = 400, viewing_mm = 600 }",
            {"sharp_px": 1.5, "slight_px": 3.0, "print_mm": 400.0, "viewing_mm": 600.0},
        ),
        (
            'camera = { shutter_kind = "leaf", opening = "1 ms" }',
            {"kind": "leaf", "travel_s": None, "opening_s": 0.001},
        ),
    ],
)
def test_a_set_up_says_it_in_its_own_way(read: Read, own: str, changed: dict[str, object]) -> None:
    main, low = read(EVERY_KEY + SET_UP + own).setups
    section = own.split(maxsplit=1)[0].replace("camera", "shutter")
    before, after = getattr(main.motion, section), getattr(low.motion, section)
    for name in after.__slots__:
        assert getattr(after, name) == changed.get(name, getattr(before, name)), name


def test_of_two_keys_of_one_way_the_other_stays() -> None:
    base = {"subject": {"focal_mm": 80, "distance_m": 2, "speed": 1}}
    assert merged(base, {"subject": {"distance_m": 3}}) == {
        "subject": {"focal_mm": 80, "distance_m": 3, "speed": 1}
    }
    assert base["subject"]["distance_m"] == 2


def test_back_to_curtains_a_set_up_leaves_the_blades_behind(read: Read) -> None:
    leaf = '[camera]\nshutter_kind = "leaf"\nopening = "1 ms"\n'
    low = read(leaf + SET_UP + 'camera = { shutter_kind = "curtain" }').setups[1]
    assert low.motion.shutter == ShutterPlan()


def test_tables_typed_for_one_frame_make_it_too(tmp_path: Path) -> None:
    found = set_up_of([{"ambient": {"frame": "a.dng"}}, {"ambient": {"aperture": "f/4"}}], tmp_path)
    assert found.motion.ambient == Ambient(n=4.0)
