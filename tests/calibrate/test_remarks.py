"""verify/calibrate/remarks.py: what is said of a set, with each cause."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from calibration_sets import crossed, metered, result_of, shot, shots_of
from readings import FLAT_SIGNAL
from scipy import stats

from verify.calibrate.records import Calibration
from verify.calibrate.sift import Shot
from verify.frames.frame import Doubt
from verify.warnings import WARNINGS

MINUS = "\N{MINUS SIGN}"
QUIET = np.array([0.01, -0.012, 0.004, 0.009, -0.011, 0.006, -0.004, -0.002] * 2)


def at_levels(distort: Any, count: int = 12, span: float = 6.0) -> list[Shot]:
    """Frames by apertures in even steps over ``span`` stops, their signal distorted."""
    shots = []
    for at, av in enumerate(np.linspace(10 - span / 2, 10 + span / 2, count)):
        signal = FLAT_SIGNAL * 2 ** (7 - float(av))
        rest = math.log2(distort(signal) / signal) + QUIET[at % 16] / 2
        shots.append(shot(rest, at, av=float(av)))
    return shots


def timed(rests: Sequence[float], times: Sequence[float], **same: Any) -> list[Shot]:
    """Frames of these shutter times [s]."""
    return [
        shot(float(r), at, shutter_s=t, **same)
        for at, (r, t) in enumerate(zip(rests, times, strict=True))
    ]


def note(result: Calibration, word: str) -> str:
    """The one note with a word in it."""
    (found,) = [text for text in result.notes if word in text]
    return found


def test_a_sound_set_has_nothing_to_be_said() -> None:
    found = result_of(crossed(QUIET.tolist()))
    assert found.notes == ()
    assert found.warnings == ()
    assert found.excluded == ()


@pytest.mark.parametrize("count", [1, 2, 3])
def test_few_frames(count: int) -> None:
    assert ("few-frames" in result_of(shots_of([0.1] * count)).warnings) == (count < 3)


def test_frames_that_are_left_out_do_not_make_a_set_larger() -> None:
    assert "few-frames" in result_of(shots_of([0.1, 0.11, 3.0])).warnings


def test_one_aperture() -> None:
    assert "one-aperture" in result_of(shots_of([0.1] * 4)).warnings
    assert "one-aperture" not in result_of(crossed(QUIET.tolist())).warnings


def test_iso_and_aperture_changed_together() -> None:
    together = [shot(0.0, at, av=7.0 + at, sv=float(at)) for at in range(5)]
    assert "iso-or-aperture" in result_of(together).warnings
    one_apart = [*together, shot(0.0, 9, av=8.0, sv=0.0)]
    assert "iso-or-aperture" in result_of(one_apart).warnings  # of the others that still holds
    assert "iso-or-aperture" not in result_of(crossed(QUIET.tolist())).warnings


def test_a_slope_below_1_with_its_causes() -> None:
    found = result_of(at_levels(lambda x: x**0.94))
    assert "slope-off" in found.warnings
    assert note(found, "planned stop").startswith(
        "measured stops rise by 0.940 a planned stop, less than 1: a black level that is stated "
        "too low, stray or ambient light under the flash, clipping at the bright end, "
    )
    assert found.slope == pytest.approx(0.94, abs=0.005)
    assert found.slope_interval is not None
    assert found.slope_interval[1] < 1


def test_a_slope_above_1_with_its_causes() -> None:
    text = note(result_of(at_levels(lambda x: x**1.06)), "planned stop")
    assert text.startswith(
        "measured stops rise by 1.060 a planned stop, more than 1: a black level that is stated "
        "too high, "
    )
    assert "ambient" not in text


def test_a_linear_chain_has_no_remark() -> None:
    found = result_of(at_levels(lambda x: x * 1.2))
    assert not {"slope-off", "bent"} & set(found.warnings)
    assert found.notes == ()
    assert found.slope == pytest.approx(1, abs=0.01)


def bent(shots: list[Shot]) -> str:
    """The note of a set that is bent and has no slope."""
    found = result_of(shots)
    assert "bent" in found.warnings
    assert "slope-off" not in found.warnings
    return note(found, "bends")


def quadratic(dark: float, bright: float) -> list[Shot]:
    """Frames whose outer quarters are off, the inner ones not, with no slope on the whole."""
    shots = []
    for at, av in enumerate(np.linspace(7, 12, 16)):
        x = float(av - 9.5) / 2.5  # -1 at the bright end
        off = 0.2 * (x * x - 1 / 3) if dark and bright else 0.0
        off *= dark if x > 0 else bright
        shots.append(shot(off + QUIET[at] / 4, at, av=float(av)))
    return shots


@pytest.mark.parametrize(
    ("dark", "bright", "words", "cause"),
    [
        (1.2, 1.0, "at the dark end by +", "stated too low, or stray or ambient light"),
        (-1.2, -1.0, f"at the dark end by {MINUS}", "stated too high"),
        (1.0, 1.2, "at the bright end by +", "a rendered picture, or the lens"),
        (-1.0, -1.2, f"at the bright end by {MINUS}", "clipping, or a rendered picture"),
    ],
)
def test_a_bend_by_the_end_that_is_further_off(
    dark: float, bright: float, words: str, cause: str
) -> None:
    text = bent(quadratic(dark, bright))
    assert words in text
    assert text.endswith(cause)


def test_black_stated_too_low_lifts_the_dark_end() -> None:
    # Ten stops down to where the error of black is a third of the signal.
    found = result_of(at_levels(lambda x: x + 0.002, 16, 10.0))
    assert {"slope-off", "bent"} & set(found.warnings)
    assert any("black level that is stated too low" in text for text in found.notes)


def test_black_stated_too_high_does_the_opposite() -> None:
    found = result_of(at_levels(lambda x: x - 0.0003, 16, 8.0))
    assert {"slope-off", "bent"} & set(found.warnings)
    assert any("black level that is stated too high" in text for text in found.notes)


TIMES = [1 / 128, 1 / 64, 1 / 32, 1 / 16]


def test_ambient_light_follows_the_shutter_time() -> None:
    # 1 % of the exposure at 1/128 s, 8 % at 1/16 s: 0.014 to 0.11 stop.
    rests = [math.log2(1 + 0.01 * 128 * t) + e / 4 for t, e in zip(TIMES * 2, QUIET, strict=False)]
    assert "ambient-in-set" in result_of(timed(rests, TIMES * 2)).warnings


def test_the_other_way_round_it_is_no_ambient_light() -> None:
    rests = [-0.05 * math.log2(t) for t in TIMES * 2]
    assert "ambient-in-set" not in result_of(timed(rests, TIMES * 2)).warnings


def test_so_little_ambient_light_does_no_harm() -> None:
    rests = [0.006 * math.log2(t) for t in TIMES * 2]
    assert "ambient-in-set" not in result_of(timed(rests, TIMES * 2)).warnings
    more = [0.02 * math.log2(t) for t in TIMES * 2]
    assert "ambient-in-set" in result_of(timed(more, TIMES * 2)).warnings


def test_continuous_light_is_no_ambient_light() -> None:
    setup = metered(reading={"light": "continuous", "shutter": "1/125"})
    shots = timed([0.02 * at for at in range(4)] * 2, TIMES * 2, setup=setup)
    assert "ambient-in-set" not in result_of(shots).warnings


def test_one_shutter_time_tells_nothing_of_ambient_light() -> None:
    times = [1 / 128, 1 / 120, 1 / 110, 1 / 100] * 2
    assert "ambient-in-set" not in result_of(timed([0, 0.1, 0.2, 0.3] * 2, times)).warnings


def test_chance_makes_no_ambient_light() -> None:
    rng = np.random.default_rng(12)
    draws = 150
    alarms = sum(
        "ambient-in-set" in result_of(timed(rng.normal(0, 0.03, 4).tolist(), times)).warnings
        for times in ([1 / 128, 1 / 128, 1 / 32, 1 / 32], TIMES)
        for _ in range(draws)
    )
    assert alarms <= stats.binom.ppf(0.999, 2 * draws, 0.01)


@pytest.mark.parametrize("name", ["uneven", "rendered", "near-clipping"])
def test_what_a_frame_warns_of_the_set_does(name: str) -> None:
    shots = shots_of([0.1] * 4)
    assert name not in result_of(shots).warnings
    shots[2] = shot(0.1, 2, fields={"doubts": (Doubt(name),)})
    assert name in result_of(shots).warnings


def test_a_dome_and_what_is_not_recorded() -> None:
    dome = metered(reading={"receptor": "dome"})
    found = result_of(shots_of([0.1] * 3, setup=dome, f_number=None, iso=None))
    assert {"dome-on-card", "no-f-number", "no-iso"} <= set(found.warnings)


def test_every_warning_is_in_the_table() -> None:
    dome = metered(reading={"receptor": "dome"})
    sets = [at_levels(lambda x: x**0.94), quadratic(1.2, 1.0), shots_of([0.1], setup=dome)]
    names = {name for shots in sets for name in result_of(shots).warnings}
    assert len(names) >= 5
    assert names <= set(WARNINGS)


def grouped(off: Sequence[int], ns: Sequence[float], isos: Sequence[float]) -> Calibration:
    """Frames at these aperture values and stops of ISO, some of them 0.4 stop off."""
    return result_of(
        [
            shot(QUIET[at] + 0.4 * (at in off), at, av=av, sv=sv)
            for at, (av, sv) in enumerate(zip(ns, isos, strict=True))
        ]
    )


def test_a_group_that_differs_by_how_much() -> None:
    shots = crossed([e + 0.4 * (8 <= at < 12) for at, e in enumerate(QUIET)])
    (text,) = result_of(shots).notes
    assert text.startswith("frames at ISO 400 differ from the offset by +0.4")
    assert text.endswith(" stop")


def test_of_two_the_set_cannot_tell_which() -> None:
    found = grouped([0, 2, 4, 6], [7, 7, 8, 8] * 2, [1, 0] * 4)
    (text,) = found.notes
    assert "of only two, the set cannot tell which ISO is off" in text


def test_the_same_frames_by_another_factor_are_a_rival() -> None:
    found = grouped([0, 1, 2], [5, 5, 5, 7, 7, 7, 7, 8, 8], [1, 1, 1, 0, 0, 0, 0, 0, 0])
    (text,) = found.notes
    assert text.startswith("frames at ISO 200 differ")
    assert "they are the ones at f/5.6 too, which may be the cause as well" in text
    assert "f/11" not in text


def test_two_and_two_name_only_the_one_with_the_same_frames() -> None:
    found = grouped([0, 1, 2], [5] * 3 + [7] * 5, [1] * 3 + [0] * 5)
    (text,) = found.notes
    assert "they are the ones at f/5.6 too" in text
    assert "f/11" not in text  # has exactly the others


def test_exactly_the_others_are_said_to_be_the_others() -> None:
    # ISO 200 at f/5.6 and f/8; all others at f/11.
    found = grouped([0, 1, 2, 3], [5, 5, 6, 6, 7, 7, 7, 7, 7], [1] * 4 + [0] * 3 + [2] * 2)
    (text,) = found.notes
    assert text.startswith("frames at ISO 200 differ")
    assert "the others are the ones at f/11, which may be the cause as well" in text


def test_a_lens_is_used_and_not_stood_at() -> None:
    shots = [
        shot(QUIET[at] + 0.4 * (at < 3), at, lens="90 mm" if at < 3 else "50 mm") for at in range(8)
    ]
    (text,) = result_of(shots).notes
    assert text.startswith("frames with the lens 90 mm differ")


def test_a_bad_frame_and_by_how_much() -> None:
    found = result_of(shots_of([*QUIET[:7], 0.9]))
    (excluded,) = found.excluded
    assert excluded.file.name == "frame_0007.dng"
    assert excluded.reason == "it is off by +0.90 stop, beyond the scatter of the others"


def contradicting(read: float, got: float) -> str:
    """Seven frames at f/11 and f/8 by turns, and one read at one value that got another's light."""
    shots = [
        shot(QUIET[at], at, setup=metered(7.0 - at % 2), reading=at) for at in range(7)
    ]  # fmt: skip
    shots.append(shot(got - read, 7, setup=metered(read), reading=7))
    (excluded,) = result_of(shots).excluded
    return excluded.reason


