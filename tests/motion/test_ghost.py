"""The ghost: its strength, what it makes in lightness, and its verdict."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.motion.ghost import (
    FAINT_BELOW,
    HIDDEN_BELOW,
    coverage,
    delta_l,
    ghost_of,
    ghost_verdict,
    lightness,
    luminance_at,
    strength_at,
)
from verify.motion.records import Ghost
from verify.plan.motion import Against, Subject

SUBJECT = Subject(speed_m_s=2.0, size_m=0.3, magnification=0.05)
AGAINST = st.sampled_from(["grey", "black"])


def srgb_code(luminance: float) -> float:
    """IEC 61966-2-1, 0 to 255."""
    return 255 * (1.055 * float(luminance ** (1 / 2.4)) - 0.055)


@pytest.mark.parametrize(
    ("under", "stops", "codes"),
    [
        (2, -0.322, 11.7),
        (3, -0.170, 6.3),
        (4, -0.0875, 3.3),
        (5, -0.0444, 1.7),
        (6, -0.0224, 0.85),
        (7, -0.0112, 0.43),
    ],
)
def test_what_an_ambient_share_does_at_a_mid_grey_edge(
    under: float, stops: float, codes: float
) -> None:
    """Check-values 7, to half of the last digit that it prints; the same by L* as by codes."""
    strength = ghost_of(under, Subject(1.0), None, None, None, None).strength
    assert strength is not None
    assert math.log2(1 / (1 + strength)) == pytest.approx(stops, abs=6e-4)
    darker = luminance_at(lightness(0.18) - delta_l(strength, "grey"))
    assert darker == pytest.approx(0.18 / (1 + strength))
    assert srgb_code(0.18) - srgb_code(darker) == pytest.approx(codes, abs=0.06)


@pytest.mark.parametrize(
    ("luminance", "wanted"),
    # CIE 15: white is 100, black 0; 18 % is 49.5; at 0.008856 the two branches meet at 8.
    [(1.0, 100.0), (0.0, 0.0), (0.18, 49.496), (216 / 24389, 8.0), (0.001, 0.9033), (1.7, 100.0)],
)
def test_lightness(luminance: float, wanted: float) -> None:
    assert lightness(luminance) == pytest.approx(wanted, abs=5e-4)


@given(st.floats(0, 100))
def test_lightness_and_back(value: float) -> None:
    assert lightness(luminance_at(value)) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize(
    ("under", "verdict"),
    [(1, "visible"), (2, "visible"), (3, "visible"), (4, "faint"), (5, "hidden"), (6, "hidden")],
)
def test_mid_grey_agrees_with_the_rule_of_the_trade(under: float, verdict: str) -> None:
    """Check-values 7: about four stops under the flash is enough; 3 to 5 are said."""
    assert ghost_of(under, Subject(1.0), 1 / 60, None, None, None).verdict == verdict


def test_a_light_subject_on_black_needs_far_more() -> None:
    """0.9 x 2^-4 of white, L* 28.5, before nothing: ten stops are needed."""
    against = Subject(1.0, against="black")
    ghost = ghost_of(4, against, None, None, None, None)
    assert ghost.delta_l_black == pytest.approx(116 * 0.05625 ** (1 / 3) - 16)
    assert ghost.delta_l == ghost.delta_l_black
    assert ghost.verdict == "visible"
    verdicts = [ghost_of(d, against, None, None, None, None).verdict for d in (8, 9, 10)]
    assert verdicts == ["visible", "faint", "hidden"]


def test_thresholds() -> None:
    assert ghost_verdict(0) == "hidden"
    assert ghost_verdict(HIDDEN_BELOW) == "faint"
    assert ghost_verdict(FAINT_BELOW - 1e-9) == "faint"
    assert ghost_verdict(FAINT_BELOW) == "visible"


def test_a_trail_and_what_the_motion_thins() -> None:
    """2 m/s for 1/2 s is a metre: each point of it is covered for 0.3 of the time."""
    ghost = ghost_of(3.0, SUBJECT, 0.5, 1e5, 4.0, 1.5)
    assert ghost.trail_um == pytest.approx(5e4)
    assert ghost.trail_px == pytest.approx(12_500)
    assert ghost.strength == pytest.approx(0.3 / 8)
    assert coverage(SUBJECT, 0.1) == 1.0
    assert coverage(Subject(2.0), 0.5) == 1.0
    assert coverage(SUBJECT, None) == 1.0


def test_a_trail_no_longer_than_what_is_sharp_is_no_second_image() -> None:
    short = ghost_of(0.0, SUBJECT, 1e-5, 1e5, 4.0, 1.5)
    assert short.trail_px == pytest.approx(0.25)
    assert short.verdict == "hidden"
    assert ghost_of(0.0, SUBJECT, 1e-4, 1e5, 4.0, 1.5).verdict == "visible"
    assert ghost_of(0.0, SUBJECT, 1e-5, 1e5, None, 1.5).verdict == "visible"  # not known in pixels


def test_what_is_not_known_is_none() -> None:
    assert ghost_of(4.0, None, 1 / 60, None, 4.0, 1.5) == Ghost(4.0)
    no_light = ghost_of(math.inf, SUBJECT, 1 / 60, 1e5, 4.0, 1.5)
    assert (no_light.strength, no_light.delta_l, no_light.verdict) == (0, 0, "hidden")


@given(st.floats(0, 12), AGAINST, st.floats(0.01, 2))
def test_more_ambient_light_is_seen_more(stops: float, against: Against, less: float) -> None:
    weak, strong = 2 ** -(stops + less), 2**-stops
    assert delta_l(weak, against) <= delta_l(strong, against)
    assert strength_at(delta_l(weak, against), against) == pytest.approx(min(weak, 1 / 0.9))


@given(st.floats(0.001, 2), st.floats(0, 8))
def test_past_its_own_size_a_longer_exposure_makes_no_stronger_ghost(
    shutter_s: float, stops: float
) -> None:
    """The ambient light of twice the time is thinned to half: the trail only gets longer."""
    covered_s = 0.3 / 2.0
    one = ghost_of(stops, SUBJECT, shutter_s + covered_s, 1e5, 4.0, 1.5)
    gained = math.log2((2 * shutter_s + covered_s) / (shutter_s + covered_s))
    other = ghost_of(stops - gained, SUBJECT, 2 * shutter_s + covered_s, 1e5, 4.0, 1.5)
    assert other.strength == pytest.approx(one.strength)
    assert (other.trail_um or 0) > (one.trail_um or 0)
