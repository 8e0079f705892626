"""Blur kernels of pulses in closed form (check-values 7), and what holds for any pulse."""

import math

import numpy as np
import pytest
from courses import (
    GAUSSIAN,
    HALF_SINE,
    RAISED_COSINE,
    TRIANGLE,
    decaying,
    exponential,
    rectangle,
)
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import brentq

from verify.motion import kernel
from verify.motion.kernel import kernel_of, spread_of
from verify.pulse.records import Course

PRINTED = 5e-6  # half of the last of five decimals, as the table prints
SAMPLED = 1e-6  # relative: what straight lines between samples leave of a curve
SHARE = 0.8


@pytest.mark.parametrize(
    ("product", "left"),
    [(0.1, 0.98363), (0.25, 0.90032), (0.5, 0.63662), (0.75, 0.30011), (1.0, 0.0), (1.5, 0.21221)],
)
def test_an_even_exposure_is_a_sinc(product: float, left: float) -> None:
    """Check-values 7.2 and its sample, by b x f; two samples are enough for it."""
    for width in (1.0, 0.003):
        assert kernel_of(rectangle(width)).mtf(product / width) == pytest.approx(left, abs=PRINTED)


@pytest.mark.parametrize(
    ("product", "left"),
    [(0.05, 0.95403), (0.1, 0.84673), (0.25, 0.53703), (0.5, 0.30331), (1.0, 0.15718)],
)
def test_a_decay_is_a_lorentzian(product: float, left: float) -> None:
    """Check-values 7.4 and its sample, by f x a."""
    found = kernel_of(exponential()).mtf(product)
    assert found == pytest.approx(left, abs=PRINTED)
    assert found == pytest.approx(1 / math.hypot(1, 2 * math.pi * product), rel=SAMPLED)


def test_light_that_runs_straight_is_exact_however_few_samples_it_has() -> None:
    """The transform of a triangle is a squared sinc: derived from first principles."""
    frequency = np.array([[0.0, 0.5, 1.0], [2.0, 3.0, 7.5]])
    found = kernel_of(TRIANGLE).mtf(frequency)
    assert found.shape == frequency.shape
    assert found == pytest.approx(np.sinc(frequency / 2) ** 2, abs=1e-14)
    # In uneven steps, and within a longer darkness.
    course = Course(np.array([0, 1, 1.1, 1.5, 1.9, 2, 8]), np.array([0, 0, 0.2, 1, 0.2, 0, 0]))
    assert kernel_of(course).mtf(frequency) == pytest.approx(np.sinc(frequency / 2) ** 2, abs=1e-14)


@pytest.mark.parametrize(
    ("course", "level", "product"),
    [
        (rectangle(), 0.5, 0.60335),
        (rectangle(), 0.1, 0.90793),
        (exponential(), 0.5, 0.27566),
        (exponential(), 0.1, 1.58357),
    ],
)
def test_frequencies_at_which_the_mtf_has_fallen(
    course: Course, level: float, product: float
) -> None:
    """Check-values 7: MTF50 and MTF10."""
    assert kernel_of(course).first_frequency(level) == pytest.approx(product, abs=PRINTED)


def test_an_even_exposure_that_resolves_as_much() -> None:
    """Check-values 7: 2.18873 time constants = 0.95055 t.1 = 3.15767 t.5; of a rectangle itself."""
    spread = spread_of(exponential(), math.log(10))
    assert spread.equivalent_s == pytest.approx(2.18873, abs=PRINTED)
    assert spread.equivalent_s / math.log(10) == pytest.approx(0.95055, abs=PRINTED)
    assert spread.equivalent_s / math.log(2) == pytest.approx(3.15767, abs=PRINTED)
    assert spread_of(rectangle(0.002), 0.002).equivalent_s == pytest.approx(0.002, rel=1e-8)


def _narrowest_gaussian() -> float:
    return 2 * math.sqrt(2) * brentq(lambda z: math.erf(z) - SHARE, 0, 5)


@pytest.mark.parametrize(
    ("course", "narrowest", "edge"),
    [
        # Derived from first principles, as check-values 3.2 and 3.3.
        (rectangle(), 0.8, 0.8),
        (exponential(), math.log(5), math.log(9)),
        (TRIANGLE, 1 - math.sqrt(0.2), 1 - math.sqrt(0.2)),
        (HALF_SINE, 1 - 2 * math.acos(0.8) / math.pi, 1 - 2 * math.acos(0.8) / math.pi),
        (GAUSSIAN, _narrowest_gaussian(), _narrowest_gaussian()),
    ],
)
def test_widths_in_closed_form(course: Course, narrowest: float, edge: float) -> None:
    found = kernel_of(course)
    assert found.narrowest_s(SHARE) == pytest.approx(narrowest, rel=2e-6)
    assert found.edge_s() == pytest.approx(edge, rel=2e-6)


def test_a_raised_cosine() -> None:
    """Its transform in closed form, sinc / (1 - f^2): derived from first principles."""
    frequency = np.array([0.3, 0.8, 1.5, 2.5])
    wanted = np.abs(np.sinc(frequency) / (1 - frequency**2))
    assert kernel_of(RAISED_COSINE).mtf(frequency) == pytest.approx(wanted, abs=1e-8)


