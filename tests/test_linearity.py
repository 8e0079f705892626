"""Linearity of the chain: what the patches of a chart or a wedge say of the file."""

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.linearity import (
    COMMON_STEPS,
    REFLECTANCES,
    Linearity,
    equal_steps,
    in_words,
    linearity,
    nearest_grey,
    reflectances_of,
)
from verify.measure import measure
from verify.target.records import Target

Array = NDArray[np.float64]

RHO = np.array(list(REFLECTANCES.values()))
U = np.full(6, 0.002)  # stop: a well exposed patch of some thousand photosites
EXACT = 1e-9

# Stops from white of the real chart, and its published ones: README of the real frames.
REAL = np.array([0, -0.615, -1.282, -2.165, -3.199, -4.602])
PUBLISHED = np.array([0, -0.607, -1.314, -2.184, -3.322, -4.860])
BOXES = [(676, 902), (786, 902), (896, 902), (1006, 902), (1118, 902), (1230, 898)]


def held(signals: Array, u: Array = U, reflectances: Array = RHO) -> Linearity:
    """Linearity that must be there."""
    found = linearity(reflectances, signals, u)
    assert found is not None
    return found


def test_the_published_reflectances() -> None:
    """check-values 5: the set of 1976; the README takes its stops from it in whole per mille."""
    assert REFLECTANCES == {
        "white 9.5": 0.9001,
        "neutral 8": 0.5910,
        "neutral 6.5": 0.3620,
        "neutral 5": 0.1977,
        "neutral 3.5": 0.0900,
        "black 2": 0.0313,
    }
    rounded = np.round(RHO, 3)
    assert np.log2(rounded / rounded[0]) == pytest.approx(PUBLISHED, abs=6e-4)  # printed to 0.001


def test_the_patch_nearest_18_percent() -> None:
    assert list(REFLECTANCES)[nearest_grey(list(RHO))] == "neutral 5"
    assert nearest_grey([0.9, 0.18, 0.17]) == 1
    assert nearest_grey(reflectances_of([0.05, 0.4, 0.75, 1.1])) == 2  # D 0.745 is 18 %


def test_densities_to_reflectances() -> None:
    """check-values 5: D 0.74 is 18.197 %, 0.75 is 17.783 %."""
    assert reflectances_of([0.74, 0.75, 0]) == pytest.approx((0.18197, 0.17783, 1), abs=5e-6)


@pytest.mark.parametrize("level", [1.0, 0.2, 1e-3])
def test_a_linear_file_is_linear_at_any_exposure(level: float) -> None:
    found = held(RHO * level)
    assert not found.bent
    assert found.cause == "none"
    assert found.slope == pytest.approx(1, abs=EXACT)
    assert found.offset_stops == pytest.approx(math.log2(level), abs=EXACT)
    assert found.residual_stops == pytest.approx([0] * 6, abs=EXACT)
    assert found.departure_stops == pytest.approx([0] * 6, abs=EXACT)
    assert found.flare_share == pytest.approx(0, abs=1e-6)  # of an iterated fit


def test_the_real_chart_carries_flare() -> None:
    """README of the real frames: the two darkest carry about 0.75 % of flare."""
    found = held(0.09 * 2.0**REAL)
    assert found.bent
    assert found.cause == "flare"
    assert found.flare_share == pytest.approx(0.0075, abs=0.001)
    assert 0.0005 < found.u_flare_share < 0.002
    assert found.slope == pytest.approx(0.95, abs=0.01)  # the dark end is lifted
    assert "stray light of 0.7" in in_words(found)


@pytest.fixture(scope="module")
def real_chart(real_frames: Path) -> Array:
    """Measured signals of the neutral patches of the real chart."""
    path = real_frames / "raw" / "canon550d_magiclantern_colorchecker.dng"
    if not path.is_file():
        pytest.skip("the real frame of a 24-patch chart is not here")
    with open_frame(path) as frame:
        boxes = [Box(col, row, 56, 56) for col, row in BOXES]
        return np.array([measure(frame, Target(b, b.corners(), "given")).signal for b in boxes])


def test_the_real_file_carries_flare(real_chart: Array) -> None:
    found = held(real_chart)
    assert found.cause == "flare"
    assert found.flare_share == pytest.approx(0.0075, abs=0.001)


@pytest.mark.parametrize("share", [0.0075, 0.02, 0.1])
def test_flare_is_measured(share: float) -> None:
    found = held(0.3 * (RHO + share * RHO[0]))
    assert found.cause == "flare"
    assert found.flare_share == pytest.approx(share, rel=1e-4)


def test_a_black_that_is_too_high_is_told_from_flare() -> None:
    found = held(0.3 * (RHO - 0.005))
    assert found.bent
    assert found.cause == "black"
    assert found.flare_share == pytest.approx(-0.005 / RHO[0], rel=1e-4)
    assert "black is set too high by 0.56 %" in in_words(found)


@pytest.mark.parametrize("gamma", [2.2, 1.8, 1.1, 1.05, 0.9])
def test_a_gamma_is_a_slope(gamma: float) -> None:
    found = held(RHO ** (1 / gamma))
    assert found.bent
    assert found.cause == "slope"
    assert found.slope == pytest.approx(1 / gamma, abs=EXACT)
    assert f"slope {1 / gamma:.3f}" in in_words(found)


