"""Verdicts: by the plan where an offset is known, else by the reference frame."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from readings import AS_PLANNED, FLAT_SIGNAL, checked, set_up
from scipy.stats import norm

from verify.compare import DOUBTS, FrameCheck
from verify.frames.frame import Doubt, Settings
from verify.judge import chance_within, judge, summary
from verify.plan.file import read_plan
from verify.plan.records import MeterOffset, SetUp
from verify.warnings import WARNINGS

PLAN = set_up()
NO_PLAN = read_plan(None).main
OFFSET = MeterOffset(stops=-0.4, u_stops=0.03)
ZERO = MeterOffset(stops=0, u_stops=0.02)


def frame(number: int, stops: float = 0.0, setup: SetUp = PLAN, **more: Any) -> FrameCheck:
    """A frame whose card got so many stops more than planned, not yet judged."""
    return checked(FLAT_SIGNAL * 2**stops, setup=setup, file=f"frame_{number:04d}.dng", **more)


def unreadable(number: int) -> FrameCheck:
    """A frame that could not be measured."""
    return FrameCheck(Path(f"frame_{number:04d}.dng"), "main", None, problem="it is empty")


def judged(
    *checks: FrameCheck, reference: int | None = None, setup: SetUp = PLAN
) -> list[FrameCheck]:
    """Judge checks of one set-up and body."""
    path = None if reference is None else Path(f"frame_{reference:04d}.dng")
    return judge(checks, setup, path)


def differences(checks: list[FrameCheck]) -> list[float | None]:
    """The differences, as they would be printed."""
    found = [check.difference_stops for check in checks]
    return [None if stops is None else round(stops, 6) for stops in found]


@pytest.mark.parametrize("value", [-0.5, -0.17, 0, 0.05, 0.17, 0.3])
@pytest.mark.parametrize("u", [0.01, 0.1, 0.3])
@pytest.mark.parametrize("tolerance", [0.1, 0.17])
def test_the_chance_is_that_of_a_normal_distribution(
    value: float, u: float, tolerance: float
) -> None:
    expected = norm.cdf(tolerance, value, u) - norm.cdf(-tolerance, value, u)
    assert chance_within(value, u, tolerance) == pytest.approx(float(expected), abs=1e-12)


def test_a_sure_value_is_within_or_not() -> None:
    assert [chance_within(value, 0, 0.1) for value in (0, -0.1, 0.11)] == [1, 1, 0]


def test_without_an_offset_frames_are_held_against_the_first_one() -> None:
    checks = judged(frame(1, -0.4), frame(2, -0.32), frame(3, -0.55), frame(4, -0.2))
    assert differences(checks) == [0, 0.08, -0.15, 0.2]
    assert [c.verdict for c in checks] == ["within", "within", "under", "over"]
    assert {c.judged_by for c in checks} == {"reference"}
    assert checks[0].chance_within == 1
    # Two frames differ by sqrt(2) of what one scatters: design, section 4.
    expected = norm.cdf(0.1, -0.15, math.sqrt(2) * 0.05) - norm.cdf(
        -0.1, -0.15, math.sqrt(2) * 0.05
    )
    assert checks[2].chance_within == pytest.approx(float(expected), abs=1e-6)


def test_with_an_offset_frames_are_held_against_the_plan() -> None:
    checks = judged(*(frame(n, s, offset=OFFSET) for n, s in enumerate((-0.5, -0.2, -0.7))))
    assert [c.verdict for c in checks] == ["within", "over", "under"]
    assert {c.judged_by for c in checks} == {"plan"}
    u = checks[0].u_stops
    assert u is not None
    expected = norm.cdf(0.17, -0.1, u) - norm.cdf(-0.17, -0.1, u)
    assert checks[0].chance_within == pytest.approx(float(expected), abs=1e-6)
    assert differences(checks) == [0, 0.3, -0.2]


def test_a_wrongly_set_camera_is_over_by_plan_and_no_difference() -> None:
    wide = replace(AS_PLANNED, f_number=8.0)
    checks = judged(frame(1), frame(2, 1, settings=wide))
    assert differences(checks) == [0, 0]
    assert [c.verdict for c in checks] == ["within", "within"]
    by_plan = [frame(1, -0.4, offset=OFFSET), frame(2, 0.6, settings=wide, offset=OFFSET)]
    assert [c.verdict for c in judged(*by_plan)] == ["within", "over"]


def test_a_difference_has_everything_out_that_the_plan_knows() -> None:
    # In continuous light the shutter time counts, and what is not recorded is as planned.
    plan = set_up(reading={"light": "continuous", "shutter": "1/125"})
    long = replace(AS_PLANNED, shutter_s=1 / 30, f_number=None)
    checks = judged(frame(1, setup=plan), frame(2, 2, setup=plan, settings=long), setup=plan)
    assert differences(checks) == [0, 0]


def test_a_rendered_picture_counts_by_difference_alone() -> None:
    rendered: dict[str, Any] = {"doubts": (Doubt("rendered"),), "offset": OFFSET}
    checks = judged(frame(1, 1, **rendered), frame(2, 1.05, **rendered))
    assert [(c.verdict, c.judged_by) for c in checks] == [("within", "reference")] * 2


def test_the_reference_can_be_any_frame() -> None:
    checks = judged(frame(1, 0.3), frame(2), frame(3, -0.2), reference=2)
    assert differences(checks) == [0.3, 0, -0.2]
    assert not any("no-reference" in c.warnings for c in checks)


def test_the_first_frame_that_was_measured_is_the_reference() -> None:
    clipped = frame(2, 2, bound="at-least")
    checks = judged(unreadable(1), clipped, frame(3, 0.1), frame(4, 0.15))
    assert differences(checks)[2:] == [0, 0.05]
    assert [c.verdict for c in checks] == ["unreadable", "clipped", "within", "within"]
    assert not any("no-reference" in c.warnings for c in checks)


@pytest.mark.parametrize("reference", [1, 2, 9])
def test_a_reference_that_cannot_be_used_is_stood_in_for_and_told_of(reference: int) -> None:
    dark = frame(2, -9, bound="at-most")
    checks = judged(unreadable(1), dark, frame(3, 0.1), frame(4), reference=reference)
    assert differences(checks)[2:] == [0, -0.1]
    assert ["no-reference" in c.warnings for c in checks] == [False, True, True, True]


def test_a_bound_is_no_value_and_has_no_chance() -> None:
    checks = judged(frame(1), frame(2, 3, bound="at-least"), frame(3, -9, bound="at-most"))
    assert [c.verdict for c in checks] == ["within", "clipped", "dark"]
    assert [(c.judged_by, c.chance_within) for c in checks[1:]] == [(None, None)] * 2


@pytest.mark.parametrize("doubt", DOUBTS)
def test_what_need_not_be_the_card_gets_no_verdict_on_the_light(doubt: str) -> None:
    doubted = replace(frame(2, 0.3), warnings=(doubt,))
    checks = judged(frame(1), doubted, frame(3, 0.3))
    assert [c.verdict for c in checks] == ["within", "card-doubtful", "over"]
    assert (checks[1].judged_by, checks[1].chance_within) == (None, None)
    # Its figures stand, for whoever sees that it is the card.
    assert differences(checks) == [0, 0.3, 0.3]
    assert checks[1].error_stops == pytest.approx(0.3, abs=1e-5)
    by_plan = replace(frame(2, 0.3, offset=OFFSET), warnings=(doubt,))
    assert judged(frame(1, offset=OFFSET), by_plan)[1].verdict == "card-doubtful"


@pytest.mark.parametrize(("stops", "bound"), [(3, "at-least"), (-9, "at-most")])
def test_a_doubtful_card_is_doubtful_before_it_is_clipped_or_dark(stops: float, bound: str) -> None:
    doubted = replace(frame(2, stops, bound=bound), warnings=("card-unsure",))
    assert [c.verdict for c in judged(frame(1), doubted)] == ["within", "card-doubtful"]


def test_a_doubtful_frame_is_never_the_reference() -> None:
    doubted = replace(frame(1, 0.4), warnings=("several-cards",))
    checks = judged(doubted, frame(2), frame(3, 0.05))
    assert differences(checks) == [0.4, 0, 0.05]
    assert not any("no-reference" in c.warnings for c in checks)
    # Nor where it was named: then another one stands in, and every frame says so.
    named = judged(doubted, frame(2), frame(3, 0.05), reference=1)
    assert differences(named) == [0.4, 0, 0.05]
    assert ["no-reference" in c.warnings for c in named] == [True] * 3
    alone = judged(doubted, reference=1)
    assert differences(alone) == [None]
    assert alone[0].verdict == "card-doubtful"


def test_another_warning_raises_no_doubt_about_the_card() -> None:
    every = tuple(name for name in WARNINGS if name not in DOUBTS)
    checks = judged(replace(frame(1), warnings=every), frame(2, 0.3))
    assert [c.verdict for c in checks] == ["within", "over"]
    assert checks[0].difference_stops == 0


def test_a_frame_without_a_card_stays_one() -> None:
    bare = FrameCheck(Path("frame_0001.dng"), "main", None, problem="none", verdict="no-card")
    checks = judged(bare, frame(2), reference=1)
    assert checks[0] == bare
    assert [c.verdict for c in checks] == ["no-card", "within"]
    assert "no-reference" in checks[1].warnings


def test_nothing_measured() -> None:
    checks = judged(unreadable(1), frame(2, 2, bound="at-least"), reference=1)
    assert [c.verdict for c in checks] == ["unreadable", "clipped"]
    assert differences(checks) == [None, None]


@pytest.mark.parametrize(
    ("settings", "stops"),
    [
        (AS_PLANNED, 0.2),
        (replace(AS_PLANNED, f_number=8.0), -0.8),
        (replace(AS_PLANNED, iso=400.0), -1.8),
        (replace(AS_PLANNED, f_number=None, iso=None), 0.2),
        (replace(AS_PLANNED, shutter_s=1.0), 0.2),  # nothing says that the light is not flash
        (Settings(), 0.2),
    ],
)
def test_without_a_plan_frames_are_held_against_the_reference_and_its_settings(
    settings: Settings, stops: float
) -> None:
    checks = judged(
        frame(1, setup=NO_PLAN), frame(2, 0.2, setup=NO_PLAN, settings=settings), setup=NO_PLAN
    )
    assert differences(checks) == [0, stops]
    assert checks[1].judged_by == "reference"


@pytest.mark.parametrize(
    ("iso", "thirds", "rest", "offset", "named"),
    [
        (400, 6, -2, None, True),
        (400, 6, -1.95, None, True),
        (400, 6, -1.8, None, False),
        (400, 6, 0, None, False),
        (125, 1, -1 / 3, None, False),  # an unknown offset of a third of a stop looks the same
        (125, 1, -1 / 3, ZERO, True),
        (80, -1, 1 / 3, ZERO, True),
        (100, 0, 0, ZERO, False),
    ],
)
def test_an_iso_that_the_signal_does_not_follow(
    iso: float, thirds: int, rest: float, offset: MeterOffset | None, named: bool
) -> None:
    other = replace(AS_PLANNED, iso=iso)
    (alone,) = judged(frame(1, thirds / 3 + rest, settings=other, offset=offset))
    assert alone.rest_stops == pytest.approx(rest, abs=1e-5)
    assert ("iso-not-in-signal" in alone.warnings) is named


def test_the_iso_of_a_reference_shows_what_the_signal_follows_whatever_the_offset() -> None:
    fast = replace(AS_PLANNED, iso=125.0)
    noted = judged(frame(1, 0.5), frame(2, 0.5, settings=fast))
    followed = judged(frame(1, 0.5), frame(2, 0.5 + 1 / 3, settings=fast))
    named = [["iso-not-in-signal" in c.warnings for c in checks] for checks in (noted, followed)]
    assert named == [[False, True], [False, False]]


def test_a_bound_shows_nothing_about_iso() -> None:
    fast = replace(AS_PLANNED, iso=400.0)
    (check,) = judged(frame(1, 0, settings=fast, bound="at-least"))
    assert "iso-not-in-signal" not in check.warnings


def test_the_summary_counts_every_frame_once() -> None:
    checks = judged(
        frame(1, 0.1),
        frame(2, 0.3),
        frame(3, -0.1),
        frame(4, 3, bound="at-least"),
        frame(5, -9, bound="at-most"),
        unreadable(6),
        FrameCheck(Path("frame_0007.dng"), "main", None, verdict="no-card"),
    )
    found = summary("main", checks)
    counts = found.count, found.within, found.over, found.under, found.unusable
    assert counts == (7, 1, 1, 1, 3)
    # Mean and standard deviation of 0.1, 0.3 and -0.1, and of nothing else.
    assert found.mean_error_stops == pytest.approx(0.1, abs=1e-5)
    assert found.spread_stops == pytest.approx(0.2, abs=1e-5)
    two = summary("main", checks[:2])
    assert two.spread_stops == pytest.approx(0.2 / math.sqrt(2), abs=1e-5)


def test_the_summary_counts_a_doubtful_card_as_not_usable() -> None:
    doubted = replace(frame(2, 0.3), warnings=("unlikely-level",))
    found = summary("main", judged(frame(1, 0.1), doubted))
    assert (found.count, found.within, found.over, found.unusable) == (2, 1, 0, 1)


def test_a_doubtful_card_is_no_part_of_the_mean() -> None:
    doubted = replace(frame(2, 2), warnings=("unlikely-level",))
    found = summary("main", judged(frame(1, 0.1), doubted))
    assert found.mean_error_stops == pytest.approx(0.1, abs=1e-5)
    assert found.spread_stops is None


def test_the_summary_of_one_frame_and_of_none() -> None:
    one = summary("main", judged(frame(1, 0.1)))
    assert one.mean_error_stops == pytest.approx(0.1, abs=1e-5)
    assert one.spread_stops is None
    none = summary("main", judged(unreadable(1)))
    assert (none.count, none.unusable, none.mean_error_stops) == (1, 1, None)
    without_plan = summary("main", judged(frame(1, setup=NO_PLAN), setup=NO_PLAN))
    assert (without_plan.within, without_plan.mean_error_stops) == (1, None)
