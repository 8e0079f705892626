"""A plan file: every key, what it is refused for, set-ups and what they inherit."""

from collections.abc import Callable
from pathlib import Path

import pytest

from verify.errors import PlanError
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

METERED = '[reading]\naperture = "f/11 + 0.3"\n'
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

    def write_and_read(text: str) -> Plan:
        path = tmp_path / "plan.toml"
        path.write_text(text, encoding="utf-8")
        return read_plan(path)

    return write_and_read


def refusal(read: Read, text: str) -> str:
    """What a plan is refused with, without the name of its file."""
    with pytest.raises(PlanError) as refused:
        read(text)
    lines = str(refused.value).splitlines()
    found = [line.partition("plan.toml: ") for line in lines]
    assert all(colon for _, colon, _ in found), lines
    return "\n".join(rest for *_, rest in found)


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
    assert place is not None
    assert (place.box, place.fractions) == ((0.42, 0.40, 0.12, 0.16), True)
    assert main.card == Card("studio card", 0.18, place, tmp_path / "flat.dng")
    assert main.tolerance == Tolerance(0.17, 0.1)
    assert main.scatter == Scatter(0.08, 0.1, 0.029, 0.05)
    assert main.selection == Selection()
    assert (bottle.name, bottle.selection) == ("bottle, rim light", Selection(((123, 168),)))
    assert bottle.reading is not None
    assert (bottle.reading.aperture.n, bottle.reading.meter) == (16, "bench meter")
    assert (bottle.card, bottle.tolerance) == (main.card, main.tolerance)


