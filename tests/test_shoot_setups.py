"""Frames of several set-ups and bodies: which belongs where, and what it is held against."""

from dataclasses import replace
from pathlib import Path

import pytest
from readings import plan_of
from small_shoots import BODY, NOISE, PLAN, Make, rows, warned, writer

from verify.shoot import Options, check_shoot, read_back

SET_UPS = """
[[setup]]
name = "jug / rim light"
frames = "10-12, 20"
reading = { aperture = "f/16" }

[[setup]]
name = "bowl"
from = "0030"

[[setup]]
name = "cloth"
from = "0040"

[[setup]]
name = "second body"
serial = "0099"

[[setup]]
name = "never"
serial = "0047"
frames = "50"
"""


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """What writes frames of the card."""
    return writer(tmp_path)


def test_frames_go_to_the_set_ups_that_name_them(make: Make, tmp_path: Path) -> None:
    other = replace(BODY, serial="0099")
    numbers = {
        1: "main",
        9: "main",
        10: "jug / rim light",
        12: "jug / rim light",
        13: "main",
        20: "jug / rim light",
        29: "main",
        30: "bowl",
        39: "bowl",
        40: "cloth",
        41: "cloth",
        50: "never",
    }
    files = [make(f"shoot2_{n:04d}.dng") for n in numbers]
    files += [make("other_0041.dng", camera=other), make("other_0050.dng", camera=other)]
    files.append(make("unnumbered.dng"))
    shoot = check_shoot(plan_of(tmp_path, PLAN + SET_UPS), files, Options())
    expected = [*numbers.values(), "second body", "second body", "main"]
    assert [check.setup for check in shoot.checks] == expected
    counts = {s.name: s.count for s in shoot.summaries}
    assert counts == {name: expected.count(name) for name in dict.fromkeys(expected)}
    # Each is held against its own reading: f/16 metered, the camera left at f/11, and a stop less
    # light than f/16 promised.
    jug = next(check for check in shoot.checks if check.setup == "jug / rim light")
    assert jug.settings_stops == pytest.approx(1, abs=1e-6)
    assert jug.rest_stops == pytest.approx(-1, abs=NOISE)
    assert jug.difference_stops == 0


def test_several_bodies_are_judged_apart(make: Make, tmp_path: Path) -> None:
    second = replace(BODY, serial="0099", speed_error_stops=-0.5)
    broken = tmp_path / "a_0005.dng"
    broken.touch()
    files = [
        make("a_0001.dng"),
        make("b_0002.dng", camera=second),
        make("a_0003.dng", 0.2),
        make("b_0004.dng", 0.02, camera=second),
        broken,
    ]
    shoot = check_shoot(plan_of(tmp_path, PLAN), files, Options(reference=files[3]))
    first, other = "main / TW-14 0047", "main / TW-14 0099"
    assert rows(shoot) == [
        (first, "within"),
        (other, "within"),
        (first, "over"),
        (other, "within"),
        (first, "unreadable"),
    ]
    assert shoot.checks[0].difference_stops == 0
    assert shoot.checks[3].difference_stops == 0
    assert shoot.checks[1].difference_stops == pytest.approx(-0.02, abs=NOISE)
    assert warned(shoot, "no-reference") == [False] * 5
    assert [(s.name, s.count, s.unusable) for s in shoot.summaries] == [
        (first, 3, 1),
        (other, 2, 0),
    ]


def test_a_reference_that_is_not_among_the_frames(make: Make, tmp_path: Path) -> None:
    second = replace(BODY, serial="0099")
    files = [make("a_0001.dng"), make("b_0002.dng", camera=second)]
    shoot = check_shoot(plan_of(tmp_path, PLAN), files, Options(reference=tmp_path / "gone.dng"))
    assert warned(shoot, "no-reference") == [True, True]


def test_the_plan_read_back_set_up_by_set_up(tmp_path: Path) -> None:
    one = read_back(plan_of(tmp_path, PLAN))
    assert len(one) == 1
    assert one[0].startswith("Meter f/11 at ISO 100")
    several = read_back(plan_of(tmp_path, PLAN + SET_UPS))
    assert len(several) == 6
    assert several[1].startswith("jug / rim light: Meter f/16 at ISO 100")


def test_a_frame_of_an_unknown_body_is_held_against_neither_of_two(
    make: Make, tmp_path: Path
) -> None:
    unknown = replace(BODY, make="", model="", serial="")
    files = [
        make("a_0001.dng"),
        make("b_0002.dng", 0.5, camera=replace(BODY, serial="0099")),
        make("c_0003.dng", 0.3, camera=unknown),
    ]
    shoot = check_shoot(plan_of(tmp_path, PLAN), files, Options())
    assert [check.setup for check in shoot.checks] == [
        "main / TW-14 0047",
        "main / TW-14 0099",
        "main / unknown body",
    ]
    assert [check.difference_stops for check in shoot.checks] == [0, 0, 0]
    # With one known body it can be no other's.
    both = check_shoot(plan_of(tmp_path, PLAN), [files[0], files[2]], Options())
    assert rows(both) == [("main", "within"), ("main", "over")]
