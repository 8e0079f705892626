"""greyproof pops: frames to counts, a plan to pops; JSON, exit statuses, what is refused."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from commands import Ran, run
from json_reports import complaints, shipped_schema
from small_shoots import SET

from verify import __version__
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.scene import Light, Scene, expose

Capture = pytest.CaptureFixture[str]
COUNTS = [1, 2, 4, 8, 1, 2, 4, 8]
STILL_LIFE = '[reading]\naperture = "f/16"\n[camera]\nbellows_stops = 1.5\n'
PLAN = """
[reading]
aperture = "f/5.6"

[camera]
aperture = "f/11"

[card]
box = [0.3, 0.3, 0.4, 0.4]
"""
BODY = CameraModel()
SCENE = Scene(size=(96, 64), card_box=(0.25, 0.25, 0.5, 0.5))
ONE_POP = 0.1194 / 4  # signal of f/5.6 at f/11 on an 18 % card (ISO 2720, ISO 12232)


def shoot(
    folder: Path,
    fired: Sequence[int],
    ambient_lx: float = 0.0,
    camera: CameraModel = BODY,
    plan: str = PLAN,
    scene: Scene = SCENE,
    **settings: Any,
) -> list[Path]:
    """The plan, and frames that hold so many pops of f/5.6."""
    path = folder / "pops.toml"
    path.write_text(plan, encoding="utf-8")
    paths = [path]
    for at, pops in enumerate(fired):
        light = Light(Light.metered(2**2.5).pop_lxs, pops, ambient_lx)
        taken = Settings(**{"shutter_s": 8.0, **settings})
        mosaic = expose(scene, light, camera, taken).mosaic
        paths.append(write_dng(folder / f"p{at}.dng", mosaic, camera, taken))
    return paths


def pops(capsys: Capture, *arguments: str | Path) -> Ran:
    return run(capsys, "pops", *arguments, "--jobs", "1")


def typed(counts: Sequence[int]) -> str:
    return ",".join(map(str, counts))


def refused(capsys: Capture, *arguments: str | Path) -> str:
    """The one line of a command that is wrong."""
    ran = pops(capsys, *arguments)
    assert (ran.status, ran.out) == (2, "")
    (line,) = ran.err.splitlines()
    return line


def test_every_frame_holds_its_pops(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, COUNTS, ambient_lx=0.05)
    ran = pops(capsys, *frames, "--counts", typed(COUNTS), "--json", "-")
    assert ran.status == 0
    report = ran.report
    assert complaints(report, shipped_schema("pops")) == []
    assert (report["format"], report["greyproof"]) == ("greyproof.pops/1", __version__)
    assert report["per_pop_signal"] == pytest.approx(ONE_POP, rel=0.01)
    assert report["ambient_signal_per_s"] > 0
    assert report["linearity_stops"] == pytest.approx(0, abs=0.01)
    assert [f["fired"] for f in report["frames"]] == COUNTS
    assert all(f["tellable"] and f["probability"] > 0.95 for f in report["frames"])
    assert report["frames"][0]["open_s"] == 8
    assert report["plan"] is None
    assert "Every frame holds its pops." in ran.err
    assert "Light adds up: the largest count is" in ran.err
    assert "call it out" in ran.err


def test_pops_that_are_missing_and_one_too_many(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [1, 2, 4, 7, 1, 2, 5, 8, 8, 0])
    counts = [1, 2, 4, 8, 1, 2, 4, 8, 8, 4]
    ran = pops(capsys, *frames, "--counts", typed(counts))
    assert ran.status == 1
    assert "p3.dng: 7 of 8 pops, 1 missing." in ran.out
    assert "p6.dng: 5 pops where 4 were planned, 1 too many." in ran.out
    assert "p9.dng: no pop fired of 4." in ran.out
    quiet = pops(capsys, *frames, "--counts", typed(counts), "--quiet")
    assert (quiet.status, quiet.out) == (1, "")
    assert [line.split(": ")[1] for line in quiet.err.splitlines()] == [
        "7 of 8 pops, 1 missing.",
        "5 pops where 4 were planned, 1 too many.",
        "no pop fired of 4.",
    ]


def test_a_count_for_all_frames(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [4, 4, 3, 4])
    ran = pops(capsys, *frames, "--counts", "4", "--json", "-")
    assert ran.status == 1
    assert [f["fired"] for f in ran.report["frames"]] == [4, 4, 3, 4]
    assert ran.report["one_count"]
    assert "most are taken to hold all of them" in ran.err


def test_the_count_of_the_plan(tmp_path: Path, capsys: Capture) -> None:
    plan = PLAN.replace("[camera]", "[camera]\npops = 4")
    frames = shoot(tmp_path, [4, 4, 4], plan=plan)
    assert pops(capsys, *frames).status == 0
    frames = shoot(tmp_path, [4, 4, 4])
    assert "Say so with --counts 1,2,4,8 or --csv FILE" in refused(capsys, *frames)


def test_counts_from_a_csv(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, COUNTS)
    rows = [f"{path.name};{n}" for path, n in zip(frames[1:], COUNTS, strict=True)]
    listed = tmp_path / "pops.csv"
    listed.write_text("\n".join(["Frame;Pops", "# a comment", *rows]), encoding="utf-8")
    ran = pops(capsys, frames[0], "--csv", listed, "--json", "-")
    assert ran.status == 0
    assert [f["planned"] for f in ran.report["frames"]] == COUNTS


def test_frames_without_a_plan(tmp_path: Path, capsys: Capture) -> None:
    _, *frames = shoot(tmp_path, COUNTS)
    ran = pops(capsys, *frames, "--counts", typed(COUNTS), "--card", "0.3,0.3,0.4,0.4")
    assert ran.status == 0


def test_a_card_that_is_looked_for_at_every_level(tmp_path: Path, capsys: Capture) -> None:
    """One pop is three stops under eight: no surprise where each count is expected at its own."""
    plan = PLAN.split("[card]", maxsplit=1)[0]
    frames = shoot(tmp_path, COUNTS, plan=plan, scene=SET)
    ran = pops(capsys, *frames, "--counts", typed(COUNTS), "--json", "-")
    assert [f["problem"] for f in ran.report["frames"]] == [None] * 8
    assert ran.status == 0


def test_frames_at_other_settings_are_brought_together(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [1, 2, 4, 1, 2, 4])
    (tmp_path / "open").mkdir()
    other = shoot(tmp_path / "open", [8, 8], f_number=16.0, iso=160.0)
    counts = [1, 2, 4, 1, 2, 4, 8, 8]
    ran = pops(capsys, *frames, *other[1:], "--counts", typed(counts), "--json", "-")
    assert ran.status == 0
    assert [f["fired"] for f in ran.report["frames"]] == counts
    assert ran.report["frames"][-1]["signal"] == pytest.approx(8 * ONE_POP, rel=0.01)


def test_a_frame_with_the_flash_off(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [0, *COUNTS], ambient_lx=0.2)
    ran = pops(capsys, *frames, "--counts", typed([0, *COUNTS]), "--json", "-")
    assert ran.status == 0
    assert ran.report["frames"][0]["fired"] == 0
    assert ran.report["ambient_signal_per_s"] > 0


def test_a_camera_that_averages_is_said(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [1] * 8)
    ran = pops(capsys, *frames, "--counts", typed(COUNTS), "--json", "-")
    assert ran.status == 3
    assert ran.report["adding"] == "averages"
    assert [f["fired"] for f in ran.report["frames"]] == [None] * 8
    assert "this camera averages exposures, and does not add pops" in ran.err
    assert "averages" in pops(capsys, *frames, "--counts", typed(COUNTS), "--quiet").err


def test_what_a_level_cannot_tell_is_said(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [1, 2])
    ran = pops(capsys, *frames, "--counts", "1,2")
    assert ran.status == 3
    assert "Cannot tell from the level how many pops fired: p0.dng, p1.dng." in ran.out
    assert "a card where one lamp alone lights it, or shoot a shorter count" in ran.out


def test_half_of_the_frames_unreadable(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [*COUNTS, *COUNTS])
    for path in frames[2::2]:
        path.write_bytes(path.read_bytes()[:900])
    ran = pops(capsys, *frames, "--counts", typed([*COUNTS, *COUNTS]), "--json", "-")
    assert ran.status == 3
    found = ran.report["frames"]
    assert [f["fired"] for f in found[::2]] == [1, 4] * 4
    assert all(f["problem"] and f["fired"] is None for f in found[1::2])
    assert "p1.dng: " in ran.err


def test_a_clipped_card_does_not_count(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [1, 2, 4, 1, 2, 4, 40])
    ran = pops(capsys, *frames, "--counts", "1,2,4,1,2,4,40", "--json", "-")
    assert ran.status == 3
    assert ran.report["frames"][-1]["problem"].startswith("Part of the card is clipped")


def test_a_plan_of_pops(tmp_path: Path, capsys: Capture) -> None:
    """The issue's example, in words and as JSON."""
    plan = tmp_path / "still.toml"
    plan.write_text(STILL_LIFE, encoding="utf-8")
    ran = pops(capsys, plan, "--want", "f/45")
    assert (ran.status, ran.err) == (0, "")
    assert "+4.50 stops = 22.6 pops: 23 pops (+0.02), or 16 pops with power +0.5" in ran.out
    assert "Open for 46 s in all, a pop every 2 s (assumed; --interval)." in ran.out
    assert "Modelling lights off; shoot the same open time with no pop" in ran.out
    assert "call it out" in ran.out
    assert "seizures" not in ran.out
    ran = pops(capsys, plan, "--want", "f/45", "--interval", "3 s", "--json", "-")
    report = ran.report
    jsonschema.validate(report, shipped_schema("pops"))
    assert report["frames"] == []
    assert report["per_pop_signal"] is None
    assert (report["plan"]["pops"], report["plan"]["power_change_stops"]) == (23, 0)
    assert report["plan"]["alternatives"][0]["pops"] == 16
    assert report["plan"]["open_s"] == 69


