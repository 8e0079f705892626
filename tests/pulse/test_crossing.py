"""Where light crosses a level: in curves, in jumps, and where it may be either."""

import math

import numpy as np
import pytest

from verify.pulse.crossing import Crossing, Shape, first_and_last
from verify.pulse.jumps import jumps_of
from verify.pulse.smoothing import smoothed

NOISE = 0.01
AT = np.arange(300.0)


def crossed(
    light: np.ndarray, level: float, seed: int = 1, u_level: float = 0.0
) -> tuple[Crossing, Crossing]:
    value = light + NOISE * np.random.default_rng(seed).standard_normal(light.size)
    smooth = smoothed(value, NOISE)
    shape = Shape(value, smooth.value, jumps_of(value, smooth, NOISE), NOISE, 1.0)
    ends = first_and_last(shape, level, u_level)
    assert ends is not None
    return ends


def decaying(ends: float) -> np.ndarray:
    """From sample 50 on, 60 samples to a time constant; cut after a sample."""
    return np.where((AT >= 50) & (ends >= AT), np.exp(-(AT - 50) / 60), 0.0)


def test_a_jump_is_half_way_between_two_samples() -> None:
    first, last = crossed(decaying(110), 0.2)
    assert (first.place, last.place) == (49.5, 110.5)
    assert first.u == last.u == pytest.approx(1 / math.sqrt(12))
    assert first.slope == last.slope == math.inf


@pytest.mark.parametrize("level", [0.15, 0.4, 0.8])
def test_a_slope_between_jumps_is_followed(level: float) -> None:
    off = []
    for seed in range(20):
        last = crossed(decaying(180), level, seed)[1]
        off.append((last.place - 50 + 60 * math.log(level)) / last.u)
    assert 0.5 < np.std(off) < 1.6


def test_level_with_a_cut_it_is_one_or_the_other_and_the_uncertainty_says_so() -> None:
    """Light is at the level when it is cut: found there or somewhat before, never beyond."""
    rng = np.random.default_rng(2)
    places, within = [], 0
    for seed in range(40):
        level = math.exp(-130 / 60) + 0.0015 * rng.standard_normal()
        last = crossed(decaying(180), level, seed, u_level=0.0015)[1]
        places.append(last.place)
        within += abs(last.place - 180.25) <= 2 * last.u
    assert max(places) <= 180.5
    assert np.median(places) > 179
    assert within >= 35


def test_backwards_it_is_the_same() -> None:
    first, last = crossed(decaying(160), 0.3, seed=4)
    value = decaying(160) + NOISE * np.random.default_rng(4).standard_normal(300)
    smooth = smoothed(value[::-1], NOISE)
    shape = Shape(value[::-1], smooth.value, jumps_of(value[::-1], smooth, NOISE), NOISE, 1.0)
    ends = first_and_last(shape, 0.3, 0.0)
    assert ends is not None
    assert ends[0].place == pytest.approx(299 - last.place, abs=0.05)
    assert ends[1].place == pytest.approx(299 - first.place, abs=0.05)


@pytest.mark.parametrize("steps", [1.5, 4.0])
def test_an_edge_of_few_samples(steps: float) -> None:
    """What light does between two samples is not known, and is part of the uncertainty."""
    off, within = [], 0
    for seed in range(30):
        begins = 60 + seed / 30
        light = np.interp(AT, [begins, begins + steps, 200, 240], [0, 1, 1, 0])
        first = crossed(light, 0.1, seed)[0]
        off.append(abs(first.place - begins - 0.1 * steps))
        within += off[-1] <= 2 * first.u
    assert max(off) < 0.8
    assert within >= 24


def test_a_record_that_begins_or_ends_above_the_level() -> None:
    smooth = smoothed(decaying(180)[60:], NOISE)
    shape = Shape(decaying(180)[60:], smooth.value, np.array([], np.intp), NOISE, 1.0)
    assert first_and_last(shape, 0.3, 0.0) is None
