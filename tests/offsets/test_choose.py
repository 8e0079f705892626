"""Which saved offset holds for a frame, what it comes to there, and what is said of it."""

import math
from dataclasses import replace
from typing import Any

import pytest
from readings import AS_PLANNED, FLAT_SIGNAL, checked, set_up
from saved_offsets import F_11, STUDIO, studio

from verify.errors import PlanError
from verify.frames.frame import Settings
from verify.offsets.choose import OTHER, Chosen, choose
from verify.offsets.records import SavedOffset
from verify.plan.file import read_plan
from verify.plan.records import OffsetPart, SetUp
from verify.warnings import WARNINGS

FRAME = replace(AS_PLANNED, make="Halde", model="Halde 45", serial="007", lens="Planor 80")
CARD = {"name": "Grauwald 18"}
METER = {"meter": "Lumen 3"}
HERE = set_up(reading=METER, card=CARD)


def chosen(
    *saved: SavedOffset, named: str | None = None, setup: SetUp = HERE, frame: Settings = FRAME
) -> Chosen:
    return choose(saved, named, setup, frame)


def test_the_one_that_belongs_here_is_used() -> None:
    others = [studio("B", {"serial": "008"}), studio("C", {"card": "Grauwald 12"})]
    found = chosen(others[0], STUDIO, others[1])
    assert found.used == "studio A"
    assert found.offset == STUDIO.as_offset()
    assert found.why == 'offset "studio A": \N{MINUS SIGN}0.21 stop'
    assert found.warnings == ()


# What differs between the offset and the frame with its plan, and what is said of it.
DIFFERENT: list[tuple[dict[str, Any], str, str]] = [
    ({"serial": "008"}, 'camera differs (fitted with "Halde Halde 45 008", here "Halde ', "body"),
    ({"model": "Halde 22", "serial": None}, 'camera differs (fitted with "Halde Halde 22"', "body"),
    ({"make": "Lohe"}, 'camera differs (fitted with "Lohe Halde 45 007"', "body"),
    ({"lens": "Planor 120"}, 'lens differs (fitted with "Planor 120", here "Planor 80")', "lens"),
    ({"meter": "Lumen 5"}, 'meter differs (fitted with "Lumen 5", here "Lumen 3")', "meter"),
    ({"light": "continuous"}, 'light differs (fitted with "continuous", here "flash")', "meter"),
    ({"method": "reflected"}, 'method differs (fitted with "reflected", here "inc', "meter"),
    ({"receptor": "dome"}, 'receptor differs (fitted with "dome", here "flat")', "meter"),
    ({"aimed": "camera"}, 'aim differs (fitted with "camera", here "as-card")', "meter"),
    ({"card": "Other"}, 'card differs (fitted with "Other", here "Grauwald 18")', "card"),
]


@pytest.mark.parametrize(("belongs", "difference", "warning"), DIFFERENT)
def test_one_that_differs_is_used_only_when_it_is_named_and_then_with_a_warning(
    belongs: dict[str, Any], difference: str, warning: str
) -> None:
    other = studio("studio B", belongs)
    unasked = chosen(other)
    assert (unasked.offset, unasked.used, unasked.warnings) == (None, None, ())
    assert unasked.why.startswith(
        f'no saved offset fits: of the nearest, "studio B", the {difference}'
    )
    asked = chosen(other, STUDIO, named="studio B")
    assert (asked.used, asked.warnings) == ("studio B", (f"offset-other-{warning}",))
    assert asked.offset == other.as_offset()
    assert chosen(other, STUDIO).used == "studio A"


# What is not known of the offset, of the frame and of the plan; and whether the offset then fits.
UNKNOWN: list[tuple[dict[str, Any], dict[str, Any], SetUp, bool]] = [
    ({}, {"serial": None}, HERE, True),
    ({"serial": None}, {}, HERE, True),
    ({}, {"serial": None, "model": "Halde 22"}, HERE, False),
    ({"serial": None}, {"model": "Halde 22"}, HERE, False),
    ({}, {"model": None}, HERE, False),
    ({"model": None}, {}, HERE, False),
    ({"model": None}, {"model": None}, HERE, True),
    ({"model": None}, {"model": None, "serial": None}, HERE, False),
    ({"model": None, "serial": None}, {"model": None}, HERE, False),
    ({"make": None}, {}, HERE, False),
    (
        {"make": None, "model": None, "serial": None},
        {"make": None, "model": None, "serial": None},
        HERE,
        True,
    ),
    ({}, {"lens": None}, HERE, True),
    ({"lens": None}, {"lens": None}, HERE, True),
    ({"lens": None}, {}, HERE, False),
    ({}, {}, set_up(card=CARD), False),
    ({"meter": None}, {}, HERE, False),
    ({"meter": None}, {}, set_up(card=CARD), True),
    ({}, {}, set_up(reading=METER), False),
    ({"card": None}, {}, HERE, False),
    ({"card": None}, {}, set_up(reading=METER), True),
]


