"""The signal that a plan lets expect, the camera settings that follow from it, and its words."""

import math
from typing import Any

import pytest
from readings import set_up

from verify.plan.expected import (
    departure_stops,
    departure_text,
    dome_on_card,
    expected_signal,
    plan_in_words,
)
from verify.plan.file import read_plan
from verify.plan.records import MeterOffset, SetUp

FIVE_DIGITS = 5e-6  # check-values 2.5 prints the fraction of saturation with five digits
ROUNDING = 1e-12  # stop: a few operations on doubles

Tables = dict[str, dict[str, Any]]


def signal(setup: SetUp, offset: MeterOffset | None = None) -> float:
    """Expected signal of a set-up with a reading."""
    found = expected_signal(setup, offset)
    assert found is not None
    return found


def against_metered(sections: Tables, aperture: object = "f/11") -> float:
    """Stops of the expected signal of a plan against that of the flat receptor's own f/11."""
    return math.log2(signal(set_up(aperture, **sections)) / signal(set_up()))


def camera_text(sections: Tables, aperture: object = "f/11 + 0.3") -> str:
    """Aperture of the camera as the plan reads it."""
    camera = set_up(aperture, **sections).camera
    assert camera is not None
    return camera.aperture.text


@pytest.mark.parametrize(
    ("reading", "fraction"),
    [  # check-values 2.5: an 18 % card at the metered setting, ISO 12232 saturation speed
        ({}, 0.11937),
        ({"receptor": "dome"}, 0.15756),
        ({"constant": 340, "receptor": "dome"}, 0.16234),
        ({"method": "reflected"}, 0.10417),
        ({"method": "reflected", "constant": 14}, 0.11667),
    ],
)
@pytest.mark.parametrize("aperture", ["f/2.8", "f/11", "f/45"])
@pytest.mark.parametrize("iso", [100, 160, 6400])
def test_a_grey_card_at_the_metered_setting(
    reading: dict[str, Any], fraction: float, aperture: str, iso: int
) -> None:
    metered = set_up(aperture, reading={"iso": iso, **reading})
    assert signal(metered) == pytest.approx(fraction, abs=FIVE_DIGITS)


def test_a_reflected_reading_is_of_the_card_so_its_reflectance_drops_out() -> None:
    for reflectance, stops in ((0.9, 2.3219), (0.17, -0.0825)):  # check-values 5, against 18 %
        card = {"card": {"reflectance": reflectance}}
        assert against_metered(card) == pytest.approx(stops, abs=5e-5)
        reflected = {"reading": {"method": "reflected"}}
        same = against_metered(reflected | card) - against_metered(reflected)
        assert same == 0


@pytest.mark.parametrize(
    ("camera", "stops"),
    [
        ({"aperture": "f/8"}, 1),
        ({"aperture": "f/13"}, -1 / 3),
        ({"iso": 400, "aperture": "f/11"}, 2),
        ({"pops": 4, "aperture": "f/11"}, 2),  # check-values 6.3
        ({"pops": 3, "aperture": "f/11"}, 1.585),
        ({"filters": 0.9966, "aperture": "f/11"}, -0.9966),  # check-values 6.2: ND 0.3
        ({"magnification": 1, "aperture": "f/11"}, -2),  # check-values 6.1
        ({"magnification": 2 / 3, "aperture": "f/11"}, -1.474),
        ({"magnification": 0.5, "pupil_magnification": 2, "aperture": "f/11"}, -0.644),
        ({"extension_mm": 90, "focal_mm": 180, "aperture": "f/11"}, -1.170),
        ({"bellows_stops": 0.5, "aperture": "f/11"}, -0.5),
        ({"aperture": "T11"}, 0.152),  # check-values 6.2: the lens of q passes 90 %
        ({"over": 1 / 3}, 1 / 3),
    ],
)
def test_what_the_camera_is_planned_to_do_with_the_light(
    camera: dict[str, Any], stops: float
) -> None:
    assert against_metered({"camera": camera}) == pytest.approx(stops, abs=5e-4)


def test_continuous_light_counts_the_shutter_and_flash_does_not() -> None:
    camera = {"aperture": "f/11", "shutter": "1/30"}
    for light, stops in (("flash", 0), ("continuous", 2), ("high-speed-sync", 2)):
        reading = {"light": light, "shutter": "1/125"}
        found = against_metered({"reading": reading, "camera": camera})
        assert found == pytest.approx(stops, abs=ROUNDING)


def test_pops_of_the_reading_are_already_in_it() -> None:
    camera = {"aperture": "f/11", "pops": 4}
    assert departure_text(set_up(reading={"pops": 4}, camera=camera)) is None
    assert against_metered({"reading": {"pops": 4}, "camera": camera}) == 0
    assert against_metered({"reading": {"pops": 2}, "camera": camera}) == 1


def test_a_correction_asked_for_light_that_an_uncorrected_reading_shows() -> None:
    # The same light: a meter told to ask for half a stop more shows half a stop less.
    corrected = set_up("f/11 - 0.5", reading={"correction": 0.5}, camera={"aperture": "f/11"})
    plain = set_up("f/11", camera={"aperture": "f/11"})
    assert signal(corrected) == pytest.approx(signal(plain), rel=1e-12)


def test_a_fitted_offset_moves_what_is_expected() -> None:
    offset = MeterOffset(stops=-0.4, u_stops=0.03)
    assert math.log2(signal(set_up(), offset) / signal(set_up())) == pytest.approx(-0.4)


def test_without_a_reading_nothing_is_expected() -> None:
    nothing = read_plan(None).main
    assert expected_signal(nothing) is None
    assert departure_text(nothing) is None
    assert plan_in_words(nothing).startswith(
        "No reading: frames are compared with the reference frame"
    )


