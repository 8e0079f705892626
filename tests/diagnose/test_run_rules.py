"""verify/diagnose/run_rules.py: each rule on made-up values and on a published set."""

import numpy as np
import pytest
from published_series import CONCENTRATION, ENGINES, FIRST_ENGINE, JETS
from scipy import stats

from verify.diagnose.chart import individuals
from verify.diagnose.run_rules import RULES, RuleSignal, run_rules

THREE, TWO, ONE, RUN = RULES


def signals(values: list[float], on_one_side: int = 8) -> list[tuple[int, str]]:
    return [(s.at, s.rule) for s in run_rules(np.array(values), 0.0, 1.0, on_one_side)]


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_each_rule_alone(side: float) -> None:
    """Western Electric's handbook, as check-values 8.4 cites it."""

    def found(*values: float) -> list[tuple[int, str]]:
        return signals([side * value for value in values])

    assert found(0, 3.01, 0) == [(1, THREE)]
    assert found(0, 2.99, 0) == []
    assert found(2.1, 0, 2.1) == [(2, TWO)]
    assert found(2.1, 2.1) == [(1, TWO)]
    assert found(2.1, 0, 0, 2.1) == []
    assert found(2.1, 0, -2.1) == []
    assert found(1.1, 1.1, -0.1, 1.1, 1.1) == [(4, ONE)]
    assert found(1.1, 1.1, -0.1, -0.1, 1.1, 1.1) == []
    assert found(*[0.1] * 8) == [(7, RUN)]
    assert found(*[0.1] * 7, -0.1) == []


def test_the_signal_is_at_a_value_that_is_beyond_itself() -> None:
    assert signals([2.1, 2.1, 0.0]) == [(1, TWO)]
    assert signals([1.1, 1.1, 1.1, 1.1, 0.0]) == [(3, ONE)]


def test_one_value_may_meet_several_rules() -> None:
    assert signals([2.5, 3.5]) == [(1, THREE), (1, TWO)]


@pytest.mark.parametrize(("length", "first"), [(7, 1726), (8, 1727), (9, None)])
def test_runs_of_a_published_set(length: int, first: int | None) -> None:
    """Check-values 8.3 and 11: at 1726 or 1727 by the length of a run, none with Nelson's 9."""
    limits = individuals(ENGINES)
    found = run_rules(ENGINES, limits.centre, limits.sigma, length)
    runs = [s.at + FIRST_ENGINE for s in found if s.rule == RUN]
    assert next(iter(runs), None) == first
    others = [(s.at + FIRST_ENGINE, s.rule) for s in found if s.rule != RUN]
    assert others == [(1732, THREE)]


@pytest.mark.parametrize("values", [JETS, CONCENTRATION])
def test_no_signal_in_published_sets_in_control(values: np.ndarray) -> None:
    limits = individuals(values)
    assert run_rules(values, limits.centre, limits.sigma) == ()


def test_chances_of_the_rules_on_normal_values() -> None:
    """Check-values 8.4: 0.0027; 0.0078 of runs. Two of three and four of five as worked out there
    (0.001529, 0.002766 a side), less where the last value is not beyond itself.
    """
    values = np.random.default_rng(4).normal(0, 1, 200_000)
    found = run_rules(values, 0.0, 1.0)
    share = {rule: sum(s.rule == rule for s in found) / len(values) for rule in RULES}
    assert share[THREE] == pytest.approx(0.0027, rel=0.1)
    two, one = stats.norm.sf(2), stats.norm.sf(1)
    any_two, any_four = stats.binom.sf(1, 3, two), stats.binom.sf(3, 5, one)
    assert (any_two, any_four) == pytest.approx((0.001529, 0.002766), abs=5e-7)
    ending_two = any_two - two**2 * (1 - two)
    ending_four = any_four - one**4 * (1 - one)
    assert share[TWO] == pytest.approx(2 * ending_two, rel=0.1)
    assert share[ONE] == pytest.approx(2 * ending_four, rel=0.1)
    assert share[RUN] == pytest.approx(0.0078, rel=0.1)


def test_values_on_the_centre_but_for_rounding_are_on_no_side() -> None:
    values = np.full(20, 0.1) + np.tile([1e-17, 0.0], 10)
    assert run_rules(values, float(values.mean()) * (1 - 1e-16), 0.0) == ()
    assert run_rules(np.array([]), 0.0, 1.0) == ()
    assert run_rules(np.array([4.0]), 0.0, 1.0) == (RuleSignal(0, THREE),)
