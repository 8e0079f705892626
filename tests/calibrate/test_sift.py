"""verify/calibrate/sift.py: which frames count, and why the others do not."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from calibration_sets import metered, settings, shot, shots_of
from readings import FLAT_SIGNAL, patch, set_up

from verify.calibrate.sift import Shot, metered_stops, sift
from verify.compare import FrameCheck, compare
from verify.frames.frame import Doubt
from verify.plan.file import read_plan
from verify.plan.records import Reading

EXPECTED = math.log2(FLAT_SIGNAL)  # of a card at the metered setting: check-values 2.5


def test_another_aim_is_another_way_to_meter() -> None:
    aimed = metered(reading={"aimed": "camera"})
    found = sift([*shots_of([0.0, 0.0, 0.0]), shot(0.3, 9, setup=aimed)])
    (left_out,) = found.excluded
    assert "another way (incident, flash, aimed at the camera)" in left_out.reason


def reason(bad: Shot) -> str:
    """Why one of four frames does not count."""
    sifted = sift([*shots_of([0.0] * 3), bad])
    assert len(sifted.frames) == 3
    assert len(sifted.shots) == 3
    (excluded,) = sifted.excluded
    assert excluded.file == bad.check.file
    return excluded.reason


def doubtful(name: str) -> dict[str, Any]:
    """Fields of a patch's reading with one doubt."""
    return {"doubts": (Doubt(name),)}


def test_frames_that_count_keep_their_order_and_their_shots() -> None:
    shots = shots_of([0.3, -0.1, 0.2])
    sifted = sift(shots)
    assert sifted.shots == tuple(shots)
    assert [f.file for f in sifted.frames] == [s.check.file for s in shots]
    assert [f.rest_stops for f in sifted.frames] == pytest.approx([0.3, -0.1, 0.2])
    assert sifted.excluded == ()


def test_the_planned_level_is_that_of_the_frames_own_settings() -> None:
    shots = [shot(0.3), shot(0.3, av=9.0), shot(0.3, av=5.0), shot(0.3, sv=2.0)]
    frames = sift(shots).frames
    assert [f.planned_stops - EXPECTED for f in frames] == pytest.approx([0, -2, 2, 2], abs=1e-9)
    assert [f.rest_stops for f in frames] == pytest.approx([0.3] * 4)
    assert [f.aperture for f in frames] == pytest.approx([2**3.5, 2**4.5, 2**2.5, 2**3.5])
    assert [f.iso for f in frames] == pytest.approx([100, 100, 100, 400])


@pytest.mark.parametrize("correction", [-1.0, 0.0, 0.7])
def test_the_correction_is_no_part_of_the_rest(correction: float) -> None:
    (frame,) = sift([shot(0.25, setup=metered(reading={"correction": correction}))]).frames
    assert frame.rest_stops == pytest.approx(0.25)


def test_what_is_not_recorded_is_as_planned_or_unknown() -> None:
    (frame,) = sift([shot(0.1, f_number=None, iso=None)]).frames
    assert frame.aperture == pytest.approx(2**3.5)
    assert frame.iso is None
    assert frame.lens is None


def test_what_a_frame_and_its_reading_say_of_themselves() -> None:
    setup = metered(reading={"meter": "Ostrel L2", "receptor": "dome"})
    (frame,) = sift([shot(0.1, setup=setup, lens="90 mm", reading=4)]).frames
    assert (frame.lens, frame.meter, frame.receptor, frame.reading) == (
        "90 mm", "Ostrel L2", "dome", 4,
    )  # fmt: skip
    assert frame.rest_stops == pytest.approx(0.1)


def test_uncertainty_is_parted_into_random_and_common() -> None:
    terms = {"noise": 0.03, "evenness": 0.06, "glare": 0.08}
    setup = metered(uncertainty={"lens": 0.04, "card": 0.5, "placing": 0.6, "meter": 0.7})
    (frame,) = sift([shot(0.0, setup=setup, fields={"u_terms": terms})]).frames
    assert frame.repeat_u_stops == pytest.approx(0.05)
    assert frame.common_u_stops == pytest.approx(0.10)  # nothing of card, placing and meter


def test_a_dome_is_common_to_all() -> None:
    (frame,) = sift([shot(0.0, setup=metered(reading={"receptor": "dome"}))]).frames
    assert frame.common_u_stops == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("check", "wanted"),
    [
        (FrameCheck(Path("a.dng"), "main", settings(), problem="The file is empty."),
         "The file is empty"),
        (FrameCheck(Path("a.dng"), "main", None, problem="no card was found"), "no card was found"),
        (FrameCheck(Path("a.dng"), "main", settings()), "it was not measured"),
    ],
)  # fmt: skip
def test_what_was_not_measured(check: FrameCheck, wanted: str) -> None:
    assert reason(Shot(check, metered(), 0)) == wanted


