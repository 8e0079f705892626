"""verify/calibrate/fit.py: the offset, how sure it is, and the groups."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from calibration_sets import bounded_mean, frame
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from verify.calibrate import groups
from verify.calibrate.fit import Common, Fit, fit, slope_of
from verify.calibrate.records import CalibrationFrame, Group
from verify.calibrate.robust import COST, half_width

SCATTER = 0.05  # stop from frame to frame, as the frames' own uncertainty says
NONE = Common(0.0, 0.0)
# Truth in its 95 % interval: the issue asks for 93 to 97 % of sets, and chance is on top.
HONEST = (0.93, 0.97)


def fitted(frames: Sequence[CalibrationFrame], common: Common = NONE) -> Fit:
    """The fit of frames, with every group that can be told."""
    levels = groups.levels_of(frames)
    return fit(frames, levels, common, groups.testable(levels))


def of(rests: Sequence[float], readings: Sequence[int] | None = None) -> list[CalibrationFrame]:
    """Frames at one level with these rests, of one reading or of these."""
    numbers = readings or [0] * len(rests)
    return [frame(float(r), reading=n) for r, n in zip(rests, numbers, strict=True)]


def cross(rests: Sequence[float]) -> list[CalibrationFrame]:
    """16 frames at ISO 100 to 800 by rows and f/8 to f/22 by columns, at seven levels."""
    return [
        frame(float(r), -3.0 + at // 4 - at % 4, iso=100.0 * 2 ** (at // 4),
              aperture=8.0 * 2 ** (at % 4 / 2))
        for at, r in enumerate(rests)
    ]  # fmt: skip


def group_of(found: Fit, by: str, value: float) -> Group:
    """A group of a fit."""
    return next(g for g in found.groups if g.by == by and math.isclose(float(g.value), value))


def held(widths: Sequence[float], off: Sequence[float]) -> tuple[float, float, int]:
    """The least and the most that may be held, and how many are."""
    count = int((np.abs(off) <= np.array(widths)).sum())
    low, high = HONEST
    return (
        stats.binom.ppf(0.001, len(off), low),
        stats.binom.ppf(0.999, len(off), high),
        count,
    )


def test_a_constant_is_its_own_offset() -> None:
    found = fitted(of([0.4] * 5), Common(0.08, 0.03))
    assert found.offset == pytest.approx(0.4, abs=1e-12)
    assert found.scatter == pytest.approx(0, abs=1e-12)
    assert found.u == pytest.approx(math.hypot(0.08, 0.03), rel=1e-9)
    assert found.u_same_card == pytest.approx(0.03, rel=1e-9)
    assert found.half == pytest.approx(1.959964 * found.u, rel=1e-6)
    assert found.residuals == pytest.approx(np.zeros(5), abs=1e-12)
    assert found.kept.all()


def test_one_frame_has_the_interval_of_the_plan() -> None:
    found = fitted([frame(0.3, repeat_u_stops=0.06)], Common(0.08, 0.03))
    assert found.offset == 0.3
    assert found.scatter == 0.06
    assert found.u == pytest.approx(math.sqrt(0.06**2 + 0.08**2 + 0.03**2))
    assert found.half == pytest.approx(1.959964 * found.u, rel=1e-6)
    assert slope_of([frame(0.3)], found) is None


@pytest.mark.parametrize("apart", [0.02, 0.6])
def test_of_two_frames_the_plan_counts_beside_their_own_scatter(apart: float) -> None:
    """Two degrees of freedom for the plan's 0.05, one for their own; t of three is 3.182446."""
    found = fitted(of([0.3 - apart / 2, 0.3 + apart / 2]))
    assert found.offset == pytest.approx(0.3)
    assert found.scatter == pytest.approx(math.sqrt((apart**2 / 2 + 2 * 0.05**2) / 3))
    assert found.half == pytest.approx(3.182446 * found.scatter / math.sqrt(2), rel=1e-6)


