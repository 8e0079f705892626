"""What is dark: level of any size, polarity, noise, hum, drift."""

import math

import numpy as np
import pytest
from drawn_pulses import Values
from hypothesis import given, settings
from hypothesis import strategies as st
from light_traces import decaying, noisy, rounded, table

from verify.pulse.baseline import Light, light_of
from verify.pulse.even import even_of
from verify.pulse.firing import firing_of
from verify.pulse.noise import noise_of, quantum_of
from verify.trace.records import Trace

TIMES = np.arange(1500, dtype=np.float64) * 1e-6
LIGHT = decaying(TIMES, 3e-4, 1e-4)
HALF, TENTH = 1e-4 * math.log(2), 1e-4 * math.log(10)
WITHIN = 0.04  # of a duration, in one recording with 1 % noise
LONG = np.arange(0, 0.06, 5e-6)
SLOW = decaying(LONG, 0.03, 2e-3)
SLOW_TENTH = 2e-3 * math.log(10)


def above(trace: Trace) -> Light:
    """The recording above its baseline."""
    return light_of(even_of(trace), (trace.least, trace.most), "x.csv")


@pytest.mark.parametrize("offset", [0.0, 0.3, -0.3, -1000.0, 1e5])
@pytest.mark.parametrize("gain", [1.0, -1.0, 1e-9])
def test_baseline_and_polarity_do_not_matter(offset: float, gain: float) -> None:
    trace = noisy(TIMES, LIGHT, 0.01, seed=4)
    firing = firing_of(table(TIMES, offset * abs(gain) + gain * trace.value), "x.csv")
    assert firing.total.durations_s[0.5] == pytest.approx(HALF, rel=WITHIN)
    assert firing.total.durations_s[0.1] == pytest.approx(TENTH, rel=WITHIN)
    assert firing.total.peak == pytest.approx(abs(gain), rel=0.03)
    assert ("negative-polarity" in firing.warnings) == (gain < 0)
    assert "baseline-unsure" not in firing.warnings


@given(st.integers(-6, 6), st.integers(-6, 6), st.booleans())
@settings(max_examples=6, deadline=None)
def test_scaling_light_and_time(light: int, time: int, turned: bool) -> None:
    trace = noisy(TIMES, LIGHT, 0.01, seed=4)
    one = firing_of(trace, "x.csv").total
    gain = 10.0**light * (-1 if turned else 1)
    other = firing_of(table(TIMES * 10.0**time, trace.value * gain), "x.csv").total
    for level in (0.1, 0.5):
        assert other.durations_s[level] == pytest.approx(
            10.0**time * (one.durations_s[level] or 0), rel=1e-6
        )
    assert other.peak == pytest.approx(abs(gain) * one.peak, rel=1e-6)
    assert other.energy == pytest.approx(abs(gain) * 10.0**time * one.energy, rel=1e-6)


@pytest.mark.parametrize("dark", [6, 15, 40])
def test_little_before_the_flash(dark: int) -> None:
    trace = noisy(TIMES, LIGHT, 0.01, seed=6)
    begins = 300 - dark
    found = firing_of(table(TIMES[begins:], trace.value[begins:]), "x.csv").total
    assert found.durations_s[0.1] == pytest.approx(TENTH, rel=WITHIN)


def test_noise_of_codes_that_do_not_change_is_what_rounding_hides() -> None:
    codes = np.full(100, 3 / 255)
    assert noise_of(codes, 1 / 255) == pytest.approx(1 / 255 / math.sqrt(12))
    found = above(table(TIMES, rounded(0.05 + 0.9 * LIGHT, 8)))
    assert found.quantum == pytest.approx(1 / 255)
    assert found.noise >= 1 / 255 / math.sqrt(12) * 0.999
    assert found.u_level > 0.2 / 255


def test_the_step_of_values() -> None:
    rng = np.random.default_rng(0)
    assert quantum_of(rounded(rng.uniform(0, 1, 5000), 8)) == pytest.approx(1 / 255)
    assert quantum_of(rng.uniform(0, 1, 5000)) == 0
    assert quantum_of(np.array([0.0, 1.0] * 50)) == 0


