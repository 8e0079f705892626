"""verify/compare.py: what the search for the card adds to a check, and what it expects."""

from dataclasses import replace
from pathlib import Path

import pytest
from readings import AS_PLANNED, FLAT_SIGNAL, TARGET, patch, set_up

from verify.compare import DOUBTS, FrameCheck, compare, expected_here
from verify.frames.frame import Settings
from verify.frames.geometry import Box
from verify.plan.file import read_plan
from verify.plan.records import MeterOffset
from verify.target.records import Search, Target
from verify.warnings import WARNINGS


def compared(search: Search | None = None) -> FrameCheck:
    """A frame as planned, its card where the search found it; None: where somebody said."""
    return compare(Path("frame_0001.dng"), AS_PLANNED, patch(), set_up(), search=search)


def seen_at(*boxes: Box) -> Search:
    """A search that found things there."""
    return Search(tuple(Target(box, box.corners(), "shape") for box in boxes))


def test_what_the_search_doubts_is_a_warning() -> None:
    place = seen_at(TARGET.box)
    check = compared(search=replace(place, doubts=("card-unsure", "unlikely-level")))
    assert check.warnings[-2:] == ("card-unsure", "unlikely-level")
    assert check.doubtful
    assert check.sightings == place.found
    assert check.notes == ()
    sure = compared(search=place)
    assert (sure.doubtful, sure.sightings) == (False, place.found)
    given = compared(search=None)
    assert (given.doubtful, given.sightings) == (False, ())
    assert sure.warnings == given.warnings == ("no-offset",)


def test_every_doubt_is_in_the_table_of_warnings() -> None:
    assert set(DOUBTS) <= set(WARNINGS)
    for name in WARNINGS:
        check = replace(compared(), warnings=("uneven", name))
        assert check.doubtful is (name in DOUBTS)


@pytest.mark.parametrize(
    ("others", "says"),
    [
        (
            [Box(300, 200, 31, 21)],
            "2 things look like the card: at 40,40,20,20, which is measured, and at "
            "300,200,31,21. Say which it is with --card, or cover the other",
        ),
        (
            [Box(300, 200, 31, 21), Box(5, 6, 7, 8)],
            "3 things look like the card: at 40,40,20,20, which is measured, and at "
            "300,200,31,21 and 5,6,7,8. Say which it is with --card, or cover the others",
        ),
    ],
)
def test_several_things_are_named_by_their_places(others: list[Box], says: str) -> None:
    search = replace(seen_at(TARGET.box, *others), doubts=("several-cards",))
    check = compared(search=search)
    assert check.notes == (says,)
    assert check.sightings == search.found
    assert check.patch is not None
    assert check.sightings[0].box == check.patch.target.box


@pytest.mark.parametrize(
    ("settings", "stops"),
    [
        (AS_PLANNED, 0),
        (replace(AS_PLANNED, f_number=8.0), 1),
        (replace(AS_PLANNED, f_number=16.0, iso=400.0), 1),
        (replace(AS_PLANNED, f_number=None, iso=None, shutter_s=None), 0),
        (replace(AS_PLANNED, shutter_s=1 / 30), 0),  # with flash the shutter time is no part of it
    ],
)
@pytest.mark.parametrize("offset", [None, MeterOffset(-0.4, 0.03)])
def test_what_a_card_should_give_with_the_frames_own_settings(
    settings: Settings, stops: float, offset: MeterOffset | None
) -> None:
    expected = expected_here(settings, set_up(camera={"shutter": "1/125"}), offset)
    total = stops + (0 if offset is None else offset.stops)
    assert expected == pytest.approx(FLAT_SIGNAL * 2**total, rel=1e-4)
    assert expected_here(settings, read_plan(None).main, offset) is None
