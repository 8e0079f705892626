"""Stops of flash that a shutter cuts off, against closed forms (check-values 3.6 and 3.7)."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.pulse.shutter import Curtain, Leaf, LightOut, light_out

PRINTED = 6e-4  # stop: the tables print three or four decimals, the trace is sampled
ROWS = np.array([0.0, 0.5, 1.0])


def exponential(tenth_s: float, samples: int = 20_001) -> LightOut:
    """A pulse that begins at once and decays, by its t.1."""
    decay_s = tenth_s / math.log(10)
    time = np.linspace(0, 20 * decay_s, samples)
    return light_out(time, np.exp(-time / decay_s))


@pytest.mark.parametrize(
    ("tenth", "lost"),
    [
        (250, [0.1520, 0.0835, 0.0401, 0.0145]),
        (300, [0.0940, 0.0464, 0.0194, 0.0058]),
        (500, [0.0145, 0.0046, 0.0011, 0.0001]),
        (1000, [0.0001, 0.0, 0.0, 0.0]),
    ],
)
def test_a_shutter_that_cuts_the_tail(tenth: float, lost: list[float]) -> None:
    """Check-values 3.6, from first principles; the last row covered is open all the time."""
    light = exponential(1 / tenth)
    for window_s, wanted in zip((0.004, 0.005, 0.00625, 0.008), lost, strict=True):
        found = Curtain(0.003).losses(light, window_s, np.array([1.0]))
        assert found[0] == pytest.approx(wanted, abs=PRINTED)


@pytest.mark.parametrize(
    ("shutter", "tenth", "lost"),
    [
        (250, 250, [1.192, 0.391, 0.152]),
        (250, 500, [0.548, 0.084, 0.015]),
        (250, 1000, [0.152, 0.005, 0.0]),
        (200, 250, [0.548, 0.207, 0.084]),
        (200, 500, [0.152, 0.026, 0.005]),
        (160, 250, [0.241, 0.097, 0.040]),
        (160, 500, [0.035, 0.006, 0.001]),
    ],
)
def test_a_long_tail_makes_a_gradient(shutter: float, tenth: float, lost: list[float]) -> None:
    """Check-values 3.7: travel of 3 ms, the flash fires fully open; plain seconds."""
    found = Curtain(0.003).losses(exponential(1 / tenth), 1 / shutter, ROWS)
    assert found == pytest.approx(lost, abs=PRINTED)


@pytest.mark.parametrize(
    ("travel_s", "shutter", "blocked"),
    [
        (0.004, 320, 0.2188), (0.004, 400, 0.375), (0.004, 500, 0.5), (0.004, 1000, 0.75),
        (0.01 / 3, 320, 0.0625), (0.01 / 3, 400, 0.25), (0.01 / 3, 500, 0.40),
        (0.0025, 400, 0.0), (0.0025, 500, 0.2), (0.0025, 1000, 0.6),
    ],
)  # fmt: skip
def test_above_sync_a_part_of_the_frame_is_dark(
    travel_s: float, shutter: float, blocked: float
) -> None:
    """Check-values 3.7, for a flash so short that it is an edge."""
    rows = (np.arange(100_000) + 0.5) / 100_000
    lost = Curtain(travel_s).losses(exponential(1e-7), 1 / shutter, rows)
    assert np.mean(np.isinf(lost) | (lost > 1)) == pytest.approx(blocked, abs=2e-4)
    assert lost[0] >= lost[-1] == pytest.approx(0, abs=1e-6)


def test_a_delay_is_a_shorter_shutter_time() -> None:
    """Check-values 3.7."""
    light = exponential(1 / 300)
    late = Curtain(0.003, delay_s=0.001).losses(light, 0.006, ROWS)
    assert late == pytest.approx(Curtain(0.003).losses(light, 0.005, ROWS))


@given(st.floats(0.0005, 0.02), st.floats(0.0, 0.008), st.floats(0.0, 0.002), st.floats(0.01, 2))
def test_the_fastest_shutter_time_loses_just_the_tolerance(
    tenth_s: float, travel_s: float, delay_s: float, tolerance: float
) -> None:
    light, curtain = exponential(tenth_s, 4001), Curtain(travel_s, delay_s)
    fastest = curtain.fastest_s(light, tolerance)
    assert curtain.losses(light, fastest, ROWS).max() == pytest.approx(tolerance, abs=1e-6)
    assert curtain.losses(light, fastest * 1.01, ROWS).max() < tolerance


@given(st.floats(0.001, 0.01), st.floats(0.0, 0.01))
def test_rows_that_are_covered_later_lose_less_and_none_gains(
    shutter_s: float, travel_s: float
) -> None:
    lost = Curtain(travel_s).losses(exponential(1 / 400, 2001), shutter_s, np.linspace(0, 1, 30))
    known = lost[np.isfinite(lost)]
    assert (np.diff(known) <= 1e-12).all()
    assert (known >= 0).all()


def test_a_leaf_shutter_loses_alike_everywhere() -> None:
    light = exponential(1 / 500)
    at_once = Leaf(0.0, 0.0).losses(light, 0.004, ROWS)
    assert at_once == pytest.approx([Curtain(0.0).losses(light, 0.004, ROWS)[0]] * 3)
    slow = Leaf(0.001, 0.001).losses(light, 0.004, ROWS)
    assert np.ptp(slow) == 0
    # Fully open for 3 ms, then closing for 1 ms: the mean of the light that is out by then.
    decay = 1 / 500 / math.log(10)
    out = 1 - decay / 0.001 * (math.exp(-0.003 / decay) - math.exp(-0.004 / decay))
    assert slow[0] == pytest.approx(-math.log2(out), abs=1e-5)
    fastest = Leaf(0.001, 0.001).fastest_s(light, 0.1)
    assert Leaf(0.001, 0.001).losses(light, fastest, ROWS)[0] == pytest.approx(0.1, abs=1e-6)


def test_the_share_of_the_light_that_is_out() -> None:
    time = np.linspace(5, 7, 201)  # a rectangle that begins 5 s into the record
    light = light_out(time, np.ones(201))
    assert light.by(np.array([-1.0, 0.0, 0.5, 2.0, 9.0])) == pytest.approx([0, 0, 0.25, 1, 1])
    assert light.until(0.9) == pytest.approx(1.8)


def test_noise_below_the_baseline_takes_no_light_back() -> None:
    light = light_out(np.arange(5.0), np.array([1.0, 1.0, -3.0, 0.0, 0.0]))
    assert (np.diff(light.share) >= 0).all()
    assert light.share[-1] == 1


@pytest.mark.parametrize("value", [np.zeros(9), -np.ones(9)])
def test_a_pulse_without_light_is_refused(value: np.ndarray) -> None:
    with pytest.raises(ValueError, match="no light"):
        light_out(np.arange(9.0), value)
