"""verify/report/calibration_groups.py: who is told apart in a plot, and under which name."""

from dataclasses import replace
from typing import Any

import pytest
from drawn_calibrations import CASES, LONG, fitted, frame, grid, group

from verify.calibrate.records import By
from verify.report.calibration_groups import (
    COLORS,
    QUIET,
    SHAPES,
    departures,
    shortened,
    told_apart,
    width,
)


def test_a_group_of_another_factor_is_named_too() -> None:
    calibration = grid(0.2)
    calibration = replace(
        calibration, groups=(*calibration.groups, group("aperture", 4.0, 0.09, True))
    )
    telling = told_apart(calibration, 20)
    assert telling.by == "iso"
    found = departures(calibration, telling, 20)
    assert [(one.name, one.color) for one in found] == [("f/4", QUIET), ("ISO 800", COLORS[3])]
    assert found[0].stops == pytest.approx(0.3)


def test_the_factor_that_differs_is_the_one_shown() -> None:
    calibration = grid()
    apertures = [group("aperture", n, 0.0, n == 8) for n in (4.0, 8.0, 16.0)]
    calibration = replace(calibration, groups=(*calibration.groups, *apertures))
    assert told_apart(calibration, 20).by == "aperture"


@pytest.mark.parametrize(
    ("other", "by"),
    [
        ({"iso": 200.0}, "iso"),
        ({"aperture": 11.3137}, "aperture"),
        ({"lens": "Hexa 120"}, "lens"),
        ({"meter": "other"}, "meter"),
        ({"receptor": "dome"}, "receptor"),
        ({"lens": None}, None),
        ({}, None),
    ],
)
def test_without_one_the_first_factor_with_several_groups(
    other: dict[str, Any], by: By | None
) -> None:
    telling = told_apart(fitted([frame(0), frame(0, **other)]), 20)
    assert telling.by == by
    assert bool(telling.title) == (by is not None)
    assert len(telling.marks) == (1 if by is None else 2)


def test_a_frame_belongs_to_its_group_and_to_none_if_nothing_is_recorded() -> None:
    frames = [frame(0, aperture=n) for n in (16.0, 11.3137, 16.001, None, 11.3139)]
    groups = [group("aperture", n, 0, n > 16) for n in (11.314, 16.001)]
    calibration = fitted(frames, groups, 0.1)
    telling = told_apart(calibration, 20)
    assert telling.of_frame == (1, 0, 1, 2, 0)
    assert [mark.name for mark in telling.marks] == ["f/11", "f/16", "not recorded"]
    (one,) = departures(calibration, telling, 20)
    assert (one.name, one.stops, one.color) == ("f/16", -0.1, COLORS[1])


def test_of_many_groups_only_those_that_differ_have_a_mark() -> None:
    telling = told_apart(CASES["40 groups, two differ"], 20)
    assert telling.title == ("aperture", "40 groups,", "those that differ", "told apart")
    assert [mark.name for mark in telling.marks] == ["f/2.2", "f/10", "the others"]
    assert sorted(telling.of_frame) == [0, 1] + [2] * 38
    assert telling.marks[-1].color == QUIET

    telling = told_apart(CASES["40 groups"], 20)
    assert telling.title == ("aperture", "40 groups,", "not told apart")
    assert telling.of_frame == (0,) * 40

    telling = told_apart(CASES["40 groups, many differ"], 20)
    assert telling.title == ("aperture", "40 groups,", "the 7 that differ", "most told apart")
    assert len(telling.marks) == len(SHAPES)


def test_long_names_are_shortened_in_the_middle_and_stay_apart() -> None:
    assert shortened("Hexa 80", 10) == "Hexa 80"
    short = shortened(LONG, 20)
    assert short.startswith("Hexaplan")
    assert short.endswith("No. 3")
    assert width(short) <= 20
    names = [mark.name for mark in told_apart(CASES["long names"], 10).marks]
    assert len(set(names)) == len(names)
    assert "Makro" not in "".join(names)  # what tells them apart is what had to go