@pytest.mark.parametrize("apart", [0.01, 0.5, 20.0])
def test_two_short_pulses_resolve_as_far_as_they_lie_apart(apart: float) -> None:
    """Of two equal flashes |cos(pi f d)| is left, one half at f = 1 / 3d: first principles."""
    short = apart * 1e-5
    time = np.array([0, short, 2 * short, apart, apart + short, apart + 2 * short])
    course = Course(time, np.array([0.0, 1, 0, 0, 1, 0]))
    assert kernel_of(course).first_frequency() == pytest.approx(1 / (3 * apart), rel=1e-4)


def test_the_first_crossing_is_found_however_narrow_it_is() -> None:
    """A weak flash long before: ripples of the MTF reach one half for the first time late."""
    early, gap = 0.3, 40.0
    time = np.array([0, 1e-6, 1, 1 + 1e-6, gap, gap + 1e-6, gap + 1, gap + 1 + 1e-6])
    value = np.array([0, early, early, 0, 0, 1, 1, 0.0])
    found = kernel_of(Course(time, value))
    first = found.first_frequency()
    fine = np.linspace(0, first, 20_000)[:-1]
    assert (found.mtf(fine) > 0.5 - 1e-6).all()
    assert found.mtf(first) == pytest.approx(0.5, abs=1e-7)
    # Weaker than a third, it never brings the MTF down to one half by itself.
    assert first > 5 / gap


def test_a_gap_counts_where_most_of_the_light_lies_on_both_sides() -> None:
    time = np.array([0, 1, 1.001, 9.999, 10, 11.0])
    found = kernel_of(Course(time, np.array([1.0, 1, 0, 0, 1, 1])))
    assert found.narrowest_s(SHARE) == pytest.approx(10.6, abs=0.002)  # as little as can be of one
    assert found.narrowest_s(0.49) == pytest.approx(0.98, abs=0.002)  # one of them is enough


def test_a_long_recording_is_searched_in_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neighbours are put together where there are too many samples: the same to 1e-4."""
    whole = kernel_of(exponential()).first_frequency()
    monkeypatch.setattr(kernel, "PIECES", 1000)
    assert kernel_of(exponential()).first_frequency() == pytest.approx(whole, rel=1e-4)
    assert kernel_of(exponential()).first_frequency() != whole


def test_noise_hardly_matters() -> None:
    """1 % of the peak, in a record of 12 time constants: its sum is 0.35 % of the light, and what
    of it counts as light moves the 90 % mark, where a tenth of the peak is left, by 1 to 2 %."""
    rng = np.random.default_rng(5)
    time = np.linspace(0, 12, 1200)
    clean, spread = spread_of(Course(time, np.exp(-time)), None), []
    for _ in range(20):
        noisy = np.exp(-time) + 0.01 * rng.standard_normal(time.size)
        spread.append(spread_of(Course(time, noisy), None))
    for name in ("narrowest_s", "edge_s", "mtf50_per_s"):
        found = np.array([getattr(one, name) for one in spread])
        assert float(np.median(found)) == pytest.approx(getattr(clean, name), rel=0.02)
        assert float(np.std(found)) < 0.03 * getattr(clean, name)


def test_a_pulse_without_light_has_no_kernel() -> None:
    with pytest.raises(ValueError, match="no light"):
        kernel_of(Course(np.arange(5.0), np.zeros(5)))


def _light(values: list[float]) -> NDArray[np.float64]:
    return np.array([0.0, *values, 0.0])


PULSES = st.lists(st.floats(0.01, 1), min_size=2, max_size=30).map(_light)


@given(PULSES, st.floats(1e-6, 1e3), st.floats(1e-3, 1e3), st.floats(0, 1e3))
def test_only_the_shape_counts_and_time_scales_it(
    light: NDArray[np.float64], times: float, brighter: float, later: float
) -> None:
    time = np.linspace(0, 1, light.size)
    one = spread_of(Course(time, light), 0.5)
    # What comes later loses some digits of its time.
    other = spread_of(Course(times * (later + time), brighter * light), 0.5)
    for name in ("narrowest_s", "edge_s", "equivalent_s"):
        assert getattr(other, name) == pytest.approx(times * getattr(one, name), rel=1e-6)
    assert other.mtf50_per_s == pytest.approx(one.mtf50_per_s / times, rel=1e-6)


@given(PULSES, st.lists(st.floats(0, 200), min_size=1, max_size=20))
def test_no_detail_gains(light: NDArray[np.float64], frequency: list[float]) -> None:
    course = Course(np.linspace(0, 1, light.size), light)
    found = kernel_of(course).mtf(np.array(frequency))
    assert (found <= 1 + 1e-12).all()
    assert kernel_of(course).mtf(0.0) == pytest.approx(1)
    reversed_ = Course(course.time_s, light[::-1])
    assert kernel_of(reversed_).mtf(np.array(frequency)) == pytest.approx(found, abs=1e-9)


@given(PULSES, st.floats(0.05, 0.95))
def test_the_narrowest_interval_is_no_wider_than_any_other(
    light: NDArray[np.float64], share: float
) -> None:
    found = kernel_of(Course(np.linspace(0, 1, light.size), light))
    for before in np.linspace(0, 1 - share, 7):
        other = found.edge_s(float(before), float(before + share))
        assert found.narrowest_s(share) <= other + 1e-5


def test_the_flash_of_a_recording_gives_its_t_tenth() -> None:
    flash = decaying(1 / 300)
    spread = spread_of(flash.course, flash.total.durations_s[0.1])
    assert spread.tenth_s == 1 / 300
    assert spread.equivalent_s == pytest.approx(0.95055 / 300, rel=1e-5)
