"""A frame against its plan: the part of the settings, the rest, and how sure both are."""

import math
from dataclasses import replace
from typing import Any

import pytest
from readings import AS_PLANNED, FLAT_SIGNAL, checked, patch, set_up

from verify.compare import FrameCheck, marked_f_number
from verify.frames.frame import Doubt, Settings
from verify.plan.file import read_plan
from verify.plan.records import MeterOffset

SETTINGS_WITHIN = 0.001  # stop; the "Numbers to reach"
ROUNDING = 1e-9  # stop
DERIVED = 1e-5  # stop: the signal of check-values 2.5 against the plan's own

# What third-stop cameras write, from f/2.8 and ISO 100 on; the steps are Av and Sv times three.
F_NUMBERS = [2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10, 11, 13, 14, 16, 18, 20, 22, 25, 29]
ISOS = [100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200]
HALVES = [(3.3, 7), (4.8, 9), (6.7, 11), (9.5, 13), (19, 17), (27, 19)]  # f-number, Av times two


def shot(**settings: Any) -> Settings:
    """Recorded settings that differ from f/11, 1/125 s, ISO 100."""
    return replace(AS_PLANNED, **settings)


def figures(check: FrameCheck) -> tuple[float, float, float]:
    """Error, settings and rest of a check that has them."""
    found = check.error_stops, check.settings_stops, check.rest_stops
    error, settings, rest = (math.nan if value is None else value for value in found)
    assert not math.isnan(error + settings + rest)
    return error, settings, rest


@pytest.mark.parametrize(("n", "thirds"), [*zip(F_NUMBERS, range(9, 30), strict=True)])
def test_f_numbers_as_cameras_write_them(n: float, thirds: int) -> None:
    _, settings, _ = figures(checked(settings=shot(f_number=n)))
    assert settings == pytest.approx(7 - thirds / 3, abs=SETTINGS_WITHIN)


@pytest.mark.parametrize(("n", "halves"), HALVES)
def test_half_stop_f_numbers_as_cameras_write_them(n: float, halves: int) -> None:
    _, settings, _ = figures(checked(settings=shot(f_number=n)))
    assert settings == pytest.approx(7 - halves / 2, abs=SETTINGS_WITHIN)


@pytest.mark.parametrize("camera", [{"step": "1/2"}, {"step": "1/2", "aperture": "f/13"}])
def test_a_camera_with_half_steps_means_another_f_13(camera: dict[str, Any]) -> None:
    """A third-stop camera's f/13 is 12.699, half a stop above f/11 is 13.454: both print 13."""
    setup = set_up("f/11 + 0.5", camera=camera)
    assert setup.camera is not None
    assert setup.camera.aperture.text == "f/13"
    check = checked(settings=shot(f_number=13), setup=setup)
    assert check.settings_stops == pytest.approx(0, abs=SETTINGS_WITHIN)
    assert check.f_number == pytest.approx(2 ** (7.5 / 2))


@pytest.mark.parametrize(("iso", "thirds"), [*zip(ISOS, range(16), strict=True)])
def test_iso_and_f_number_as_cameras_write_them(iso: float, thirds: int) -> None:
    both = shot(iso=iso, f_number=F_NUMBERS[12 - thirds % 6])  # opened by as many third stops
    _, settings, _ = figures(checked(settings=both))
    assert settings == pytest.approx(thirds / 3 + thirds % 6 / 3, abs=SETTINGS_WITHIN)


@pytest.mark.parametrize(
    ("written", "stops"),
    [  # values that no dial prints are taken as they are
        ({"f_number": 10.93}, 2 * math.log2(2**3.5 / 10.93)),
        ({"f_number": 2**3.5}, 0),
        ({"iso": 57}, math.log2(0.57)),
        ({"iso": 140}, 0.5),
    ],
)
def test_settings_between_the_printed_ones(written: dict[str, float], stops: float) -> None:
    _, settings, _ = figures(checked(settings=shot(**written)))
    assert settings == pytest.approx(stops, abs=SETTINGS_WITHIN)


@pytest.mark.parametrize("over", [-4, -0.5, 0, 2])
@pytest.mark.parametrize("settings", [shot(), shot(f_number=8.0), shot(f_number=16.0, iso=640)])
def test_error_is_settings_and_rest(over: float, settings: Settings) -> None:
    check = checked(FLAT_SIGNAL * 2**over, settings)
    error, part, rest = figures(check)
    assert error == pytest.approx(over, abs=DERIVED)
    assert part + rest == pytest.approx(error, abs=ROUNDING)
    assert ("settings-differ" in check.warnings) is (settings != AS_PLANNED)


