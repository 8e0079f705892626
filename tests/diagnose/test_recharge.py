"""verify/diagnose/recharge.py and recycle.py: laws of recharge, and the gap that is long enough."""

import math

import numpy as np
import pytest
from series_frames import gaps, scatter, seen

from verify.diagnose.diagnosis import diagnose
from verify.diagnose.recharge import CARRIED, PLAIN, first_params, losses, shortest_gap

EXACT = 1e-12


def law(tau: float, depth: float, kind: float) -> np.ndarray:
    return np.array([[tau, depth, kind]])


def test_a_plain_recharge_is_what_the_gap_leaves() -> None:
    gap = np.array([np.inf, 1.0, 3.0, 100.0])
    found = losses(gap, law(2.0, 0.8, PLAIN))[:, 0]
    # log2(1 - 0.8 e^(-g / 2)), by hand: 0, -0.9580, -0.2834, 0
    by_hand = [0.0, *(math.log2(1 - 0.8 * math.exp(-x)) for x in (0.5, 1.5))]
    np.testing.assert_allclose(found[:3], by_hand, atol=EXACT)
    assert found[1] == pytest.approx(-0.958, abs=1e-3)
    assert found[3] == pytest.approx(0.0, abs=EXACT)


def test_a_carried_recharge_sinks_in_a_burst() -> None:
    gap = np.concatenate([[np.inf], np.full(40, 1.0)])
    found = losses(gap, law(2.0, 0.5, CARRIED))[:, 0]
    left = math.exp(-0.5)
    assert found[1] == pytest.approx(math.log2(1 - 0.5 * left), abs=1e-3)
    assert np.all(np.diff(found[:6]) < 0)
    # the end of a burst: m = (a + (1 - a) m) x, so m = a x / (1 - (1 - a) x)
    assert found[-1] == pytest.approx(math.log2(1 - 0.5 * left / (1 - 0.5 * left)), abs=1e-3)
    everything = losses(gap, law(2.0, 1.0, CARRIED)), losses(gap, law(2.0, 1.0, PLAIN))
    np.testing.assert_allclose(*everything, atol=EXACT)


def test_an_unknown_gap_is_taken_for_a_usual_one() -> None:
    gap = np.array([np.inf, 1.0, np.nan, 1.0])
    for kind in (PLAIN, CARRIED):
        found = losses(gap, law(2.0, 0.5, kind))[:, 0]
        assert found[2] == pytest.approx(np.mean(found[[0, 1, 3]]))


@pytest.mark.parametrize("kind", [PLAIN, CARRIED])
def test_the_shortest_gap_keeps_a_burst_just_within_tolerance(kind: float) -> None:
    gap = float(shortest_gap(law(1.7, 0.6, kind), 0.1)[0])
    burst = losses(np.concatenate([[np.inf], np.full(300, gap)]), law(1.7, 0.6, kind))[:, 0]
    assert burst[-1] == pytest.approx(-0.1, abs=1e-3)


def test_a_loss_within_tolerance_asks_for_no_gap() -> None:
    assert shortest_gap(law(2.0, 0.05, PLAIN), 0.1)[0] == 0.0


def test_laws_to_try_reach_from_short_gaps_to_long_ones() -> None:
    tried = first_params(np.array([np.inf, np.nan, 1.0, 2.0, 3.0, 200.0]))
    assert tried[:, 0].min() < 0.3
    assert tried[:, 0].max() > 3.0
    assert set(tried[:, 2]) == {PLAIN, CARRIED}


def test_the_interval_holds_the_gap_as_often_as_it_says() -> None:
    held = 0
    for seed in range(20):
        gap = gaps(60, seed)
        light = scatter(60, seed, 0.05)
        light[1:] += np.log2(1 - 0.5 * np.exp(-gap[1:] / 1.5))
        found = diagnose(seen(light, gap), 0.1).findings[0]
        assert found.cause == "recycle"
        low, high = found.detail["shortest_gap_interval_s"]
        true = 1.5 * math.log(0.5 / (1 - 2**-0.1))
        held += low <= true and (high is None or true <= high)
    assert held >= 17  # 95 % of 20, two standard deviations down
