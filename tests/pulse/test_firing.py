"""A recorded trace to the flash light in it, against pulses in closed form."""

import math
import re

import numpy as np
import pytest
from drawn_pulses import PULSES
from light_traces import SCALE_S, decaying, drawn, noisy, table

from verify.pulse.firing import firing_of
from verify.pulse.records import LEVELS
from verify.pulse.shutter import light_out

NOISY, NOISY_SHARE = 0.05, 0.025  # of a duration; of the energy; in one recording with 1 % noise
CLEAN = 0.012  # of a duration
TIMES = np.arange(2000, dtype=np.float64) * 1e-6

# check-values 3.3: energy inside t.5 and t.1; bi-exponential ones there to four digits.
SHARES = {
    "exponential": (0.5, 0.9),
    "rectangle": (1.0, 1.0),
    "triangle": (0.75, 0.99),
    "half sine": (0.86603, 0.99499),
    "gaussian": (0.76097, 0.96812),
    "rising 0.05, 1": (0.5663, 0.9144),
    "rising 0.1, 0.5": (0.6485, 0.9327),
    "rising 0.02, 0.2": (0.6021, 0.9223),
}
# check-values 3.3 and 3.2: area by the peak.
AREAS = {
    "exponential": 1.0,
    "rectangle": 1.0,
    "triangle": 0.5,
    "half sine": 2 / math.pi,
    "gaussian": math.sqrt(2 * math.pi),
    "rising 0.05, 1": 1.17078,
    "rising 0.1, 0.5": 0.74767,
    "rising 0.02, 0.2": 0.25831,
}


@pytest.mark.parametrize("name", PULSES)
def test_closed_forms_with_noise_in_eight_bit(name: str) -> None:
    firing = firing_of(drawn(name), "x.csv")
    assert len(firing.pulses) == 1
    assert firing.total is firing.pulses[0]
    assert firing.warnings == firing.total.warnings == ()
    assert firing.rests_on == "recording"
    for level in LEVELS[:5]:
        truth = PULSES[name].seconds[level] * SCALE_S
        assert firing.total.durations_s[level] == pytest.approx(truth, rel=NOISY)


@pytest.mark.parametrize("name", PULSES)
def test_closed_forms_without_noise(name: str) -> None:
    found = firing_of(drawn(name, samples=600, noise=1e-4, bits=None), "x.csv").total
    for level in LEVELS[:5]:
        truth = PULSES[name].seconds[level] * SCALE_S
        assert found.durations_s[level] == pytest.approx(truth, rel=CLEAN)


@pytest.mark.parametrize("name", SHARES)
def test_energy_and_its_shares(name: str) -> None:
    for noise, bits, near in ((0.01, 8, NOISY_SHARE), (1e-4, None, 0.006)):
        found = firing_of(drawn(name, noise=noise, bits=bits, samples=100), "x.csv").total
        assert found.energy == pytest.approx(0.85 * AREAS[name] * SCALE_S, rel=near)
        assert found.energy_share[0.5] == pytest.approx(SHARES[name][0], abs=near)
        assert found.energy_share[0.1] == pytest.approx(SHARES[name][1], abs=near)


def test_energy_based_times_of_an_exponential() -> None:
    """Counted from 1 % of the light: ln(0.99/0.5) and ln(0.99/0.1) time constants."""
    found = firing_of(drawn("exponential", samples=400, noise=1e-4, bits=None), "x.csv").total
    assert found.half_energy_s == pytest.approx(math.log(0.99 / 0.5) * SCALE_S, rel=0.005)
    # The record ends at 0.2 % of the peak: as much of the light is not counted.
    assert found.ninety_percent_energy_s == pytest.approx(math.log(9.9) * SCALE_S, rel=0.01)


def test_energy_based_times_of_a_triangle_are_not_its_durations() -> None:
    """check-values 11: to 90 % of the light 0.7764 of the base; t.1 is 0.9 of it."""
    found = firing_of(drawn("triangle", samples=400, noise=1e-4, bits=None), "x.csv").total
    first = math.sqrt(0.01 / 2)  # of the base, until 1 % of the light is out
    truth = 1 - math.sqrt(0.1 / 2) - first
    assert found.ninety_percent_energy_s == pytest.approx(truth * SCALE_S, rel=0.005)
    assert found.rise_s == pytest.approx(0.4 * SCALE_S, rel=0.02)


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("exponential", "decaying"),
        ("rising 0.05, 1", "decaying"),
        ("rectangle", "cut"),
        ("gaussian", "cut"),
        ("cut at 0.3", "cut"),
        ("cut at 1", "cut"),
    ],
)
def test_kind(name: str, kind: str) -> None:
    found = firing_of(drawn(name), "x.csv").total
    assert found.kind == kind
    assert any("times t.5" in note for note in found.notes)


def test_a_decay_that_is_cut_in_its_tail() -> None:
    light = np.where(TIMES < 3e-4 + 1.9 * 2e-4, decaying(TIMES, 3e-4, 2e-4), 0.0)
    found = firing_of(noisy(TIMES, light), "x.csv").total
    assert found.kind == "cut"
    assert any("cut at about 15" in note or "cut at about 16" in note for note in found.notes)
    whole = firing_of(noisy(TIMES, decaying(TIMES, 3e-4, 2e-4)), "x.csv").total
    assert whole.kind == "decaying"


