"""Recordings without a flash are refused, each in one line that says what is in them."""

import numpy as np
import pytest
from drawn_pulses import Values
from light_traces import decaying, noisy, rounded, table

from verify.errors import PlanError
from verify.pulse.firing import firing_of

TIMES = np.arange(2000, dtype=np.float64) * 1e-6
LONG = np.arange(20_000, dtype=np.float64) * 5e-6
NOISE = np.random.default_rng(5)


def hum(hertz: float, lamp: bool = False) -> Values:
    """Light or hum of the mains alone."""
    wave = np.sin(2 * np.pi * hertz * LONG + 0.4)
    return np.asarray(0.2 + 0.1 * (np.abs(wave) if lamp else wave))


@pytest.mark.parametrize(
    ("time_s", "value", "said"),
    [
        (TIMES, NOISE.normal(0.3, 0.01, 2000), "only noise"),
        (TIMES, rounded(NOISE.normal(0.3, 0.004, 2000), 8), "only noise"),
        (LONG, NOISE.normal(-5, 3, 20_000), "only noise"),
        (TIMES, np.round(NOISE.normal(0.2, 0.3, 2000)), "only noise"),
        (TIMES, np.asarray(NOISE.random(2000) < 0.1, np.float64), "only noise"),
        (TIMES, np.full(2000, 1.0), "all values are 1"),
        (TIMES, TIMES * 1e3, "only drifts"),
        (TIMES, TIMES * 1e3 + NOISE.normal(0, 0.01, 2000), "only drifts"),
        (LONG, hum(50) + NOISE.normal(0, 0.005, 20_000), "mains"),
        (LONG, hum(60) + NOISE.normal(0, 0.005, 20_000), "mains"),
        (LONG, hum(50, lamp=True) + NOISE.normal(0, 0.005, 20_000), "100 Hz"),
        (LONG, hum(60, lamp=True), "120 Hz"),
        (TIMES, NOISE.normal(0, 0.01, 2000) + (np.arange(2000) == 700), "only noise"),
    ],
)
def test_refused(time_s: Values, value: Values, said: str) -> None:
    with pytest.raises(PlanError, match=r"^x\.csv: no flash in it") as caught:
        firing_of(table(time_s, value), "x.csv")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_weak_flash_is_refused_with_how_weak_it_is() -> None:
    light = decaying(TIMES, 5e-4, 2e-5)
    with pytest.raises(PlanError, match=r"stands out: the most light is \d\.\d times the noise, 6"):
        firing_of(noisy(TIMES, light, 0.18, seed=3), "x.csv")


def test_a_weak_flash_of_very_many_samples_is_found() -> None:
    """Their means tell what single ones do not."""
    times = np.arange(200_000, dtype=np.float64) * 1e-7
    firing = firing_of(noisy(times, decaying(times, 4e-3, 2e-3), 0.25), "x.csv")
    assert len(firing.pulses) == 1
    assert firing.total.durations_s[0.5] == pytest.approx(2e-3 * np.log(2), rel=0.06)
