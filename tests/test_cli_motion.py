"""greyproof motion: a plan to blur and ghost, JSON, pictures, and what is missing by its key."""

import math
from pathlib import Path

import jsonschema
import pytest
from commands import Ran, run
from json_reports import shipped_schema

from verify.report.motion_json import FORMAT
from verify.simulate.demo import write_demo

PLAN = """
[reading]
aperture = "f/11"

[camera]
shutter = "1/125"
sync = "1/200"

[subject]
speed = 2.0
size_m = 0.3
magnification = 0.05

[sensor]
pixel_pitch_um = 4.0
width_mm = 36.0
height_mm = 24.0

[[flash]]
t_tenth = "1/1000"

[ambient]
stops_under_flash = 4.0
"""
DECAY_S = 1e-3 / math.log(10)
SPEED_UM_S = 2.0 * 0.05 * 1e6


def motion(
    folder: Path, capsys: pytest.CaptureFixture[str], text: str = PLAN, *typed: str | Path
) -> Ran:
    plan = folder / "moving.toml"
    plan.write_text(text, encoding="utf-8")
    return run(capsys, "motion", plan, *typed)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's moving subject; no test may change it."""
    folder = tmp_path_factory.mktemp("demo") / "shoot"
    write_demo(folder)
    return folder / "pour"


def test_figures_of_an_exponential(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Check-values 7: equivalent 0.95055 t.1, MTF50 0.27566/a; the rest in closed form."""
    ran = motion(tmp_path, capsys, PLAN, "--json", "-")
    report = ran.report
    jsonschema.validate(report, shipped_schema("motion"))
    assert report["format"] == FORMAT
    assert report["rests_on"] == "model"
    blur, ghost = report["blur"], report["ghost"]
    assert blur["equivalent_s"] == pytest.approx(0.95055e-3, rel=2e-5)
    assert blur["mtf50_cycles_per_mm"] == pytest.approx(
        0.27566 / (SPEED_UM_S * DECAY_S) * 1e3, rel=2e-5
    )
    assert blur["width_um"] == pytest.approx(SPEED_UM_S * DECAY_S * math.log(5), rel=1e-4)
    assert blur["edge_um"] == pytest.approx(SPEED_UM_S * DECAY_S * math.log(9), rel=1e-4)
    assert blur["width_px"] == pytest.approx(blur["width_um"] / 4)
    assert blur["height_share"] == pytest.approx(blur["width_um"] / 24_000)
    assert blur["verdict"] == "smeared"
    assert blur["longest_t.1_s"] == pytest.approx(1e-3 * 1.5 / blur["width_px"], rel=1e-3)
    assert ghost["ambient_under_flash_stops"] == 4
    assert ghost["trail_px"] == pytest.approx(SPEED_UM_S / 128 / 4)
    assert ghost["strength"] == pytest.approx(1 / 16)
    # Check-values 7: at 4 stops a mid-grey edge differs by 0.0875 stop.
    darker = 0.18 * 2**-0.0875
    wanted = 116 * (0.18 ** (1 / 3) - darker ** (1 / 3))
    assert ghost["delta_l"] == ghost["delta_l_grey"] == pytest.approx(wanted, abs=0.01)
    assert ghost["verdict"] == "faint"
    assert report["advice"]
    assert ran.status == 1


def test_a_short_flash_in_a_dark_room_is_sharp(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = PLAN.replace("1/1000", "1/20000").replace("flash = 4.0", "flash = 9.0")
    ran = motion(tmp_path, capsys, text, "--json", "-")
    assert ran.report["blur"]["verdict"] == "sharp"
    assert ran.report["ghost"]["verdict"] == "hidden"
    assert ran.report["advice"] == []
    assert ran.status == 0


def test_the_meter_reads_the_ambient_light(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """f/11 against f/2.8, marked: 4 stops."""
    text = PLAN.replace("stops_under_flash = 4.0", 'aperture = "f/2.8"')
    ghost = motion(tmp_path, capsys, text, "--json", "-").report["ghost"]
    assert ghost["ambient_under_flash_stops"] == pytest.approx(4)


def test_a_recording_and_a_frame_of_the_room(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The demo's flash has a t.1 of 1.58 ms, its room lies 4.6 stops under the flash."""
    typed: list[str | Path] = ["--pulse", demo / "flash.csv", "--json", "-"]
    report = run(capsys, "motion", demo / "plan.toml", *typed).report
    jsonschema.validate(report, shipped_schema("motion"))
    assert report["rests_on"] == "recording"
    assert report["blur"]["verdict"] == "slight"
    # Held against what the meter promised: this camera sees 0.2 stop less than that.
    assert report["ghost"]["ambient_under_flash_stops"] == pytest.approx(4.6, abs=0.3)


def test_the_frame_of_the_room_can_be_typed(
    demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = PLAN.replace(
        "[ambient]\nstops_under_flash = 4.0", "[card]\nbox = [0.43, 0.41, 0.1, 0.14]"
    )
    without = motion(tmp_path, capsys, text)
    assert "[ambient] stops_under_flash" in without.out
    room = demo / "room" / "flash_off.dng"
    ghost = motion(tmp_path, capsys, text, "--ambient-frame", room, "--json", "-").report["ghost"]
    assert ghost["ambient_under_flash_stops"] == pytest.approx(4.6, abs=0.4)


def test_what_is_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ran = motion(tmp_path, capsys)
    assert "Blur, smeared: 17.5 px" in ran.out
    assert "Ghost, faint: the ambient light is 4.0 stops under the flash at 1/125 s." in ran.out
    assert "common practice, no source" in ran.out
    assert "Modelling lamps are ambient light" in ran.out
    assert ran.err == ""
    quiet = motion(tmp_path, capsys, PLAN, "--quiet")
    assert quiet.out == ""
    assert "durations-modelled" in quiet.err


@pytest.mark.parametrize("ending", [".png", ".svg"])
def test_it_is_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str], ending: str) -> None:
    target = tmp_path / f"motion{ending}"
    motion(tmp_path, capsys, PLAN, "--plot", target)
    assert target.read_bytes().startswith(b"\x89PNG" if ending == ".png" else b"<svg")


@pytest.mark.parametrize(
    ("taken", "said"),
    [
        ('[[flash]]\nt_tenth = "1/1000"', "[[flash]]"),
        ("speed = 2.0\n", "speed"),
        ("magnification = 0.05\n", "[subject] magnification"),
        ("pixel_pitch_um = 4.0\n", "[sensor] pixel_pitch_um"),
        ("[subject]\nspeed = 2.0\nsize_m = 0.3\nmagnification = 0.05", "[subject] speed"),
    ],
)
def test_what_is_missing_is_named_by_its_key(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], taken: str, said: str
) -> None:
    assert taken in PLAN
    ran = motion(tmp_path, capsys, PLAN.replace(taken, ""))
    assert ran.status == 2
    assert ran.out == ""
    assert len(ran.err.splitlines()) == 1
    assert said in ran.err


def test_no_plan_or_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cases: list[list[str | Path]] = [
        [], ["frame.dng"], [tmp_path / "none.toml"],
    ]  # fmt: skip
    for typed in cases:
        ran = run(capsys, "motion", *typed)
        assert ran.status == 2
        assert len(ran.err.splitlines()) == 1
    text = PLAN.replace("stops_under_flash = 4.0", 'frame = "none.dng"')
    ran = motion(tmp_path, capsys, text)
    assert ran.status == 2
    assert "frame of the ambient light" in ran.err
    assert len(ran.err.splitlines()) == 1
