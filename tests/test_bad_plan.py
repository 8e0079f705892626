"""A plan that is wrong: each mistake in one line that names the file and the place; status 2."""

import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from commands import Ran, run

from verify.simulate.demo import write_demo

Capture = pytest.CaptureFixture[str]
SAID = "greyproof: "  # begins what the command says of a plan or an option


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shoot. No test may change it."""
    folder = tmp_path_factory.mktemp("shoot") / "demo"
    write_demo(folder)
    return folder


PLANS = [
    ("[reading]\naperture = 'f/11'\nisoo = 100\n", r'\[reading\] isoo: .*did you mean "iso"'),
    ("[readin]\naperture = 'f/11'\n", r'\[readin\]: .*did you mean "reading"'),
    ("[reading]\naperture = 'f/11'\niso = 'fast'\n", r'\[reading\] iso: "fast" is not an ISO'),
    ("[reading]\naperture = 'f/11'\n[camera]\nshutter = '1/125 m'\n", r"\[camera\] shutter: "),
    ("[reading]\naperture = 'f/11'\npops = 0\n", r"\[reading\] pops: .* 1 to 1000"),
    ("[reading]\naperture = 8.7\n", r"\[reading\] aperture: 8.7 could be f/8 and 7 tenths"),
    ("[reading\naperture = 'f/11'\n", "this is not TOML: "),
    ("[card]\nbox = [1, 2, 3]\n", r"\[card\] box: "),
    ("setup = 1\n", r"\[\[setup\]\]"),
]


@pytest.mark.parametrize(("text", "says"), PLANS)
def test_a_plan_with_a_mistake_names_the_place(
    demo: Path, tmp_path: Path, capsys: Capture, text: str, says: str
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(text, encoding="utf-8")
    ran = run(capsys, "check", plan, demo)
    assert (ran.status, ran.out) == (2, "")
    (line,) = ran.err.splitlines()
    assert line.startswith(f"{SAID}{plan}: ")
    assert line.count(str(plan)) == 1
    assert re.search(says, line), line


def test_every_mistake_of_a_plan_has_its_line(tmp_path: Path, capsys: Capture) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text('[reading]\naperture = "f/11"\npops = 0\n[card]\nname = ""\n', encoding="utf-8")
    ran = run(capsys, "check", plan)
    first, second = ran.err.splitlines()
    assert ran.status == 2
    assert first.startswith(f"{SAID}{plan}: [reading] pops: ")
    assert second.startswith(f"{SAID}{plan}: [card] name: ")


def binary(path: Path) -> None:
    path.write_bytes(bytes(range(128, 256)))


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda _: None, "there is no such plan"),
        (binary, ""),
        (lambda path: path.mkdir(), ""),
        (lambda path: path.write_bytes(b"\x00" * 100), ""),
    ],
    ids=["missing", "binary", "folder", "zeros"],
)
def test_a_plan_that_is_no_plan(
    demo: Path, tmp_path: Path, capsys: Capture, make: Callable[[Path], Any], says: str
) -> None:
    plan = tmp_path / "plan.toml"
    make(plan)
    ran = run(capsys, "check", plan, demo)
    assert (ran.status, ran.out) == (2, "")
    (line,) = ran.err.splitlines()
    assert line.startswith(f"{SAID}{plan}: ")
    assert line.count(str(plan)) == 1
    assert says in line


def test_two_plans(demo: Path, tmp_path: Path, capsys: Capture) -> None:
    shutil.copy(demo / "plan.toml", tmp_path / "other.TOML")
    ran = run(capsys, "check", demo / "plan.toml", tmp_path / "other.TOML", demo)
    plans = f"{demo / 'plan.toml'}, {tmp_path / 'other.TOML'}"
    assert ran == Ran(2, "", f"{SAID}one plan at a time, not 2: {plans}\n")


@pytest.mark.parametrize("name", ["gone.dng", "empty.dng"])
def test_a_flat_frame_that_cannot_be_read_is_a_mistake_of_the_plan(
    demo: Path, tmp_path: Path, capsys: Capture, name: str
) -> None:
    (tmp_path / "empty.dng").touch()
    plan = tmp_path / "plan.toml"
    text = (demo / "plan.toml").read_text(encoding="utf-8")
    plan.write_text(text.replace("[card]", f'[card]\nflat = "{name}"'), encoding="utf-8")
    ran = run(capsys, "check", plan, demo)
    assert ran.status == 2
    (line,) = ran.err.splitlines()
    assert line.startswith(f"{SAID}[card] flat: {tmp_path / name}: ")


def test_a_flat_frame_follows_the_light_as_the_frames_do(
    project_root: Path, tmp_path: Path, capsys: Capture
) -> None:
    frame = project_root / "test_images" / "grey_16.tif"  # a TIFF that does not say
    plan = tmp_path / "plan.toml"
    plan.write_text(f"[card]\nbox = [72, 24, 54, 48]\nflat = '{frame}'\n", encoding="utf-8")
    assert run(capsys, "check", plan, frame).status == 3  # a line of the frame's own
    raw = run(capsys, "check", plan, frame.with_name("bayer_rggb.dng"))
    assert (raw.status, raw.out.count("unreadable")) == (2, 0)
    assert raw.err.startswith(f"{SAID}[card] flat: {frame}: nothing in it says how its values")
    ran = run(capsys, "check", plan, frame, "--transfer", "linear", "--json", "-")
    assert ran.status == 0
    # divided by itself, all that is left of a frame's card is the flat frame's middle
    assert ran.frames()[frame.name]["card"]["gradient_stops"] == pytest.approx(0, abs=1e-6)
    assert "flat-not-used" not in ran.frames()[frame.name]["warnings"]
