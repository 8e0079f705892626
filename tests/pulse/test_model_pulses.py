"""Pulses built from quoted durations, against closed forms (check-values 3.2 and 3.3)."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.errors import PlanError
from verify.pulse.exact import (
    course_durations,
    energy_of,
    energy_within,
    span,
    time_to_energy,
)
from verify.pulse.model import DECAY, LampPulse, lamp_called, modelled
from verify.pulse.records import LEVELS, Course, Pulse

PRINTED = 6e-5  # the tables print four decimals or five; half a unit, and what sampling moves
EXACT = 1e-7  # of a duration: light rises and is cut within a billionth of it
SAMPLED = 1e-5  # of an energy: trapezoids between the samples


def pulse(half_s: float | None, tenth_s: float | None = None, kind: str = "decaying") -> Pulse:
    """The pulse of one lamp."""
    lamp = LampPulse(1.0, half_s, tenth_s, "cut" if kind == "cut" else "decaying")
    return modelled([lamp]).total


def decay(half_s: float, share: float = 1.0) -> LampPulse:
    """A lamp that decays exponentially."""
    return LampPulse(share, half_s, None, "decaying")


@pytest.mark.parametrize("tau_s", [1.0, 1 / 3000])
@pytest.mark.parametrize("quoted", [("t.5",), ("t.1",), ("t.5", "t.1")])
def test_an_exponential_by_either_duration(tau_s: float, quoted: tuple[str, ...]) -> None:
    """Check-values 3.2: t.x / tau, energy within t.x = 1 - x, energy/peak = tau."""
    found = pulse(
        tau_s * math.log(2) if "t.5" in quoted else None,
        tau_s * math.log(10) if "t.1" in quoted else None,
    )
    table = (2.3026, 1.6094, 1.2040, 0.9163, 0.6931, 0.5108, 0.3567, 0.2231, 0.1054)
    seconds = [found.durations_s[level] for level in LEVELS]
    assert np.array(seconds, float) / tau_s == pytest.approx(table, abs=PRINTED)
    assert found.energy_share == pytest.approx({0.5: 0.5, 0.1: 0.9}, abs=SAMPLED)
    assert found.energy / found.peak == pytest.approx(tau_s, rel=SAMPLED)
    # The rival reading by energy (3.1b) coincides with t.x, but for the first 1 % of the light.
    begun_s = -tau_s * math.log(0.99)
    assert found.half_energy_s == pytest.approx(tau_s * math.log(2) - begun_s, rel=SAMPLED)
    assert found.ninety_percent_energy_s == pytest.approx(
        tau_s * math.log(10) - begun_s, rel=SAMPLED
    )
    assert (found.start_s, found.rise_s, found.kind) == (0.0, 0.0, "decaying")
    assert set(found.durations_u_s.values()) == {None}


@pytest.mark.parametrize(
    ("half", "tenth_us"),
    [(250, 13287.71), (500, 6643.86), (800, 4152.41), (1000, 3321.93), (2000, 1660.96),
     (5000, 664.39), (10000, 332.19)],
)  # fmt: skip
def test_quoted_half_durations_and_their_tenth(half: float, tenth_us: float) -> None:
    """Check-values 3.2, t.1 in microseconds: 3.3219 times t.5, and not 3 times."""
    assert pulse(1 / half).durations_s[0.1] == pytest.approx(tenth_us * 1e-6, abs=5.1e-9)


def test_a_cut_pulse_of_one_duration_is_a_rectangle() -> None:
    """Check-values 3.3, the rectangle: ratio 1, all energy within t.5."""
    for found in (pulse(0.002, kind="cut"), pulse(None, 0.002, "cut"), pulse(0.002, 0.002, "cut")):
        seconds = list(found.durations_s.values())
        assert seconds == pytest.approx([0.002] * 9, rel=EXACT)
        assert found.energy_share == pytest.approx({0.5: 1.0, 0.1: 1.0}, abs=EXACT)
        assert found.energy / found.peak == pytest.approx(0.002, rel=EXACT)
        assert found.half_energy_s == pytest.approx(0.49 * 0.002, rel=EXACT)
        assert found.ninety_percent_energy_s == pytest.approx(0.89 * 0.002, rel=EXACT)
        assert found.kind == "cut"


@pytest.mark.parametrize(
    ("cut_at", "ratio", "energy", "stops"),
    [(1.0, 1.4427, 0.63212, -0.6617), (math.log(10), 3.3219, 0.9, -0.1520)],
)
def test_an_exponential_that_is_cut(
    cut_at: float, ratio: float, energy: float, stops: float
) -> None:
    """Check-values 3.3: both durations, and energy against that of the whole decay."""
    found = pulse(math.log(2), cut_at, "cut")
    half, tenth = found.durations_s[0.5], found.durations_s[0.1]
    assert half is not None
    assert tenth is not None
    assert (half, tenth / half) == pytest.approx((0.6931, ratio), abs=PRINTED)
    assert found.energy / found.peak == pytest.approx(energy, abs=SAMPLED)
    assert math.log2(found.energy / found.peak) == pytest.approx(stops, abs=PRINTED)
    assert found.energy_share[0.1] == pytest.approx(1.0, abs=SAMPLED)
    assert found.kind == "cut"


def test_a_cut_row_that_is_known_by_one_figure_only() -> None:
    """Check-values 3.3: cut before half peak, t.5 = t.1; without the rest of it, even light."""
    assert pulse(0.3, 0.3, "cut").energy_share[0.5] == pytest.approx(1.0, abs=EXACT)


@pytest.mark.parametrize("ratio", [3.201, 1.081, 1.113, 1.215, 1.440, 1.696, 1.973, 2.172])
def test_measured_ratios_are_met(ratio: float) -> None:
    """Check-values 3.5: a published set, from about exponential to lightly and fully quenched."""
    found = pulse(1 / 800, ratio / 800)
    assert found.durations_s[0.5] == pytest.approx(1 / 800, rel=EXACT)
    assert found.durations_s[0.1] == pytest.approx(ratio / 800, rel=EXACT)


def test_the_gaussian_ratio_gives_about_a_gaussian_half() -> None:
    """Beta 2 is half of a Gaussian, whose energy in t.5 and t.1 is the table's (check-values 3.3).

    Its ratio is the square root of log2 10, 1.8226.
    """
    found = pulse(1.0, math.sqrt(DECAY))
    assert found.energy_share == pytest.approx({0.5: 0.76097, 0.1: 0.96812}, abs=SAMPLED)
    assert found.energy / found.peak == pytest.approx(
        math.sqrt(math.pi / 2) / math.sqrt(2 * math.log(2)), rel=SAMPLED
    )


durations = st.floats(1e-6, 0.1)


@given(durations, st.floats(1.0011, 100))
def test_a_decay_has_both_durations_exactly(half_s: float, ratio: float) -> None:
    found = pulse(half_s, half_s * ratio)
    assert found.durations_s[0.5] == pytest.approx(half_s, rel=EXACT)
    assert found.durations_s[0.1] == pytest.approx(half_s * ratio, rel=EXACT)
    assert found.energy == pytest.approx(1.0, abs=SAMPLED)


@given(durations, st.floats(1.0011, DECAY))
def test_a_cut_decay_has_both_durations_exactly(half_s: float, ratio: float) -> None:
    found = pulse(half_s, half_s * ratio, "cut")
    assert found.durations_s[0.5] == pytest.approx(half_s, rel=EXACT)
    assert found.durations_s[0.1] == pytest.approx(half_s * ratio, rel=EXACT)
    assert found.energy == pytest.approx(1.0, abs=SAMPLED)


lamps = st.builds(
    lambda share, half_s, ratio, kind: LampPulse(
        share, half_s, None if ratio is None else half_s * ratio, kind
    ),
    st.floats(0.01, 100),
    durations,
    st.none() | st.floats(1, DECAY),
    st.sampled_from(["decaying", "cut"]),
)


@given(st.lists(lamps, min_size=1, max_size=4))
def test_durations_fall_with_the_level_and_energy_is_one(several: list[LampPulse]) -> None:
    firing = modelled(several)
    seconds = [s for s in firing.total.durations_s.values() if s is not None]
    assert len(seconds) == len(LEVELS)
    assert seconds == sorted(seconds, reverse=True)
    assert firing.total.energy == pytest.approx(1.0, abs=SAMPLED)
    assert np.all(np.diff(firing.course.time_s) > 0)
    assert firing.course.value.min() >= 0
    assert firing.course.time_s[0] == 0


@given(st.lists(lamps, min_size=1, max_size=3), st.floats(0.01, 100))
def test_shares_are_proportions(several: list[LampPulse], times: float) -> None:
    more = [LampPulse(lamp.share * times, lamp.half_s, lamp.tenth_s, lamp.kind) for lamp in several]
    one, other = modelled(several).course, modelled(more).course
    assert np.array_equal(one.time_s, other.time_s)
    assert np.allclose(one.value, other.value, rtol=1e-9, atol=0)


def test_the_energies_of_two_lamps_have_their_shares() -> None:
    """A slow and a fast lamp together: both are seen in full, whatever the other one is like."""
    slow, fast = decay(1 / 200, 3.0), decay(1 / 20_000, 1.0)
    firing = modelled([slow, fast])
    tau_slow, tau_fast = 1 / 200 / math.log(2), 1 / 20_000 / math.log(2)
    assert firing.total.peak == pytest.approx(0.75 / tau_slow + 0.25 / tau_fast, rel=SAMPLED)
    time = firing.course.time_s
    assert np.sum(time < 14 * tau_fast) > 3000
    assert np.sum(time > 14 * tau_fast) > 3000
    assert time[-1] > 14 * tau_slow  # less than 1e-6 of it is left
    wanted = 0.75 / tau_slow * np.exp(-time / tau_slow) + 0.25 / tau_fast * np.exp(-time / tau_fast)
    unsure = 2e-7 * firing.total.peak  # the fast one ends where 1e-7 of its light is left
    assert np.allclose(firing.course.value[1:], wanted[1:], rtol=1e-6, atol=unsure)
    share = 1 - 0.75 * math.exp(-1e-3 / tau_slow) - 0.25 * math.exp(-1e-3 / tau_fast)
    assert time_to_energy(firing.course, share) == pytest.approx(1e-3, rel=1e-4)


def test_several_lamps_are_cut_only_if_all_are() -> None:
    cut = LampPulse(1.0, 0.001, None, "cut")
    assert modelled([cut, decay(0.001)]).total.kind == "decaying"
    assert modelled([cut, cut]).total.kind == "cut"


def test_a_pulse_says_that_it_is_a_model_and_of_what_kind() -> None:
    firing = modelled(
        [
            LampPulse(1.0, 1 / 800, 1 / 250, "decaying", "key"),
            LampPulse(1.0, 0.001, 0.002, "cut"),
            LampPulse(1.0, None, 250e-6, "decaying", "a\nb" + "c" * 90),
        ]
    )
    assert firing.rests_on == "model"
    assert firing.warnings == ("durations-modelled",)
    assert firing.pulses == (firing.total,)
    key, second, third, together = firing.notes
    assert key == (
        'the pulse of lamp "key" is modelled: it rises at once and decays as exp(-(t/τ)^1.03), by '
        "its t.5 of 1.25 ms and its t.1 of 4 ms"
    )
    assert second.endswith("lamp 2 is modelled: it rises at once and decays exponentially, by its "
                           "t.5 of 1 ms, until it is cut at its t.1 of 2 ms")  # fmt: skip
    assert third.endswith("...\" is modelled: it rises at once and decays exponentially, by its "
                          "t.1 of 250 µs")  # fmt: skip
    assert third.isprintable()
    assert "same moment" in together
    assert lamp_called(None, 1, 1) == "the lamp"


@pytest.mark.parametrize(
    ("several", "says"),
    [
        ([], "there is no lamp to build a pulse from"),
        ([LampPulse(1.0, None, None, "cut")], "the lamp has no duration: give its t.5 or its t.1"),
        (
            [LampPulse(1.0, 0.002, 0.001, "decaying", "key")],
            'lamp "key" has its t.5 of 2 ms and its t.1 of 1 ms: t.1 is the longer one of any '
            "flash",
        ),
        (
            [decay(1.0), LampPulse(1.0, 0.001, 0.004, "cut")],
            "lamp 2 is cut and has its t.5 of 1 ms and its t.1 of 4 ms: no decay that is cut has a "
            "ratio above 3.3219",
        ),
    ],
)
def test_what_no_pulse_can_be(several: list[LampPulse], says: str) -> None:
    with pytest.raises(PlanError) as refused:
        modelled(several)
    assert str(refused.value) == says


def test_light_that_begins_and_ends_in_the_middle_of_a_course() -> None:
    """A record that begins and ends above a level has all of it within that level."""
    course = Course(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.6, 1.0, 0.8, 0.2]))
    assert span(course, 0.5) == pytest.approx((0.0, 2.5))
    assert span(course, 0.1) == (0.0, 3.0)
    assert energy_of(course) == pytest.approx(2.2)


def test_first_and_last_crossing_over_a_dip() -> None:
    """ISO 2827 as the project reads it: from the first to the last crossing."""
    course = Course(np.arange(5.0), np.array([0.0, 1.0, 0.0, 0.8, 0.0]))
    assert course_durations(course)[0.5] == pytest.approx(3.375 - 0.5)


@pytest.mark.parametrize(
    ("up", "down", "figures"),
    [
        (0.05, 1.0, (0.87367, 2.50706, 0.5663, 0.9144, 0.7444, 2.3539, 1.17078)),
        (0.1, 0.5, (0.61361, 1.45706, 0.6485, 0.9327, 0.4555, 1.2629, 0.74767)),
        (0.02, 0.2, (0.20071, 0.53114, 0.6021, 0.9223, 0.1597, 0.4816, 0.25831)),
    ],
)
def test_durations_and_energy_of_a_course(
    up: float, down: float, figures: tuple[float, ...]
) -> None:
    """Check-values 3.3, differences of two exponentials, numerical there as well."""
    time = np.linspace(0, 18 * down, 40_001)
    course = Course(time, np.exp(-time / down) - np.exp(-time / up))
    seconds = course_durations(course)
    found = (
        seconds[0.5], seconds[0.1], energy_within(course, 0.5), energy_within(course, 0.1),
        time_to_energy(course, 0.5), time_to_energy(course, 0.9),
        energy_of(course) / float(course.value.max()),
    )  # fmt: skip
    assert found == pytest.approx(figures, abs=PRINTED)
