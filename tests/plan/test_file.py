"""A plan file: every key, what it is refused for, set-ups and what they inherit."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from readings import METERED, plan_of

from verify.errors import PlanError
from verify.place import Place
from verify.plan.file import MAIN, read_plan
from verify.plan.records import (
    CameraPlan,
    Card,
    Plan,
    Reading,
    Scatter,
    Selection,
    SetUp,
    Tolerance,
)

Read = Callable[[str], Plan]

EVERY_KEY = """\
[reading]
aperture = "f/11 + 0.3"
iso = 100
shutter = "1/125"
light = "flash"
method = "incident"
receptor = "flat"
aimed = "as-card"
constant = 250
step = 0.1
pops = 1
meter = "bench meter"
correction = 0.0

[camera]
aperture = "f/13"
step = "1/3"
iso = 100
shutter = "1/125"
sync = "1/200"
shutter_kind = "curtain"
pops = 1
over = 0.0
filters = 0.0
magnification = 0.0
pupil_magnification = 1.0
f_number_written = "marked"

[card]
name = "studio card"
reflectance = 0.18
box = [0.42, 0.40, 0.12, 0.16]
densities = [0.05, 0.35, 1]
flat = "flat.dng"

[tolerance]
absolute = 0.17
between_frames = 0.1

[uncertainty]
card = 0.08
placing = 0.1
meter = 0.029
lens = 0.05

[[setup]]
name = "bottle, rim light"
frames = "0123-0168"
reading = { aperture = "f/16" }
"""


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Write a plan and read it."""
    return partial(plan_of, tmp_path)


def camera_of(setup: SetUp) -> CameraPlan:
    """The planned settings of a set-up that has some."""
    assert setup.camera is not None
    return setup.camera


def test_every_key(read: Read, tmp_path: Path) -> None:
    plan = read(EVERY_KEY)
    main, bottle = plan.setups
    assert plan.source == str(tmp_path / "plan.toml")
    assert main.reading is not None
    assert main.reading.aperture.n == pytest.approx(2 ** (7.3 / 2))
    expected = Reading(
        aperture=main.reading.aperture,
        iso=100,
        shutter_s=1 / 128,
        light="flash",
        method="incident",
        receptor="flat",
        aimed="as-card",
        constant=250,
        step=0.1,
        pops=1,
        meter="bench meter",
        correction=0,
    )
    assert main.reading == expected
    camera = camera_of(main)
    assert camera == CameraPlan(
        aperture=camera.aperture,
        iso=100,
        shutter_s=1 / 128,
        sync_s=2 ** (-23 / 3),
        shutter_kind="curtain",
        pops=1,
        over=0,
        filter_stops=0,
        bellows_stops=0,
        writes_effective=False,
        iso_given=True,
        step=1 / 3,
    )
    assert camera.aperture.n == pytest.approx(2 ** (22 / 6))
    place = main.card.place
    assert isinstance(place, Place)
    assert (place.box, place.fractions) == ((0.42, 0.40, 0.12, 0.16), True)
    flat, densities = tmp_path / "flat.dng", (0.05, 0.35, 1.0)
    assert main.card == Card("studio card", 0.18, place, flat, densities)
    assert main.tolerance == Tolerance(0.17, 0.1)
    assert main.scatter == Scatter(0.08, 0.1, 0.029, 0.05, placing_given=True)
    assert main.selection == Selection()
    assert (bottle.name, bottle.selection) == ("bottle, rim light", Selection(((123, 168),)))
    assert bottle.reading is not None
    assert (bottle.reading.aperture.n, bottle.reading.meter) == (16, "bench meter")
    assert (bottle.card, bottle.tolerance) == (main.card, main.tolerance)


def test_what_is_not_given(read: Read) -> None:
    main = read(METERED).main
    assert main.name == MAIN
    assert main.reading is not None
    assert (main.reading.iso, main.reading.shutter_s, main.reading.constant) == (100, None, 250)
    camera = camera_of(main)
    assert (camera.iso, camera.iso_given, camera.shutter_s, camera.pops) == (100, False, None, 1)
    assert camera.aperture.text == "f/13"
    assert main.card == Card(None, 0.18, "find", None)
    assert main.tolerance == Tolerance(0.17, 0.1)
    assert main.scatter == Scatter(0.08, 0.1, 0.1 / 12**0.5, 0.05)


@pytest.mark.parametrize(
    ("step", "u"),
    [("0.1", 0.0289), ('"1/3"', 0.0962), ('"1/2"', 0.1443)],  # check-values 8.6: step / sqrt(12)
)
def test_the_meter_is_as_sure_as_its_step(read: Read, step: str, u: float) -> None:
    main = read(f'[reading]\naperture = "f/11"\nstep = {step}').main
    assert main.scatter.meter == pytest.approx(u, abs=5e-5)
    given = read(f'[reading]\naperture = "f/11"\nstep = {step}\n[uncertainty]\nmeter = 0.02')
    assert given.main.scatter.meter == 0.02