def test_three_frames_speak_for_themselves_by_students_t() -> None:
    rests = [0.28, 0.30, 0.32]
    found = fitted(of(rests))
    low, high = stats.t.interval(0.95, 2, loc=0.3, scale=0.02 / math.sqrt(3))
    assert (found.offset - found.half, found.offset + found.half) == pytest.approx((low, high))
    assert found.scatter == pytest.approx(0.02)


def test_a_frame_that_is_off_but_not_bad_pulls_no_harder_than_the_bound() -> None:
    rests = [0.03, -0.03, 0.03, -0.03, 0.0, 0.03, -0.03, 0.13]
    found = fitted(of(rests))
    assert found.kept.all()
    # The others scatter by 0.03, and 0.05 is what the frames say of themselves.
    assert bounded_mean(rests, 0.03) < found.offset < bounded_mean(rests, 0.055)
    assert found.offset < float(np.mean(rests)) - 0.002
    # What bounding costs where nothing is wrong is in the uncertainty.
    assert found.u == pytest.approx(float(np.std(rests, ddof=1)) * math.sqrt(COST / 8))


def test_one_reading_errs_once_and_a_row_for_each_errs_anew() -> None:
    rests = [0.0, 0.04, -0.05, 0.03, -0.02, 0.01]
    once = fitted(of(rests), Common(0.0, 0.1))
    anew = fitted(of(rests, range(6)), Common(0.0, 0.1))
    without = fitted(of(rests))
    assert once.u == pytest.approx(math.hypot(without.u, 0.1))
    assert anew.u == pytest.approx(without.u)


def test_two_readings_share_what_is_not_in_the_scatter() -> None:
    # Three frames each: the mean has half of the variance of one reading's error; the scatter
    # shows 3/5 of it, and a sixth of that counts for the mean: 1/2 - 1/10 remain.
    rests = [0.0, 0.04, -0.05, 0.03, -0.02, 0.01]
    found = fitted(of(rests, [0, 0, 0, 1, 1, 1]), Common(0.0, 0.1))
    assert found.u**2 - fitted(of(rests)).u ** 2 == pytest.approx(0.4 * 0.1**2)


def test_the_scatter_of_the_plan_has_nothing_of_the_meter_in_it() -> None:
    found = fitted(of([0.3, 0.3], [0, 1]), Common(0.0, 0.2))
    scatter = math.sqrt(2 / 3) * 0.05  # of the plan for the most part
    assert found.u == pytest.approx(math.hypot(scatter, 0.2) / math.sqrt(2))


def test_what_all_frames_share_does_not_average_out() -> None:
    rests = [0.0, 0.04, -0.05, 0.03, -0.02, 0.01]
    shared = fitted([replace(f, common_u_stops=0.07) for f in of(rests)])
    assert shared.u == pytest.approx(math.hypot(fitted(of(rests)).u, 0.07))
    assert shared.u_same_card == shared.u


@pytest.mark.parametrize("readings", [[0] * 6, [0, 0, 0, 1, 1, 1], list(range(6))])
def test_the_interval_is_honest_however_many_readings(readings: list[int]) -> None:
    rng = np.random.default_rng(sum(readings))
    common = Common(card=0.04, of_reading=0.06)
    widths, off = [], []
    for _ in range(250):
        meter = rng.normal(0, common.of_reading, 6)[readings]
        rests = 0.2 + rng.normal(0, common.card) + meter + rng.normal(0, SCATTER, 6)
        found = fitted(of(rests.tolist(), readings), common)
        widths.append(found.half)
        off.append(found.offset - 0.2)
    low, high, count = held(widths, off)
    assert low <= count <= high


