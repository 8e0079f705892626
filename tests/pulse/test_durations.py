"""Durations at levels of the peak, of pulses whose durations are known in closed form."""

import numpy as np
import pytest
from drawn_pulses import LEVELS, PULSES, Values, recorded

from verify.pulse.durations import durations_of

POOLED_MEDIAN, POOLED_95 = 0.01, 0.025  # relative, t.1 to t.5
OWN_MEDIAN, OWN_95 = 0.02, 0.05  # of one shape, over few draws
DRAWS = 14
HONEST = 0.85  # of the errors within two uncertainties, of every level over few draws


@pytest.fixture(scope="module")
def errors() -> dict[str, Values]:
    """Relative errors, and errors in uncertainties: (draws, levels, 2) of each shape."""
    rng = np.random.default_rng(20261125)
    found = {}
    for name, pulse in PULSES.items():
        draws = np.empty((DRAWS, len(LEVELS), 2))
        for draw in draws:
            got = durations_of(*recorded(pulse, rng.uniform(45, 60), rng))
            for at, level in enumerate(LEVELS):
                seconds, u = got.seconds[level], got.u_seconds[level]
                assert seconds is not None
                assert u is not None
                off = seconds - pulse.seconds[level]
                draw[at] = off / pulse.seconds[level], off / u
        found[name] = draws
    return found


def test_all_shapes_together(errors: dict[str, Values]) -> None:
    pooled = np.abs(np.concatenate([own[:, :5, 0].ravel() for own in errors.values()]))
    assert np.median(pooled) < POOLED_MEDIAN
    assert np.quantile(pooled, 0.95) < POOLED_95


@pytest.mark.parametrize("name", PULSES)
def test_each_shape_and_level(errors: dict[str, Values], name: str) -> None:
    own = np.abs(errors[name][:, :5, 0])
    assert np.median(own, axis=0).max() < OWN_MEDIAN
    assert np.quantile(own, 0.95) < OWN_95


@pytest.mark.parametrize("place", range(len(LEVELS)))
def test_the_uncertainty_is_honest_at_every_level(errors: dict[str, Values], place: int) -> None:
    within = np.concatenate([np.abs(own[:, place, 1]) <= 2 for own in errors.values()])
    assert within.mean() > HONEST


@pytest.mark.parametrize("name", PULSES)
def test_a_fine_recording_without_noise_is_exact(name: str) -> None:
    pulse = PULSES[name]
    found = durations_of(*recorded(pulse, 400, np.random.default_rng(1), noise=1e-4, bits=None))
    for level in LEVELS[:5]:
        assert found.seconds[level] == pytest.approx(pulse.seconds[level], rel=0.006)


def test_higher_levels_are_shorter_but_for_what_is_not_known() -> None:
    """t.9 <= ... <= t.1, each within its uncertainty."""
    rng = np.random.default_rng(2)
    for pulse in PULSES.values():
        found = durations_of(*recorded(pulse, 50, rng))
        times = np.array([found.seconds[level] for level in LEVELS], float)
        unsure = np.array([found.u_seconds[level] for level in LEVELS], float)
        assert (np.diff(times) <= 2 * (unsure[1:] + unsure[:-1])).all()


def test_scaling_time_scales_durations_and_scaling_light_does_not() -> None:
    value, step, noise, baseline = recorded(PULSES["rising 0.1, 0.5"], 50, np.random.default_rng(3))
    one = durations_of(value, step, noise, baseline)
    slow = durations_of(value, 7 * step, noise, baseline)
    bright = durations_of(100 * value, step, 100 * noise, 100 * baseline)
    for level in LEVELS:
        assert slow.seconds[level] == pytest.approx(7 * (one.seconds[level] or 0))
        assert bright.seconds[level] == pytest.approx(one.seconds[level], rel=1e-6)
    assert bright.peak.value == pytest.approx(100 * one.peak.value, rel=1e-6)


def test_a_record_that_ends_above_a_level_does_not_know_its_duration() -> None:
    pulse = PULSES["exponential"]
    value, step, noise, baseline = recorded(pulse, 50, np.random.default_rng(4))
    ended = value[: int(np.argmax(value)) + 110]  # at exp(-1.52): 0.22 of the peak
    found = durations_of(ended, step, noise, baseline)
    assert found.seconds[0.1] is None
    assert found.u_seconds[0.1] is None
    assert found.spans[0.1] is None
    assert found.seconds[0.5] == pytest.approx(pulse.seconds[0.5], rel=0.04)


def test_the_noisy_maximum_is_not_the_peak() -> None:
    """Of a flat top the largest of many noisy values is some deviations above it."""
    rng = np.random.default_rng(5)
    peaks = [durations_of(*recorded(PULSES["rectangle"], 55, rng)).peak.value for _ in range(20)]
    assert float(np.mean(peaks)) == pytest.approx(0.85, rel=0.003)