@pytest.mark.parametrize(("belongs", "frame", "setup", "fits"), UNKNOWN)
def test_what_is_not_known_is_decided_conservatively_and_is_no_reason_to_warn(
    belongs: dict[str, Any], frame: dict[str, Any], setup: SetUp, fits: bool
) -> None:
    one, shot = studio(belongs=belongs), replace(FRAME, **frame)
    found = chosen(one, setup=setup, frame=shot)
    assert (found.used == "studio A") is fits
    assert ("an unknown one" in found.why or '"Halde' in found.why) is not fits
    asked = chosen(one, named="studio A", setup=setup, frame=shot)
    known_model = {belongs.get("model", "Halde 45"), shot.model} - {None}
    assert asked.warnings == (("offset-other-body",) if len(known_model) == 2 else ())


def test_receptor_and_aim_do_not_count_for_a_reflected_reading() -> None:
    reflected = set_up(reading={**METER, "method": "reflected"}, card=CARD)
    one = studio(belongs={"method": "reflected", "receptor": "dome", "aimed": "camera"})
    assert chosen(one, setup=reflected).used == "studio A"


def test_two_that_fit_are_named_and_none_is_used() -> None:
    found = chosen(STUDIO, studio("studio B", {"serial": None}), studio("C", {"lens": "x"}))
    assert (found.offset, found.used) == (None, None)
    assert found.why == (
        'no offset is used: 2 fit, "studio A" and "studio B"; say which with --offset NAME'
    )
    many = chosen(*[studio(f"studio {n}") for n in range(9)])
    assert (
        '9 fit, "studio 0", "studio 1", "studio 2", "studio 3", "studio 4" and 4 more;' in many.why
    )


def test_of_several_that_do_not_fit_the_nearest_is_told() -> None:
    far = studio("far", {"serial": "008", "lens": "Planor 120"})
    near = studio("near", {"card": "Grauwald 12"})
    assert chosen(far, near).why == (
        'no saved offset fits: of the nearest, "near", the card differs (fitted with '
        '"Grauwald 12", here "Grauwald 18")'
    )
    assert ", the lens differs (" in chosen(far).why


def test_without_a_reading_there_is_none() -> None:
    nothing = read_plan(None, {"card": CARD}).main
    for named in (None, "studio A"):
        found = chosen(STUDIO, named=named, setup=nothing)
        assert found == Chosen(None, None, "no offset is used: nothing was metered")
    with pytest.raises(PlanError):
        chosen(STUDIO, named="studio B", setup=nothing)


def test_where_none_is_saved_that_is_said() -> None:
    assert chosen() == Chosen(None, None, "no offset is used: none is saved")


@pytest.mark.parametrize(
    ("names", "line"),
    [
        (["studio A", "house"], 'no offset "studo A" is saved (did you mean "studio A"?)'),
        (["house"], 'no offset "studo A" is saved: there is "house"'),
        ([], 'no offset "studo A" is saved: none is saved yet'),
    ],
)
def test_a_name_that_is_not_saved_is_refused_with_those_like_it(
    names: list[str], line: str
) -> None:
    with pytest.raises(PlanError) as refusal:
        chosen(*map(studio, names), named="studo A")
    assert str(refusal.value) == line


# Marked and exact: ISO 400 is 400, f/16 is 16, f/11 is 11.3137 (check-values 1).
PARTS = (OffsetPart("iso", 400.0, 0.1), OffsetPart("aperture", 16.0, -0.25))


@pytest.mark.parametrize(
    ("iso", "f_number", "stops", "said"),
    [
        (100.0, 11.0, -0.21, ""),
        (400.0, 11.0, -0.11, ", +0.10 at ISO 400"),
        (100.0, 16.0, -0.46, ", \N{MINUS SIGN}0.25 at f/16"),
        (400.0, 16.0, -0.36, ", +0.10 at ISO 400, \N{MINUS SIGN}0.25 at f/16"),
        (403.0, 15.9, -0.36, ", +0.10 at ISO 403, \N{MINUS SIGN}0.25 at f/15.9"),
        (395.0, 15.8, -0.21, ""),
    ],
)
def test_the_parts_of_a_frames_iso_and_aperture_are_in_its_offset(
    iso: float, f_number: float, stops: float, said: str
) -> None:
    frame = replace(FRAME, iso=iso, f_number=f_number)
    found = chosen(studio(parts=PARTS), frame=frame)
    assert found.offset is not None
    assert found.offset.stops == pytest.approx(stops, abs=1e-12)
    assert found.offset.parts == ()
    assert found.why == f'offset "studio A": \N{MINUS SIGN}0.21 stop{said}'


