"""verify/calibrate/match.py: what the frames are to match."""

import math
from pathlib import Path

import pytest
from calibration_sets import metered, shot, shots_of
from readings import FLAT_SIGNAL

from verify.calibrate.calibration import calibrated
from verify.calibrate.match import STANDARD, approved, headroom, parse_match, standard
from verify.compare import FrameCheck
from verify.errors import PlanError


@pytest.mark.parametrize("text", ["standard", " Standard ", "STANDARD"])
def test_the_standard(text: str) -> None:
    assert parse_match(text) is None


@pytest.mark.parametrize(
    ("text", "stops"),
    [("headroom:0.5", 0.5), ("headroom: 1", 1), ("Headroom:0,7", 0.7), ("headroom:0", 0),
     ("headroom:6", 6)],
)  # fmt: skip
def test_headroom_in_stops(text: str, stops: float) -> None:
    assert parse_match(text) == stops


@pytest.mark.parametrize("name", ["shot.dng", "a:b.dng", "sub/my frame.dng"])
def test_an_approved_frame(name: str) -> None:
    assert parse_match(f"frame:{name}") == Path(name)


@pytest.mark.parametrize(
    "text",
    ["", "frame", "frame:", "frame: ", "headroom", "headroom:", "headroom:-1", "headroom:6.1",
     "headroom:nan", "headroom:1e9", "headroom:inf", "standard:1", "shot.dng", "headroom:1/3",
     "headroom:\N{ARABIC-INDIC DIGIT ONE}x"],
)  # fmt: skip
def test_what_is_none_of_these_is_refused(text: str) -> None:
    with pytest.raises(PlanError, match="--match") as refused:
        parse_match(text)
    assert 'write "standard", "headroom:0.5"' in str(refused.value)


def test_white_half_a_stop_below_clipping() -> None:
    # White 0.9 at 2^-0.5 of clipping has a card of 0.18 at 0.7071 x 0.2 = 0.1414 of it; the
    # standard has it at 0.11937 (check-values 2.5).
    found = headroom(0.5)(shots_of([0.3, -0.2]))
    assert found.how == "headroom"
    assert found.stops == pytest.approx(math.log2(2**-0.5 * 0.2 / FLAT_SIGNAL), abs=1e-9)
    assert found.stops == pytest.approx(0.245, abs=0.001)
    assert found.words == "diffuse white (90 %) 0.5 stop below clipping"


def test_less_headroom_is_more_exposure() -> None:
    shots = shots_of([0.0])
    assert headroom(0.0)(shots).stops == pytest.approx(headroom(1.0)(shots).stops + 1)


@pytest.mark.parametrize("reflectance", [0.12, 0.18, 0.4])
def test_the_card_makes_no_difference_to_an_incident_reading(reflectance: float) -> None:
    shots = [shot(0.0, setup=metered(card={"reflectance": reflectance}))]
    assert headroom(0.5)(shots).stops == pytest.approx(headroom(0.5)(shots_of([0.0])).stops)


def test_a_lower_clipping_level_counts() -> None:
    shots = [shot(0.0, fields={"clips_at": 0.5})]
    assert headroom(0.5)(shots).stops == pytest.approx(headroom(1.5)(shots_of([0.0])).stops)


@pytest.mark.parametrize("sections", [{"correction": 0.7}, {"correction": -1.0}])
def test_a_correction_dialled_in_and_settings_make_no_difference(
    sections: dict[str, float],
) -> None:
    shots = [shot(0.0, av=8.0, sv=1.0, setup=metered(reading=sections, camera={"over": 1.0}))]
    assert headroom(0.5)(shots).stops == pytest.approx(headroom(0.5)(shots_of([0.0])).stops)


def test_headroom_leaves_white_where_it_is_wanted() -> None:
    # A camera that gets 0.4 more than promised: with the correction advised, white is as wanted.
    found = calibrated(shots_of([0.4] * 5), headroom(1.0), ())
    assert found.offset_stops == pytest.approx(0.4)
    correction = found.match.stops - 0.4
    white = FLAT_SIGNAL * 2 ** (0.4 + correction) * 0.9 / 0.18
    assert white == pytest.approx(0.5)
    assert found.advice.correction_stops == pytest.approx(correction, abs=0.1)


def test_headroom_of_nothing() -> None:
    assert headroom(0.5)([]).stops == 0


def test_the_approved_frame_is_what_the_next_ones_match() -> None:
    liked = shot(0.8, at=9)
    found = approved(liked.check, liked.setup)
    assert (found.how, found.words) == ("frame", "the approved frame frame_0009.dng")
    assert found.stops == pytest.approx(0.8)


def test_the_approved_frame_counts_by_its_signal_whatever_its_settings() -> None:
    liked = shot(0.3, av=6.0, setup=metered(reading={"correction": 0.5}))
    # By the settings a stop over, by the meter's correction half a stop.
    assert approved(liked.check, liked.setup).stops == pytest.approx(0.3 + 1 + 0.5)


@pytest.mark.parametrize(
    ("check", "why"),
    [
        (FrameCheck(Path("a.dng"), "main", None, problem="it is empty"), "it is empty"),
        (shot(0.0, fields={"bound": "at-least"}).check, "cannot be measured for sure"),
        (shot(0.0, fields={"bound": "at-most"}).check, "cannot be measured for sure"),
    ],
)
def test_an_approved_frame_that_cannot_be_measured_is_refused(check: FrameCheck, why: str) -> None:
    with pytest.raises(PlanError, match=why) as refused:
        approved(check, metered())
    assert str(check.file) in str(refused.value)


def test_the_standard_is_no_stops_off_itself() -> None:
    assert standard(shots_of([0.3])) == STANDARD
    assert STANDARD.stops == 0


def test_the_match_never_moves_the_offset() -> None:
    shots = shots_of([0.21, 0.2, 0.19, 0.2])
    liked = shot(1.0)
    found = [
        calibrated(shots, match, ()).offset_stops
        for match in (standard, headroom(1.0), lambda _: approved(liked.check, liked.setup))
    ]
    assert found == [found[0]] * 3
