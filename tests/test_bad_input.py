"""Bad input: one clear line, the right exit status, and every other frame measured all the same."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from commands import Ran, run, run_process

from verify.simulate.demo import write_demo

Capture = pytest.CaptureFixture[str]
Make = Callable[[Path, Path], Any]  # writes a bad file at the first path from a frame at the second
SAID = "greyproof: "  # begins what the command says of a plan or an option
POSIX = pytest.mark.skipif(os.name == "nt", reason="Windows has no such file")
NOT_ROOT = pytest.mark.skipif(
    os.name == "nt" or os.geteuid() == 0, reason="this user may read everything"
)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shoot. No test may change it."""
    folder = tmp_path_factory.mktemp("shoot") / "demo"
    write_demo(folder)
    return folder


@pytest.fixture(scope="module")
def images(project_root: Path) -> Path:
    return project_root / "test_images"


@pytest.fixture
def good(demo: Path) -> list[Path]:
    """Two frames as planned."""
    return [demo / "table_0101.dng", demo / "table_0102.dng"]


def link(path: Path, to: Path) -> None:
    """Make a symbolic link, or skip where no ordinary user makes one."""
    try:
        path.symlink_to(to)
    except OSError:
        pytest.skip("this system lets no ordinary user make links")


def locked(path: Path, frame: Path) -> None:
    shutil.copy(frame, path)
    path.chmod(0)


def cut(path: Path, frame: Path) -> None:
    path.write_bytes(frame.read_bytes()[:150_000])


UNREADABLE = [
    pytest.param("empty.dng", lambda p, _: p.touch(), "it is empty: the copy failed", id="empty"),
    pytest.param("t.dng", lambda p, _: p.write_text("one"), "it is text, not a picture", id="text"),
    pytest.param("cut.dng", cut, "the file is cut short: its picture needs", id="cut"),
    pytest.param("gone.dng", lambda _, __: None, "there is no such file", id="missing"),
    pytest.param(
        "link.dng",
        lambda p, _: link(p, p.with_name("nowhere.dng")),
        "it is a link to a file that is not there",
        id="link to nothing",
    ),
    pytest.param("loop.dng", lambda p, _: link(p, p), "it is a link", id="link to itself"),
    pytest.param(
        "pipe.dng",
        lambda p, _: getattr(os, "mkfifo")(p),  # noqa: B009 - not there on every system
        "it is not a regular file",
        id="pipe",
        marks=POSIX,
    ),
    pytest.param("locked.dng", locked, "it may not be read", id="locked", marks=NOT_ROOT),
    pytest.param(f"{'n' * 300}.dng", lambda _, __: None, "", id="a name too long"),
    pytest.param("[red]ü 日本 [.dng", lambda p, _: p.touch(), "it is empty", id="odd name"),
    pytest.param(
        "noise.dng", lambda p, _: p.write_bytes(bytes(range(256)) * 40), "", id="no picture at all"
    ),
]


def lines_about(text: str, path: Path) -> list[str]:
    """The lines that tell of a file by its path."""
    return [line for line in text.splitlines() if line.startswith(f"{path}: ")]


@pytest.mark.parametrize(("name", "make", "says"), UNREADABLE)
def test_a_bad_file_gets_a_line_and_the_others_are_measured(
    demo: Path, good: list[Path], tmp_path: Path, capsys: Capture, name: str, make: Make, says: str
) -> None:
    bad = tmp_path / name
    make(bad, good[0])
    alone = run(capsys, "check", demo / "plan.toml", *good, "--json", "-")
    ran = run(capsys, "check", demo / "plan.toml", good[0], bad, good[1], "--json", "-")
    assert (alone.status, ran.status) == (0, 3), ran.err
    _, found, _ = ran.report["frames"]
    assert found["verdict"] == "unreadable"
    assert says in found["problem"]
    assert len(found["problem"]) > 12
    assert [ran.frames()[file.name] for file in good] == alone.report["frames"]
    as_reference = run(capsys, "check", demo / "plan.toml", *good, "--reference", bad)
    assert (as_reference.status, as_reference.err) == (3, "")
    assert lines_about(as_reference.out, bad) == lines_about(ran.err, bad)
    (line,) = lines_about(ran.err, bad)
    assert line == f"{bad}: {found['problem']}."
    assert line.count(bad.name) == 1
    assert ".." not in line.removeprefix(str(bad))