@pytest.mark.parametrize(("n", "differs"), [(11.3, False), (11.34, True), (11.29, True)])
def test_a_departure_too_small_to_be_a_setting_is_none(n: float, differs: bool) -> None:
    # 0.005 stop on either side of f/11.3137 is f/11.333 and f/11.294.
    assert ("settings-differ" in checked(settings=shot(f_number=n)).warnings) is differs


def test_settings_that_cancel_still_differ() -> None:
    check = checked(settings=shot(f_number=16.0, iso=200))
    assert figures(check)[1] == pytest.approx(0, abs=ROUNDING)
    assert "settings-differ" in check.warnings


@pytest.mark.parametrize(
    ("written", "magnification", "expected"),
    [
        ("effective", 1, 0),  # f/11 at m = 1 is written as f/22
        ("effective", 0, -2),
        ("marked", 1, -2),
    ],
)
def test_an_effective_f_number_has_the_bellows_in_it(
    written: str, magnification: float, expected: float
) -> None:
    camera = {"aperture": "f/11", "magnification": magnification, "f_number_written": written}
    check = checked(settings=shot(f_number=22.0), setup=set_up(camera=camera))
    _, settings, _ = figures(check)
    assert settings == pytest.approx(expected, abs=SETTINGS_WITHIN)
    # The bellows are in what is expected however the camera writes its f-number.
    assert check.expected_signal == pytest.approx(FLAT_SIGNAL / (1 + magnification) ** 2, rel=1e-9)


@pytest.mark.parametrize(
    ("missing", "warning"),
    [("f_number", "no-f-number"), ("iso", "no-iso"), ("shutter_s", "no-shutter")],
)
@pytest.mark.parametrize("light", ["flash", "continuous"])
def test_what_the_file_does_not_record_counts_as_planned(
    missing: str, warning: str, light: str
) -> None:
    plan = set_up(reading={"light": light, "shutter": "1/125"})
    check = checked(settings=shot(**{missing: None}), setup=plan)
    assert figures(check)[1] == pytest.approx(0, abs=ROUNDING)
    assert [name for name in check.warnings if name.startswith("no-")] == [warning, "no-offset"]
    assert check.settings is not None
    assert getattr(check.settings, missing) is None


def test_continuous_light_counts_the_shutter_time() -> None:
    plan = set_up(reading={"light": "continuous", "shutter": "1/125"})
    check = checked(settings=shot(shutter_s=1 / 60), setup=plan)
    assert figures(check)[1] == pytest.approx(1, abs=SETTINGS_WITHIN)
    assert check.notes == ()


def test_with_flash_another_shutter_time_is_noted_and_does_not_count() -> None:
    check = checked(settings=shot(shutter_s=1 / 60))
    assert figures(check)[1] == 0
    assert check.notes == (
        "shot at 1/60 s where 1/125 s was planned: with flash that changes only the ambient light",
    )
    assert checked(settings=shot(shutter_s=1 / 128)).notes == ()
    for seconds, told in ((1 / 136, False), (1 / 138, True)):  # 0.09 and 0.11 stop from 1/128
        assert bool(checked(settings=shot(shutter_s=seconds)).notes) is told
    assert checked(settings=shot(shutter_s=1 / 60), setup=set_up()).notes == ()


@pytest.mark.parametrize(
    ("camera", "light", "shutter_s", "warned"),
    [
        ({"sync": "1/200"}, "flash", 1 / 250, True),
        ({"sync": "1/200"}, "flash", 1 / 200, False),
        ({"sync": "1/200"}, "flash", 1 / 125, False),
        ({"sync": "1/200", "shutter_kind": "leaf"}, "flash", 1 / 500, False),
        ({"sync": "1/200"}, "high-speed-sync", 1 / 500, False),
        ({}, "flash", 1 / 500, False),
    ],
)
def test_above_sync(camera: dict[str, str], light: str, shutter_s: float, warned: bool) -> None:
    plan = set_up(reading={"light": light, "shutter": "1/125"}, camera=camera)
    check = checked(settings=shot(shutter_s=shutter_s), setup=plan)
    assert ("above-sync" in check.warnings) is warned


def test_a_plan_that_departs_from_the_reading_says_so_on_every_frame() -> None:
    check = checked(setup=set_up(camera={"aperture": "f/8"}))
    assert check.notes == ("the planned settings expose 1.00 stop more than the reading",)
    assert figures(check)[1] == pytest.approx(-1)


def test_without_a_reading_there_is_no_error() -> None:
    check = checked(setup=read_plan(None).main)
    assert (check.expected_signal, check.error_stops, check.rest_stops) == (None, None, None)
    assert (check.settings_stops, check.u_stops) == (None, None)
    assert check.repeat_u_stops == pytest.approx(0.05)
    assert "no-offset" not in check.warnings


