"""verify/diagnose/fit.py, proposals.py, search.py: causes that bad frames cannot rule."""

import math

import numpy as np
import pytest
from series_frames import scatter

from verify.diagnose.fit import Fitted, Problem, Term, fit, least_deviations
from verify.diagnose.proposals import step_interval
from verify.diagnose.search import Explained, explain


def problem(light: np.ndarray, scale: np.ndarray | None = None) -> Problem:
    count = len(light)
    own = np.ones(count) if scale is None else scale
    return Problem(light, np.ones(count), np.ones((count, 1)), own, 0.03)


def searched(light: np.ndarray, step_cost: float = 9.0) -> Explained:
    return explain(problem(light), [], step_cost)


def level(found: Fitted, light: np.ndarray) -> float:
    return float(np.median(light - found.residuals))


def test_far_off_frames_do_not_move_the_level() -> None:
    light = scatter(40)
    bad = light.copy()
    bad[[3, 9, 22]] = -4.0
    found = fit(problem(bad), [], None, 0.03)
    clean = float(np.delete(light, [3, 9, 22]).mean())
    assert level(found, bad) == pytest.approx(clean, abs=1e-3)
    assert found.sigma == pytest.approx(0.03, rel=0.3)
    assert (found.usual[[3, 9, 22]] < 1e-6).all()
    assert np.delete(found.usual, [3, 9, 22]).min() > 0.5


def test_a_drop_gathers_the_frames_that_share_it() -> None:
    light = scatter(60)
    light[[4, 20, 33, 51]] -= 0.4
    drop = Term("drop", np.zeros(60), False, 4.0, (-0.3,))
    found = fit(problem(light), [drop], None, 0.03)
    assert found.terms[0].params[0] == pytest.approx(-0.4, abs=0.04)
    assert np.flatnonzero(found.dropped[0] > 0.5).tolist() == [4, 20, 33, 51]


def test_a_drop_within_the_scatter_is_none() -> None:
    light = scatter(60)
    drop = Term("drop", np.zeros(60), False, 4.0, (-0.04,))
    assert math.isinf(fit(problem(light), [drop], None, 0.03).cost)


def test_frames_of_more_scatter_count_for_less() -> None:
    light = np.concatenate([np.zeros(20), np.full(20, 0.5)])
    scale = np.concatenate([np.ones(20), np.full(20, 20.0)])
    found = fit(problem(light, scale), [], None, 0.03)
    assert abs(level(found, light)) < 0.02


def test_least_deviations_pass_through_most_values() -> None:
    values = np.array([1.0, 1.0, 1.0, 1.0, 9.0])
    found = least_deviations(np.ones((5, 1)), values, np.ones(5), np.full(5, 0.01))
    assert found[0] == pytest.approx(1.0, abs=0.01)


def test_steps_are_found_where_they_are() -> None:
    light = scatter(120)
    light[30:] += 0.3
    light[80:] -= 0.5
    found = searched(light)
    steps = sorted((t.at, s) for t, s in zip(found.model.terms, found.model.sizes, strict=True))
    assert [at for at, _ in steps] == [30, 80]
    assert [size for _, size in steps] == pytest.approx([0.3, -0.5], abs=0.03)
    for at, term in enumerate(found.model.terms):
        low, high = step_interval(problem(light), found.model, at)
        assert low <= term.at <= high <= low + 2


def test_a_step_that_few_frames_follow_is_no_row_of_stray_ones() -> None:
    light = scatter(100)
    light[94:] += 0.4
    found = searched(light)
    assert [t.at for t in found.model.terms] == [94]


def test_a_step_there_and_back_needs_both_at_once() -> None:
    light = scatter(100)
    light[40:46] += 0.3
    assert sorted(t.at for t in searched(light).model.terms) == [40, 46]


def test_steps_of_one_or_two_frames_are_none() -> None:
    light = scatter(60)
    light[[0, 20, 21, 59]] += 0.5
    assert searched(light).model.terms == ()


def test_a_third_of_the_frames_may_share_a_loss() -> None:
    light = scatter(60)
    lost = np.random.default_rng(3).random(60) < 0.33
    light[lost] -= 0.4
    model = searched(light).model
    assert [t.cause for t in model.terms] == ["drop"]
    assert ((model.dropped[0] > 0.5) == lost).all()


def test_chance_alone_gives_nothing() -> None:
    named = sum(bool(searched(scatter(60, seed)).model.terms) for seed in range(40))
    assert named <= 1  # 5 % of 40 is 2
