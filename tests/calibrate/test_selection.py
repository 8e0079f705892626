"""verify/calibrate/selection.py: what is blamed, and what is not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from verify.calibrate.selection import ALARM, LEAST_SCATTER, Selected, select

NOTHING = Selected((), (), ())
PRIOR = 0.05  # stop, of every set here

# 4 x 4: ISO goes by rows, the aperture by columns, as a calibration set is shot.
ROWS, COLUMNS = np.divmod(np.arange(16), 4)
GROUPS = [by == n for by in (ROWS, COLUMNS) for n in range(4)]
LEVELS = (ROWS - COLUMNS).astype(float)


def at_most(share: float, draws: int) -> int:
    """As many as chance brings about in one of a thousand such runs."""
    return int(stats.binom.ppf(0.999, draws, share))


def beside(group: NDArray[np.bool_], rest: NDArray[np.float64]) -> float:
    """Two-sided p of a group against the others: the pooled t test of scipy."""
    return float(stats.ttest_ind(rest[group], rest[~group], equal_var=True).pvalue)


@pytest.mark.parametrize("seed", range(60))
def test_one_group_is_named_where_the_t_test_says_so(seed: int) -> None:
    rng = np.random.default_rng(seed)
    group = np.arange(16) < 4
    rest = rng.normal(0, 0.03, 16) + group * rng.uniform(0, 0.12)
    p = beside(group, rest)
    found = select(rest, [group], None, PRIOR)
    if not found.frames:  # the test by itself knows nothing of bad frames
        assert (found.groups == (0,)) == (p < ALARM["group"])


def test_near_the_limit_of_one_test() -> None:
    # Two groups of 8, means d apart, each -s and +s by turns: t = d / sqrt(2 s^2 / 7), 14 degrees.
    group = np.arange(16) < 8
    turns = np.where(np.arange(16) % 2, 0.05, -0.05)
    limit = stats.t.isf(ALARM["group"] / 2, 14) * np.sqrt(2 * 0.05**2 / 7)
    for apart, groups in ((0.99 * limit, ()), (1.01 * limit, (0,))):
        assert select(turns + group * apart, [group], None, PRIOR).groups == groups


def test_several_tests_share_the_alarm() -> None:
    # The same, at the limit of the eight tests of a 4 x 4 set; the others are all but neutral.
    turns = np.where((ROWS + COLUMNS) % 2, 0.03, -0.03)
    spread = np.sqrt(0.03**2 * 16 / 14)
    each = spread * np.sqrt(1 / 4 + 1 / 12)
    limit = stats.t.isf(ALARM["group"] / 2 / 8, 14) * each
    for apart, groups in ((0.98 * limit, ()), (1.02 * limit, (2,))):
        assert select(turns + GROUPS[2] * apart, GROUPS, None, PRIOR).groups == groups


def test_one_group_of_eight_is_named_as_by_bonferroni() -> None:
    rng = np.random.default_rng(4)
    agree = 0
    for _ in range(60):
        rest = rng.normal(0, 0.03, 16) + GROUPS[5] * 0.2
        p = [beside(group, rest) for group in GROUPS]
        least = int(np.argmin(p))
        assert p[least] < ALARM["group"] / 8
        agree += select(rest, GROUPS, LEVELS, PRIOR).groups == (least,) == (5,)
    assert agree >= 57


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("size", [0.5, -0.5, 1.5])
def test_three_equal_gross_errors_do_not_hide_one_another(seed: int, size: float) -> None:
    rng = np.random.default_rng(seed)
    rest = rng.normal(0.3, 0.05, 24)
    bad = np.sort(rng.choice(24, 3, replace=False))
    rest[bad] += size
    assert set(bad.tolist()) <= set(select(rest, [], None, PRIOR).frames)


def test_three_that_no_test_of_one_sees() -> None:
    # Each of the three widens the scatter that it is held against: by Grubbs' test of the worst
    # one, none is bad.
    rest = np.where(np.arange(24) % 2, 0.05, -0.05)
    rest[[3, 11, 20]] = 0.4
    grubbs = (np.abs(rest - rest.mean()) / rest.std(ddof=1)).max()
    t = stats.t.isf(0.05 / (2 * 24), 22)
    assert grubbs < 23 / np.sqrt(24) * np.sqrt(t**2 / (22 + t**2))
    assert select(rest, [], None, PRIOR).frames == (3, 11, 20)


@pytest.mark.parametrize("count", [3, 4, 5, 8, 24])
@pytest.mark.parametrize("level", [0.0, 0.1, -1.7])
def test_nothing_in_what_is_all_the_same(count: int, level: float) -> None:
    groups = [np.arange(count) < 2] if count > 3 else []
    assert (
        select(np.full(count, level), groups, np.arange(count, dtype=np.float64), PRIOR) == NOTHING
    )


def test_nothing_finer_than_anything_repeats() -> None:
    rest = np.full(12, 0.1)
    rest[3] += LEAST_SCATTER
    assert select(rest, [], None, PRIOR) == NOTHING
    rest[3] += 0.1
    assert select(rest, [], None, PRIOR).frames == (3,)


def test_of_three_frames_one_can_be_bad_and_only_if_it_is_far_off() -> None:
    assert select(np.array([0.0, 0.02, 0.15]), [], None, PRIOR) == NOTHING
    assert select(np.array([0.0, 0.02, 2.0]), [], None, PRIOR).frames == (2,)
    # Two that agree by chance are no measure of the scatter: what is known before has its say.
    assert select(np.array([0.1, 0.1001, 0.38]), [], None, PRIOR) == NOTHING


@pytest.mark.parametrize(("count", "most"), [(3, 1), (4, 1), (7, 1), (8, 2), (24, 6)])
def test_no_more_than_one_in_four_is_bad(count: int, most: int) -> None:
    rest = np.random.default_rng(count).normal(0, 0.01, count)
    rest[: count // 2] += 3 * np.arange(1, count // 2 + 1)
    assert len(select(rest, [], None, PRIOR).frames) <= most


def test_a_slope_is_no_bend_and_a_bend_no_slope() -> None:
    planned = np.linspace(-6, -1, 12)
    bend = 0.05 * (planned - planned.mean()) ** 2
    draws = 60
    slopes = bends = 0
    for seed in range(draws):
        noise = np.random.default_rng(seed).normal(0, 0.02, 12)
        slopes += select(noise + 0.1 * planned, [], planned, PRIOR).courses == ("slope",)
        bends += select(noise + bend, [], planned, PRIOR).courses == ("bend",)
    allowed = at_most(0.02, draws)  # the alarm of the other one, and that of a bad frame
    assert min(slopes, bends) >= draws - allowed


def test_a_slope_as_significant_as_by_linear_regression() -> None:
    rng = np.random.default_rng(2)
    planned = np.arange(10.0)
    seen = set()
    for _ in range(80):
        rest = rng.normal(0, 0.05, 10) + rng.uniform(-0.03, 0.03) * planned
        p = stats.linregress(planned, rest).pvalue
        found = select(rest, [], planned, PRIOR)
        if found.frames or "bend" in found.courses:
            continue
        assert (found.courses == ("slope",)) == (p < ALARM["slope"])
        seen.add(found.courses)
    assert len(seen) == 2  # some are, some are not


def test_two_levels_have_no_bend() -> None:
    planned = np.repeat([-4.0, -2.0], 6)
    rest = 0.3 * planned + np.random.default_rng(0).normal(0, 0.01, 12)
    assert select(rest, [], planned, PRIOR).courses == ("slope",)


@pytest.mark.parametrize("count", [3, 5, 8, 16, 24])
def test_false_alarms_about_frames(count: int) -> None:
    rng = np.random.default_rng(count)
    draws = 250
    alarms = sum(
        bool(select(rng.normal(0, PRIOR, count), [], None, PRIOR).frames) for _ in range(draws)
    )
    assert alarms <= at_most(ALARM["frame"], draws)


def test_false_alarms_about_groups_and_courses() -> None:
    rng = np.random.default_rng(16)
    draws = 300
    found = [select(rng.normal(0, 0.03, 16), GROUPS, LEVELS, PRIOR) for _ in range(draws)]
    assert sum(bool(one.groups) for one in found) <= at_most(0.02, draws)
    assert sum(bool(one.courses) for one in found) <= at_most(0.02, draws)
    assert sum(bool(one.frames) for one in found) <= at_most(0.02, draws)


@settings(max_examples=50)
@given(st.integers(0, 999), st.floats(-5, 5), st.booleans())
def test_a_shift_of_all_changes_nothing(seed: int, shift: float, gross: bool) -> None:
    rng = np.random.default_rng(seed)
    rest = rng.normal(0, 0.03, 16) + GROUPS[seed % 8] * rng.uniform(0, 0.3)
    rest[seed % 16] += 0.6 * gross
    assert select(rest + shift, GROUPS, LEVELS, PRIOR) == select(rest, GROUPS, LEVELS, PRIOR)


@settings(max_examples=50)
@given(st.integers(0, 999), st.permutations(range(16)))
def test_the_order_of_frames_changes_nothing(seed: int, order: list[int]) -> None:
    rng = np.random.default_rng(seed)
    rest = rng.normal(0, 0.03, 16) + GROUPS[seed % 8] * rng.uniform(0, 0.3)
    rest[rng.choice(16, 2, replace=False)] += rng.uniform(-0.6, 0.6, 2)
    found = select(rest, GROUPS, LEVELS, PRIOR)
    other = select(rest[order], [group[order] for group in GROUPS], LEVELS[order], PRIOR)
    assert sorted(order[at] for at in other.frames) == list(found.frames)
    assert set(other.groups) == set(found.groups)
    assert other.courses == found.courses


@settings(max_examples=50)
@given(st.integers(0, 999))
def test_the_mirror_image_is_blamed_alike(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rest = rng.normal(0, 0.03, 16) + GROUPS[seed % 8] * rng.uniform(0, 0.3)
    assert select(-rest, GROUPS, LEVELS, PRIOR) == select(rest, GROUPS, LEVELS, PRIOR)


def test_a_group_and_a_bad_frame_each_get_their_own_blame() -> None:
    rng = np.random.default_rng(3)
    right = 0
    for _ in range(60):
        rest = rng.normal(0, 0.03, 16) + GROUPS[1] * 0.2
        rest[10] -= 0.5
        found = select(rest, GROUPS, LEVELS, PRIOR)
        right += found.groups == (1,) and found.frames == (10,)
    assert right >= 54
