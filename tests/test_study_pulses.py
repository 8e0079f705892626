"""scripts/study_pulses.py: a small run of it, and that what is not reached fails it."""

from argparse import Namespace

import numpy as np
import pytest
import study_pulses
from drawn_pulses import LEVELS, OTHERS, PULSES, Closed
from study_pulses import AS_WANTED, Tried, judged, tried

Capture = pytest.CaptureFixture[str]


def drawn(error: float, u: float, draws: int = 400) -> Tried:
    """Normal errors of a size, said to be of another."""
    errors = error * np.random.default_rng(1).standard_normal((draws, len(LEVELS)))
    return Tried(errors, errors / u)


def test_honest_and_small_errors_reach_what_is_wanted(capsys: Capture) -> None:
    assert judged({"one": drawn(0.01, 0.01), "other": drawn(0.008, 0.008)})
    assert "NOT" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("shapes", "fails"),
    [
        ({"one": drawn(0.02, 0.02)}, ["median error", "error at 95 %", "largest error at 95 %"]),
        ({"one": drawn(0.004, 0.004), "other": drawn(0.03, 0.03)}, ["largest median, t."]),
        ({"one": drawn(0.01, 0.006)}, ["fewest within two u, t."]),
        ({"one": drawn(0.01, 0.02)}, ["most within two u"]),
    ],
)
def test_what_is_not_reached_is_told(
    shapes: dict[str, Tried], fails: list[str], capsys: Capture
) -> None:
    assert not judged(shapes)
    lines = [line for line in capsys.readouterr().out.splitlines() if "NOT reached" in line]
    for said in fails:
        assert any(said in line for line in lines)


def test_a_duration_that_is_not_given_is_not_reached() -> None:
    missing = drawn(0.008, 0.008)
    missing.error[0, 2] = missing.over_u[0, 2] = np.nan
    assert not judged({"one": missing})


def test_a_small_run(capsys: Capture) -> None:
    """Of few draws; the bounds of the study itself are for many."""
    assert study_pulses.main(["--draws", "2", "--part", "sampling"]) == 0
    rows = [line for line in capsys.readouterr().out.splitlines() if "%" in line][1:]
    assert len(rows) == len(study_pulses.SAMPLINGS)
    study_pulses.others(Namespace(draws=2, seed=1))
    printed = capsys.readouterr().out
    assert all(f"  {name} " in printed for name in [*OTHERS, "all shapes"])


@pytest.mark.parametrize("name", ["stretched 1.5", "two decays", "trapezoid", "gamma"])
def test_shapes_that_nothing_was_tuned_on(name: str) -> None:
    one = tried(OTHERS[name], AS_WANTED, 15, (5,))
    assert one.sizes(0.5)[:5].max() < 0.02
    assert one.within(2).mean() > 0.8


@pytest.mark.parametrize(("name", "pulse"), [*PULSES.items(), *OTHERS.items()])
def test_the_durations_that_are_held_against(name: str, pulse: Closed) -> None:
    """They are those of the light itself, on a fine grid."""
    end = pulse.before + 3 * pulse.seconds[0.1]
    time = np.linspace(-pulse.before - 0.1, end, 400_001)
    light = pulse.light(time)
    assert light.max() == pytest.approx(1, abs=3e-4), name  # between two places of the grid
    for level in LEVELS:
        above = time[light >= level]
        assert above[-1] - above[0] == pytest.approx(pulse.seconds[level], abs=1e-4)


def test_the_printed_durations() -> None:
    """check-values 3.3: bi-exponentials, t.5 and t.1, as printed but for the last digit."""
    printed = {
        "rising 0.05, 1": (0.87367, 2.50706),
        "rising 0.1, 0.5": (0.61361, 1.45706),
        "rising 0.02, 0.2": (0.20071, 0.53114),
    }
    for name, (half, tenth) in printed.items():
        assert PULSES[name].seconds[0.5] == pytest.approx(half, abs=2e-5)
        assert PULSES[name].seconds[0.1] == pytest.approx(tenth, abs=2e-5)
