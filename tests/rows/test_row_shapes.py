"""Curves of a cut flash against the closed forms, and which of them hide behind falloff."""

import numpy as np
import pytest

from verify.rows.fit import Rows, fit_falloff, fits_of, hidden_stops
from verify.rows.shapes import RAMP, TAIL, light, lost

PLACE = (np.arange(160) + 0.5) / 160
ALONE, RATIO = (60.0, 1.0, 1.0), (0.1, 0.02, 0.02)


def rows_of(light_: np.ndarray, priors: tuple[float, float, float], structure: float) -> Rows:
    return Rows(PLACE, light_, np.full(160, 0.001), structure, priors)


@pytest.mark.parametrize(
    ("shutter_s", "tenth", "wanted"),
    [
        (0.004, 250, [1.192, 0.391, 0.152]),
        (0.004, 500, [0.548, 0.084, 0.015]),
        (0.005, 250, [0.548, 0.207, 0.084]),
        (0.00625, 250, [0.241, 0.097, 0.040]),
    ],
)
def test_the_tail_of_a_pulse(shutter_s: float, tenth: float, wanted: list[float]) -> None:
    """Check-values 3.7: travel 3 ms; the table prints three decimals."""
    k = 0.003 * np.log(10) * tenth
    begins = 1 - shutter_s / 0.003
    curve = np.array([begins, np.log(k), 0.0])
    assert lost(TAIL, np.array([0, 0.5, 1]), curve) == pytest.approx(wanted, abs=6e-4)


def test_a_pulse_of_even_strength() -> None:
    """A rectangle of W: a row open for s gets s / W of it (check-values 3.3, limiting case)."""
    curve = np.array([0.25, np.log(0.5), 0.0])
    assert light(RAMP, np.array([0, 0.25, 0.5, 0.75, 1]), curve) == pytest.approx([0, 0, 0.5, 1, 1])


def test_the_room_fills_what_the_shutter_took() -> None:
    curve = np.array([0.5, np.log(0.1), 0.25])
    assert light(RAMP, np.array([0.0, 1.0]), curve) == pytest.approx([0.25, 1.0])


def test_a_falloff_is_found_and_no_cut_in_it() -> None:
    stops = -1.0 + 0.6 * (PLACE - 0.5) - 0.3 * (2 * PLACE - 1) ** 2
    rows = rows_of(np.exp2(stops), ALONE, 0.015)
    fits = fits_of(rows)
    assert fits.cut is None
    assert fits.even.parameters == pytest.approx([-1.1, 0.6, -0.3], abs=0.01)
    coefficients, off = fit_falloff(rows, np.ones((1, 160)))
    assert coefficients[0] == pytest.approx([-1.1, 0.6, -0.3], abs=0.01)
    assert off[0] < 2


@pytest.mark.parametrize("at_end", [False, True])
def test_a_cut_is_found_at_its_end(at_end: bool) -> None:
    x = 1 - PLACE if at_end else PLACE
    truth = np.array([0.2, np.log(5.0), 0.0])
    fits = fits_of(rows_of(0.4 * light(TAIL, x, truth), ALONE, 0.015))
    assert fits.cut is not None
    assert fits.cut.at_end is at_end
    assert fits.cut.parameters[3] == pytest.approx(0.2, abs=0.005)


def test_what_hides_is_not_found_and_what_is_larger_is() -> None:
    """The stated limit is a limit: of the tail's curves those well above it are found."""
    limit = hidden_stops(rows_of(np.ones(160), RATIO, 0.005))
    assert 0.02 < limit < 0.15
    for begins, k in ((-0.4, 2.0), (-0.8, 2.0), (-0.2, 4.0), (-1.5, 1.0)):
        curve = np.array([begins, np.log(k), 0.0])
        apart = float(np.ptp(lost(TAIL, np.array([0.0, 1.0]), curve)))
        found = fits_of(rows_of(light(TAIL, PLACE, curve), RATIO, 0.005)).cut is not None
        if apart > 1.2 * limit:
            assert found


def test_one_frame_hides_more_than_a_ratio_and_noise_hides_more_still() -> None:
    ratio = hidden_stops(rows_of(np.ones(160), RATIO, 0.005))
    one = hidden_stops(rows_of(np.ones(160), ALONE, 0.015))
    noisy = hidden_stops(Rows(PLACE, np.ones(160), np.full(160, 0.2), 0.005, RATIO))
    assert ratio < noisy
    assert ratio < one