@pytest.mark.parametrize(
    ("keys", "constant"),
    [
        ("", 250),
        ('receptor = "dome"', 330),
        ('method = "reflected"', 12.5),
        ('method = "reflected"\nconstant = 14', 14),
        ('receptor = "dome"\nconstant = 340', 340),
    ],
)
def test_the_constant_follows_from_the_method_and_the_receptor(
    read: Read, keys: str, constant: float
) -> None:
    reading = read(METERED + keys).main.reading
    assert reading is not None
    assert reading.constant == constant


def test_an_apertures_tenths_are_those_of_the_meters_step(read: Read) -> None:
    reading = read('[reading]\naperture = 4.5\nstep = "1/3"').main.reading
    assert reading is not None
    assert reading.aperture.n == pytest.approx(2 ** (13 / 6))
    with pytest.raises(PlanError, match="f/4 and 5 tenths"):
        read("[reading]\naperture = 4.5")


@pytest.mark.parametrize(
    ("written", "stops"),
    [  # check-values 6.1
        ("magnification = 1", 2),
        ("magnification = 0.5\npupil_magnification = 0.5", 2),
        ("magnification = 1\npupil_magnification = 2", 1.170),
        ("extension_mm = 152.4\nfocal_mm = 304.8", 1.170),  # 18 inch of draw, a lens of 12 inch
        ("bellows_stops = 0.7", 0.7),
    ],
)
def test_every_way_to_say_bellows(read: Read, written: str, stops: float) -> None:
    camera = camera_of(read(f"{METERED}[camera]\n{written}").main)
    assert camera.bellows_stops == pytest.approx(stops, abs=5e-4)


@pytest.mark.parametrize("shutter", ["bulb", "8s", "0.3", "1/125"])
def test_bulb_is_a_shutter_time_of_a_flash_exposure(read: Read, shutter: str) -> None:
    camera = camera_of(read(f'{METERED}shutter = "1/60"\n[camera]\nshutter = "{shutter}"').main)
    exact = {"bulb": None, "8s": 8, "0.3": 2 ** (-5 / 3), "1/125": 1 / 128}[shutter]
    assert camera.shutter_s == exact


def test_a_set_up_inherits_and_changes(read: Read) -> None:
    plan = read(
        METERED + 'meter = "bench"\n[camera]\naperture = "f/11"\nmagnification = 0.5\nfilters = 1\n'
        '[card]\nbox = "chart"\n'
        '[[setup]]\nname = "a"\nfrom = "0123"\n'
        'reading = { aperture = "f/16", receptor = "dome" }\ncamera = { bellows_stops = 1 }\n'
        "uncertainty = { lens = 0 }\n"
        '[[setup]]\nname = "b"\nserial = "0047"\ncard = { reflectance = 0.9, box = "find" }\n'
    )
    main, a, b = plan.setups
    assert (a.reading, b.reading) != (main.reading, main.reading)
    assert a.reading is not None
    assert (a.reading.aperture.n, a.reading.constant, a.reading.meter) == (16, 330, "bench")
    camera = camera_of(a)
    assert (camera.bellows_stops, camera.filter_stops, camera.aperture.text) == (1, 1, "f/11")
    assert (a.scatter.lens, a.scatter.card) == (0, 0.08)
    assert a.selection == Selection(start=123)
    assert (b.reading, b.camera) == (main.reading, main.camera)
    assert (a.card.place, b.card.place) == ("chart", "find")
    assert b.card.reflectance == 0.9
    assert b.selection == Selection(serial="0047")


@pytest.mark.parametrize(
    ("frames", "ranges"),
    [
        ("0123-0168", ((123, 168),)),
        ("7", ((7, 7),)),
        (" 1 - 3, 0009,20\N{EN DASH}21 ", ((1, 3), (9, 9), (20, 21))),
    ],
)
def test_frames_of_a_set_up(read: Read, frames: str, ranges: tuple[tuple[int, int], ...]) -> None:
    plan = read(f'{METERED}[[setup]]\nname = "jug"\nframes = "{frames}"')
    assert plan.setups[1].selection.ranges == ranges


def test_what_is_typed_stands_over_the_plan_in_every_set_up(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(EVERY_KEY, encoding="utf-8")
    typed = {"reading": {"aperture": "f/8 + 0.5", "iso": "200", "shutter": "1/60"}}
    for setup in read_plan(path, typed).setups:
        assert setup.reading is not None
        assert setup.reading.aperture.n == pytest.approx(2 ** (6.5 / 2))
        assert (setup.reading.iso, setup.reading.shutter_s) == (200, 1 / 64)
        assert camera_of(setup).shutter_s == 1 / 128  # the plan gives the camera's


def test_what_is_typed_stands_instead_of_a_plan() -> None:
    plan = read_plan(None, {"reading": {"aperture": "f/8", "iso": "200"}})
    assert plan.source is None
    camera = camera_of(plan.main)
    assert (camera.aperture.text, camera.iso, camera.iso_given) == ("f/8", 200, False)
    with pytest.raises(PlanError, match=r"^\[reading\] aperture: 8\.7 could be"):
        read_plan(None, {"reading": {"aperture": 8.7}})
    assert read_plan(None).main.reading is None
