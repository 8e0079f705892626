"""Curves through a stretch of light, averaged by how likely they are."""

import numpy as np
import pytest

from verify.pulse.curves import Curves, curves_through

NOISE = 0.01
PLACES = np.linspace(-1, 1, 41)
PRICE = 2.0
SHAPES = {
    "line": 0.4 + 0.3 * PLACES,
    "parabola": 0.9 - 0.4 * PLACES**2,
    "kink": 1 - 0.6 * np.maximum(PLACES - 0.2, 0) - 0.9 * np.maximum(0.2 - PLACES, 0),
    "nearing": 0.8 + 0.1 * PLACES - 0.7 * np.exp(-(PLACES + 1) / 0.3),
}


def mean(curves: Curves, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What the curves say, and how sure it is."""
    light, terms = curves.at(places)
    value = curves.weights @ light
    variances = [
        curves.weights @ (NOISE**2 * curves.variances(terms[:, n]) + (light[:, n] - value[n]) ** 2)
        for n in range(places.size)
    ]
    return value, np.sqrt(variances)


@pytest.mark.parametrize("name", SHAPES)
def test_they_follow_light_and_say_how_sure_it_is(name: str) -> None:
    """Of 40 draws about 95 % within two uncertainties, at every place on average."""
    rng = np.random.default_rng(3)
    within, unsure = [], []
    for _ in range(40):
        curves = curves_through(SHAPES[name] + NOISE * rng.standard_normal(41), NOISE, PRICE)
        assert curves is not None
        value, u = mean(curves, PLACES)
        within.append((np.abs(value - SHAPES[name]) <= 2 * u).mean())
        unsure.append(u.mean())
    assert 0.88 <= np.mean(within) <= 0.995
    assert np.mean(unsure) < 0.6 * NOISE  # far surer than a single value


def test_light_that_no_curve_follows_is_told() -> None:
    curves = curves_through(np.where(np.arange(41) % 7 < 3, 1.0, 0.0), NOISE, PRICE)
    assert curves is not None
    assert curves.misfit > 100


def test_the_weights_of_all_curves_are_one_and_stiff_ones_are_preferred() -> None:
    stiff, free = (curves_through(SHAPES["line"], NOISE, price) for price in (4.0, 0.5))
    assert stiff is not None
    assert free is not None
    assert stiff.weights.sum() == pytest.approx(1)
    straight = int(np.argmin(stiff.cost))
    assert stiff.family.uses[straight].sum() == 2  # a line: nothing freer is needed
    assert stiff.weights[straight] > free.weights[straight]


def test_too_few_values() -> None:
    assert curves_through(np.array([1.0]), NOISE, PRICE) is None
    assert curves_through(np.array([1.0, 0.9]), NOISE, PRICE) is not None  # a constant
