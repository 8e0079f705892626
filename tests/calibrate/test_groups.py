"""verify/calibrate/groups.py: which levels a set has, tests and cannot tell apart."""

from collections.abc import Sequence

import pytest
from calibration_sets import frame

from verify.calibrate import groups
from verify.calibrate.groups import Level, level_words, levels_of, mixed_up
from verify.calibrate.records import By, CalibrationFrame

N_8, N_11, N_16 = 8.0, 2**3.5, 16.0


def of(iso: Sequence[float | None], aperture: Sequence[float | None]) -> list[CalibrationFrame]:
    """Frames of these ISO and f-numbers."""
    return [frame(0.0, iso=s, aperture=n) for s, n in zip(iso, aperture, strict=True)]


def told(levels: Sequence[Level]) -> list[tuple[By, float | str, list[int]]]:
    """Levels with the places of their frames."""
    return [
        (
            level.by,
            level.value if isinstance(level.value, str) else round(level.value, 1),
            level.frames.nonzero()[0].tolist(),
        )
        for level in levels
    ]


def test_levels_rise_and_names_come_as_they_are() -> None:
    frames = [
        frame(0.0, iso=400.0, lens="90 mm"),
        frame(0.0, iso=100.0, lens="50 mm"),
        frame(0.0, iso=400.0, lens="90 mm"),
    ]
    assert told(levels_of(frames)) == [
        ("iso", 100.0, [1]),
        ("iso", 400.0, [0, 2]),
        ("lens", "90 mm", [0, 2]),
        ("lens", "50 mm", [1]),
    ]


def test_a_factor_with_one_level_has_none() -> None:
    assert levels_of(of([100, 100], [N_8, N_8])) == []
    assert levels_of([]) == []


def test_what_is_not_recorded_is_of_no_level() -> None:
    levels = levels_of(of([None, 100, 200, None], [N_8] * 4))
    assert told(levels) == [("iso", 100, [1]), ("iso", 200, [2])]
    assert levels_of(of([None, 100, 100], [N_8] * 3)) == []


@pytest.mark.parametrize(("apart", "count"), [(1.0005, 0), (1.01, 2)])
def test_two_numbers_within_a_thousandth_are_one(apart: float, count: int) -> None:
    assert len(levels_of(of([100, 100 * apart], [N_8, N_8]))) == count


def test_every_factor() -> None:
    frames = [
        frame(0.0, iso=100.0, aperture=N_8, lens="a", meter="m", receptor="flat"),
        frame(0.0, iso=200.0, aperture=N_11, lens="b", meter="n", receptor="dome"),
    ]
    assert [level.by for level in levels_of(frames)][::2] == [
        "iso", "aperture", "lens", "meter", "receptor",
    ]  # fmt: skip


def test_two_frames_on_each_side_can_be_tested() -> None:
    levels = levels_of(of([100, 200, 200, 400, 400], [N_8] * 5))
    assert told(groups.testable(levels)) == [("iso", 400, [3, 4]), ("iso", 200, [1, 2])]
    assert groups.testable(levels_of(of([100, 200, 200], [N_8] * 3))) == []


def test_of_two_levels_the_one_with_fewer_frames_is_tested() -> None:
    assert told(groups.testable(levels_of(of([100, 100, 200, 200, 200], [N_8] * 5)))) == [
        ("iso", 100, [0, 1])
    ]
    assert told(groups.testable(levels_of(of([100, 100, 100, 200, 200], [N_8] * 5)))) == [
        ("iso", 200, [3, 4])
    ]


def test_of_two_alike_the_second_is_tested() -> None:
    assert told(groups.testable(levels_of(of([100, 100, 200, 200], [N_8] * 4)))) == [
        ("iso", 200, [2, 3])
    ]


def test_a_whole_cross_is_tested_each_level_once() -> None:
    iso = [100 * 2 ** (at // 3) for at in range(9)]
    levels = levels_of(of(iso, [N_8, N_11, N_16] * 3))
    assert {(level.by, level.value) for level in groups.testable(levels)} == {
        (level.by, level.value) for level in levels
    }
    assert len(levels) == 6
    assert mixed_up(levels) == []


def test_two_factors_that_divide_alike_are_tested_once_and_said_to_be_mixed_up() -> None:
    levels = levels_of(of([100, 100, 200, 200, 200], [N_8, N_8, N_11, N_11, N_11]))
    assert told(groups.testable(levels)) == [("iso", 100, [0, 1])]
    pairs = {tuple((x.by, round(float(x.value))) for x in pair) for pair in mixed_up(levels)}
    assert (("iso", 100), ("aperture", 8)) in pairs
    assert (("iso", 200), ("aperture", 11)) in pairs
    assert all(one[0] != other[0] for one, other in pairs)


def test_exactly_the_others_is_mixed_up_too() -> None:
    # ISO 400 has all the frames that f/16 has not.
    levels = levels_of(of([100, 200, 400, 400, 400, 400], [N_16, N_16, N_8, N_8, N_11, N_11]))
    pairs = [tuple((x.by, round(float(x.value))) for x in pair) for pair in mixed_up(levels)]
    assert pairs == [(("iso", 400), ("aperture", 16))]


@pytest.mark.parametrize(
    ("by", "value", "words"),
    [
        ("iso", 100 * 2 ** (2 / 3), "ISO 160"),
        ("aperture", N_11, "f/11"),
        ("lens", "50 mm", "the lens 50 mm"),
        ("meter", "Ostrel L2", "the meter Ostrel L2"),
        ("receptor", "dome", "the dome receptor"),
    ],
)
def test_levels_in_words(by: By, value: float | str, words: str) -> None:
    assert level_words(by, value) == words
    assert Level(by, value, levels_of(of([1, 2], [N_8, N_8]))[0].frames).words == words
