"""verify/diagnose/order.py: frames in the order in which they were taken."""

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from verify.diagnose.order import in_order

NOON = datetime(2026, 3, 4, 12, 0, 0)


def at(seconds: float) -> datetime:
    return NOON + timedelta(seconds=seconds)


def test_by_time_with_its_fraction() -> None:
    frames = [(Path("b_2.dng"), at(0.5)), (Path("a_9.dng"), at(0.25)), (Path("c_1.dng"), at(3))]
    placed, notes = in_order([(Path(f"x{n}"), time) for n, (_, time) in enumerate(frames)])
    assert [one.number for one in placed] == [1, 0, 2]
    assert [one.at_s for one in placed] == [0, 0.25, 2.75]
    assert [one.gap_s for one in placed] == [None, 0.25, 2.5]
    assert notes == ()


def test_ties_are_told_by_file_number() -> None:
    frames = [(Path("a_0012.dng"), at(1)), (Path("a_0002.dng"), at(1)), (Path("a_1.dng"), at(0))]
    placed, _ = in_order(frames)
    assert [one.number for one in placed] == [2, 1, 0]
    assert placed[2].gap_s == 0


def test_file_numbers_may_begin_anew() -> None:
    frames = [(Path("a_9999.dng"), at(0)), (Path("a_0001.dng"), at(5)), (Path("a_0002.dng"), at(9))]
    placed, notes = in_order(frames)
    assert [one.number for one in placed] == [0, 1, 2]
    assert notes == ()


def test_a_clock_that_was_set_back() -> None:
    times = [0, 10, 20, -3580, -3570, -3560]  # an hour back after the third
    frames = [(Path(f"a_{n:04d}.dng"), at(time)) for n, time in enumerate(times, 1)]
    placed, notes = in_order(frames)
    assert [one.number for one in placed] == [0, 1, 2, 3, 4, 5]
    assert [one.gap_s for one in placed] == [None, 10, 10, None, 10, 10]
    assert "ran back" in notes[0]


def test_without_times_numbers_count() -> None:
    frames = [(Path("a_10.dng"), None), (Path("a_9.dng"), None)]
    placed, notes = in_order(frames)
    assert [one.number for one in placed] == [1, 0]
    assert placed[0].at_s is placed[0].gap_s is None
    assert "no frame records its time" in notes[0]


def test_some_times_are_lacking() -> None:
    frames = [(Path("a_1.dng"), at(0)), (Path("a_2.dng"), None), (Path("a_3.dng"), at(8))]
    placed, notes = in_order(frames)
    assert [one.number for one in placed] == [0, 1, 2]
    assert [one.gap_s for one in placed] == [None, None, None]
    assert placed[2].at_s == 8
    assert "1 of 3" in notes[0]


def test_times_with_and_without_a_zone_can_meet() -> None:
    zone = timezone(timedelta(hours=2))
    frames = [
        (Path("a_1.dng"), at(0)),
        (Path("a_2.dng"), at(5).replace(tzinfo=UTC)),
        (Path("a_3.dng"), (at(9) + timedelta(hours=2)).replace(tzinfo=zone)),
    ]
    placed, _ = in_order(frames)
    assert [one.gap_s for one in placed] == [None, 5, pytest.approx(4)]