def encoded(x: Array) -> Array:
    """sRGB's transfer curve (IEC 61966-2-1, from memory)."""
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)


def bend(x: Array, much: float) -> Array:
    """A tone curve: steeper in the middle, flat at both ends."""
    return x**much / (x**much + (1 - x) ** much)


@pytest.mark.parametrize(
    "curve",
    [
        encoded,
        lambda x: encoded(0.3 * x),
        lambda x: 0.7 * x + 0.3 * x * x * (3 - 2 * x),
        lambda x: bend(x, 1.1),
        lambda x: bend(x, 1.3),
        lambda x: bend(x, 2),
        lambda x: 0.5 * np.tanh(2 * x),  # a shoulder at the light end
    ],
)
def test_a_curve_is_bent(curve: Callable[[Array], Array]) -> None:
    found = held(curve(RHO))
    assert found.bent
    assert found.cause in {"slope", "curve"}
    assert "not linear, or there is flare" in in_words(found)


def test_a_strong_curve_is_neither_gamma_nor_flare() -> None:
    found = held(bend(RHO, 1.5))
    assert found.cause == "curve"
    worst = max(abs(r) for r in found.residual_stops if r is not None)
    assert f"residuals up to {worst:.3f} stop" in in_words(found)
    assert found.u_slope > 2 * held(RHO).u_slope  # a line is not what it follows


def test_what_is_within_the_tolerances_is_not_bent() -> None:
    assert not held(RHO + 0.001 * RHO[0]).bent  # 0.1 % of flare: less than black is known to
    assert not held(RHO**0.99).bent
    assert not held(np.array([0.9131, 0.5894, 0.3632, 0.1915, 0.0883, 0.0311])).bent  # set of 2005


def test_noisy_patches_decide_nothing() -> None:
    assert held(RHO**0.9).bent
    assert not held(RHO**0.9, np.full(6, 0.3)).bent


def test_linear_files_are_called_linear_and_the_slope_is_as_sure_as_it_says() -> None:
    """1 % may be called bent; the quoted uncertainty agrees with repeated draws."""
    rng = np.random.default_rng(1)
    bent, off = 0, []
    for _ in range(400):
        rho = RHO * (1 + 0.015 * rng.standard_normal(6)) + 0.0005 * rng.standard_normal(6)
        found = held(rho * 0.2 * np.exp2(0.01 * rng.standard_normal(6)), np.full(6, 0.01))
        bent += found.bent
        off.append((found.slope - 1) / found.u_slope)
    assert bent <= 12  # 4 expected
    assert 0.8 < np.std(off) < 1.15  # u_slope is widened where a draw scatters much


def test_patches_that_cannot_be_used_are_left_out() -> None:
    signals = np.array([np.nan, *(RHO[1:] * 0.2)])
    signals[5] = -1e-5
    found = held(signals)
    assert found.residual_stops[0] is None
    assert found.residual_stops[5] is None
    assert found.departure_stops[1:5] == pytest.approx([0] * 4, abs=EXACT)
    assert not found.bent


@pytest.mark.parametrize("kept", [0, 1, 3])
def test_too_few_patches_say_nothing(kept: int) -> None:
    signals = np.where(np.arange(6) < kept, RHO, np.nan)
    assert linearity(RHO, signals, U) is None


@pytest.mark.parametrize("step", COMMON_STEPS)
def test_the_step_of_a_wedge_is_guessed(step: float) -> None:
    rho = reflectances_of(step * np.arange(8))
    assert equal_steps(0.3 * np.array(rho)) == pytest.approx(rho, rel=EXACT)
    with_noise = 0.3 * np.array(rho) * np.exp2([0, 0.01, -0.01, 0.02, 0, -0.02, 0.01, 0])
    with_noise[3] = np.nan
    assert equal_steps(with_noise) == pytest.approx(rho, rel=EXACT)


def test_a_wedge_of_which_nothing_is_known_still_has_steps() -> None:
    nothing = equal_steps([math.nan, 0.0, -1.0, 0.1, math.nan])
    assert nothing == pytest.approx([10 ** (-COMMON_STEPS[0] * n) for n in range(5)])
    assert linearity(nothing, [math.nan] * 5, [0.01] * 5, steps_known=False) is None


def test_a_wedge_of_unknown_steps_shows_a_bend_but_no_slope() -> None:
    rho = np.array(reflectances_of(0.05 + 0.15 * np.arange(10)))
    u = np.full(10, 0.005)

    def unknown(signals: Array) -> Linearity:
        found = linearity(equal_steps(signals), signals, u, steps_known=False)
        assert found is not None
        return found

    assert not unknown(0.2 * rho).bent
    assert not unknown(rho**0.8).bent  # could be a wedge of smaller steps
    assert "steps of unknown size" in in_words(unknown(0.2 * rho))
    assert unknown(bend(rho, 1.4)).cause == "curve"
    stray = unknown(rho + 0.03 * rho[0])
    assert stray.cause == "flare"
    assert stray.flare_share == pytest.approx(0.03, rel=0.2)  # the step is a guess
    known = linearity(rho, rho**0.8, u)
    assert known is not None
    assert known.cause == "slope"
