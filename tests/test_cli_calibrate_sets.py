"""greyproof calibrate: sets that are wrong, in part or as a whole."""

from dataclasses import replace
from pathlib import Path

import pytest
from calibration_studio import (
    CAMERA,
    OFF,
    Capture,
    Studio,
    calibrate,
    refused,
)
from commands import listing
from small_shoots import BODY
from study_numbers import tenths_text

from verify.warnings import WARNINGS


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """A set of six frames; no test may change it, but for what it adds under a name of its own."""
    made = Studio(tmp_path_factory.mktemp("bench"))
    made.bracket()
    return made


@pytest.fixture(scope="module")
def frames(bench: Studio) -> list[Path]:
    return sorted(bench.folder.glob("set_*.dng"))


@pytest.fixture
def here(tmp_path: Path) -> Studio:
    """A studio for one test."""
    return Studio(tmp_path)


@pytest.mark.parametrize(
    ("header", "rows", "says"),
    [
        ("frame,iso", ["set_0001.dng,100"], 'line 1: the column "aperture" is missing'),
        ("aperture", ["f/11"], 'line 1: the column "frame" is missing'),
        ("frame,aperture", ["set_0001.dng,0"], "line 2: aperture: "),
        ("frame,aperture", ["set_0001.dng,-8"], "line 2: aperture: "),
        ("frame,aperture", ["set_0001.dng,f/300"], "line 2: aperture: "),
        ("frame,aperture", ["set_0001.dng,wide open"], "line 2: aperture: "),
        ("frame,aperture", ["set_0001.dng,f/11", "set_0002.dng,8.7"], "line 3: aperture: "),
        ("frame,aperture", ["set_0001.dng,"], "line 2: aperture: it is needed"),
        ("frame,aperture", [], "there is no row below the header"),
    ],
)
def test_a_readings_file_that_is_wrong(
    bench: Studio, tmp_path: Path, capsys: Capture, header: str, rows: list[str], says: str
) -> None:
    readings = bench.readings(*rows, header=header)
    store, target = tmp_path / "kept.sqlite3", tmp_path / "report.json"
    before = listing(tmp_path)
    asked = ("--save", "x", "--store", store, "--json", target)
    line = refused(calibrate(capsys, "--readings", readings, *asked))
    assert line.startswith(f"{readings}")
    assert says in line
    assert listing(tmp_path) == before


def test_rows_that_do_not_count_are_told_and_the_others_do(
    bench: Studio, frames: list[Path], capsys: Capture
) -> None:
    rows = [f"{frame.name},f/11" for frame in frames]
    rows += ["set_0001.dng,f/11", "set_0002.dng,f/16", "gone.dng,f/11"]
    ran = calibrate(capsys, "--readings", bench.readings(*rows), "--card", "0.3,0.3,0.4,0.4",
                    "--json", "-")  # fmt: skip
    assert ran.status == 0
    excluded = {Path(one["file"]).name: one["reason"] for one in ran.report["excluded"]}
    assert excluded == {
        "set_0001.dng": "it is listed twice with the same values, and counted once (lines 2 and 8)",
        "set_0002.dng": "it is listed twice, with different readings (lines 3 and 9)",
        "gone.dng": "there is no such file (line 10)",
    }
    for reason in excluded.values():
        assert f": {reason}." in ran.err
    assert [Path(f["file"]).name for f in ran.report["frames"]] == [
        f"set_{n:04d}.dng" for n in (1, 3, 4, 5, 6)
    ]
    assert ran.report["offset_stops"] == pytest.approx(OFF, abs=0.03)


def test_readings_that_contradict(here: Studio, capsys: Capture) -> None:
    rows = []
    for n, tenths in enumerate((70, 70, 70, 70, 70, 70, 79)):  # the last was written wrong
        frame = here.make(
            f"set_{n}.dng", 0.02 * (-1) ** n, camera=CAMERA, f_number=(9.0, 11.0)[n % 2]
        )
        rows.append(f"{frame.name},{tenths_text(tenths)}")
    ran = calibrate(capsys, here.plan, "--readings", here.readings(*rows), "--json", "-")
    assert ran.status == 0
    (excluded,) = ran.report["excluded"]
    assert Path(excluded["file"]).name == "set_6.dng"
    assert "it is off by −0.88 stop" in excluded["reason"]
    assert "its reading contradicts that of set_0.dng: both frames got the same light, and the " \
        "readings are 0.90 stop apart" in excluded["reason"]  # fmt: skip
    assert ran.report["offset_stops"] == pytest.approx(OFF, abs=0.02)


def test_all_frames_clipped(bench: Studio, tmp_path: Path, capsys: Capture) -> None:
    blown = [bench.make(f"blown_{n}.dng", 6.0, camera=CAMERA) for n in range(3)]
    ran = calibrate(capsys, bench.plan, *blown)
    assert (ran.status, ran.err) == (3, "")
    assert ran.out.count("its card is clipped") == 1  # said once for all
    assert "No offset can be given." in ran.out.splitlines()
    quiet = calibrate(capsys, bench.plan, *blown, "--quiet")
    assert (quiet.status, quiet.out) == (3, "")
    assert quiet.err.startswith(
        f"Left out: {blown[0]}, {blown[1]}, {blown[2]}: its card is clipped"
    )


def test_one_frame_has_an_interval_too(bench: Studio, frames: list[Path], capsys: Capture) -> None:
    ran = calibrate(capsys, bench.plan, frames[3])
    assert ran.status == 0
    (headline,) = [line for line in ran.out.splitlines() if line.startswith("Offset ")]
    assert headline.startswith("Offset −0.37 stop (95 %: −0.")
    for name in ("few-frames", "one-aperture"):
        assert f"{name}: {WARNINGS[name]}" in ran.out.splitlines()


def test_two_bodies_in_one_set(bench: Studio, frames: list[Path], capsys: Capture) -> None:
    other = bench.make("other_body.dng", camera=replace(CAMERA, serial="0099"))
    report = calibrate(capsys, bench.plan, other, *frames, "--json", "-").report
    assert report["belongs_to"]["serial"] == BODY.serial
    (excluded,) = report["excluded"]
    assert Path(excluded["file"]).name == "other_body.dng"
    assert excluded["reason"] == (
        "it is of another body (TW-14 0099) than most (TW-14 0047): calibrate each by itself"
    )
