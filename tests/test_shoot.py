"""The main path: a plan and files to verdicts, on small simulated raw files."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from readings import plan_of
from saved_offsets import studio
from small_shoots import (
    BODY,
    METER_ONLY,
    NOISE,
    PLAN,
    SCENE,
    SET,
    Make,
    rows,
    warned,
    writer,
)

from verify.errors import PlanError
from verify.frames.frame import Frame
from verify.measure import PatchReading, measure
from verify.place import Place
from verify.plan.file import read_plan
from verify.shoot import Options, check_shoot
from verify.simulate.scene import Scene
from verify.simulate.tiff import write_tiff


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """What writes frames of the card."""
    return writer(tmp_path)


def test_frames_from_file_to_verdict(make: Make, tmp_path: Path) -> None:
    files = [
        make("a_0001.dng"),
        make("a_0002.dng", 0.05),
        make("a_0003.dng", -0.4),
        make("a_0004.dng", 0, f_number=8.0),
        make("a_0005.dng", 5),
        make("a_0006.dng", -30),
    ]
    seen: list[str] = []
    shoot = check_shoot(
        plan_of(tmp_path, PLAN),
        files,
        Options(jobs=2),
        3,
        lambda checked: seen.append(checked.check.file.name),
    )
    verdicts = ["within", "within", "under", "within", "clipped", "dark"]
    assert rows(shoot) == [("main", verdict) for verdict in verdicts]
    assert seen == [path.name for path in files]
    assert (shoot.skipped, shoot.notes) == (3, ())
    for check, error in zip(shoot.checks, (0, 0.05, -0.4, 1), strict=False):
        assert check.error_stops == pytest.approx(error, abs=NOISE)
    assert shoot.checks[3].settings_stops == pytest.approx(1, abs=1e-6)
    assert [check.bound for check in shoot.checks[4:]] == ["at-least", "at-most"]
    (found,) = shoot.summaries
    counts = found.name, found.count, found.within, found.over, found.under, found.unusable
    assert counts == ("main", 6, 3, 0, 1, 2)


def test_one_bad_file_gets_its_line_and_the_others_go_on(make: Make, tmp_path: Path) -> None:
    good = make("a_0001.dng")
    empty, text, gone = (tmp_path / name for name in ("empty.dng", "text.dng", "gone.dng"))
    empty.touch()
    text.write_text("not a picture", encoding="utf-8")
    cut = make("a_0002.dng")
    cut.write_bytes(cut.read_bytes()[:-3000])
    plain = write_tiff(tmp_path / "plain.tif", np.full((64, 96), 0.1))
    files = [empty, text, gone, cut, plain, good]
    shoot = check_shoot(plan_of(tmp_path, PLAN), files, Options())
    assert [v for _, v in rows(shoot)] == ["unreadable"] * 5 + ["within"]
    for check, word in zip(
        shoot.checks, ("empty", "text", "no such file", "", "--transfer"), strict=False
    ):
        assert check.problem is not None
        assert word in check.problem
        assert "\n" not in check.problem
        assert (check.patch, check.error_stops) == (None, None)
    # What a cut file still tells of the camera is kept.
    settings = shoot.checks[3].settings
    assert settings is not None
    assert (settings.model, settings.f_number) == ("TW-14", 11)
    assert shoot.summaries[0].unusable == 5


def test_what_nobody_foresaw_ends_one_frame_and_no_shoot(
    make: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = [make("a_0001.dng"), make("a_0002.dng")]

    def odd(frame: Frame, *args: Any) -> PatchReading:
        if frame.path == files[0]:
            raise ArithmeticError("first line\nsecond line")
        return measure(frame, *args)

    monkeypatch.setattr("verify.checking.measure", odd)
    shoot = check_shoot(plan_of(tmp_path, PLAN), files, Options())
    assert [v for _, v in rows(shoot)] == ["unreadable", "within"]
    expected = "it could not be measured (ArithmeticError: first line)"
    assert shoot.checks[0].problem == expected


def test_a_stated_transfer_reads_a_plain_tiff(tmp_path: Path) -> None:
    linear = np.full((64, 96, 3), 0.11937)  # check-values 2.5
    path = write_tiff(tmp_path / "a.tif", linear, transfer=2.2)
    (check,) = check_shoot(plan_of(tmp_path, PLAN), [path], Options(transfer="2.2")).checks
    assert check.error_stops == pytest.approx(0, abs=0.001)
    assert {"rendered", "no-f-number", "no-iso", "no-shutter"} <= set(check.warnings)


def test_the_place_on_the_command_line_stands_over_the_plans(make: Make, tmp_path: Path) -> None:
    file = make("a_0001.dng")
    options = Options(place=Place((2, 2, 20, 12), False))
    (check,) = check_shoot(plan_of(tmp_path, PLAN), [file], options).checks
    assert check.patch is not None
    assert (check.patch.target.box.col, check.patch.target.box.width) == (2, 20)
    assert check.error_stops == pytest.approx(-1, abs=0.05)  # the background: 9 %


def test_a_card_whose_place_nobody_says_is_looked_for(make: Make, tmp_path: Path) -> None:
    files = [make("a_0001.dng", scene=SET), make("a_0002.dng", -0.4, scene=SET)]
    plan = plan_of(tmp_path, METER_ONLY)
    shoot = check_shoot(plan, files, Options())
    assert rows(shoot) == [("main", "within"), ("main", "under")]
    for check, stops in zip(shoot.checks, (0, -0.4), strict=True):
        assert check.patch is not None
        assert check.patch.target.found_by == "shape"
        assert check.sightings == (check.patch.target,)
        assert check.error_stops == pytest.approx(stops, abs=NOISE)
    assert check_shoot(plan, [], Options()).checks == ()
    # What is typed stands over the plan's box, and the other way round.
    boxed = plan_of(tmp_path, METER_ONLY + "[card]\nbox = [0.45, 0.4, 0.1, 0.2]\n")
    assert check_shoot(boxed, files, Options(place="find")).checks == shoot.checks
    given = check_shoot(plan, files, Options(place=Place((0.45, 0.4, 0.1, 0.2), True)))
    assert given.checks == check_shoot(boxed, files, Options()).checks


def test_a_set_up_of_its_own_place_needs_none_in_the_main_one(make: Make, tmp_path: Path) -> None:
    text = (
        '[reading]\naperture = "f/11"\n[[setup]]\nname = "jug"\nframes = "1"\n'
        "card = { box = [0.3, 0.3, 0.4, 0.4] }"
    )
    files = [make("a_0001.dng"), make("a_0002.dng", scene=SET), make("a_0003.dng")]
    shoot = check_shoot(plan_of(tmp_path, text), files, Options())
    found = [check.patch and check.patch.target.found_by for check in shoot.checks[:2]]
    assert found == ["given", "shape"]
    # Too small a picture for a card to be told from anything else: never a quiet answer.
    assert rows(shoot) == [("jug", "within"), ("main", "within"), ("main", "card-doubtful")]


def test_a_box_outside_a_frame_is_a_problem_of_that_frame(make: Make, tmp_path: Path) -> None:
    files = [make("a_0001.dng"), make("a_0002.dng", scene=replace(SCENE, size=(96, 32)))]
    options = Options(place=Place((30, 20, 30, 20), False))
    shoot = check_shoot(plan_of(tmp_path, PLAN), files, options)
    assert [v for _, v in rows(shoot)] == ["within", "unreadable"]
    assert "reaches outside the upright picture of 96 x 32 pixels" in str(shoot.checks[1].problem)


def test_an_offset_judges_by_the_plan(make: Make, tmp_path: Path) -> None:
    slow = replace(BODY, speed_error_stops=-0.4)
    files = [make("a_0001.dng", camera=slow), make("a_0002.dng", 0.3, camera=slow)]
    plan = plan_of(tmp_path, PLAN)
    offset = studio("bench", stops=-0.4, u_stops=0.03)
    shoot = check_shoot(plan, files, Options(offsets=(offset,), offset_name="bench"))
    assert [(c.verdict, c.judged_by) for c in shoot.checks] == [
        ("within", "plan"),
        ("over", "plan"),
    ]
    assert shoot.checks[1].error_stops == pytest.approx(0.3, abs=NOISE)


def test_an_iso_that_all_frames_have_and_the_plan_does_not_is_told(
    make: Make, tmp_path: Path
) -> None:
    files = [make("a_0001.dng", iso=200.0), make("a_0002.dng", iso=200.0)]
    note = (
        "the plan's ISO is the meter's, 100, and every frame was shot at 200. "
        "If that was meant, write iso = 200 under [camera] in the plan"
    )
    assert check_shoot(plan_of(tmp_path, PLAN), files, Options()).notes == (note,)
    given = plan_of(tmp_path, PLAN + '[camera]\niso = "100"\n')
    assert check_shoot(given, files, Options()).notes == ()
    mixed = [*files, make("a_0003.dng")]
    assert check_shoot(plan_of(tmp_path, PLAN), mixed, Options()).notes == ()
    # In a set-up of two bodies too, and with a name that holds a stroke.
    text = PLAN + '[[setup]]\nname = "jug / rim"\nframes = "1-2"\n'
    two = [files[0], make("a_0002.dng", iso=200.0, camera=replace(BODY, serial="0099"))]
    assert check_shoot(plan_of(tmp_path, text), two, Options()).notes == (f"jug / rim: {note}",)


def test_an_iso_that_is_only_a_note(make: Make, tmp_path: Path) -> None:
    files = [make("a_0001.dng"), make("a_0002.dng", iso=400.0, true_iso=100.0)]
    shoot = check_shoot(plan_of(tmp_path, PLAN), files, Options())
    assert warned(shoot, "iso-not-in-signal") == [False, True]


def test_a_flat_frame_beside_the_plan(make: Make, tmp_path: Path) -> None:
    body = replace(BODY, pixel_pitch_um=50.0)  # coarse: with 9 mm, 39 degrees to the corner
    size = (240, 160)
    corner = Scene(size=size, card_box=(0.75, 0.05, 0.2, 0.2), falloff=True)
    bare = Scene(size=size, card_box=(0, 0, 1, 1), card=0.5, falloff=True)
    file = make("a_0001.dng", camera=body, scene=corner, focal_mm=9.0)
    make("flat.dng", camera=body, scene=bare, focal_mm=9.0)
    text = PLAN.replace("[0.3, 0.3, 0.4, 0.4]", "[0.78, 0.08, 0.15, 0.15]")
    (without,) = check_shoot(plan_of(tmp_path, text), [file], Options()).checks
    (corrected,) = check_shoot(
        plan_of(tmp_path, text + 'flat = "flat.dng"\n'), [file], Options(jobs=2)
    ).checks
    assert without.error_stops is not None
    assert without.error_stops < -0.3
    assert "off-centre" in without.warnings
    assert dict(without.budget)["falloff"] == pytest.approx(-without.error_stops, abs=0.05)
    assert corrected.error_stops == pytest.approx(0, abs=0.02)
    assert "falloff" not in dict(corrected.budget)


def test_a_flat_that_is_not_there(make: Make, tmp_path: Path) -> None:
    plan = plan_of(tmp_path, PLAN + 'flat = "gone.dng"\n')
    with pytest.raises(PlanError, match=r"^\[card\] flat: .*gone\.dng: there is no such file"):
        check_shoot(plan, [make("a_0001.dng")], Options())


def test_without_a_plan_frames_are_held_against_the_first(make: Make) -> None:
    files = [make("a_0001.dng"), make("a_0002.dng", 0.15), make("a_0003.dng", f_number=8.0)]
    options = Options(place=Place((0.3, 0.3, 0.4, 0.4), True))
    shoot = check_shoot(read_plan(None), files, options)
    assert [v for _, v in rows(shoot)] == ["within", "over", "within"]
    assert {check.error_stops for check in shoot.checks} == {None}