# What is written in a section, and what is said of it.
IN_READING = [
    (
        "isoo = 100",
        'isoo: there is no such key (did you mean "iso"?); allowed: step, aperture, iso, shutter, '
        "light, method, receptor, aimed, constant, pops, meter, correction",
    ),
    ("pops = 1.5", "pops: 1.5 is not a whole number from 1 to 1000"),
    ("pops = 0", "pops: 0 is not a whole number from 1 to 1000"),
    ("pops = true", "pops: true is not a whole number from 1 to 1000"),
    ('correction = "1/3"', 'correction: "1/3" is not a number of stops from -10 to 10'),
    ("correction = inf", "correction: Infinity is not a number of stops from -10 to 10"),
    ('light = "sun"', 'light: "sun" is not "flash", "continuous" or "high-speed-sync"'),
    ('method = "spot"', 'method: "spot" is not "incident" or "reflected"'),
    ('receptor = "disc"', 'receptor: "disc" is not "flat" or "dome"'),
    ('aimed = "card"', 'aimed: "card" is not "as-card", "camera" or "lamp"'),
    ('meter = ""', 'meter: "" is not text in quotation marks'),
    ("constant = nan", "constant: NaN is not a calibration constant from 1 to 1000"),
    ("step = 0.2", 'step: 0.2 is not a step of a meter or a camera: write 0.1, "1/3", "1/2" or 1'),
    (
        "iso = 0",
        "iso: 0 is out of range for an ISO speed: write a number such as 100, from 1 to 10000000",
    ),
    ("shutter = 125", 'shutter: 125 could be 1/125 s or 125 s: write "1/125" or "125 s"'),
    (
        "[reading]\naperture = 8.7",
        "aperture: 8.7 could be f/8 and 7 tenths, or the f-number 8.7: "
        'write "f/8 + 0.7" or "exact 8.7"',
    ),
    ("[reading]\niso = 100", "aperture: this key is needed and is not there"),
]
OF_READING = [
    (
        "constant = 12.5",
        "constant = 12.5 cannot be C, the calibration constant of a reading with "
        'method = "incident": it lies from 150 to 700',
    ),
    (
        'method = "reflected"\nconstant = 250',
        "constant = 250 cannot be K, the calibration constant of a reading with "
        'method = "reflected": it lies from 5 to 30',
    ),
    *(
        (
            f'light = "{light}"\n{shutter}',
            f'light = "{light}" needs the shutter time of the reading: shutter = "1/125"',
        )
        for light in ("continuous", "high-speed-sync")
        for shutter in ("", 'shutter = "bulb"')
    ),
]
IN_CAMERA = [
    (
        'shuter = "1/125"',
        'shuter: there is no such key (did you mean "shutter"?); allowed: step, aperture, iso, '
        "shutter, sync, shutter_kind, pops, over, filters, magnification, extension_mm, focal_mm, "
        "bellows_stops, pupil_magnification, f_number_written",
    ),
    ('aperture = "f/0.1"', 'aperture: "f/0.1" is out of range for an aperture: write it as "f/11"'),
    ("over = 11", "over: 11 is not a number of stops from -10 to 10"),
    ("filters = -1", "filters: -1 is not a number of stops from 0 to 20"),
    ("magnification = nan", "magnification: NaN is not a magnification from 0 to 20"),
    ("extension_mm = -1", "extension_mm: -1 is not a length in millimetres from 0 to 5000"),
    ("focal_mm = 0", "focal_mm: 0 is not a focal length in millimetres from 1 to 5000"),
    ("pupil_magnification = 0", "pupil_magnification: 0 is not a pupil magnification from 0.1 to "),
    ("bellows_stops = 21", "bellows_stops: 21 is not a number of stops from 0 to 20"),
    ('shutter_kind = "roller"', 'shutter_kind: "roller" is not "curtain" or "leaf"'),
    ('f_number_written = "t"', 'f_number_written: "t" is not "marked" or "effective"'),
    (
        "filters = 20",
        "aperture: f/0.0124 follows from the reading, and no lens has it: check the reading, iso, "
        "pops, filters and bellows, or give the aperture",
    ),
]
OF_CAMERA = [
    ('sync = "bulb"', 'sync is a shutter time, such as "1/200"'),
    (
        "bellows_stops = 1\nmagnification = 1",
        "magnification and bellows_stops say the same thing twice: keep one",
    ),
    ("extension_mm = 10", "extension_mm needs focal_mm, the focal length of the lens"),
    (
        "extension_mm = 450\nfocal_mm = 300",
        "extension_mm = 450 could be 450 mm beyond infinity with a lens of 300 mm, or the whole "
        "draw from lens to sensor: write magnification = 1.5 or magnification = 0.5",
    ),
]
ELSEWHERE = [
    (
        "[card]\nreflectance = 18",
        "[card] reflectance: 18 is not a share of the light above 0 up to",
    ),
    ("[card]\nbox = 5", "[card] box: 5 is no place for the card: give four numbers, COL,ROW,"),
    (
        "[tolerance]\nabsolute = 0",
        "[tolerance] absolute: 0 is not a number of stops above 0 up to 5",
    ),
    ("[uncertainty]\nlens = -1", "[uncertainty] lens: -1 is not a number of stops from 0 to 3"),
    (
        "[toleranz]",
        '[toleranz]: there is no such section (did you mean "tolerance"?); '
        "allowed: reading, camera, card, tolerance, uncertainty, setup",
    ),
    (
        "[reading]\naperture = 8\n[card]\nbox = [0.5, 0.5, 0.6, 0.1]",
        "[card] box: the card's box 0.5,0.5,0.6,0.1 reaches outside the picture: ",
    ),
    (
        METERED + 'light = "continuous"\nshutter = "1 s"\n[camera]\nshutter = "bulb"',
        "[camera] shutter: with continuous light a time is needed, bulb has none",
    ),
]
WITHOUT_SECTION = [
    ('aperture = "f/11"', "aperture: there is no such key; allowed: reading, camera, card, "),
    (
        'reading = "f/11"',
        '[reading]: "f/11" is not a section: write [reading] on a line and its keys below it',
    ),
    ('[setup]\nname = "jug"', "a set-up is written [[setup]], with double brackets"),
]
IN_SET_UP = [
    ("from = 12", 'from: 12 is not a frame number in quotation marks, such as "0123"'),
    ('from = "x"', 'from: "x" is not a frame number in quotation marks, such as "0123"'),
    ("serial = 4711", "serial: 4711 is not text in quotation marks"),
    ("", 'which frames? Give frames = "0123-0168", from = "0123" or serial = "..."'),
    (
        'frame = "2"',
        'frame: there is no such key (did you mean "frames"?); allowed: reading, camera, card, '
        "tolerance, uncertainty, name, frames, from, serial",
    ),
    ('frames = "9-1"', 'frames "9-1" run backwards; write the smaller number first'),
    ('frames = "a-b"', 'frames "a-b" is not like "0123-0168" or "0123, 0130-0140"'),
    (
        'frames = "1"\nreading = { aperture = 16.5 }',
        "[reading] aperture: 16.5 could be f/16 and 5 tenths, or the f-number 16.5: ",
    ),
    ('frames = "1"\ncard = { box = [1, 2] }', "[card] box: [1, 2] is no place for the card: give "),
    (
        'frames = "1"\nreading = { light = "continuous", shutter = "1/60" }\n'
        'camera = { shutter = "bulb" }',
        "[camera] shutter: with continuous light a time is needed, bulb has none",
    ),
]
MISTAKES = [
    *((METERED * (line[0] != "[") + line, f"[reading] {said}") for line, said in IN_READING),
    *((METERED + line, f"[reading]: {said}") for line, said in OF_READING),
    *((f"{METERED}[camera]\n{line}", f"[camera] {said}") for line, said in IN_CAMERA),
    *((f"{METERED}[camera]\n{line}", f"[camera]: {said}") for line, said in OF_CAMERA),
    *ELSEWHERE,
    *WITHOUT_SECTION,
    *(
        (f'{METERED}[[setup]]\nname = "jug"\n{line}', f'[[setup]] 1 "jug": {said}')
        for line, said in IN_SET_UP
    ),
    ('[[setup]]\nframes = "1-9"', "[[setup]] 1: name: this key is needed and is not there"),
    (
        '[[setup]]\nname = "main"\nframes = "11"',
        '[[setup]] 1 "main": "main" means the frames that no set-up names; give another name',
    ),
    (
        '[[setup]]\nname = "jug"\nframes = "1"\n' * 2,
        '[[setup]] 2 "jug": two set-ups have this name; give each its own',
    ),
]


