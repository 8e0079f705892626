"""What a slow sensor does to durations, against its closed form."""

import math

import numpy as np
import pytest
from drawn_pulses import Values
from light_traces import decaying, noisy, table

from verify.errors import PlanError
from verify.pulse.bandwidth import bandwidth_effect
from verify.pulse.firing import firing_of

# check-values 3.4: time constant of the sensor by that of an exponential; t.5 and t.1 longer by.
SLOW = ((0.01, 0.072, 0.024), (0.02, 0.126, 0.043), (0.05, 0.260, 0.089), (0.1, 0.448, 0.153),
        (0.2, 0.771, 0.266))  # fmt: skip
DIGIT = 0.00051  # half the last digit printed there
STEP = math.log(2) / 1500
TIMES = np.arange(-0.3, 8, STEP) + 0.37 * STEP


def hertz(constant: float) -> float:
    """3 dB bandwidth of a first-order sensor."""
    return 1 / (2 * math.pi * constant)


def slowed(constant: float, times: Values = TIMES) -> Values:
    """An exponential of time constant 1 as a sensor shows it, in closed form."""
    t = np.maximum(times, 0)
    return np.where(times >= 0, (np.exp(-t) - np.exp(-t / constant)) / (1 - constant), 0.0)


@pytest.mark.parametrize(("constant", "half", "tenth"), SLOW)
def test_a_slow_recording_is_undone(constant: float, half: float, tenth: float) -> None:
    effect = bandwidth_effect(slowed(constant), STEP, 0.0, hertz(constant), 2 * constant)
    assert effect.undone
    assert effect.exact
    assert not effect.too_fast
    assert effect.half == pytest.approx(half, abs=DIGIT)
    assert effect.tenth == pytest.approx(tenth, abs=DIGIT)


@pytest.mark.parametrize(("constant", "half", "tenth"), SLOW)
def test_a_fast_recording_is_sent_through_the_sensor(
    constant: float, half: float, tenth: float
) -> None:
    light = decaying(TIMES, 0, 1)
    effect = bandwidth_effect(light, STEP, 0.0, hertz(constant), 0.8 * STEP)
    assert effect.too_fast
    assert not effect.undone
    assert effect.half == pytest.approx(half, abs=DIGIT)
    assert effect.tenth == pytest.approx(tenth, abs=DIGIT)


def test_noise_leaves_it_about_right() -> None:
    rng = np.random.default_rng(1)
    value = slowed(0.1) + 0.01 * rng.standard_normal(TIMES.size)
    effect = bandwidth_effect(value, STEP, 0.01, hertz(0.1))
    assert not effect.exact
    assert effect.half == pytest.approx(0.448, abs=0.13)
    assert effect.tenth == pytest.approx(0.153, abs=0.05)


def test_a_much_faster_sensor_does_nothing() -> None:
    effect = bandwidth_effect(slowed(0.05), STEP, 0.0, hertz(1e-6))
    assert effect.half == pytest.approx(0, abs=1e-3)
    assert not effect.too_fast


def test_the_result_says_it() -> None:
    firing = firing_of(table(TIMES * 1e-3, slowed(0.01)), "x.csv", hertz(0.01) * 1e3)
    assert "slow-sensor" in firing.warnings
    (note,) = [note for note in firing.notes if note.startswith("a sensor of 15.9 kHz")]
    assert "lengthens t.5 by 7." in note
    assert "t.1 by 2.4 %; the energy is not touched" in note


def test_the_result_says_that_the_recording_is_too_fast() -> None:
    trace = noisy(TIMES[::5] * 1e-3, decaying(TIMES[::5], 0, 1), 0.002)
    firing = firing_of(trace, "x.csv", hertz(0.05) * 1e3)
    assert "faster-than-sensor" in firing.warnings
    assert "slow-sensor" not in firing.warnings


def test_a_cut_pulse_is_too_fast_where_it_ends() -> None:
    """No sensor falls faster than its own decay."""
    light = np.clip(TIMES / 0.5, 0, 1) * (TIMES < 1)
    assert bandwidth_effect(light, STEP, 0.0, hertz(0.05)).too_fast


@pytest.mark.parametrize("bandwidth", [0.0, -5.0, math.inf, math.nan])
def test_a_bandwidth_that_is_none(bandwidth: float) -> None:
    with pytest.raises(PlanError, match="bandwidth must be more than 0 Hz"):
        firing_of(table(TIMES, slowed(0.1)), "x.csv", bandwidth)
