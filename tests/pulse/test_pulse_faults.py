"""What may be wrong with a recording of a pulse: each is found, and nothing where nothing is."""

import math

import numpy as np
import pytest
from drawn_pulses import Values
from light_traces import decaying, noisy, rounded, table

from verify.pulse.firing import firing_of
from verify.pulse.records import Firing
from verify.trace.records import Trace

TIMES = np.arange(2000, dtype=np.float64) * 1e-6
LIGHT: Values = decaying(TIMES, 3e-4, 2e-4)
BRIEF = ((TIMES > 3e-4) & (TIMES < 8e-4)).astype(np.float64)
HALF = 2e-4 * math.log(2)


def firing(trace: Trace) -> Firing:
    return firing_of(trace, "x.csv")


def clipped(value: Values, seed: int = 0, noise: float = 0.01) -> Values:
    """Noisy light of which a recorder shows no more than 0.6."""
    return np.minimum(noisy(TIMES, value, noise, seed).value, 0.6)


@pytest.mark.parametrize(
    "trace",
    [
        table(TIMES, clipped(LIGHT)),
        table(TIMES, rounded(clipped(LIGHT), 8)),
        table(TIMES, rounded(0.1 + np.minimum(LIGHT, 0.6), 8)),
        table(TIMES, np.minimum(LIGHT, 0.6)),
        table(TIMES, -clipped(LIGHT)),
        Trace(TIMES, np.minimum(LIGHT, 0.6), "table", most=0.6),
        Trace(TIMES, 0.4 - clipped(LIGHT), "sound", least=-0.2, most=1.0),
        Trace(TIMES, BRIEF, "table", most=1.0),
    ],
)
def test_a_clipped_top(trace: Trace) -> None:
    pulse = firing(trace).total
    assert "top-clipped" in pulse.warnings
    assert any("the top is clipped for" in note for note in pulse.notes)


def test_a_clipped_top_makes_of_t_x_that_of_a_smaller_share() -> None:
    """check-values 3.4: clipping at the fraction c of the peak turns t.x into t.(x c)."""
    pulse = firing(table(TIMES, clipped(LIGHT, noise=0.002))).total
    for level in (0.1, 0.5):
        assert pulse.durations_s[level] == pytest.approx(-2e-4 * math.log(0.6 * level), rel=0.02)
    (note,) = [note for note in pulse.notes if "clipped" in note]
    assert "for 102 µs" in note or "for 103 µs" in note or "for 101 µs" in note


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.01])
@pytest.mark.parametrize("bits", [8, None])
def test_no_clipped_top(noise: float, bits: int | None) -> None:
    """A true rectangle, and rounded tops in the steps of a recorder."""
    hump = np.sin(np.clip((TIMES - 3e-4) / 7e-4, 0, 1) * np.pi)
    bell = np.exp(-(((TIMES - 8e-4) / 1.5e-4) ** 2))
    lights: list[Values] = [BRIEF, hump, LIGHT, bell]
    for light in lights:
        value = 0.1 + noisy(TIMES, 0.8 * light, noise).value
        trace = table(TIMES, value if bits is None else rounded(value, bits))
        assert "top-clipped" not in firing(trace).total.warnings


def test_coarse_samples() -> None:
    found = firing(noisy(TIMES[::40], LIGHT[::40])).total
    assert "coarse-samples" in found.warnings
    (note,) = [note for note in found.notes if "inside t.5" in note]
    assert float(note.split()[0]) == pytest.approx(138.6 / 40, abs=1)
    assert found.durations_s[0.5] == pytest.approx(HALF, abs=40e-6)
    assert abs((found.durations_s[0.5] or 0) - HALF) < 2 * (found.durations_u_s[0.5] or 0)
    assert "coarse-samples" not in firing(noisy(TIMES[::10], LIGHT[::10])).total.warnings


@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_twenty_samples_are_enough_for_a_pulse(noise: float) -> None:
    times = np.arange(20, dtype=np.float64) * 1e-4
    found = firing(noisy(times, decaying(times, 5e-4, 2e-4), noise)).total
    assert found.warnings == ("coarse-samples",)
    assert found.durations_s[0.1] == pytest.approx(2e-4 * math.log(10), abs=1e-4)


def test_two_samples_are_a_pulse_and_one_is_not() -> None:
    light = np.zeros(100)
    light[40:42] = 1.0
    assert "coarse-samples" in firing(noisy(TIMES[:100], light)).total.warnings


def test_dips() -> None:
    """Two humps of one flash: durations run over the dip, and the result says so."""
    humps = LIGHT + decaying(TIMES, 6e-4, 2e-4)
    found = firing(noisy(TIMES, humps, 0.01))
    assert len(found.pulses) == 1
    assert found.total.kind == "multiple"
    assert "dips" in found.total.warnings
    peak = 1 + math.exp(-1.5)
    last = 3e-4 + 2e-4 * math.log(2)  # after the first hump's start
    assert found.total.durations_s[0.5] == pytest.approx(last, rel=0.03)
    (note,) = [note for note in found.total.notes if "rises again" in note]
    below = 3e-4 - 2e-4 * math.log(2 / peak)  # from the first hump's half to the second
    assert f"falls to {100 * math.exp(-1.5) / peak:.0f}"[:13] in note
    assert f"below half for {below * 1e6:.0f}"[:17] in note


@pytest.mark.parametrize("noise", [0.002, 0.02, 0.05])
def test_no_dips_by_noise(noise: float) -> None:
    lights: list[Values] = [BRIEF, LIGHT]
    for light in lights:
        assert "dips" not in firing(noisy(TIMES, light, noise)).total.warnings


def test_a_truncated_tail() -> None:
    """Ends at 0.22 of the peak: t.1 and t.2 are not known, nor what rests on all of the light."""
    ends = 300 + round(200 * -math.log(0.25))
    found = firing(noisy(TIMES[:ends], LIGHT[:ends])).total
    assert "tail-missing" in found.warnings
    assert found.durations_s[0.1] is None
    assert found.durations_s[0.2] is None
    assert found.durations_u_s[0.1] is None
    assert found.durations_s[0.5] == pytest.approx(HALF, rel=0.03)
    assert found.energy == pytest.approx(2e-4 * 0.75, rel=0.02)
    assert found.energy_share == {0.5: None, 0.1: None}
    assert found.half_energy_s is None
    assert found.ninety_percent_energy_s is None
    (note,) = [note for note in found.notes if "the recording ends at" in note]
    assert "ends at 25 %" in note or "ends at 26 %" in note or "ends at 24 %" in note
    assert "energy is at least" in note


def test_a_missing_start() -> None:
    found = firing(noisy(TIMES[340:], LIGHT[340:])).total
    assert "start-missing" in found.warnings
    assert set(found.durations_s.values()) == {None}
    assert "tail-missing" not in found.warnings
    assert found.energy_share[0.1] is None


def test_hardly_anything_dark() -> None:
    """Two samples before the flash, and it ends bright."""
    found = firing(noisy(TIMES[299:450], LIGHT[299:450]))
    assert "baseline-unsure" in found.warnings
    assert "baseline-unsure" not in firing(noisy(TIMES, LIGHT)).warnings