@pytest.mark.parametrize("count", [2, 3, 4, 8, 16])
def test_the_interval_is_honest_for_few_frames_with_a_bad_one_in_eight(count: int) -> None:
    rng = np.random.default_rng(count)
    common = Common(card=0.05, of_reading=0.03)
    widths, off = [], []
    for _ in range(250):
        rests = rng.normal(0, SCATTER, count) + rng.normal(0, math.hypot(0.05, 0.03))
        bad = rng.choice(count, count // 8, replace=False)
        rests[bad] += rng.choice([-1, 1], count // 8) * rng.uniform(0.3, 3, count // 8)
        found = fitted(of(rests.tolist()), common)
        widths.append(found.half)
        off.append(found.offset)
    low, high, number = held(widths, off)
    assert low <= number <= high


def test_one_bad_frame_in_eight_moves_the_offset_little() -> None:
    # The issue: by less than 0.02 stop in 95 % of sets or more, at a scatter of 0.05.
    rng = np.random.default_rng(8)
    small = 0
    for _ in range(200):
        rests = rng.normal(0, SCATTER, 8)
        sound = rests[1:].mean()
        rests[0] += rng.choice([-1, 1]) * rng.uniform(0.3, 3)
        small += abs(fitted(of(rests.tolist())).offset - sound) < 0.02
    assert small >= 190


def test_a_group_that_is_off_is_taken_out_of_the_offset() -> None:
    rng = np.random.default_rng(5)
    rests = rng.normal(0.1, 0.01, 16)
    rests[8:12] += 0.25  # ISO 400
    found = fitted(cross(rests.tolist()))
    assert [(g.by, g.value) for g in found.groups if g.differs] == [("iso", 400.0)]
    assert found.offset == pytest.approx(0.1, abs=0.01)
    assert found.shifts == pytest.approx((0.25,), abs=0.02)
    assert found.scatter == pytest.approx(0.01, rel=0.5)
    assert group_of(found, "iso", 400).offset_stops == pytest.approx(0.35, abs=0.02)
    # What ISO 400 adds to every aperture's frames is not the apertures'.
    assert group_of(found, "aperture", 8).offset_stops == pytest.approx(0.1, abs=0.02)
    assert found.residuals == pytest.approx(np.zeros(16), abs=0.04)


def test_groups_have_the_mean_and_the_interval_of_their_frames() -> None:
    rests = np.random.default_rng(1).normal(0, 0.03, 16)
    found = fitted(cross(rests.tolist()), Common(0.05, 0.02))
    assert found.selected.frames == ()
    group = group_of(found, "iso", 200)
    low, high = group.interval_stops
    assert group.offset_stops == pytest.approx(rests[4:8].mean())
    assert (low + high) / 2 == pytest.approx(group.offset_stops)
    half = half_width(found.scatter / 2, 15, math.hypot(0.05, 0.02))
    assert high - low == pytest.approx(2 * half)
    assert group.frames == 4
    assert not group.differs
    assert len(found.groups) == 8


def test_a_group_of_nothing_but_a_bad_frame_has_no_figure() -> None:
    frames = of([0.0, 0.01, -0.01, 0.0, 0.02, -0.02, 0.01, 5.0])
    frames[-1] = replace(frames[-1], iso=200.0)
    found = fitted(frames)
    assert found.selected.frames == (7,)
    assert [(g.by, g.value, g.frames) for g in found.groups] == [("iso", 100.0, 7)]


def test_a_bad_frame_does_not_count_but_has_its_residual() -> None:
    found = fitted(of([0.1, 0.12, 0.08, 0.1, 0.11, 0.09, 0.9]))
    assert found.selected.frames == (6,)
    assert found.kept.tolist() == [True] * 6 + [False]
    assert found.offset == pytest.approx(0.1, abs=1e-6)
    assert found.residuals[6] == pytest.approx(0.8, abs=1e-6)


@settings(max_examples=50)
@given(st.integers(0, 999), st.integers(1, 16), st.floats(-3, 3))
def test_shifting_all_shifts_the_offset(seed: int, count: int, shift: float) -> None:
    rng = np.random.default_rng(seed)
    rests = rng.normal(0, 0.04, count)
    rests[0] += rng.choice([0.0, 0.7])
    plain = fitted(cross(rests.tolist()), Common(0.05, 0.02))
    moved = fitted(cross((rests + shift).tolist()), Common(0.05, 0.02))
    assert moved.offset == pytest.approx(plain.offset + shift, abs=1e-8)
    assert moved.half == pytest.approx(plain.half, abs=1e-8)
    assert moved.residuals == pytest.approx(plain.residuals, abs=1e-8)
    assert moved.selected == plain.selected
    assert [g.offset_stops for g in moved.groups] == pytest.approx(
        [g.offset_stops + shift for g in plain.groups], abs=1e-8
    )


@settings(max_examples=50)
@given(st.integers(0, 999), st.permutations(range(16)))
def test_the_order_of_frames_changes_nothing(seed: int, order: list[int]) -> None:
    rng = np.random.default_rng(seed)
    rests = rng.normal(0, 0.04, 16)
    rests[seed % 16] += rng.choice([0.0, 0.7])
    frames = [replace(f, reading=at % 3) for at, f in enumerate(cross(rests.tolist()))]
    plain = fitted(frames, Common(0.05, 0.02))
    other = fitted([frames[at] for at in order], Common(0.05, 0.02))
    assert other.offset == pytest.approx(plain.offset, abs=1e-8)
    assert other.half == pytest.approx(plain.half, abs=1e-8)
    assert other.residuals == pytest.approx(plain.residuals[order], abs=1e-8)
    assert slope_of([frames[at] for at in order], other) == pytest.approx(
        slope_of(frames, plain), abs=1e-8
    )


def at_levels(levels: Sequence[float], rests: Sequence[float]) -> list[CalibrationFrame]:
    """Frames planned at these levels."""
    return [frame(float(r), float(p)) for p, r in zip(levels, rests, strict=True)]


def test_a_linear_chain_has_the_slope_1() -> None:
    frames = at_levels([-6, -5, -4, -3, -2, -1], [0.3] * 6)
    assert slope_of(frames, fitted(frames)) == pytest.approx((1, 1, 1), abs=1e-9)


@pytest.mark.parametrize("slope", [0.9, 1.1])
def test_the_slope_is_of_measured_against_planned(slope: float) -> None:
    planned = np.linspace(-6, -1, 11)
    rests = 0.2 + (slope - 1) * planned + np.random.default_rng(3).normal(0, 0.01, 11)
    frames = at_levels(planned.tolist(), rests.tolist())
    found = fitted(frames)
    assert found.selected.courses == ("slope",)
    middle, low, high = slope_of(frames, found) or (0, 0, 0)
    assert low < slope < high
    assert middle == pytest.approx(slope, abs=0.01)
    assert not low <= 1 <= high
    by_scipy = stats.theilslopes(planned + rests, planned, 0.95)
    assert (middle, low, high) == pytest.approx(
        (by_scipy.slope, by_scipy.low_slope, by_scipy.high_slope), abs=1e-9
    )


def test_a_bad_frame_is_not_in_the_slope() -> None:
    planned = [-6.0, -5, -4, -3, -2, -1, 0]
    frames = at_levels(planned, [0.01, -0.01, 0.0, 0.01, -0.01, 0.0, -2.0])
    found = fitted(frames)
    assert found.selected.frames == (6,)
    assert (slope_of(frames, found) or (0,))[0] == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize(
    "levels",
    [[-3] * 5, [-3, -3.1, -2.9, -3.2, -3], [-3, -1, -3, -1, -3], [-3, -2]],
    ids=["one level", "too close", "two levels", "two frames"],
)
def test_no_slope_where_levels_say_nothing(levels: list[float]) -> None:
    frames = at_levels(levels, [0.0] * len(levels))
    assert slope_of(frames, fitted(frames)) is None


@pytest.mark.parametrize("count", [3, 4, 5, 7])
def test_the_slopes_interval_is_honest_for_few_frames(count: int) -> None:
    rng = np.random.default_rng(count)
    planned = np.arange(count) - 4.0
    draws = 300
    good = 0
    for _ in range(draws):
        frames = at_levels(planned.tolist(), rng.normal(0, 0.04, count).tolist())
        found = replace(fitted(frames), kept=np.ones(count, bool))
        _, low, high = slope_of(frames, found) or (0, 0, 0)
        good += low <= 1 <= high
    assert good >= stats.binom.ppf(0.001, draws, 0.95)