def test_the_quoted_uncertainty_of_the_level_is_that_of_repeated_draws() -> None:
    offs, us = [], []
    for seed in range(40):
        found = above(noisy(TIMES, 0.2 + LIGHT, 0.01, seed=seed))
        dark = slice(0, 280)
        offs.append(float((found.even.value[dark] - LIGHT[dark]).mean()))
        us.append(found.u_level)
        truth = noisy(TIMES, 0.2 + LIGHT, 0.01, seed=seed).value[dark] - 0.2
        offs[-1] -= float(truth.mean())  # what is left is the level's own error
    assert 0.6 < float(np.std(offs)) / float(np.mean(us)) < 1.5


@pytest.mark.parametrize("hertz", [50, 60, 100, 120])
def test_hum_is_taken_out(hertz: float) -> None:
    hum = 0.04 * np.sin(2 * np.pi * hertz * LONG + 1)
    firing = firing_of(noisy(LONG, 0.3 + SLOW + hum), "x.csv")
    assert "mains-ripple" in firing.warnings
    assert firing.total.durations_s[0.1] == pytest.approx(SLOW_TENTH, rel=0.02)
    (note,) = [note for note in firing.notes if "mains" in note]
    assert f"{hertz} Hz" in note
    assert "left in, it changes t.1 by" in note


def test_hum_that_cannot_be_told_is_left_in_and_makes_the_result_unsure() -> None:
    """One cycle of it before the flash: 100 and 120 Hz look the same."""
    hum = 0.04 * np.sin(2 * np.pi * 100 * LONG + 1)
    trace = noisy(LONG, 0.3 + SLOW + hum)
    short = slice(4200, 7400)
    firing = firing_of(table(LONG[short], trace.value[short]), "x.csv")
    u = firing.total.durations_u_s[0.1] or 0
    assert abs((firing.total.durations_s[0.1] or 0) - SLOW_TENTH) < 3 * u + 0.02 * SLOW_TENTH


def test_no_hum_where_there_is_none() -> None:
    assert above(noisy(LONG, SLOW)).hum is None
    assert firing_of(noisy(LONG, SLOW), "x.csv").warnings == ()


@pytest.mark.parametrize("slope", [3.0, -3.0])
def test_an_even_drift_is_taken_out(slope: float) -> None:
    firing = firing_of(noisy(LONG, 0.3 + SLOW + slope * LONG), "x.csv")
    assert firing.total.durations_s[0.1] == pytest.approx(SLOW_TENTH, rel=0.02)
    assert any("baseline drifts by" in note for note in firing.notes)


def test_a_level_that_differs_afterwards_is_in_the_uncertainty() -> None:
    steady = firing_of(noisy(TIMES, LIGHT, 0.002), "x.csv").total
    lifted: Values = LIGHT + 0.008 * (TIMES > 8e-4)
    found = firing_of(noisy(TIMES, lifted, 0.002), "x.csv").total
    assert (found.durations_u_s[0.1] or 0) > 2 * (steady.durations_u_s[0.1] or 0)


def test_uneven_steps_give_the_same() -> None:
    rng = np.random.default_rng(2)
    times = np.cumsum(rng.uniform(0.5, 1.5, 1500)) * 1e-6
    found = firing_of(noisy(times, decaying(times, 3e-4, 1e-4), 0.005), "x.csv").total
    assert found.durations_s[0.5] == pytest.approx(HALF, rel=WITHIN)
    assert found.durations_s[0.1] == pytest.approx(TENTH, rel=WITHIN)
    assert found.start_s == pytest.approx(3e-4, abs=3e-6)


def test_single_samples_that_stick_out_are_left_out() -> None:
    trace = noisy(TIMES, LIGHT, 0.005)
    value = trace.value.copy()
    value[[50, 900, 1200]] += [3.0, 2.0, -2.0]
    found = firing_of(table(TIMES, value), "x.csv")
    assert len(found.pulses) == 1
    assert found.total.peak == pytest.approx(1, rel=0.03)
    assert found.total.durations_s[0.1] == pytest.approx(TENTH, rel=WITHIN)