def test_all_of_them_at_once_in_a_process(
    demo: Path, images: Path, good: list[Path], tmp_path: Path
) -> None:
    bad = [tmp_path / "empty.dng", tmp_path / "text.dng", tmp_path / "gone.dng"]
    bad[0].touch()
    bad[1].write_text("not a picture", encoding="utf-8")
    whole = good[0].read_bytes()
    for length in (1, 8, 9, 60, 400, 1200, 4000, 20_000, 150_000, len(whole) - 1):
        bad.append(tmp_path / f"cut_{length}.dng")
        bad[-1].write_bytes(whole[:length])
    bad += [images / name for name in ("cut_in_tags.dng", "cut_in_picture.dng", "rendered.jpg")]
    ran = run_process("check", demo / "plan.toml", *bad, *good, "--quiet")
    # nothing of what libraries say about such files gets through, and no line is there twice
    lines = ran.err.splitlines()
    assert (ran.status, ran.out) == (3, "")
    told = [path for line in lines for path in bad if str(path) in line.split(": ")[0].split(", ")]
    assert sorted(told) == sorted(bad)
    assert all(line.endswith(".") for line in lines)


def test_a_raw_cut_at_any_length_is_refused(
    demo: Path, images: Path, tmp_path: Path, capsys: Capture
) -> None:
    sources = [demo / "table_0101.dng", images / "strips.dng", images / "packed_12_bit.dng"]
    for source in sources:
        data = source.read_bytes()
        for at in range(40):
            length = max(1, len(data) * at // 40)
            (tmp_path / f"{source.stem}_{length:07d}.dng").write_bytes(data[:length])
    ran = run(capsys, "check", demo / "plan.toml", tmp_path, "--json", "-")
    assert ran.status == 3
    assert len(ran.report["frames"]) == 3 * 40
    assert {frame["verdict"] for frame in ran.report["frames"]} == {"unreadable"}
    assert all(12 < len(frame["problem"]) < 250 for frame in ran.report["frames"])


@pytest.mark.parametrize("name", ["rendered.jpg", "rendered.dng"])
def test_a_jpeg_whatever_it_is_called(
    images: Path, demo: Path, tmp_path: Path, capsys: Capture, name: str
) -> None:
    shutil.copy(images / "rendered.jpg", tmp_path / name)
    ran = run(capsys, "check", demo / "plan.toml", tmp_path / name)
    assert ran.status == 3
    (line,) = lines_about(ran.out, tmp_path / name)
    assert "it is a JPEG inside: rendered, not linear. Measure the raw file or a linear" in line


def image(capsys: Capture, path: Path, *more: str) -> tuple[Ran, dict[str, Any]]:
    """Check one test image, against f/11, with the card where all of them have it."""
    ran = run(
        capsys, "check", "--reading", "f/11", "--card", "72,24,54,48", path, *more, "--json", "-"
    )
    return ran, ran.report["frames"][0]


def test_a_file_without_settings_is_measured_and_says_so(images: Path, capsys: Capture) -> None:
    ran, frame = image(capsys, images / "no_settings.dng")
    assert (ran.status, frame["verdict"], frame["settings_stops"]) == (0, "within", 0)
    for name in ("no-f-number", "no-iso", "no-shutter"):
        assert f"{name} (no_settings.dng): The file records no" in ran.err


@pytest.mark.parametrize("name", ["gamma_16_no_profile.tif", "srgb_8_no_profile.tif"])
def test_a_tiff_that_does_not_say_how_it_follows_the_light(
    images: Path, capsys: Capture, name: str
) -> None:
    ran, frame = image(capsys, images / name)
    assert (ran.status, frame["verdict"]) == (3, "unreadable")
    assert "give --transfer linear, srgb or a gamma" in frame["problem"]


def test_values_that_are_no_numbers(images: Path, tmp_path: Path, capsys: Capture) -> None:
    few = images / "float32_nan.tif"
    ran, frame = image(capsys, few, "--transfer", "linear")
    assert (ran.status, frame["verdict"]) == (0, "within")
    assert "not-finite" in frame["warnings"]
    assert frame["card"]["signal"] == pytest.approx(0.11937, rel=0.005)  # check-values 2.5
    many = tmp_path / "many.tif"
    floats = np.full((96, 144), np.nan, np.float32)
    floats[::2] = np.inf
    tifffile.imwrite(many, floats, photometric="minisblack")
    ran, frame = image(capsys, many, "--transfer", "linear")
    assert (ran.status, frame["verdict"]) == (3, "unreadable")
    assert "not a number" in frame["problem"]


def test_a_box_outside_one_of_the_pictures(
    demo: Path, images: Path, good: list[Path], capsys: Capture
) -> None:
    ran = run(
        capsys, "check", demo / "plan.toml", "--card", "202,128,57,51", *good,
        images / "strips.dng", "--json", "-",
    )  # fmt: skip
    assert ran.status == 3
    assert "the card's box 202,128,57,51 reaches outside" in ran.frames()["strips.dng"]["problem"]
    assert ran.frames()["table_0101.dng"]["verdict"] == "within"


@pytest.mark.parametrize(
    ("name", "verdict", "warning", "says"),
    [
        ("card_clipped.dng", "clipped", "clipped", "the true exposure is at least what is shown"),
        ("card_black.dng", "dark", "at-black", "the true exposure is at most what is shown"),
    ],
)
def test_a_card_beyond_the_ends_of_the_scale(
    images: Path, capsys: Capture, name: str, verdict: str, warning: str, says: str
) -> None:
    ran, frame = image(capsys, images / name)
    assert (ran.status, frame["verdict"], frame["problem"]) == (3, verdict, None)
    assert frame["card"]["signal"] is not None
    assert warning in frame["warnings"]
    (line,) = (line for line in ran.err.splitlines() if line.startswith(f"{warning} ({name}): "))
    assert says in line
    assert "measure a" in line  # what to do


def test_a_folder_without_pictures(demo: Path, tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "notes.txt").touch()
    ran = run(capsys, "check", demo / "plan.toml", tmp_path)
    assert ran.status == 2
    assert ran.err == (
        f"{SAID}{tmp_path}: there is no raw or TIFF file in this folder, only 1 other file: name "
        "the folder of the frames\n"
    )
    ran = run(capsys, "check", demo / "plan.toml", tmp_path, demo / "table_0101.dng")
    assert ran.status == 0
    assert (
        ran.err
        == f"{SAID}{tmp_path}: there is no raw or TIFF file in this folder, only 1 other file\n"
    )


@NOT_ROOT
def test_a_folder_that_may_not_be_read(demo: Path, tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "shut").mkdir(mode=0)
    ran = run(capsys, "check", demo / "plan.toml", tmp_path / "shut")
    assert ran.status == 2
    assert ran.err.startswith(f"{SAID}{tmp_path / 'shut'}: this folder cannot be read (")
    (tmp_path / "shut").chmod(0o700)


def test_odd_names_are_measured(demo: Path, tmp_path: Path, capsys: Capture) -> None:
    names = [
        "with space.dng",
        "ü 日本 🙂.dng",
        "-dash.dng",
        "UPPER.DNG",
        "no_ending",
        "semi;colon.dng",
    ]
    for name in names:
        shutil.copy(demo / "table_0101.dng", tmp_path / name)
    files = [tmp_path / name for name in names]
    ran = run(capsys, "check", demo / "plan.toml", *files, "--json", "-")
    assert ran.status == 0
    assert list(ran.frames()) == names
    assert {frame["verdict"] for frame in ran.frames().values()} == {"within"}


def test_a_frame_named_twice_is_one_frame(
    demo: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(demo.parent)
    once = run(capsys, "check", "demo/plan.toml", "demo/table_0101.dng", "--json", "-")
    link(tmp_path / "best.dng", demo / "table_0101.dng")
    again = ["demo/table_0101.dng", str(demo / "table_0101.dng"), "demo/../demo/table_0101.dng"]
    ran = run(capsys, "check", "demo/plan.toml", *again, tmp_path / "best.dng", "--json", "-")
    assert ran == once
    folder = run(capsys, "check", "demo/plan.toml", "demo", demo, *again, "--json", "-")
    assert len(folder.report["frames"]) == 13


@POSIX
def test_what_is_said_of_an_odd_name_stays_in_one_line(
    demo: Path, tmp_path: Path, capsys: Capture
) -> None:
    odd = tmp_path / "two\nlines\u2028and more"
    odd.mkdir()
    commands: list[list[str | Path]] = [
        [odd],
        [odd / "one.toml", odd / "other.toml"],
        [odd / "none.toml", demo],
        [demo, "--json", odd / "report.dng"],
        [demo, "--csv", odd],
        [demo, "--csv", odd / "nowhere" / "report.csv"],
        [demo, "--json", odd / "report", "--csv", odd / "report"],
    ]
    for arguments in commands:
        ran = run(capsys, "check", *arguments)
        (line,) = ran.err.splitlines()
        assert (ran.status, line[: len(SAID)]) == (2, SAID)
