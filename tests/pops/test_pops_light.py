"""verify/pops/light.py: frames of several pops, each expected at its own level, then together."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from verify.compare import FrameCheck
from verify.frames.frame import Settings
from verify.frames.geometry import Box
from verify.measure import PatchReading
from verify.plan.expected import expected_signal
from verify.plan.file import read_plan
from verify.plan.records import SetUp
from verify.pops.light import expected_of_one, plan_of_counts, pop_frames, problem_of
from verify.target.records import Target

TARGET = Target(Box(0, 0, 50, 50), Box(0, 0, 50, 50).corners(), "given")
ONE, TWO, OFF = Path("one.dng"), Path("two.dng"), Path("off.dng")
COUNTS = {ONE: 1, TWO: 2, OFF: 0}


@pytest.fixture
def setup(tmp_path: Path) -> SetUp:
    path = tmp_path / "plan.toml"
    path.write_text(
        '[reading]\naperture = "f/8"\n[camera]\naperture = "f/11"\nshutter = "4 s"\n',
        encoding="utf-8",
    )
    return read_plan(path).main


def patch(signal: float) -> PatchReading:
    return PatchReading(
        TARGET, signal, 0.001, None, signal, None, {}, 0.0, 512, 16383, 1.0, 0.0, None, {}, (), ()
    )


def check(file: Path, signal: float = 0.1, n: float | None = None, **settings: Any) -> FrameCheck:
    shot = Settings(f_number=n, **settings)
    return FrameCheck(file, "main", shot, f_number=n, patch=patch(signal), verdict="within")


def test_each_count_is_expected_at_its_own_level(setup: SetUp) -> None:
    plan = plan_of_counts(setup, COUNTS)
    one, two, off = plan.setups
    assert (one.selection.files, two.selection.files) == ((ONE,), (TWO,))
    first, second = expected_signal(one), expected_signal(two)
    assert first is not None
    assert second == pytest.approx(2 * first)
    assert expected_signal(off) is None
    assert len({s.framing for s in plan.setups}) == 1
    checks = [replace(check(TWO), expected_signal=second), check(OFF)]
    assert expected_of_one(checks, COUNTS) == pytest.approx(first)
    assert expected_of_one([check(OFF)], COUNTS) is None


def test_light_is_brought_to_the_planned_settings(setup: SetUp) -> None:
    """f/8 gives twice the light of f/11, ISO 160 exactly 2^(2/3) that of ISO 100."""
    there = check(ONE, 0.1, 8.0, iso=160.0, shutter_s=0.008)
    (frame,) = pop_frames([there], COUNTS, setup.camera)
    assert frame.signal == pytest.approx(0.1 / 2 / 2 ** (2 / 3))
    assert frame.noise == pytest.approx(0.001 / 2 / 2 ** (2 / 3))
    assert frame.open_s == pytest.approx(1 / 128)
    assert frame.planned == 1


def test_what_a_frame_does_not_record_counts_as_planned(setup: SetUp) -> None:
    (frame,) = pop_frames([check(ONE)], COUNTS, setup.camera)
    assert (frame.signal, frame.open_s) == (0.1, 4.0)


def test_without_a_plan_the_first_frame_s_settings_stand() -> None:
    checks = [check(ONE, 0.1, 11.313708, iso=100.0), check(TWO, 0.1, 8.0, iso=200.0)]
    first, second = pop_frames(checks, COUNTS, None)
    assert first.signal == pytest.approx(0.1)
    assert second.signal == pytest.approx(0.1 / 4)
    assert first.open_s is None


def test_a_close_up_that_writes_its_effective_f_number(setup: SetUp) -> None:
    assert setup.camera is not None
    camera = replace(setup.camera, bellows_stops=2.0, writes_effective=True)
    (frame,) = pop_frames([check(ONE, 0.1, 22.627417)], COUNTS, camera)
    assert frame.signal == pytest.approx(0.1)


def test_what_does_not_count(setup: SetUp) -> None:
    clipped = check(ONE)
    clipped = replace(clipped, patch=replace(patch(0.9), bound="at-least"))
    black = replace(check(OFF), patch=replace(patch(0.0), bound="at-most"))
    unread = FrameCheck(TWO, "main", None, problem="there is no such file")
    doubtful = replace(check(ONE), warnings=("card-unsure",))
    assert problem_of(check(ONE)) is None
    assert problem_of(black) is None
    for bad, says in ((clipped, "clipped"), (unread, "no such file"), (doubtful, "clear outline")):
        why = problem_of(bad)
        assert why is not None
        assert says in why
        (frame,) = pop_frames([bad], COUNTS, setup.camera)
        assert (frame.signal, frame.problem) == (None, why)
