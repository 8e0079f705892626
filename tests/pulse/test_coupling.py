"""AC coupling: a first-order high-pass in a recording is found, and what it does is told."""

import math

import numpy as np
import pytest
from drawn_pulses import Values
from light_traces import decaying, noisy
from scipy.signal import lfilter

from verify.pulse.baseline import light_of
from verify.pulse.coupling import coupling_of, without_coupling
from verify.pulse.even import even_of
from verify.pulse.firing import firing_of
from verify.trace.records import Trace

HIGH_PASS_HZ = 20.0
CONSTANT_S = 1 / (2 * math.pi * HIGH_PASS_HZ)
LN10 = math.log(10)


def coupled(times: Values, light: Values) -> Values:
    """Light behind a high-pass of 20 Hz, exact for light that is even from sample to sample."""
    keeps = math.exp(-float(times[1] - times[0]) / CONSTANT_S)
    return np.asarray(lfilter([1, -1], [1, -keeps], light))


def sound(rate: int, tenth_s: float, seed: int = 0, high_pass: bool = True) -> Trace:
    """A decaying flash of a t.1 in a sound recording of half a second, in 16 bit."""
    times = np.arange(rate // 2, dtype=np.float64) / rate
    light = 0.5 * decaying(times, 0.1, tenth_s / LN10)
    value = coupled(times, light) if high_pass else light
    trace = noisy(times, value, 1e-4, seed, "sound")
    return Trace(times, np.round(trace.value * 32768) / 32768, "sound", -1.0, 1 - 2.0**-15)


@pytest.mark.parametrize("rate", [48_000, 192_000])
@pytest.mark.parametrize(("tenth_s", "near"), [(0.01, 0.08), (0.004, 0.03), (0.001, 0.03)])
def test_the_time_constant_is_found(rate: int, tenth_s: float, near: float) -> None:
    for seed in range(2):
        trace = sound(rate, tenth_s, seed)
        light = light_of(even_of(trace), (trace.least, trace.most), "x.wav")
        found = coupling_of(light)
        assert found is not None
        assert found.constant_s == pytest.approx(CONSTANT_S, rel=near)
        undone = without_coupling(light, found)
        after = undone[int(0.3 * rate) :]
        assert abs(float(after.mean())) < 0.005


@pytest.mark.parametrize("rate", [48_000, 192_000])
@pytest.mark.parametrize("tenth_s", [0.01, 0.004])
def test_what_it_does_is_told_and_in_the_uncertainty(rate: int, tenth_s: float) -> None:
    firing = firing_of(sound(rate, tenth_s), "x.wav")
    assert "ac-coupled" in firing.warnings
    shown, u = firing.total.durations_s[0.1], firing.total.durations_u_s[0.1]
    assert shown is not None
    assert u is not None
    assert shown < 0.8 * tenth_s  # pulled down
    assert abs(shown - tenth_s) < 2 * u
    (note,) = [note for note in firing.notes if "high-pass" in note]
    told = float(note.split("t.1 by ")[1].split(" %")[0]) / 100
    assert told == pytest.approx(1 - shown / tenth_s, abs=0.05)


def test_a_table_may_be_coupled_too_and_polarity_does_not_matter() -> None:
    trace = sound(48_000, 0.004)
    firing = firing_of(Trace(trace.time_s, -trace.value, "table"), "x.csv")
    assert {"ac-coupled", "negative-polarity"} <= set(firing.warnings)


def test_a_sound_recording_that_shows_none_says_so() -> None:
    firing = firing_of(sound(48_000, 0.004, high_pass=False), "x.wav")
    assert firing.warnings == ()
    assert any("AC coupled" in note and "nothing is seen" in note for note in firing.notes)
    assert firing.total.durations_s[0.1] == pytest.approx(0.004, rel=0.01)


@pytest.mark.parametrize("seed", range(5))
def test_noise_is_no_coupling(seed: int) -> None:
    times = np.arange(3000, dtype=np.float64) * 1e-6
    firing = firing_of(noisy(times, decaying(times, 5e-4, 2e-4), 0.02, seed), "x.csv")
    assert firing.warnings == ()
    assert firing.notes == ()