def test_the_same_light_with_two_readings_is_a_contradiction() -> None:
    assert contradicting(8.0, 7.0).startswith(f"it is off by {MINUS}1.00 stop")
    assert contradicting(8.0, 7.0).endswith(
        "its reading contradicts that of frame_0000.dng: both frames got the same light, and the "
        "readings are 1.00 stop apart"
    )


def test_another_light_is_none() -> None:
    assert "contradicts" not in contradicting(7.0, 10.0)


def test_frames_by_one_reading_do_not_contradict_it() -> None:
    assert "contradicts" not in result_of(shots_of([*QUIET[:7], 0.9])).excluded[0].reason


def test_the_same_reading_again_contradicts_nothing() -> None:
    # Each has a reading of its own, all of f/11. The last, a bad one, got 0.1 stop more light than
    # one that is not: by the scatter the same.
    rests = [*([0.0, 0.04, -0.04, 0.05] * 4), 0.1, 0.2]
    shots = [shot(rest, at, reading=at) for at, rest in enumerate(rests)]
    excluded = result_of(shots).excluded
    assert [e.file.name for e in excluded] == ["frame_0017.dng"]
    assert "contradicts" not in excluded[0].reason


def test_an_iso_that_is_only_a_note() -> None:
    """Three ISO, and the signal of none but the first follows it."""
    rests = [e - {0: 0, 1: 1, 2: 2}[at // 4] for at, e in enumerate(np.tile(QUIET[:4], 3))]
    shots = [shot(e, at, av=7.0 + at % 4, sv=float(at // 4)) for at, e in enumerate(rests)]
    notes = " ".join(result_of(shots).notes)
    assert notes.count("the signal does not follow it, so this camera may only note its ISO") == 2
    assert "contradict" not in notes


def test_a_dome_and_a_disc_do_not_contradict_each_other() -> None:
    dome = metered(reading={"receptor": "dome"})
    shots = [shot(0.01 * at, at) for at in range(4)]
    shots += [shot(-0.4 + 0.01 * at, 4 + at, setup=dome) for at in range(4)]
    assert "contradict" not in " ".join(result_of(shots).notes)
