"""What the sections on flash, motion, ambient light and the shutter are refused for."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from readings import plan_of

from verify.errors import PlanError
from verify.plan.records import Plan
from verify.plan.sections import MOST_LAMPS

Read = Callable[[str], Plan]
SET_UP = '\n[[setup]]\nname = "low"\nframes = "1-9"\n'


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Write a plan and read it."""
    return partial(plan_of, tmp_path)


WRONG_LAMPS = "a lamp is written [[flash]], in double brackets; up to 32 of them"
IN_FLASH = [
    ("share = 1", ': how long is it? Give t_half = "1/800", t_tenth = "1/250", or both'),
    ('t_half = "1/800"\nshare = 0', " share: 0 is not a share of the flash light above 0 up to 1"),
    (
        't_half = "2 s"',
        ' t_half: "2 s" is not the duration of a flash: write it as "1/800" or "250 us", up to 1 s',
    ),
    ("t_half = 0", " t_half: 0 is not the duration of a flash: "),
    ("t_half = 800", ' t_half: 800 could be 1/800 s or 800 s: write "1/800" or "800 s"'),
    ('t_half = "1/250"\nt_tenth = "1/800"', ": t_tenth = 1.25 ms is shorter than t_half = 4 ms: "),
    (
        't_half = "250 us"\nt_tenth = "250 ms"',
        ": t_tenth = 250 ms is 1000 times t_half = 250 us, and no flash has such a tail: check ",
    ),
    (
        't_half = "1/800"\nt_tenth = "1/200"\nkind = "cut"',
        ": t_tenth = 5 ms is 4 times t_half = 1.25 ms, and a decay that is cut has no more than "
        '3.3219 times: write kind = "decaying"',
    ),
    ('t_half = "1/800"\nkind = "chopped"', ' kind: "chopped" is not "decaying" or "cut"'),
    (
        't_half = "1/800"\npower = true',
        " power: true is not a power as set on a unit: write a number such as 7.0, or text such as",
    ),
    ('t_half = "1/800"\nquoted_at = " "', ' quoted_at: " " is not a power as set on a unit: '),
    ('t_half = "1/800"\npower = nan', " power: NaN is not a power as set on a unit: "),
    (
        'thalf = "1/800"',
        ' thalf: there is no such key (did you mean "t_half"?); allowed: lamp, share, power, ',
    ),
]
ELSEWHERE = [
    ('[flash]\nt_half = "1/800"', f"[flash]: {WRONG_LAMPS}"),
    ("flash = 1", f"[flash]: {WRONG_LAMPS}"),
    ("flash = [1]", f"[[flash]] 1: {WRONG_LAMPS}"),
    ('[[flash]]\nt_half = "1/800"\n' * (MOST_LAMPS + 1), f"[flash]: {WRONG_LAMPS}"),
    ("[subject]\nsize_m = 1", "[subject] speed: this key is needed and is not there"),
    ("[subject]\nspeed = 0", "[subject] speed: 0 is not a speed in metres a second above 0 up to"),
    ('[subject]\nspeed = "2 m/s"', '[subject] speed: "2 m/s" is not a speed in metres a second'),
    ('[subject]\nspeed = 1\ndirection = "up"', '[subject] direction: "up" is not "across" or '),
    (
        "[subject]\nspeed = 1\nmagnification = 1\nfield_width_m = 1",
        "[subject]: magnification and field_width_m say the same thing twice: keep one",
    ),
    (
        "[subject]\nspeed = 1\nfocal_mm = 80",
        "[subject]: focal_mm needs distance_m, the distance from the lens to the subject",
    ),
    (
        "[subject]\nspeed = 1\ndistance_m = 1",
        "[subject]: distance_m needs focal_mm, the focal length of the lens",
    ),
    (
        "[subject]\nspeed = 1\nfocal_mm = 80\ndistance_m = 0.08",
        "[subject]: distance_m = 0.08 is not beyond the focal length of 80 mm, where nothing can ",
    ),
    (
        "[sensor]\nwidth_mm = 24\nheight_mm = 36",
        "[sensor]: height_mm = 36 is more than width_mm = 24: width is the sensor's long side, ",
    ),
    ("[sensor]\npixel_pitch_um = 0", "[sensor] pixel_pitch_um: 0 is not a distance in microm"),
    ('[sensor]\ncovered_first = "left"', '[sensor] covered_first: "left" is not "top" or "bottom"'),
    ("[ambient]", "[ambient]: how strong is it? Give stops_under_flash = 4.0, or aperture, what "),
    (
        '[ambient]\nstops_under_flash = 4\nframe = "a.dng"',
        "[ambient]: stops_under_flash and frame say the same thing twice: keep one",
    ),
    ("[ambient]\nstops_under_flash = 31", "[ambient] stops_under_flash: 31 is not a number of "),
    (
        "[ambient]\naperture = 8.7",
        "[ambient] aperture: 8.7 could be f/8 and 7 tenths, or the f-number 8.7: ",
    ),
    (
        "[limits]\nsharp_px = 3",
        "[limits]: sharp_px = 3 has to be less than slight_px = 3: up to the first a blur is sharp",
    ),
    ("[limits]\nprint_mm = 400", "[limits]: print_mm needs viewing_mm, the distance from which "),
    ("[limits]\nviewing_mm = 400", "[limits]: viewing_mm needs print_mm, the long side of the pr"),
    (
        "[limits]\nprint_mm = 400\nviewing_mm = 600\nslight_px = 4",
        "[limits]: a print's size and viewing distance give the limits in pixels: leave out ",
    ),
    (
        '[camera]\nshutter_kind = "leaf"\ntravel = "3 ms"',
        "[camera]: travel is that of curtains, and a leaf shutter has none: give opening and ",
    ),
    *(
        (f'[camera]\n{key} = "1 ms"', "[camera]: opening and closing are of a leaf shutter: give ")
        for key in ("opening", "closing")
    ),
    ("[camera]\ntravel = 0", "[camera] travel: 0 is not a time from 1 us to 10 s"),
    ('[camera]\ndelay = "bulb"', '[camera] delay: "bulb" is not a time: write it as "1/2000", '),
    (
        SET_UP + '[[setup.flash]]\nt_half = "1/800"\n[[setup.flash]]\nshare = 1',
        '[[setup]] 1 "low": [[flash]] 2: how long is it? Give ',
    ),
    (SET_UP + "ambient = { aperture = 8.7 }", '[[setup]] 1 "low": [ambient] aperture: 8.7 could '),
]
MISTAKES = [*((f"[[flash]]\n{keys}", f"[[flash]] 1{says}") for keys, says in IN_FLASH), *ELSEWHERE]


@pytest.mark.parametrize(("text", "message"), MISTAKES)
def test_a_mistake_has_its_place_and_what_is_allowed(read: Read, text: str, message: str) -> None:
    with pytest.raises(PlanError) as refused:
        read(text)
    assert "\n" not in str(refused.value)
    assert str(refused.value).partition("plan.toml: ")[2].startswith(message)