@pytest.mark.parametrize(
    ("sections", "text"),
    [
        ({}, "f/13"),  # Av 7.3 lies nearest to 7 1/3
        ({"reading": {"aperture": "f/11 + 0.8"}, "camera": {"step": "1/2"}}, "f/16"),
        ({"camera": {"step": 1}}, "f/11"),
        ({"camera": {"step": 0.1}}, "f/12.6"),
        ({"camera": {"iso": 200}}, "f/18"),
        ({"reading": {"iso": 200}, "camera": {"iso": 100}}, "f/9"),
        ({"camera": {"pops": 16}}, "f/51"),
        ({"reading": {"pops": 4}, "camera": {"pops": 1}}, "f/6.3"),
        ({"camera": {"filters": 2}}, "f/6.3"),
        ({"camera": {"magnification": 1}}, "f/6.3"),
        ({"camera": {"over": 1}}, "f/9"),
        ({"camera": {"over": -1 / 3}}, "f/14"),
        ({"camera": {"shutter": "1/60"}}, "f/13"),
        (
            {"reading": {"light": "continuous", "shutter": "1/125"}, "camera": {"shutter": "1/60"}},
            "f/18",
        ),
        ({"reading": {"receptor": "dome", "correction": 0.5}}, "f/13"),
    ],
)
def test_a_camera_aperture_that_is_not_given_follows_from_the_reading(
    sections: Tables, text: str
) -> None:
    assert camera_text(sections) == text


@pytest.mark.parametrize("step", [0.1, "1/3", "1/2", 1])
@pytest.mark.parametrize("tenths", range(0, 100, 7))
def test_a_derived_aperture_is_within_half_a_step_of_the_reading(step: object, tenths: int) -> None:
    aperture = f"exact {2 ** (0.75 + tenths / 20):.6f}"
    setup = set_up(aperture, camera={"step": step, "over": 0.2, "filters": 0.3, "pops": 2})
    assert setup.reading is not None
    assert setup.camera is not None
    left = departure_stops(setup.reading, setup.camera) - 0.2
    half = {0.1: 0.05, "1/3": 1 / 6, "1/2": 0.25, 1: 0.5}[step]
    assert abs(left) <= half + ROUNDING


WORDS = [
    (
        "f/11 + 0.3",
        {},
        "Meter f/11 + 0.3 at ISO 100, 1 pop \N{RIGHTWARDS ARROW} camera f/13, ISO 100, 1 pop, "
        "no bellows, no filter: planned 0.03 under the meter",
    ),
    (
        "f/11",
        {"camera": {"over": 0.5, "filters": 1, "magnification": 1, "pops": 4}},
        "Meter f/11 at ISO 100, 1 pop \N{RIGHTWARDS ARROW} camera f/6.3, ISO 100, 4 pops, "
        "bellows 2.00 stop, filters 1.00 stop: planned 0.67 over the meter (0.50 over asked for)",
    ),
    (
        "f/8",
        {
            "reading": {
                "light": "continuous",
                "shutter": "1/125",
                "receptor": "dome",
                "aimed": "camera",
                "correction": 0.25,
                "iso": 160,
            },
            "camera": {"iso": 320, "shutter": "1/250"},
        },
        "Meter (dome, aimed at the camera, correction +0.25) f/8 at ISO 160, 1/125 s "
        "\N{RIGHTWARDS ARROW} camera f/8, ISO 320, 1/250 s, no bellows, no filter: "
        "planned as metered",
    ),
    (
        "f/8",
        {"reading": {"method": "reflected", "aimed": "camera"}, "camera": {"over": -1}},
        "Meter (reflected) f/8 at ISO 100, 1 pop \N{RIGHTWARDS ARROW} camera f/11, ISO 100, 1 pop, "
        "no bellows, no filter: planned 1.00 under the meter (1.00 under asked for)",
    ),
]


@pytest.mark.parametrize(("aperture", "sections", "words"), WORDS)
def test_the_plan_read_back(aperture: str, sections: Tables, words: str) -> None:
    assert plan_in_words(set_up(aperture, **sections)) == words


@pytest.mark.parametrize(
    ("camera", "sentence"),
    [
        ({}, "the planned settings expose 0.03 stop less than the reading"),
        ({"aperture": "f/11"}, "the planned settings expose 0.30 stop more than the reading"),
        (
            {"aperture": "f/8", "over": 1},
            "the planned settings expose 0.30 stop more than the reading and the +1.00 asked for",
        ),
        (
            {"aperture": "f/16", "over": -0.5},
            "the planned settings expose 0.20 stop less than the reading and the "
            "\N{MINUS SIGN}0.50 asked for",
        ),
        ({"aperture": "f/11 + 0.3"}, None),
        ({"aperture": "f/11 + 0.3", "shutter": "1/60"}, None),
    ],
)
def test_a_plan_that_departs_from_the_reading_says_so(
    camera: dict[str, Any], sentence: str | None
) -> None:
    setup = set_up("f/11 + 0.3", reading={"shutter": "1/125"}, camera=camera)
    assert departure_text(setup) == sentence


@pytest.mark.parametrize(
    ("reading", "other"),
    [
        ({}, False),
        ({"receptor": "dome"}, True),
        ({"aimed": "lamp"}, True),
        ({"aimed": "camera"}, True),
        ({"method": "reflected", "receptor": "dome", "aimed": "camera"}, False),
    ],
)
def test_a_meter_that_does_not_see_the_light_as_the_card_does(
    reading: dict[str, Any], other: bool
) -> None:
    metered = set_up(reading=reading).reading
    assert metered is not None
    assert dome_on_card(metered) is other
