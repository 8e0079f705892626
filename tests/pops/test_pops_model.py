"""verify/pops/model.py and fired.py: the model's arithmetic against fits made one by one."""

import math

import numpy as np
import pytest

from verify.pops.cautions import cautions_at, is_flicker
from verify.pops.fired import likelihood, worth
from verify.pops.model import (
    Frames,
    Term,
    evidence,
    evidence_of_each,
    fitted,
    frames_of,
    told_apart,
)

COUNTS = np.array([1, 2, 4, 8, 4])
OPEN_S = np.array([4.0, 8.0, 4.0, 10.0, 2.0])
ALL: tuple[Term, ...] = ("pop", "ambient", "sag")


def frames(signal: np.ndarray) -> Frames:
    return frames_of(COUNTS, signal, 1e-6 * signal, OPEN_S)


def light(pop: float, ambient: float, sag: float = 0.0) -> np.ndarray:
    return np.asarray(pop * COUNTS + ambient * OPEN_S - sag * COUNTS * (COUNTS - 1) / 2)


def test_a_fit_finds_what_was_put_in() -> None:
    fit = fitted(frames(light(0.01, 1e-3, 2e-4)), COUNTS, ALL)
    assert fit.found == pytest.approx([0.01, 1e-3, 2e-4])
    assert fit.of("first") == (0.0, 0.0)
    assert worth(frames(light(0.01, 1e-3, 2e-4)), fit) == pytest.approx(COUNTS)
    assert fit.level(frames(light(0.01, 1e-3)), COUNTS) == pytest.approx(light(0.01, 1e-3, 2e-4))


def test_ambient_light_is_never_below_none() -> None:
    fit = fitted(frames(light(0.01, -2e-4)), COUNTS, ("pop", "ambient"))
    assert fit.terms == ("pop",)


@pytest.mark.parametrize("terms", [("pop",), ("pop", "ambient"), ALL])
def test_changing_one_count_is_as_fitting_anew(terms: tuple[Term, ...]) -> None:
    scattered = light(0.01, 1e-3) * 2 ** np.random.default_rng(2).normal(0, 0.03, 5)
    there = frames(scattered)
    candidates = np.maximum(COUNTS[:, None] + np.array([-1, 0, 1, 3]), 0)
    found = evidence_of_each(there, COUNTS, candidates, terms)
    for (frame, at), value in np.ndenumerate(found):
        counts = COUNTS.copy()
        counts[frame] = candidates[frame, at]
        rows, values = there.rows(counts, terms), there.values
        squares = min(
            float(
                np.square(values - rows[:, kept] @ np.linalg.lstsq(rows[:, kept], values)[0]).sum()
            )
            for kept in _with_light(rows, values, terms)
        )
        expected = evidence(squares, 5, len(terms))
        assert value == pytest.approx(float(expected), abs=2e-3)


def _with_light(rows: np.ndarray, values: np.ndarray, terms: tuple[Term, ...]) -> list[list[int]]:
    """Columns to fit: all, or without the ambient light where that would be below 0."""
    every = list(range(len(terms)))
    found = np.linalg.lstsq(rows, values)[0]
    if "ambient" in terms and found[terms.index("ambient")] < 0:
        return [[at for at in every if terms[at] != "ambient"]]
    return [every]


def test_what_frames_can_tell_apart() -> None:
    there = frames(light(0.01, 1e-3))
    assert told_apart(there, COUNTS, ALL)
    alike = frames_of(COUNTS, light(0.01, 0.0), np.zeros(5), COUNTS * 2.0)
    assert told_apart(alike, COUNTS, ("pop",))
    assert not told_apart(alike, COUNTS, ("pop", "ambient"))
    assert not told_apart(there, COUNTS, (*ALL, "first", "pop", "sag"))


def test_how_likely_counts_are() -> None:
    planned = np.array([8, 1, 0])
    counts = np.array([[8, 7, 6, 9, 0], [1, 0, 0, 2, 3], [0, 0, 0, 1, 2]])
    found = likelihood(counts, planned)
    assert found[0, 0] == found[1, 0] == found[2, 0] == 0
    assert found[0, 1] == pytest.approx(math.log(0.08))
    assert found[0, 1] > found[0, 2] > found[0, 3]
    assert found[1, 1] == pytest.approx(math.log(0.01))
    assert found[1, 3] > found[1, 4]


def test_a_frame_at_black_does_not_rule_the_fit() -> None:
    signal = np.array([1e-7, 0.01, 0.02, 0.04])
    there = frames_of(np.array([0, 1, 2, 4]), signal, np.full(4, 1e-5), np.full(4, 8.0))
    assert there.scale[0] > 1e-5 / 0.014
    assert there.scale[1:] == pytest.approx(signal[1:], rel=0.01)


@pytest.mark.parametrize(
    ("per_s", "wary"),
    [(0.5, False), (2.9, False), (3.0, True), (15.0, True), (30.0, True), (31.0, False)],
)
def test_rates_of_flashes_that_trigger_seizures(per_s: float, wary: bool) -> None:
    """Check-values 9, Epilepsy Society: commonly 3 to 30 a second."""
    assert is_flicker(per_s) == wary


def test_cautions() -> None:
    assert len(cautions_at(None)) == 1
    assert "about 12 a second" in cautions_at(12.0)[1]