def test_several_firings_each_and_all_together() -> None:
    starts, peaks, constant = (2e-4, 8e-4, 1.4e-3), (0.9, 1.0, 0.8), 5e-5
    light = sum(
        (p * decaying(TIMES, s, constant) for s, p in zip(starts, peaks, strict=True)),
        np.zeros(TIMES.size),
    )
    firing = firing_of(noisy(TIMES, light), "x.csv")
    assert len(firing.pulses) == 3
    for pulse, start, peak in zip(firing.pulses, starts, peaks, strict=True):
        assert pulse.start_s == pytest.approx(start, abs=1.5e-6)
        assert pulse.peak == pytest.approx(peak, rel=0.03)
        assert pulse.durations_s[0.5] == pytest.approx(constant * math.log(2), rel=NOISY)
        assert pulse.kind == "decaying"
    total = firing.total
    assert total.kind == "multiple"
    assert total.peak == pytest.approx(1, rel=0.03)
    assert total.energy == pytest.approx(constant * sum(peaks), rel=0.02)
    # Half of the highest peak is last crossed in the third one.
    truth = starts[2] - starts[0] + constant * math.log(0.8 / 0.5)
    assert total.durations_s[0.5] == pytest.approx(truth, rel=0.005)
    assert total.durations_s[0.9] is not None
    assert firing.warnings == ()
    assert total.half_energy_s == pytest.approx(starts[1] - starts[0] + 1.9e-5, rel=0.02)


def test_two_equal_pops_are_no_pre_flash() -> None:
    light = decaying(TIMES, 3e-4, 5e-5) + decaying(TIMES, 1e-3, 5e-5)
    assert firing_of(noisy(TIMES, light), "x.csv").warnings == ()


def test_a_pre_flash() -> None:
    light = 0.1 * decaying(TIMES, 2e-4, 2e-5) + decaying(TIMES, 8e-4, 1e-4)
    firing = firing_of(noisy(TIMES, light), "x.csv")
    assert firing.warnings == ("pre-flash",)
    (note,) = firing.notes
    assert re.search(r"600 µs before it with (1\.9|2\.[01]) % of its energy", note)
    assert len(firing.pulses) == 2
    # The shutter opens after it: what it and motion are held against begins with the main flash.
    main, total = firing.pulses[1], firing.total
    area = float(np.trapezoid(firing.course.value, firing.course.time_s))
    assert area == pytest.approx(main.energy, rel=0.02)
    assert total.start_s == firing.pulses[0].start_s


def test_an_after_glow_is_no_pre_flash() -> None:
    light = decaying(TIMES, 2e-4, 1e-4) + 0.1 * decaying(TIMES, 1.4e-3, 2e-5)
    assert "pre-flash" not in firing_of(noisy(TIMES, light), "x.csv").warnings


def test_very_many_flashes_are_one_that_flickers() -> None:
    on = (np.sin(2 * np.pi * TIMES / 2e-5) > 0) & (TIMES > 3e-4) & (TIMES < 1.6e-3)
    firing = firing_of(noisy(TIMES, on.astype(np.float64)), "x.csv")
    assert len(firing.pulses) == 1
    assert firing.total.kind == "multiple"
    assert firing.total.durations_s[0.5] == pytest.approx(1.3e-3, rel=0.03)


def test_the_course_is_what_a_shutter_is_held_against() -> None:
    """check-values 3.6: of an exponential exp(-t/tau) is still to come after t."""
    course = firing_of(noisy(TIMES, decaying(TIMES, 3e-4, 1e-4)), "x.csv").course
    assert course.time_s[0] == 0
    assert (np.diff(course.time_s) > 0).all()
    assert course.time_s[-1] < 1.2e-3
    out = light_out(course.time_s, course.value)
    after = np.array([1e-4, 2e-4, 3e-4])
    assert out.by(after) == pytest.approx(1 - np.exp(-after / 1e-4), abs=0.012)


def test_the_course_of_several_has_nothing_between_them() -> None:
    light = decaying(TIMES, 2e-4, 5e-5) + decaying(TIMES, 1.4e-3, 5e-5)
    course = firing_of(noisy(TIMES, light), "x.csv").course
    between = (course.time_s > 7e-4) & (course.time_s < 1.15e-3)
    assert not course.value[between].any()
    out = light_out(course.time_s, course.value)
    assert out.by(np.array([9e-4]))[0] == pytest.approx(0.5, abs=0.01)


def test_a_fine_recording_has_a_course_of_bounded_length() -> None:
    times = np.arange(300_000, dtype=np.float64) * 1e-8
    firing = firing_of(noisy(times, decaying(times, 4e-4, 4e-4), 0.02), "x.csv")
    assert firing.course.time_s.size <= 20_000
    assert firing.total.durations_s[0.5] == pytest.approx(4e-4 * math.log(2), rel=0.01)
    assert firing.total.durations_s[0.1] == pytest.approx(4e-4 * math.log(10), rel=0.01)


@pytest.mark.parametrize("name", ["exponential", "gaussian", "rising 0.1, 0.5"])
def test_the_uncertainty_is_honest(name: str) -> None:
    within = []
    for seed in range(12):
        found = firing_of(drawn(name, seed=seed), "x.csv").total
        for level in (0.1, 0.3, 0.5):
            seconds, u = found.durations_s[level], found.durations_u_s[level]
            assert seconds is not None
            assert u is not None
            within.append(abs(seconds - PULSES[name].seconds[level] * SCALE_S) <= 2 * u)
    assert float(np.mean(within)) > 0.8


def test_start_is_in_the_time_of_the_trace() -> None:
    trace = noisy(TIMES, decaying(TIMES, 3e-4, 1e-4))
    moved = table(trace.time_s - 17.5, trace.value)
    found = firing_of(moved, "x.csv").total
    assert found.start_s == pytest.approx(3e-4 - 17.5, abs=2e-6)
    assert found.rise_s is not None
    assert found.rise_s <= 2e-6
