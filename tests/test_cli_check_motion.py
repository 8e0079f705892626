"""greyproof check with motion and ambient light: each frame by its own settings."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commands import run
from small_shoots import BODY, NOISE, SCENE

from verify.simulate.camera import Settings
from verify.simulate.demo import write_demo
from verify.simulate.dng import write_dng
from verify.simulate.scene import Light, expose

PLAN = """
[reading]
aperture = "f/11"

[camera]
shutter = "1/125"
sync = "1/200"

[card]
box = [0.3, 0.3, 0.4, 0.4]
"""
MOVING = """
[subject]
speed = 2.0
magnification = 0.05

[sensor]
pixel_pitch_um = 4.0

[[flash]]
t_tenth = "1/1000"
"""
FLASH_LXS = Light.metered(2**3.5).pop_lxs
KEYS = {
    "blur_px", "edge_px", "blur_verdict", "ambient_under_flash_stops", "trail_px",
    "ghost_delta_l", "ghost_verdict", "shutter_loss_stops",
}  # fmt: skip
LENS = 0.05  # stop; the ambient frame's uncertainty by stopping down is in what is compared too


def shot(folder: Path, name: str, under: float, pops: float = 1.0, **settings: Any) -> Path:
    """A frame of the metered flash, and of ambient light so many stops under it at 1/128 s."""
    its = Settings(**settings)
    light = Light(FLASH_LXS, pops, FLASH_LXS * 2.0**-under * 128)
    mosaic = expose(SCENE, light, BODY, its, np.random.default_rng(5)).mosaic
    return write_dng(folder / name, mosaic, BODY, its)


def planned(folder: Path, text: str) -> Path:
    plan = folder / "plan.toml"
    plan.write_text(text, encoding="utf-8")
    return plan


def test_frames_gain_what_moves_by_their_own_shutter_times(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shot(tmp_path, "a.dng", 6.0)
    shot(tmp_path, "b.dng", 6.0, shutter_s=1 / 30)
    shot(tmp_path, "c.dng", 6.0, shutter_s=1 / 250)
    plan = planned(tmp_path, PLAN + MOVING + "[ambient]\nstops_under_flash = 6.0\n")
    frames = run(capsys, "check", plan, tmp_path, "--json", "-").frames()
    motions = [frames[name]["motion"] for name in ("a.dng", "b.dng", "c.dng")]
    assert all(set(motion) == KEYS for motion in motions)
    a, b, c = motions
    assert a["blur_px"] == b["blur_px"] == c["blur_px"]
    assert a["blur_verdict"] == "smeared"
    assert a["trail_px"] == pytest.approx(1e5 / 128 / 4)
    assert b["trail_px"] == pytest.approx(4 * a["trail_px"])
    stops = [motion["ambient_under_flash_stops"] for motion in motions]
    assert stops == pytest.approx([6, 4, 7])
    assert b["ghost_delta_l"] > a["ghost_delta_l"] > c["ghost_delta_l"]
    assert [m["ghost_verdict"] for m in motions] == ["hidden", "faint", "hidden"]
    assert c["shutter_loss_stops"] > 0.1 > a["shutter_loss_stops"] > b["shutter_loss_stops"]
    told = run(capsys, "check", plan, tmp_path).out
    assert "smeared (17.5 px), ghost faint" in told


def test_a_plan_without_those_sections_gives_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shot(tmp_path, "a.dng", 6.0)
    ran = run(capsys, "check", planned(tmp_path, PLAN), tmp_path, "--json", "-")
    frame = ran.frames()["a.dng"]
    assert frame["motion"] is None
    assert frame["ambient_signal"] is None
    assert "what moves" not in run(capsys, "check", planned(tmp_path, PLAN), tmp_path).out


@pytest.mark.parametrize("settings", [{}, {"f_number": 8.0}, {"iso": 200.0}, {"shutter_s": 1 / 30}])
def test_the_ambient_light_is_taken_from_the_cards(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], settings: dict[str, Any]
) -> None:
    """Two stops under the flash it would be 0.32 stop of error (check-values 6.4)."""
    frame = shot(tmp_path, "a.dng", 2.0, **settings)
    room = shot(tmp_path, "room.tif.dng", 2.0, pops=0.0, shutter_s=1 / 4)
    plan = planned(tmp_path, PLAN)
    plain = run(capsys, "check", plan, frame, "--json", "-").frames()["a.dng"]
    ran = run(capsys, "check", plan, frame, "--ambient-frame", room, "--json", "-")
    found = ran.frames()["a.dng"]
    open_longer = 4 if "shutter_s" in settings else 1
    added = math.log2(1 + open_longer / 4)
    assert plain["rest_stops"] == pytest.approx(added, abs=2 * NOISE)
    assert found["rest_stops"] == pytest.approx(0, abs=2 * NOISE)
    assert found["error_stops"] == pytest.approx(found["settings_stops"], abs=2 * NOISE)
    share = found["ambient_signal"] / found["card"]["signal"]
    assert share == pytest.approx(1 - 1 / (1 + open_longer / 4), abs=0.01)
    assert found["motion"] is None
    assert found["budget"]["ambient"] == pytest.approx(LENS * open_longer / 4, rel=0.2)
    assert found["u_stops"] > plain["u_stops"]


def test_the_plan_can_name_the_frame_of_the_room(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    frame = shot(tmp_path, "a.dng", 3.0)
    (tmp_path / "room").mkdir()
    shot(tmp_path / "room", "off.dng", 3.0, pops=0.0, shutter_s=1 / 4)
    plan = planned(tmp_path, PLAN + MOVING + '[ambient]\nframe = "room/off.dng"\n')
    found = run(capsys, "check", plan, frame, "--json", "-").frames()["a.dng"]
    assert found["rest_stops"] == pytest.approx(0, abs=2 * NOISE)
    assert found["motion"]["ambient_under_flash_stops"] == pytest.approx(3, abs=0.03)
    assert found["motion"]["ghost_verdict"] == "visible"


def test_without_a_reading_differences_are_those_of_the_flash(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shot(tmp_path, "a.dng", 2.0)
    shot(tmp_path, "b.dng", 2.0, shutter_s=1 / 30)
    (tmp_path / "room").mkdir()
    room = shot(tmp_path / "room", "off.dng", 2.0, pops=0.0, shutter_s=1 / 4)
    plan = planned(tmp_path, "[card]\nbox = [0.3, 0.3, 0.4, 0.4]\n")
    plain = run(capsys, "check", plan, tmp_path, "--json", "-").frames()["b.dng"]
    assert plain["difference_stops"] == pytest.approx(math.log2(2 / 1.25), abs=2 * NOISE)
    ran = run(capsys, "check", plan, tmp_path, "--ambient-frame", room, "--json", "-")
    assert ran.frames()["b.dng"]["difference_stops"] == pytest.approx(0, abs=3 * NOISE)


def test_a_frame_in_which_no_flash_fired_is_a_bound(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    frame = shot(tmp_path, "a.dng", 3.0, pops=0.0)
    room = shot(tmp_path, "room.dng", 3.0, pops=0.0)
    plan = planned(tmp_path, PLAN)
    found = run(capsys, "check", plan, frame, "--ambient-frame", room, "--json", "-").frames()
    assert "ambient-only" in found["a.dng"]["warnings"]
    assert found["a.dng"]["error_stops"] < -5


def test_a_recording_stands_over_the_plans_durations(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_demo(tmp_path / "demo")
    pour = tmp_path / "demo" / "pour"
    typed: list[str | Path] = ["check", pour / "plan.toml", pour]
    modelled = run(capsys, *typed, "--json", "-").frames()
    recorded = run(capsys, *typed, "--pulse", pour / "flash.csv", "--json", "-").frames()
    assert set(recorded) == {"pour_0001.dng", "pour_0002.dng"}
    one, other = modelled["pour_0001.dng"]["motion"], recorded["pour_0001.dng"]["motion"]
    assert one["blur_px"] != other["blur_px"]
    assert one["blur_px"] == pytest.approx(other["blur_px"], rel=0.15)
    assert recorded["pour_0002.dng"]["motion"]["ghost_verdict"] == "faint"


def test_what_cannot_be_used_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    frame = shot(tmp_path, "a.dng", 3.0)
    plan = planned(tmp_path, PLAN)
    over = shot(tmp_path, "over.dng", -5.0, pops=0.0)
    cases: list[tuple[list[str | Path], str]] = [
        (["--ambient-frame", tmp_path / "none.dng"], "none.dng"),
        (["--ambient-frame", over], "clipped"),
        (["--pulse", tmp_path / "none.csv"], "no such recording"),
        (["--time", "1"], "--time is about a recording"),
    ]
    for typed, said in cases:
        ran = run(capsys, "check", plan, frame, *typed)
        assert ran.status == 2
        assert len(ran.err.splitlines()) == 1, ran.err
        assert said in ran.err
