"""verify/scene/field.py: a change that is smooth over the picture."""

import numpy as np
import pytest

from verify.scene.field import alike_beside, follows, smooth_field, span_of

Y, X = np.mgrid[-1:1:16j, -1:1:24j]


def test_a_smooth_change_is_found_under_things_that_were_moved() -> None:
    true = -0.6 + 0.4 * X - 0.2 * Y * Y
    stops = true + np.random.default_rng(1).normal(0, 0.01, X.shape)
    stops[4:12, 3:12] += 0.8
    field = smooth_field(stops)
    assert field is not None
    assert field == pytest.approx(true, abs=0.03)
    kept = follows(stops, field, np.full(X.shape, 0.01), 0.1)
    assert kept.mean() == pytest.approx(1 - 72 / 384, abs=0.02)


def test_its_span() -> None:
    """0.8 from side to side: 0.72 from the 5 % to the 95 % quantile."""
    assert span_of(0.4 * X, np.ones(X.shape, bool)) == pytest.approx(0.72, abs=0.03)


def test_unknown_tiles_are_left_out_and_few_tell_nothing() -> None:
    stops = 0.3 * X
    stops[:, ::2] = np.nan
    field = smooth_field(stops)
    assert field is not None
    assert field == pytest.approx(0.3 * X, abs=1e-3)
    stops[:-1] = np.nan
    assert smooth_field(stops) is None


def test_neighbours_are_alike_in_a_slope_and_not_in_scatter() -> None:
    scatter = np.random.default_rng(1).normal(0, 0.1, X.shape)
    assert alike_beside(0.1 * X) > 0.85
    assert abs(alike_beside(scatter)) < 0.15
    sparse = np.full(X.shape, np.nan)
    sparse[::2, ::2] = scatter[::2, ::2]
    assert alike_beside(sparse) == 0
    assert alike_beside(np.zeros((3, 4))) == 0
