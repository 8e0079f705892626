"""verify/pops/planning.py: pops that an aperture needs, with bellows and filters."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.errors import PlanError
from verify.exposure import bellows_stops
from verify.notation import parse_camera_aperture
from verify.plan.file import read_plan
from verify.plan.records import SetUp
from verify.pops.planning import INTERVAL_S, alternatives, nearest_whole, pops_needed
from verify.pops.records import PopPlan


def setup(folder: Path, camera: str = "", reading: str = "", rest: str = "") -> SetUp:
    path = folder / "plan.toml"
    path.write_text(
        f'[reading]\naperture = "f/16"\n{reading}\n[camera]\n{camera}\n{rest}', encoding="utf-8"
    )
    return read_plan(path).main


def needed(its: SetUp, want: str = "f/45", interval_s: float | None = None) -> PopPlan:
    return pops_needed(its, parse_camera_aperture(want), interval_s)


def test_the_example_of_a_still_life(tmp_path: Path) -> None:
    """The issue's own example: f/16 to f/45 with bellows of 1.5 stops; exact f-numbers."""
    plan = needed(setup(tmp_path, "bellows_stops = 1.5"))
    assert plan.missing_stops == pytest.approx(4.5)
    assert plan.exact_pops == pytest.approx(22.627, abs=5e-4)
    assert (plan.chosen.pops, plan.chosen.power_change_stops) == (23, 0)
    assert plan.chosen.difference_stops == pytest.approx(0.0236, abs=5e-5)
    first = plan.alternatives[0]
    assert (first.pops, first.power_change_stops) == (16, 0.5)
    assert first.difference_stops == pytest.approx(0, abs=1e-9)
    assert plan.one_missed_stops == pytest.approx(math.log2(22 / 23))


@pytest.mark.parametrize(
    ("camera", "stops"),
    [
        ("magnification = 1.0", 2.0),  # check-values 6.1: m = 1, x 4
        ("magnification = 0.5", math.log2(2.25)),  # m = 0.5, 2.25
        (f"magnification = {2 / 3}", 1.474),  # image 8 in of 12 in, 1.474 stop
        ("magnification = 0.1", 0.275),
        ("magnification = 0.25", 0.644),
        ("magnification = 2.0", 3.170),
        ("magnification = 0.5\npupil_magnification = 0.5", 2.0),  # with the pupil, M+
        ("magnification = 1.0\npupil_magnification = 2.0", 1.170),
        ("filters = 0.9966", 0.9966),  # check-values 6.2: ND 0.3
        ("over = 0.5", 0.5),
    ],
)
def test_bellows_and_filters(tmp_path: Path, camera: str, stops: float) -> None:
    """Check-values 6.1: 2 log2(1 + m/P) more light is needed."""
    plan = needed(setup(tmp_path, camera), "f/16")
    assert plan.missing_stops == pytest.approx(stops, abs=6e-4)


def test_published_extensions() -> None:
    """Check-values 6.1, US Army course SS0512: 6 in beyond 12 in is 2.25; apug.org: 0.1785."""
    assert 2 ** bellows_stops((18 - 12) / 12) == pytest.approx(2.25)
    assert bellows_stops(180 / (3000 - 180)) == pytest.approx(0.1785, abs=5e-5)
    assert bellows_stops(180 / (360 - 180)) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("want", "exact", "pops"),
    [("f/16", 1, 1), ("f/22", 2, 2), ("f/32", 4, 4), ("f/45", 8, 8), ("f/64", 16, 16)],
)
def test_marked_apertures_are_exact(tmp_path: Path, want: str, exact: float, pops: int) -> None:
    """f/45 is 45.25 and f/22 22.63: full stops are whole numbers of pops (check-values 4.3)."""
    plan = needed(setup(tmp_path), want)
    assert plan.exact_pops == pytest.approx(exact)
    assert plan.chosen.pops == pops
    assert plan.chosen.difference_stops == pytest.approx(0, abs=1e-9)


def test_iso_tenths_and_pops_of_the_reading(tmp_path: Path) -> None:
    assert needed(setup(tmp_path, "iso = 400")).exact_pops == pytest.approx(2)
    of_two = setup(tmp_path, reading="pops = 2")
    assert needed(of_two).exact_pops == pytest.approx(16)
    path = tmp_path / "tenths.toml"
    path.write_text('[reading]\naperture = "f/16 + 0.5"\n', encoding="utf-8")
    assert needed(read_plan(path).main).missing_stops == pytest.approx(2.5)


