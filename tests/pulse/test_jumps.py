"""Where light is switched, in noise."""

import numpy as np
import pytest
from drawn_pulses import PULSES, recorded

from verify.pulse.jumps import jumps_of
from verify.pulse.smoothing import smoothed

NOISE = 0.01


def found(light: np.ndarray, seed: int) -> list[int]:
    value = light + NOISE * np.random.default_rng(seed).standard_normal(light.size)
    return [int(at) for at in jumps_of(value, smoothed(value, NOISE), NOISE)]


@pytest.mark.parametrize("seed", range(5))
def test_light_that_is_switched_on_and_cut(seed: int) -> None:
    at = np.arange(200)
    light = np.where((at > 49) & (at <= 120), np.exp(-(at - 50) / 60), 0.0)
    assert found(light, seed) == [49, 120]


@pytest.mark.parametrize("seed", range(5))
def test_a_small_jump_off_a_slope(seed: int) -> None:
    at = np.arange(200)
    light = np.where(at <= 120, np.exp(-at / 52), 0.0)  # from exp(-2.3), a tenth
    assert found(light, seed) == [120]


@pytest.mark.parametrize("name", ["half sine", "gaussian", "raised cosine", "triangle"])
def test_steep_light_is_not_switched(name: str) -> None:
    rng = np.random.default_rng(8)
    jumps = 0
    for _ in range(20):
        value, _, noise, _ = recorded(PULSES[name], 50, rng)
        jumps += jumps_of(value, smoothed(value, noise), noise).size
    assert jumps <= 6  # of the noise, which is known from few samples


def test_noise_alone_is_not_switched() -> None:
    assert sum(len(found(np.zeros(500), seed)) for seed in range(10)) <= 1