def test_what_was_not_metered() -> None:
    nothing = read_plan(None, {"card": {"box": [0.4, 0.4, 0.2, 0.2]}}).main
    assert nothing.reading is None
    bad = Shot(compare(Path("a.dng"), settings(), patch(), nothing), nothing, 0)
    assert reason(bad) == (
        "nothing was metered for it: give the reading in the plan or in a readings file"
    )


def test_clipped() -> None:
    assert reason(shot(3.0, 9, fields={"bound": "at-least"})) == (
        "its card is clipped, so its exposure is only known to be at least what is shown"
    )


def test_at_black() -> None:
    assert reason(shot(-9.0, 9, fields={"bound": "at-most"})) == (
        "its card is at black, so its exposure is only known to be at most what is shown"
    )


@pytest.mark.parametrize("name", ["several-cards", "card-unsure", "unlikely-level"])
def test_what_need_not_be_the_card(name: str) -> None:
    assert reason(shot(0.0, 9, fields=doubtful(name))) == (
        f"what was measured need not be the card ({name}): look at it, or give its place"
    )


def test_partly_clipped() -> None:
    assert reason(shot(0.0, 9, fields=doubtful("part-clipped"))) == (
        "a part of its card is clipped, so its mean is too low"
    )


def test_other_doubts_are_no_reason() -> None:
    sifted = sift([shot(0.0, fields=doubtful(name)) for name in ("uneven", "glare", "rendered")])
    assert len(sifted.frames) == 3


@pytest.mark.parametrize("first", [True, False])
def test_of_two_bodies_the_one_with_most_frames_counts(first: bool) -> None:
    most = [shot(0.1, at, model="Ostrel A", serial="01") for at in range(3)]
    few = [shot(0.5, at + 5, model="Ostrel A", serial="02") for at in range(2)]
    sifted = sift([*few, *most] if first else [*most, *few])
    assert [f.rest_stops for f in sifted.frames] == pytest.approx([0.1] * 3)
    assert [(e.file, e.reason) for e in sifted.excluded] == [
        (
            s.check.file,
            "it is of another body (Ostrel A 02) than most (Ostrel A 01): calibrate each by itself",
        )
        for s in few
    ]


def test_frames_that_cannot_count_have_no_say_in_which_body_it_is() -> None:
    clipped = [shot(0.0, at, serial="02", fields={"bound": "at-least"}) for at in range(5)]
    sifted = sift([*clipped, shot(0.1, 7, serial="01")])
    assert [f.rest_stops for f in sifted.frames] == pytest.approx([0.1])
    assert all("clipped" in e.reason for e in sifted.excluded)


def test_a_body_that_is_not_recorded_is_another() -> None:
    sifted = sift([*(shot(0.1, at, serial="01") for at in range(3)), shot(0.1, 5)])
    assert [e.reason for e in sifted.excluded] == [
        "it is of another body (not recorded) than most (01): calibrate each by itself"
    ]


def test_nothing() -> None:
    sifted = sift([])
    assert (sifted.frames, sifted.shots, sifted.excluded) == ((), (), ())


def reading(**keys: Any) -> Reading:
    """A reading of f/11 at ISO 100."""
    made = set_up("f/11", reading=keys).reading
    assert made is not None
    return made


@pytest.mark.parametrize(
    ("keys", "stops"),
    [
        ({"iso": 200}, -1),  # the same f-number at twice the ISO: half of the light
        ({"correction": 0.5}, 0.5),
        ({"pops": 4}, -2),  # of one pop
        ({"receptor": "dome"}, math.log2(330 / 250)),
        ({"light": "continuous", "shutter": "1 s"}, 0),
        ({"light": "continuous", "shutter": "1/4"}, 2),  # in a quarter of the time
        ({"shutter": "1/4"}, 0),  # with flash the time is no part of it
    ],
)
def test_the_light_that_a_reading_states(keys: dict[str, Any], stops: float) -> None:
    assert metered_stops(reading(**keys)) - metered_stops(reading()) == pytest.approx(stops)


def test_a_stop_on_the_aperture_ring_is_a_stop_of_light() -> None:
    wider = replace(reading(), aperture=replace(reading().aperture, n=8.0))
    assert metered_stops(reading()) - metered_stops(wider) == pytest.approx(1)