def test_more_light_than_is_wanted(tmp_path: Path) -> None:
    plan = needed(setup(tmp_path), "f/11")
    assert plan.chosen.pops == 1
    assert plan.chosen.difference_stops == pytest.approx(1)
    assert plan.alternatives[0].power_change_stops == -1
    assert plan.one_missed_stops is None
    assert any("1.00 stop more than is wanted" in note for note in plan.notes)


def test_a_half_stop_between_one_and_two_pops(tmp_path: Path) -> None:
    plan = needed(setup(tmp_path, "over = 0.4"), "f/16")
    assert plan.chosen.pops == 1
    assert plan.alternatives[0].pops == 1
    assert plan.alternatives[0].power_change_stops == pytest.approx(0.4)


def test_open_time_and_what_gathers_in_it(tmp_path: Path) -> None:
    """Check-values 6.3: ambient grows with the open time, flash with n."""
    its = setup(
        tmp_path, 'bellows_stops = 1.5\nshutter = "1/125"', rest="[ambient]\nstops_under_flash = 10"
    )
    plan = needed(its, interval_s=3.0)
    assert plan.open_s == 69
    under = 10 + math.log2(23) - math.log2(69 * 128)
    assert plan.ambient_under_stops == pytest.approx(under)
    assert plan.ambient_adds_stops == pytest.approx(math.log2(1 + 2**-under))
    usual = needed(its)
    assert (usual.interval_s, usual.interval_given) == (INTERVAL_S, False)


def test_ambient_light_by_the_meter(tmp_path: Path) -> None:
    its = setup(tmp_path, 'shutter = "1/4"', rest='[ambient]\naperture = "f/2"')
    plan = needed(its, interval_s=2.0)
    # f/2 under f/16 is 6 stops of one pop in 1/4 s; 8 pops, 16 s
    assert plan.ambient_under_stops == pytest.approx(6 + 3 - 6)


def test_ambient_light_at_no_known_time(tmp_path: Path) -> None:
    its = setup(tmp_path, 'shutter = "bulb"', rest="[ambient]\nstops_under_flash = 6")
    plan = needed(its)
    assert plan.ambient_under_stops is None
    assert any("shutter under [camera]" in note for note in plan.notes)


def test_a_count_that_a_level_does_not_prove(tmp_path: Path) -> None:
    """Check-values 6.3: at a tolerance of 0.1 stop, up to 14 pops."""
    seen = needed(setup(tmp_path), "f/45")
    assert not any("that fails" in note for note in seen.notes)
    hidden = needed(setup(tmp_path), "f/64")
    assert any(
        "costs 0.09 stop, and the tolerance is 0.1: the level of a frame alone shows that of up to "
        "14 pops" in note
        for note in hidden.notes
    )


def test_too_many_pops(tmp_path: Path) -> None:
    plan = needed(setup(tmp_path, "filters = 10.0"), "f/64")
    assert any("more than 1,000 pops" in note for note in plan.notes)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "how much one pop gives is not known"),
        (
            '[reading]\naperture = "f/8"\nlight = "continuous"\nshutter = "1/125"\n',
            'the reading is of light = "continuous"',
        ),
    ],
)
def test_what_no_pops_follow_from(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "other.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PlanError) as refused:
        needed(read_plan(path).main)
    assert says in str(refused.value)


@given(st.floats(0.05, 500))
def test_the_nearest_whole_number_is_nearest_in_stops(exact: float) -> None:
    pops = nearest_whole(exact)
    assert pops >= 1
    off = abs(math.log2(pops / exact))
    for other in (pops - 1, pops + 1):
        assert other < 1 or off <= abs(math.log2(other / exact)) + 1e-12


@given(st.floats(0.3, 300))
def test_alternatives_come_out_even_within_half_a_step(exact: float) -> None:
    for choice in alternatives(exact, nearest_whole(exact)):
        assert abs(choice.difference_stops) <= 0.05 + 1e-9
        light = choice.pops * 2.0**choice.power_change_stops
        assert choice.difference_stops == pytest.approx(math.log2(light / exact))