def test_quick_pops_bring_the_caution_on_seizures(tmp_path: Path, capsys: Capture) -> None:
    plan = tmp_path / "still.toml"
    plan.write_text(STILL_LIFE, encoding="utf-8")
    told = pops(capsys, plan, "--want", "f/45", "--interval", "0.2 s").out
    assert "Pops at about 5 a second" in told
    assert "trigger seizures in sensitive people" in told
    assert "seizures" not in pops(capsys, plan, "--want", "f/45", "--interval", "20 ms").out
    frames = shoot(tmp_path, COUNTS, shutter_s=1.0)
    assert "Pops at about 8 a second" in pops(capsys, *frames, "--counts", typed(COUNTS)).out


def test_ambient_light_of_a_frame_with_the_flash_off(tmp_path: Path, capsys: Capture) -> None:
    plan = PLAN.replace("[camera]", '[camera]\nshutter = "1/8"')
    plan += '\n[ambient]\nframe = "p0.dng"\n'
    path, dark = shoot(tmp_path, [0], ambient_lx=0.5, plan=plan)
    assert dark.name == "p0.dng"
    ran = pops(capsys, path, "--want", "f/16", "--json", "-")
    found = ran.report["plan"]
    # C N^2/S = 250 x 32/100 lx s of each of 8 pops, against 0.5 lx for 16 s (ISO 2720)
    flash_lxs = 250 * 2**5 / 100
    assert found["pops"] == 8
    under = math.log2(flash_lxs * 8 / (0.5 * 16))
    assert found["ambient_under_stops"] == pytest.approx(under, abs=0.02)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--counts", "1,2,4"], "--counts gives 3 numbers and 2 frames are named"),
        (["--counts", "1,two"], '"two" is no number of pops'),
        (["--counts", "1,-2"], '"-2" is no number of pops'),
        (["--counts", "1,2.5"], '"2.5" is no number of pops'),
        (["--counts", "1,2000"], "a whole number from 1 to 1000"),
        (["--counts", ","], "give the pops of each frame"),
        (["--counts", "0"], "no frame has pops, all counts are 0"),
        (["--counts", "1,2", "--csv", "x.csv"], "--csv names the frames and their pops"),
        (["--counts", "1,2", "--interval", "2 s"], "--interval belongs to --want"),
        (["--want", "f/45"], "name no frames and no counts"),
        (["--counts", "1,2", "--transfer", "bent"], "bent"),
        (["--counts", "1,2", "--setup", "other"], "the plan has no such set-up"),
        (["--counts", "1,2", "--json", "a.dng"], "name of a frame or a plan"),
    ],
)
def test_what_is_typed_wrong(
    tmp_path: Path, capsys: Capture, arguments: list[str], says: str
) -> None:
    assert says in refused(capsys, *shoot(tmp_path, [1, 2]), *arguments)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--want", "11.5 3"], '--want "11.5 3" is not an aperture'),
        (["--want", "f/45", "--interval", "0 s"], "--interval: pops cannot come all at once"),
        (["--want", "f/45", "--interval", "2"], '--interval "2" could be 1/2 s or 2 s'),
        ([], "name the frames and their pops"),
    ],
)
def test_what_is_planned_wrong(
    tmp_path: Path, capsys: Capture, arguments: list[str], says: str
) -> None:
    plan = tmp_path / "still.toml"
    plan.write_text(STILL_LIFE, encoding="utf-8")
    assert says in refused(capsys, plan, *arguments)


