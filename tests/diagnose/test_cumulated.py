"""verify/diagnose/cumulated.py: published CUSUM and EWMA charts, to the printed digits."""

import numpy as np
import pytest
from published_series import CONCENTRATION, DRIFTING, SHIFTED

from verify.diagnose.cumulated import cusum, ewma


def printed(text: str) -> list[float]:
    return [float(word) for word in text.split()]


def test_a_published_tabular_cusum() -> None:
    """Montgomery and Runger, concentration, target 99, K = 1, H = 10 (check-values 8.3)."""
    found = cusum(CONCENTRATION, 99, 1, 10)
    upper = printed("2.0 0 0 0 2.0 .5 0 0 0 0 1.3 0 1.1 0 0 0 .3 1.7 0 1.0")
    lower = printed("0 3.2 2.9 2.5 0 0 0 .3 0 0 0 0 0 0 1.0 2.3 0 0 .8 0")
    assert found.upper == pytest.approx(upper, abs=1e-9)
    assert found.lower == pytest.approx(lower, abs=1e-9)
    assert found.first_beyond is None


def test_a_published_cusum_with_a_shift() -> None:
    """NIST pmc323 (from memory in check-values 8.3): the first alarm is observation 14."""
    found = cusum(SHIFTED, 325, 0.3175, 4.1959)
    upper = printed(
        "0 0 0 0 .0325 0 0 0 0 0 0 0 3.0075 4.9400 7.4475 10.63 11.9875 14.445 16.0025 19.035"
    )
    assert found.upper == pytest.approx(upper, abs=1e-9)
    assert found.lower.max() == pytest.approx(0.715)
    assert int(np.argmax(found.lower)) + 1 == 8
    assert found.first_beyond is not None
    assert found.first_beyond + 1 == 14


def test_a_shift_down() -> None:
    up = cusum(SHIFTED, 325, 0.3175, 4.1959)
    down = cusum(-SHIFTED, -325, 0.3175, 4.1959)
    assert down.first_beyond == up.first_beyond
    assert down.lower == pytest.approx(up.upper)


def test_a_published_ewma() -> None:
    """NIST pmc324 (from memory in check-values 8.3): weight 0.3, from 50, s = 2.0539."""
    found = ewma(DRIFTING, 50, 0.3, 2.0539)
    assert found.upper == pytest.approx(52.5884, abs=5e-5)
    assert found.lower == pytest.approx(47.4116, abs=1e-4)
    averages = printed(
        "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38"
        " 49.92 50.73 51.23 51.94 51.99"
    )
    assert found.values == pytest.approx(averages, abs=0.005001)
    assert found.first_beyond is None


def test_an_ewma_beyond_its_limits() -> None:
    found = ewma(np.array([0.0, 0.0, 2.0, 2.0, 2.0]), 0.0, 0.5, 1.0, 1.0)
    assert found.upper == pytest.approx(3**-0.5)
    assert found.first_beyond == 2
    assert found.values == pytest.approx([0, 0, 1, 1.5, 1.75])
    assert ewma(np.array([3.0, 5.0]), 0.0, 1.0, 1.0).values == pytest.approx([3, 5])