@pytest.mark.parametrize(("text", "message"), MISTAKES)
def test_a_mistake_is_named_with_its_place_and_what_is_allowed(
    read: Read, text: str, message: str
) -> None:
    found = refusal(read, text)
    assert found.startswith(message)
    assert "\n" not in found


def test_every_mistake_has_its_line(read: Read) -> None:
    found = refusal(read, METERED + 'pops = 0\nlight = "sun"\n[card]\nreflectance = 2')
    places = [line.split(":")[0] for line in found.splitlines()]
    assert sorted(places) == ["[card] reflectance", "[reading] light", "[reading] pops"]


def test_a_long_or_broken_value_stays_on_a_line(read: Read) -> None:
    message = refusal(read, METERED + f'receptor = """a\n{"b" * 100}"""')
    assert message.startswith('[reading] receptor: "a\\nbbb')
    assert len(message) < 120


@pytest.mark.parametrize(
    ("written", "message"),
    [
        (b"[reading\n", "this is not TOML: "),
        (b"\xff\xfe\x00", "this is not text in UTF-8: save the plan as UTF-8"),
    ],
)
def test_a_file_that_is_no_plan(tmp_path: Path, written: bytes, message: str) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(written)
    with pytest.raises(PlanError) as refused:
        read_plan(path)
    assert str(refused.value).startswith(f"{path}: {message}")


def test_a_plan_that_is_not_there_or_a_folder(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"none\.toml: there is no such plan"):
        read_plan(tmp_path / "none.toml")
    with pytest.raises(PlanError, match="the plan cannot be read"):
        read_plan(tmp_path)


def test_a_plan_as_an_editor_on_another_system_saves_it(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(b"\xef\xbb\xbf" + METERED.replace("\n", "\r\n").encode())
    assert read_plan(path).main.reading is not None


def test_what_is_not_given(read: Read) -> None:
    main = read(METERED).main
    assert main.name == MAIN
    assert main.reading is not None
    assert (main.reading.iso, main.reading.shutter_s, main.reading.constant) == (100, None, 250)
    camera = camera_of(main)
    assert (camera.iso, camera.iso_given, camera.shutter_s, camera.pops) == (100, False, None, 1)
    assert camera.aperture.text == "f/13"
    assert main.card == Card(None, 0.18, None, None)
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
    assert "f/4 and 5 tenths" in refusal(read, "[reading]\naperture = 4.5")


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
    assert (b.card.reflectance, b.card.place) == (0.9, None)
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