def test_the_budget_is_a_root_sum_of_squares() -> None:
    # JCGM 100; check-values 10, line 4: .05, .1, .08 and .1 make 0.17.
    plan = set_up(uncertainty={"meter": 0.1})
    check = checked(setup=plan, u_terms={"noise": 0.0})
    assert dict(check.budget) == {
        "noise": 0,
        "lens": 0.05,
        "placing": 0.1,
        "meter": 0.1,
        "card": 0.08,
    }
    assert check.u_stops == pytest.approx(0.17, abs=5e-4)
    more = checked(setup=plan, u_terms={"noise": 0.03, "evenness": 0.02, "glare": 0.01})
    assert more.u_stops == pytest.approx(math.hypot(0.17, 0.03, 0.02, 0.01), abs=5e-4)
    assert more.repeat_u_stops == pytest.approx(math.hypot(0.05, 0.03))


@pytest.mark.parametrize(
    ("reading", "offset", "without"),
    [
        ({}, None, {"dome", "offset"}),
        ({}, MeterOffset(0.1, 0.04), {"dome"}),
        ({}, MeterOffset(0.1, 0.04, card="studio card"), {"dome", "card"}),
        ({}, MeterOffset(0.1, 0.04, card="another"), {"dome"}),
        ({"receptor": "dome"}, None, {"offset"}),
        ({"aimed": "camera"}, None, {"offset"}),
        ({"aimed": "camera"}, MeterOffset(0.1, 0.04), set()),
        ({"aimed": "camera"}, MeterOffset(0.1, 0.04, aimed="camera"), {"dome"}),
        ({"receptor": "dome"}, MeterOffset(0.1, 0.04, receptor="dome"), {"dome"}),
        ({"method": "reflected", "aimed": "camera"}, None, {"dome", "card", "offset"}),
    ],
)
def test_what_is_in_the_budget(
    reading: dict[str, str], offset: MeterOffset | None, without: set[str]
) -> None:
    plan = set_up(reading=reading, card={"name": "studio card"})
    check = checked(setup=plan, offset=offset)
    terms = {"noise", "lens", "placing", "meter", "card", "dome", "offset"}
    assert {name for name, _ in check.budget} == terms - without
    assert dict(check.budget).get("dome", 0.3) == 0.3
    assert dict(check.budget).get("offset", 0.04) == 0.04
    assert ("dome-on-card" in check.warnings) is ("dome" not in without)
    assert ("no-offset" in check.warnings) is (offset is None)


def test_an_offset_without_a_cards_name_cancels_no_card() -> None:
    check = checked(setup=set_up(), offset=MeterOffset(0.1, 0.04))
    assert dict(check.budget)["card"] == 0.08


def test_a_fitted_offset_is_taken_out_of_the_error() -> None:
    check = checked(FLAT_SIGNAL * 2**-0.4, offset=MeterOffset(-0.4, 0.03))
    assert figures(check) == pytest.approx((0, 0, 0), abs=DERIVED)
    assert check.offset_stops == -0.4


@pytest.mark.parametrize(
    ("fields", "at_most"),
    [
        ({"signal": 1e-4, "noise": 1e-4}, 3e-4),  # two standard errors above the mean
        ({"signal": -1e-3, "noise": 1e-4}, 2e-4),
        ({"signal": 0.0, "noise": 0.0}, 1 / 15871),  # a whole code: two halves
        ({"signal": 1e-3, "noise": 0.0, "black_shift": 2e-3}, 3e-3 + 1 / 15871),
        # In a floating-point file white is 1 and no code says how little light there may be.
        ({"signal": 0.0, "noise": 1e-5, "black": 0.0, "white": 1.0}, 2e-5),
        ({"signal": -0.1, "noise": 0.0, "black": 0.0, "white": 1.0}, 2e-6),
    ],
)
def test_a_card_at_black_is_at_most_this(fields: dict[str, Any], at_most: float) -> None:
    check = checked(bound="at-most", **fields)
    assert check.bound == "at-most"
    error, _, _ = figures(check)
    assert 2**error * FLAT_SIGNAL == pytest.approx(at_most, rel=1e-4)


def test_what_the_patch_leaves_in_doubt_is_told_once() -> None:
    doubts = (Doubt("uneven"), Doubt("black-unsure", "the border reads 540"), Doubt("uneven"))
    check = checked(doubts=doubts)
    assert check.warnings == ("uneven", "black-unsure", "no-offset")
    assert check.notes == ("the border reads 540",)


@pytest.mark.parametrize(
    ("recorded", "marked"), [(11.0, 11), (10.93, None), (9.5, 9.5), (1.2, 1.2), (None, None)]
)
def test_the_printed_f_number(recorded: float | None, marked: float | None) -> None:
    assert marked_f_number(Settings(f_number=recorded)) == marked


def test_a_patch_of_no_doubt_is_made_as_the_tests_say() -> None:
    assert patch().signal == pytest.approx(0.11937, abs=5e-6)  # check-values 2.5