def test_the_part_nearest_to_the_exact_value_counts() -> None:
    parts = (OffsetPart("aperture", F_11 * 0.995, 0.5), OffsetPart("aperture", F_11, 0.1))
    found = chosen(studio(parts=parts))
    assert found.offset is not None
    assert found.offset.stops == pytest.approx(-0.11, abs=1e-12)


def test_what_the_file_does_not_record_counts_as_planned() -> None:
    setup = set_up("f/16", reading={**METER, "iso": 400}, card=CARD)
    found = chosen(studio(parts=PARTS), setup=setup, frame=replace(FRAME, iso=None, f_number=None))
    assert found.offset is not None
    assert found.offset.stops == pytest.approx(-0.36, abs=1e-12)
    assert found.warnings == ()


def test_a_marked_f_number_is_that_of_the_cameras_own_steps() -> None:
    # f/13 is 12.699 on a camera with third stops, 13.454 on one with half stops (check-values 1).
    one = studio(parts=(OffsetPart("aperture", 2**3.75, 0.3),))
    frame = replace(FRAME, f_number=13.0)
    halves = set_up(reading=METER, card=CARD, camera={"step": "1/2"})
    assert [
        found.offset.stops
        for found in (chosen(one, frame=frame), chosen(one, setup=halves, frame=frame))
        if found.offset is not None
    ] == pytest.approx([-0.21, 0.09], abs=1e-12)


@pytest.mark.parametrize(
    ("iso", "f_number", "outside"),
    [
        (100.0, 8.0, False),
        (400.0, 16.0, False),
        (403.0, 11.0, False),
        (99.5, 7.95, False),
        (405.0, 11.0, True),
        (98.0, 11.0, True),
        (100.0, 7.1, True),
        (100.0, 18.0, True),
        (800.0, 22.0, True),
    ],
)
def test_outside_the_range_it_was_fitted_over_there_is_a_warning(
    iso: float, f_number: float, outside: bool
) -> None:
    frame = replace(FRAME, iso=iso, f_number=f_number)
    wanted = ("offset-out-of-range",) if outside else ()
    assert chosen(STUDIO, frame=frame).warnings == wanted
    other = chosen(studio(belongs={"serial": "1"}), named="studio A", frame=frame)
    assert other.warnings == ("offset-other-body", *wanted)
    unknown = studio(belongs={"iso": None, "aperture": None})
    assert chosen(unknown, frame=frame).warnings == ()


def test_a_warning_is_there_once_however_much_differs() -> None:
    all_other = dict.fromkeys(("make", "model", "serial", "lens", "meter", "card"), "x")
    other = studio(belongs={**all_other, "receptor": "dome", "light": "continuous"})
    found = chosen(other, named="studio A")
    assert sorted(found.warnings) == sorted(set(OTHER.values()))
    assert set(found.warnings) <= set(WARNINGS)


def test_by_hand_a_frame_that_the_offset_explains_has_no_error() -> None:
    # f/11 metered and set, ISO 100 and an 18 % card: 0.1194 of clipping (check-values 2.5). This
    # camera gives 0.21 stop less, and 0.25 less again at f/16, which is one stop below f/11:
    # 0.1194 x 2^-0.21 = 0.1032, and 0.1194 x 2^(-0.46 - 1) = 0.0434.
    for f_number, signal in ((11.0, 0.1032), (16.0, 0.0434)):
        frame = replace(FRAME, f_number=f_number)
        found = chosen(studio(parts=PARTS), frame=frame)
        check = checked(signal, frame, HERE, found.offset)
        assert check.rest_stops == pytest.approx(0.0, abs=0.002)


def test_dialling_the_advice_in_and_keeping_the_offset_counts_once() -> None:
    # A correction of +0.21 makes the meter ask for 0.21 stop more: the same light reads
    # f/11 less 0.21 stop. Shot at f/11, this camera gives 0.21 stop less than the standard.
    n = F_11 * math.sqrt(2**-0.21)
    setup = set_up(f"exact {n:.6f}", reading={**METER, "correction": 0.21}, card=CARD)
    found = chosen(STUDIO, setup=setup)
    check = checked(FLAT_SIGNAL * 2**-0.21, FRAME, setup, found.offset)
    assert check.rest_stops == pytest.approx(0.0, abs=0.001)
    assert found.why == (
        'offset "studio A": \N{MINUS SIGN}0.21 stop; with the correction of +0.21 in the meter, '
        "0.00 together"
    )
