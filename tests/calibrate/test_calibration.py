"""verify/calibrate/calibration.py: a set to its result, whole."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from calibration_sets import (
    EXACT,
    crossed,
    metered,
    named,
    result_of,
    settings,
    shot,
    shots_of,
)
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from readings import patch

from verify.calibrate.calibration import NOTHING, calibrated
from verify.calibrate.match import headroom, standard
from verify.calibrate.records import Calibration, Excluded
from verify.calibrate.sift import Shot
from verify.compare import FrameCheck, compare
from verify.plan.records import MeterOffset, OffsetPart

SCATTER = 0.03  # stop, of the simulated sets
QUIET = [0.01, -0.012, 0.004, 0.009, -0.011, 0.006, -0.004, -0.002]


def offset_of(result: Calibration) -> tuple[float, float]:
    """The offset and half of its interval."""
    assert result.offset_stops is not None
    assert result.interval_stops is not None
    low, high = result.interval_stops
    assert result.offset_stops == pytest.approx((low + high) / 2)
    return result.offset_stops, (high - low) / 2


def test_a_bracket_round_one_reading() -> None:
    shots = [shot(0.3 + e, at, av=5.0 + at * 0.5, setup=metered()) for at, e in enumerate(QUIET)]
    found = result_of(shots)
    offset, half = offset_of(found)
    assert offset == pytest.approx(0.3, abs=0.005)
    # Card 0.08 and meter 0.1 / sqrt(12) do not average out; the scatter of 0.008 all but does.
    assert found.u_stops == pytest.approx(math.hypot(0.08, 0.1 / math.sqrt(12)), abs=0.001)
    assert found.u_same_card == pytest.approx(0.1 / math.sqrt(12), abs=0.001)
    assert half == pytest.approx(1.96 * (found.u_stops or 0), rel=0.01)
    assert found.scatter_stops == pytest.approx(float(np.std(QUIET, ddof=1)), rel=1e-6)
    assert found.slope == pytest.approx(1, abs=0.01)
    assert found.advice.correction_stops is not None
    assert found.advice.correction_stops < 0 < offset  # opposite signs
    assert len(found.frames) == len(found.residuals) == 8
    assert sum(found.residuals) == pytest.approx(0, abs=0.02)


def test_the_advice_is_no_finer_than_the_interval() -> None:
    found = result_of(shots_of([0.48 + e for e in QUIET]))
    assert found.u_stops is not None
    assert found.u_stops < 0.1 < offset_of(found)[1]  # so in fifths, not in tenths
    assert found.advice.correction_stops == pytest.approx(-0.4)


def test_no_frame_counts() -> None:
    left_out = [Excluded(Path("gone.dng"), "there is no such file")]
    clipped = shots_of([2.0] * 3, fields={"bound": "at-least"})
    found = calibrated(clipped, headroom(0.5), left_out)
    for value in (
        found.offset_stops, found.u_stops, found.u_same_card, found.interval_stops, found.slope,
        found.slope_interval, found.scatter_stops, found.belongs,
    ):  # fmt: skip
        assert value is None
    for nothing in (found.groups, found.frames, found.residuals, found.warnings, found.parts):
        assert not nothing
    assert found.advice.text == NOTHING
    assert found.advice.correction_stops is None
    assert [e.file.name for e in found.excluded] == [
        "gone.dng", "frame_0000.dng", "frame_0001.dng", "frame_0002.dng",
    ]  # fmt: skip
    assert calibrated([], standard, ()).offset_stops is None


def test_one_frame_has_an_interval_too() -> None:
    found = result_of([shot(0.3)])
    offset, half = offset_of(found)
    assert offset == pytest.approx(0.3)
    # The plan's lens 0.05, meter 0.029 and card 0.08: check-values name no others.
    assert half == pytest.approx(1.96 * math.sqrt(0.05**2 + 0.01 / 12 + 0.08**2), rel=1e-3)
    assert "few-frames" in found.warnings


def test_what_is_left_out_comes_with_its_reason_and_in_order() -> None:
    shots = shots_of([*QUIET, 1.5])
    shots.insert(2, Shot(FrameCheck(Path("bad.dng"), "main", settings(), problem="empty"),
                         metered(), 0))  # fmt: skip
    found = calibrated(shots, standard, [Excluded(Path("gone.dng"), "no such file")])
    assert [e.file.name for e in found.excluded] == ["gone.dng", "bad.dng", "frame_0008.dng"]
    assert [f.file.name for f in found.frames] == [f"frame_{at:04}.dng" for at in range(8)]
    assert len(found.residuals) == 8


def test_one_group_of_4_by_4_is_named_and_no_other() -> None:
    # The issue: 0.2 stop off at 0.03 scatter, named, and no other, in 95 % of sets; of a hundred
    # at least 93.
    rng = np.random.default_rng(44)
    right = 0
    for at in range(100):
        rests = rng.normal(0.2, SCATTER, 16)
        which = at % 4
        inside = np.arange(16) // 4 == which if at % 8 < 4 else np.arange(16) % 4 == which
        rests[inside] += rng.choice([-0.2, 0.2])
        wanted = ("iso", 100.0 * 2**which) if at % 8 < 4 else (
            "aperture", round(2 ** ((5 + which) / 2), 2),
        )  # fmt: skip
        right += named(result_of(crossed(rests.tolist()))) == [wanted]
    assert right >= 93


def test_no_group_of_a_clean_set_is_named() -> None:
    rng = np.random.default_rng(45)
    clean = sum(
        not named(result_of(crossed(rng.normal(0.2, SCATTER, 16).tolist()))) for _ in range(100)
    )
    assert clean >= 94  # the issue: 97 % of sets


def test_an_iso_that_differs_is_a_part_of_the_offset() -> None:
    rests = [0.1 + QUIET[at % 8] + 0.3 * (at // 4 == 2) for at in range(16)]
    found = result_of(crossed(rests))
    (part,) = found.parts
    assert part.by == "iso"
    assert part.value == pytest.approx(400)
    assert part.stops == pytest.approx(0.3, abs=0.02)
    assert found.offset_stops == pytest.approx(0.1, abs=0.01)


def test_an_aperture_that_differs_is_one_too_and_a_lens_is_not() -> None:
    rests = [QUIET[at % 8] + 0.3 * (at % 4 == 3) for at in range(16)]
    (part,) = result_of(crossed(rests)).parts
    assert part.by == "aperture"
    assert part.value == pytest.approx(16)
    lenses = [shot(QUIET[at] + 0.4 * (at < 3), at, lens="a" if at < 3 else "b") for at in range(8)]
    found = result_of(lenses)
    assert named(found) == [("lens", "a")]
    assert found.parts == ()
    clean = result_of(crossed([QUIET[at % 8] for at in range(16)]))
    assert clean.parts == ()


def test_an_offset_and_its_parts_cancel_every_group() -> None:
    rests = [0.1 + QUIET[at % 8] / 10 + 0.3 * (at // 4 == 2) for at in range(16)]
    found = result_of(crossed(rests))
    parts = {round(part.value): part.stops for part in found.parts}
    left = [r - (found.offset_stops or 0) - parts.get(100 * 2 ** (at // 4), 0)
            for at, r in enumerate(rests)]  # fmt: skip
    assert left == pytest.approx([0] * 16, abs=0.003)
    assert list(found.residuals) == pytest.approx(left, abs=1e-6)


@pytest.mark.parametrize("offset", [-0.7, 0.35])
def test_a_fitted_offset_cancels_itself(offset: float) -> None:
    # The issue: calibrate, check the same frames: mean error 0 within 0.01 stop.
    shots = shots_of([offset + e for e in QUIET])
    fitted = MeterOffset(stops=result_of(shots).offset_stops or 0, u_stops=0.05)
    errors = [
        compare(s.check.file, settings(), s.check.patch or patch(), s.setup, (), fitted).error_stops
        for s in shots
    ]
    assert float(np.mean([e for e in errors if e is not None])) == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("offset", [-0.7, -0.2, 0.3])
def test_metered_anew_with_the_advised_correction_the_offset_is_the_same(offset: float) -> None:
    found = result_of(shots_of([offset + e for e in QUIET], setup=metered(uncertainty=EXACT)))
    correction = found.advice.correction_stops
    assert correction == pytest.approx(-offset, abs=1e-6)
    assert correction is not None
    # The same light, metered anew: the meter shows it less by the correction.
    anew = metered(7.0 - correction, reading={"correction": correction}, uncertainty=EXACT)
    again = [shot(offset + e, at, av=7.0 - correction, setup=anew) for at, e in enumerate(QUIET)]
    second = result_of(again)
    assert second.offset_stops == pytest.approx(found.offset_stops, abs=1e-9)
    assert second.advice.text.startswith("Leave the meter's correction at")
    # And the frames are as the standard wants them: f/11's signal at f/11.
    signals = [s.check.patch.signal for s in again if s.check.patch is not None]
    assert float(np.mean(np.log2(np.array(signals) / 0.11937))) == pytest.approx(0, abs=0.01)


def test_the_example_is_one_reading_with_the_iso_its_own_frames_had() -> None:
    # Most frames are at ISO 200, but the reading that most were shot by is at ISO 100.
    one = metered(7.0, reading={"iso": 100})
    shots = [shot(-0.5, at, setup=one) for at in range(2)]
    shots += [
        shot(-0.5, 5 + at, av=7.0 + at, sv=1.0, setup=metered(7.0 + at, reading={"iso": 200}))
        for at in range(4)
    ]
    text = result_of(shots).advice.text
    assert "on the meter only; leave the camera at 100." in text
    assert "The meter was at ISO" not in text


def test_iso_160_of_meter_and_camera_is_one_iso() -> None:
    setup = metered(7.0, reading={"iso": 160})
    found = result_of(shots_of([-0.4] * 5, setup=setup, sv=2 / 3, iso=160.0))
    assert found.offset_stops == pytest.approx(-0.4)
    assert "leave the camera at 160." in found.advice.text
    assert "The meter was at" not in found.advice.text


def test_the_wanted_level_is_in_the_advice_alone() -> None:
    shots = shots_of([0.1 + e for e in QUIET])
    plain = result_of(shots)
    found = calibrated(shots, headroom(0.5), ())
    assert replace(found, match=plain.match, advice=plain.advice) == plain
    assert found.advice != plain.advice


def test_what_it_belongs_to() -> None:
    setup = metered(reading={"meter": "Ostrel L2", "aimed": "as-card"}, card={"name": "big card"})
    shots = [
        shot(0.1, at, av=av, sv=sv, setup=setup, make="Ostrel", model="A", serial="01", lens=lens)
        for at, (av, sv, lens) in enumerate(
            [(8.0, 1.0, "90 mm"), (6.0, 0.0, "50 mm"), (9.0, 1.0, "50 mm"), (7.0, 0.0, "50 mm")]
        )
    ]
    belongs = result_of(shots).belongs
    assert belongs is not None
    assert (belongs.meter, belongs.card, belongs.light, belongs.method) == (
        "Ostrel L2", "big card", "flash", "incident",
    )  # fmt: skip
    assert (belongs.receptor, belongs.aimed) == ("flat", "as-card")
    assert (belongs.make, belongs.model, belongs.serial) == ("Ostrel", "A", "01")
    assert belongs.lens is None  # two of them
    assert belongs.iso == pytest.approx((100, 200))
    assert belongs.aperture == pytest.approx((8, 2**4.5))


def test_a_frame_that_does_not_count_is_in_no_range() -> None:
    shots = [*shots_of(QUIET), shot(2.0, 20, av=11.0, sv=5.0)]
    belongs = result_of(shots).belongs
    assert belongs is not None
    assert belongs.iso == pytest.approx((100, 100))
    assert belongs.aperture == pytest.approx((2**3.5, 2**3.5))


def test_what_is_not_recorded_is_not_known() -> None:
    belongs = result_of(shots_of(QUIET, iso=None)).belongs
    assert belongs is not None
    assert belongs.iso is None
    assert belongs.meter is None
    assert belongs.serial is None


def test_a_reflected_reading_has_no_card_in_it() -> None:
    setup = metered(reading={"method": "reflected"})
    found = result_of([shot(0.0, at, setup=setup) for at in range(4)])
    assert found.u_stops == pytest.approx(found.u_same_card)
    assert found.u_stops == pytest.approx(0.1 / math.sqrt(12), abs=0.002)


def test_placing_counts_where_the_plan_states_it() -> None:
    stated = result_of(shots_of(QUIET, setup=metered(uncertainty={"placing": 0.2})))
    unsaid = result_of(shots_of(QUIET))
    assert (stated.u_stops or 0) ** 2 - (unsaid.u_stops or 0) ** 2 == pytest.approx(0.2**2)


def test_a_row_for_each_frame_averages_the_meters_step_out() -> None:
    once = result_of(shots_of(QUIET))
    anew = result_of([shot(e, at, reading=at) for at, e in enumerate(QUIET)])
    assert anew.u_same_card is not None
    assert once.u_same_card is not None
    assert anew.u_same_card < 0.01
    assert once.u_same_card > 0.028


@examples(max_examples=50)
@given(st.integers(0, 500), st.floats(-2, 2), st.permutations(range(8)))
def test_order_and_a_shift_of_all_readings(seed: int, shift: float, order: list[int]) -> None:
    rests = np.random.default_rng(seed).normal(0, 0.05, 8)
    plain = result_of([shot(float(r), at, av=6.0 + at % 3) for at, r in enumerate(rests)])
    # All readings ``shift`` lower for the same light: the frames get so much more than promised.
    lower = metered(7.0 - shift)
    moved = result_of(
        [shot(float(rests[at]) + shift, at, av=6.0 + at % 3, setup=lower) for at in order]
    )
    assert moved.offset_stops == pytest.approx((plain.offset_stops or 0) + shift, abs=1e-7)
    assert moved.u_stops == pytest.approx(plain.u_stops, abs=1e-7)
    assert {e.file for e in moved.excluded} == {e.file for e in plain.excluded}


def test_parts_are_records_that_a_kept_offset_takes() -> None:
    rests = [QUIET[at % 8] - 0.3 * (at // 4 == 0) for at in range(16)]
    found = result_of(crossed(rests))
    assert all(isinstance(part, OffsetPart) for part in found.parts)
    assert found.parts[0].stops == pytest.approx(-0.3, abs=0.02)


def test_frames_metered_in_another_way_are_another_set() -> None:
    """Flash and continuous light are not averaged, nor two scales of a meter."""
    timed = {"light": "continuous", "shutter": "1/125"}
    lit = [shot(0.4, 9 + at, setup=metered(reading=timed)) for at in range(3)]
    found = result_of([*shots_of([0.0, 0.01, -0.01, 0.0]), *lit])
    assert offset_of(found)[0] == pytest.approx(0, abs=0.01)
    assert [e.file.name for e in found.excluded] == [s.check.file.name for s in lit]
    assert all("metered in another way (incident, continuous)" in e.reason for e in found.excluded)
    assert found.belongs is not None
    assert found.belongs.light == "flash"


@pytest.mark.parametrize(("section", "what"), [("reading", "meters"), ("card", "cards")])
def test_a_set_of_several_meters_or_cards_can_be_kept_for_none(section: str, what: str) -> None:
    setups = [
        metered(reading={"meter": name}) if section == "reading" else metered(card={"name": name})
        for name in ("one", "two")
    ]
    shots = [shot(e, at, setup=setups[at % 2]) for at, e in enumerate(QUIET)]
    (why,) = result_of(shots).mixed
    assert why.startswith(f"the set has several {what} (one, two); an offset belongs to one")
    assert result_of(shots_of(QUIET)).mixed == ()


def test_advice_says_where_it_does_not_hold() -> None:
    rng = np.random.default_rng(8)
    rests = -0.4 + rng.normal(0, SCATTER, 16) + np.repeat([0, 0, 0.5, 0], 4)
    found = result_of(crossed(rests.tolist()))
    assert named(found) == [("iso", 400.0)]
    assert "This does not hold at ISO 400: there the whole correction is \N{MINUS SIGN}0.1" in (
        found.advice.text
    )


def test_no_advice_where_the_chain_is_not_linear() -> None:
    shots = [shot(0.12 * at, at, av=7.0 - at) for at in range(8)]
    found = result_of(shots)
    assert "slope-off" in found.warnings
    assert found.advice.correction_stops is None
    assert "No correction is given" in found.advice.text
    assert found.mixed == ("the chain is not linear, so no one figure is its offset",)
    assert found.offset_stops is not None


def test_readings_of_one_light_that_contradict_each_other() -> None:
    """Two frames of f/8 and two of f/11, all with the same light: one of the readings is wrong."""
    shots = [shot(0.0, at, setup=metered(reading={"aperture": "f/11"})) for at in (0, 1)]
    shots += [shot(1.0, at, setup=metered(reading={"aperture": "f/8"})) for at in (2, 3)]
    notes = " ".join(result_of(shots).notes)
    assert "the readings of frame_0000.dng and frame_0002.dng contradict each other" in notes
    assert "1.00 stop apart" in notes
    assert "contradict" not in " ".join(result_of(shots_of(QUIET)).notes)


def test_the_card_is_told_to_be_most_of_it_by_the_same_measure() -> None:
    noisy = result_of(shots_of([0.1, -0.1, 0.12, -0.12]))
    assert noisy.half_same_card == pytest.approx(offset_of(noisy)[1], rel=0.25)
    quiet = result_of(shots_of(QUIET))
    assert quiet.half_same_card is not None
    assert quiet.half_same_card < 0.5 * offset_of(quiet)[1]