def test_one_frame_alone(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [1])
    assert "one frame alone tells nothing" in refused(capsys, *frames, "--counts", "1")


def test_a_plan_without_a_reading(tmp_path: Path, capsys: Capture) -> None:
    empty = tmp_path / "empty.toml"
    empty.write_text("", encoding="utf-8")
    line = refused(capsys, empty, "--want", "f/45")
    assert line.endswith("how much one pop gives is not known: give [reading] aperture in the plan")
    assert "[reading]" in refused(capsys, "--want", "f/45")
    assert "one plan at a time" in refused(capsys, empty, empty, "--want", "f/45")


def test_frames_of_two_cameras(tmp_path: Path, capsys: Capture) -> None:
    frames = shoot(tmp_path, [1, 2])
    (tmp_path / "other").mkdir()
    _, other = shoot(tmp_path / "other", [4], camera=CameraModel(serial="0048"))
    line = refused(capsys, *frames, other, "--counts", "1,2,4")
    assert "these frames are of 2 cameras" in line


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("frame,pops\np0.dng,\np1.dng,2\n", 'line 2: pops: "" is no number of pops'),
        ("frame,pops\n,3\np1.dng,2\n", "line 2: frame: it is needed"),
        ("frame\np0.dng\n", 'the column "pops" is missing'),
        ("frame,pops\np0.dng,1\np0.dng,2\n", "line 3: frame: this frame is listed above"),
        ("frame,pops\np0.dng,1,9\n", "3 cells, and the header names 2 columns"),
        ("frame,pops\np0.dng,1\n", "one frame alone tells nothing"),
    ],
)
def test_a_csv_that_is_wrong(tmp_path: Path, capsys: Capture, text: str, says: str) -> None:
    listed = tmp_path / "pops.csv"
    listed.write_text(text, encoding="utf-8")
    assert says in refused(capsys, "--csv", listed)


def test_frames_that_are_not_there(tmp_path: Path, capsys: Capture) -> None:
    names = [str(tmp_path / name) for name in ("a.dng", "b.dng")]
    ran = pops(capsys, *names, "--counts", "1,2")
    assert ran.status == 3
    assert "a.dng: there is no such file." in ran.out


def test_the_help_cautions_and_names_the_exit_statuses(capsys: Capture) -> None:
    told = " ".join(run(capsys, "pops", "--help").out.split())
    for words in (
        "call it out: people, stands and cables",
        "3 to 30 a second can trigger seizures",
        "stores energy that can kill",
        "0 every frame holds its pops",
        "1 some frame holds other than its planned pops",
        "3 in some frame they cannot be told",
    ):
        assert words in told
