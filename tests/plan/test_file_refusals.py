"""What a plan file is refused for: every mistake with its place and what is allowed there."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from readings import METERED, plan_of

from verify.errors import PlanError
from verify.plan.file import read_plan
from verify.plan.records import Plan

Read = Callable[[str], Plan]

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
    ('meter = ""', 'meter: "" is not text in quotation marks, of up to 200 characters'),
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
        "bellows_stops, pupil_magnification, f_number_written, travel, delay, opening, closing",
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
    *(
        (
            f"[card]\ndensities = {written}",
            f"[card] densities: {shown} is not a list of densities, each a number from 0 to 5",
        )
        for written, shown in (("0.3", "0.3"), ('["0.3"]', '"0.3"'), ("[0, 7]", "7"))
    ),
    (
        "[card]\ndensities = [1.55, 0.05]",
        "[card] densities: the densities of a step wedge rise from step to step: write the ",
    ),
    (
        "[tolerance]\nabsolute = 0",
        "[tolerance] absolute: 0 is not a number of stops above 0 up to 5",
    ),
    ("[uncertainty]\nlens = -1", "[uncertainty] lens: -1 is not a number of stops from 0 to 3"),
    (
        "[toleranz]",
        '[toleranz]: there is no such section (did you mean "tolerance"?); '
        "allowed: reading, camera, card, tolerance, uncertainty, flash, subject, sensor, ambient, "
        "limits, setup",
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
    ("setup = [1]", "a set-up is written [[setup]], with double brackets"),
    ('[setup]\nname = "jug"', "a set-up is written [[setup]], with double brackets"),
]
IN_SET_UP = [
    ("from = 12", 'from: 12 is not a frame number in quotation marks, such as "0123"'),
    ('from = "x"', 'from: "x" is not a frame number in quotation marks, such as "0123"'),
    ("serial = 4711", "serial: 4711 is not text in quotation marks, of up to 200 characters"),
    ("", 'which frames? Give frames = "0123-0168", from = "0123" or serial = "..."'),
    (
        'frame = "2"',
        'frame: there is no such key (did you mean "frames"?); allowed: reading, camera, card, '
        "tolerance, uncertainty, flash, subject, sensor, ambient, limits, name, frames, from, "
        "serial",
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


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Write a plan and read it."""
    return partial(plan_of, tmp_path)


def refusal(read: Read, text: str) -> str:
    """What a plan is refused with, without the name of its file."""
    with pytest.raises(PlanError) as refused:
        read(text)
    lines = str(refused.value).splitlines()
    found = [line.partition("plan.toml: ") for line in lines]
    assert all(colon for _, colon, _ in found), lines
    return "\n".join(rest for *_, rest in found)


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
