"""verify/diagnose/chart.py: limits of published charts, and of a shoot with something in it."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from published_series import CONCENTRATION, ENGINES, FLOW, JETS, JETS_LATER, NILE

from verify.diagnose.chart import (
    D2,
    D3,
    LEAST_VALUES,
    MEDIAN_RANGE,
    RANGE_RULE,
    chart_of,
    individuals,
    steady_stretch,
)
from verify.diagnose.records import ChartLimits, Signal
from verify.diagnose.run_rules import RULES


def files(count: int) -> list[Path]:
    return [Path(f"{n}.dng") for n in range(count)]


def chart(values: np.ndarray) -> ChartLimits:
    found = chart_of(values, files(len(values)))
    assert found is not None
    return found


def test_constants() -> None:
    """Check-values 8.3: d2, d3, 3/d2, D4 of two values, and the median range's 0.953873."""
    assert pytest.approx(1.128379, abs=5e-7) == D2
    assert pytest.approx(0.852502, abs=5e-7) == D3
    assert pytest.approx(2.658681, abs=5e-7) == 3 / D2
    assert pytest.approx(3.266532, abs=5e-7) == 1 + 3 * D3 / D2
    assert pytest.approx(0.953873, abs=5e-7) == MEDIAN_RANGE
    assert pytest.approx(3.1451, abs=5e-5) == 3 / MEDIAN_RANGE


@dataclass(frozen=True, slots=True)
class Printed:
    """A published chart, and the constants that its limits are printed with."""

    values: np.ndarray
    mean: float
    mean_range: float
    lower: float
    upper: float
    upper_range: float
    d2: float  # of the limits of single values
    d4: float  # of that of the moving range
    digits: float  # half of the last printed one


PUBLISHED = {
    "SAS/QC Jets": Printed(
        JETS, 80.390, 5.326316, 66.2290, 94.5510, 17.401, D2, 3.267, 5e-5
    ),  # support.sas.com, IRCHART
    "SAS/QC Engines": Printed(
        ENGINES, 1255.92, 13.33333, 1220.471, 1291.369, 43.56, D2, 3.267, 5e-4
    ),
    "Montgomery and Runger, tables 16-7 and 16-8": Printed(
        CONCENTRATION, 99.095, 2.589474, 92.208, 105.982, 8.468, 1.128, 3.27, 5e-4
    ),
    "NIST/SEMATECH pmc322, from memory": Printed(
        FLOW, 50.81, 1.8778, 45.8159, 55.8041, 6.134, 1.128, 3.267, 1e-4
    ),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_limits(name: str) -> None:
    """Check-values 8.3 to the printed digits; some are printed with rounded constants."""
    printed = PUBLISHED[name]
    found = individuals(printed.values)
    assert found.centre == pytest.approx(printed.mean, abs=5e-4)
    assert found.mean_range == pytest.approx(printed.mean_range, abs=5e-5)
    assert found.sigma == pytest.approx(found.mean_range / D2)
    reach = (found.upper - found.centre) * D2 / printed.d2
    assert found.centre - reach == pytest.approx(printed.lower, abs=printed.digits)
    assert found.centre + reach == pytest.approx(printed.upper, abs=printed.digits)
    assert found.centre - found.lower == pytest.approx(found.upper - found.centre)
    in_print = found.upper_range * printed.d4 / (1 + 3 * D3 / D2)
    assert in_print == pytest.approx(printed.upper_range, abs=1e-3)


@pytest.mark.parametrize("values", [JETS, JETS_LATER, CONCENTRATION, FLOW])
def test_published_sets_in_control(values: np.ndarray) -> None:
    limits = individuals(values)
    found = chart(values)
    assert found.signals == ()
    assert (found.centre_stops, found.upper_stops) == (limits.centre, limits.upper)
    assert (found.lower_stops, found.moving_range_stops) == (limits.lower, limits.upper_range)


def test_later_values_against_the_first_limits() -> None:
    """Check-values 8.3: no point of Jets2 is outside; its largest moving range is 12.4."""
    limits = individuals(JETS)
    assert limits.lower < JETS_LATER.min() == 73.3
    assert limits.upper > JETS_LATER.max() == 89.3
    assert np.abs(np.diff(JETS_LATER)).max() == pytest.approx(12.4)
    assert limits.upper_range > 12.4


def test_a_published_set_with_signals() -> None:
    """Check-values 8.3, "Engines": 1295 is beyond, eight in a row, two jumps."""
    found = chart(ENGINES)
    names = [(int(signal.file.stem) + 1711, signal.rule) for signal in found.signals]
    assert names == [
        (1727, RULES[3]),
        (1732, RULES[0]),
        (1732, RANGE_RULE),
        (1733, RANGE_RULE),
    ]


def test_limits_are_those_of_the_first_steady_stretch() -> None:
    """The Nile changed after 28 years (check-values 8.5); what came later is beyond its limits."""
    assert steady_stretch(NILE) == 28
    found = chart(NILE)
    own = individuals(NILE[:28])
    assert (found.centre_stops, found.upper_stops) == (own.centre, own.upper)
    runs = {int(s.file.stem) for s in found.signals if s.rule == RULES[3]}
    assert runs >= {*range(35, 45), *range(60, 90)}
    assert not any(int(s.file.stem) < 28 for s in found.signals)


def test_single_frames_far_off_do_not_widen_the_limits() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(0, 0.03, 60)
    off = [7, 21, 22, 40, 55]
    values[off] -= 0.6
    assert steady_stretch(values) == 60
    found = chart(values)
    assert found.upper_stops - found.centre_stops == pytest.approx(0.09, rel=0.35)
    beyond = {int(s.file.stem) for s in found.signals if s.rule == RULES[0]}
    assert beyond >= set(off)
    assert len(beyond) <= len(off) + 1


def test_one_level_has_no_signal() -> None:
    found = chart(np.full(30, 0.1))
    limits = (found.centre_stops, found.lower_stops, found.upper_stops)
    assert limits == pytest.approx((0.1, 0.1, 0.1))
    assert (found.moving_range_stops, found.signals) == (0, ())


def test_one_odd_frame_in_an_even_series_signals() -> None:
    values = np.full(40, -0.2)
    values[20] = 0.5
    assert Signal(Path("20.dng"), RULES[0]) in chart(values).signals


def test_a_few_frames_have_no_limits() -> None:
    values = np.arange(LEAST_VALUES) / 10
    assert chart_of(values[:-1], files(4)) is None
    assert chart_of(values, files(5)) is not None
    assert steady_stretch(values[:2]) == 2


def test_false_alarms_of_the_limits_are_rare() -> None:
    """Beyond 3 sigma 0.0027 of normal values lie (check-values 8.3); estimated limits add some."""
    rng = np.random.default_rng(9)
    beyond = 0
    for _ in range(100):
        found = chart(rng.normal(0, 1, 100))
        beyond += sum(signal.rule == RULES[0] for signal in found.signals)
    assert 0.0015 * 10_000 < beyond < 0.006 * 10_000
    assert math.isclose(found.upper_stops - found.centre_stops, 3, rel_tol=0.3)


def test_ten_thousand_frames() -> None:
    """The cost grows with the number of frames: an array by pairs would not fit here."""
    rng = np.random.default_rng(1)
    values = rng.normal(0, 0.03, 10_000)
    values[4000:] -= 0.1
    assert steady_stretch(values) == pytest.approx(4000, abs=5)
    assert chart(values).centre_stops == pytest.approx(0, abs=0.003)
