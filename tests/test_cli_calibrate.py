"""greyproof calibrate: options, what is matched, kept and refused; on real files."""

import json
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pytest
from calibration_studio import (
    CAMERA,
    NEAR,
    OFF,
    SIGNAL,
    Capture,
    Studio,
    calibrate,
    refused,
)
from commands import Ran, listing, run
from saved_offsets import studio
from small_shoots import BODY

from verify import __version__
from verify.cli.inputs import run as measure
from verify.offsets.records import SavedOffset
from verify.offsets.store import OffsetStore
from verify.shoot import Shoot


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """A set of six frames; no test may change it, but for what it adds under a name of its own."""
    made = Studio(tmp_path_factory.mktemp("bench"))
    made.bracket()
    return made


@pytest.fixture(scope="module")
def frames(bench: Studio) -> list[Path]:
    return sorted(bench.folder.glob("set_*.dng"))


@pytest.mark.parametrize(
    ("match", "how", "stops"),
    [
        ("standard", "standard", 0.0),
        # 18 % against 90 % half a stop below clipping, by the published signal of the card
        ("headroom:0.5", "headroom", np.log2(0.2 * 2**-0.5 / SIGNAL)),
        (" Headroom:1,5 ", "headroom", np.log2(0.2 * 2**-1.5 / SIGNAL)),
        ("headroom:0", "headroom", np.log2(0.2 / SIGNAL)),
        ("frame:{}", "frame", 0.25),
    ],
)
def test_what_is_matched_changes_the_advice_alone(
    bench: Studio, frames: list[Path], capsys: Capture, match: str, how: str, stops: float
) -> None:
    approved = bench.make("approved.dng", 0.25)  # light and camera by the standard, and 0.25 over
    plain = calibrate(capsys, bench.plan, *frames, "--json", "-").report
    wanted = ("--match", match.format(approved))
    report = calibrate(capsys, bench.plan, *frames, *wanted, "--json", "-").report
    assert report["match"]["how"] == how
    assert report["match"]["stops"] == pytest.approx(stops, abs=NEAR)
    correction = report["advice"]["correction_stops"]
    assert correction == pytest.approx(stops - plain["offset_stops"], abs=0.1 + NEAR)
    for key in plain:
        if key not in ("match", "advice"):
            assert report[key] == plain[key], key
    assert (report["advice"] == plain["advice"]) == (how == "standard")


@pytest.mark.parametrize("match", ["", "headroom", "headroom:-1", "headroom:9", "frame:", "best"])
def test_what_cannot_be_matched(
    bench: Studio, frames: list[Path], capsys: Capture, match: str
) -> None:
    line = refused(calibrate(capsys, bench.plan, *frames, "--match", match))
    assert line.startswith(f'--match "{match}": write "standard", "headroom:0.5"')


def test_an_approved_frame_that_is_none(bench: Studio, frames: list[Path], capsys: Capture) -> None:
    with mock.patch("verify.cli.calibrate.run") as measured:
        line = refused(calibrate(capsys, bench.plan, *frames, "--match", "frame:gone.dng"))
    assert line == "--match frame:gone.dng: there is no such file"
    measured.assert_not_called()
    clipped = bench.make("blown.dng", 6.0)
    ran = calibrate(capsys, bench.plan, *frames, "--match", f"frame:{clipped}", "--quiet")
    assert refused(ran) == f"--match frame:{clipped}: its card cannot be measured for sure"


def test_a_kept_offset_is_not_replaced_unasked(
    bench: Studio, frames: list[Path], tmp_path: Path, capsys: Capture
) -> None:
    store = OffsetStore(tmp_path / "kept.sqlite3")
    store.save(studio("bench"))
    before = listing(tmp_path)
    save: list[str | Path] = [bench.plan, *frames, "--save", "bench", "--store", store.path]
    with mock.patch("verify.cli.calibrate.run") as measured:
        line = refused(calibrate(capsys, *save))
    assert line == 'an offset "bench" is saved already: take another name, or say --replace'
    measured.assert_not_called()
    assert listing(tmp_path) == before
    assert calibrate(capsys, *save, "--replace").status == 0
    assert store.get("bench").stops == pytest.approx(OFF, abs=NEAR)
    assert len(store.all()) == 1


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--save", ""], '"" is no name for an offset: give one of 1 to 200 characters'),
        (["--save", "x" * 201], "is no name for an offset: give one of 1 to 200 characters"),
        (["--replace"], "--replace: say with --save NAME what is to be kept"),
        (["--save", "x", "--store", "."], "this is a folder: name a file in it"),
    ],
)
def test_what_cannot_be_kept_is_told_before_anything_is_measured(
    bench: Studio, frames: list[Path], capsys: Capture, arguments: list[str], says: str
) -> None:
    with mock.patch("verify.cli.calibrate.run") as measured:
        line = refused(calibrate(capsys, bench.plan, *frames, *arguments))
    assert says in line
    measured.assert_not_called()


def test_a_name_that_was_taken_meanwhile_is_not_replaced_and_the_result_is_not_lost(
    bench: Studio, frames: list[Path], tmp_path: Path, capsys: Capture
) -> None:
    store, report = OffsetStore(tmp_path / "kept.sqlite3"), tmp_path / "report.json"

    def meanwhile(*arguments: Any) -> Shoot:
        store.save(studio("bench"))
        return measure(*arguments)

    with mock.patch("verify.cli.calibrate.run", meanwhile):
        save = ("--save", "bench", "--store", store.path, "--json", report)
        ran = calibrate(capsys, bench.plan, *frames, *save)
    assert ran.status == 2
    assert ran.err.startswith('greyproof: an offset "bench" is saved already: take another name')
    assert "Offset −0.37 stop" in ran.out
    assert json.loads(report.read_text(encoding="utf-8"))["offset_stops"] == pytest.approx(
        OFF, abs=NEAR
    )
    assert store.all() == (studio("bench"),)


def test_no_offset_is_no_offset_to_keep(bench: Studio, tmp_path: Path, capsys: Capture) -> None:
    blown = bench.make("blown.dng", 6.0, camera=CAMERA)
    store = tmp_path / "kept.sqlite3"
    ran = calibrate(capsys, bench.plan, blown, "--save", "x", "--store", store)
    assert (ran.status, ran.err) == (3, "greyproof: there is no offset to keep\n")
    assert not store.exists()


def test_what_is_kept(bench: Studio, frames: list[Path], tmp_path: Path, capsys: Capture) -> None:
    store = OffsetStore(tmp_path / "kept.sqlite3")
    save = ("--save", "bench", "--store", store.path)
    report = calibrate(capsys, bench.plan, *frames, *save, "--json", "-").report
    kept: SavedOffset = store.get("bench")
    assert kept.stops == report["offset_stops"]
    assert [*kept.interval_stops] == report["interval_stops"]
    assert (kept.u_stops, kept.u_same_card) == (report["u_stops"], report["u_same_card_stops"])
    assert (kept.frames, kept.greyproof, kept.parts) == (6, __version__, ())
    assert (kept.belongs.serial, kept.belongs.card) == (BODY.serial, "studio card")


def test_a_plot_by_the_ending_of_its_file(
    bench: Studio, frames: list[Path], tmp_path: Path, capsys: Capture
) -> None:
    picture = tmp_path / "offset.SVG"
    assert calibrate(capsys, bench.plan, *frames, "--plot", picture).status == 0
    assert b"<svg" in picture.read_bytes()[:200]
    for name in ("offset.jpg", "offset"):
        line = refused(calibrate(capsys, bench.plan, *frames, "--plot", tmp_path / name))
        assert line.endswith(": name a file that ends in .png or .svg")
    blown = bench.make("blown.dng", 6.0, camera=CAMERA)
    nothing = tmp_path / "nothing.png"
    ran = calibrate(capsys, bench.plan, blown, "--plot", nothing)
    assert (ran.status, ran.err) == (3, f"greyproof: {nothing}: there is nothing to draw\n")
    assert not nothing.exists()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "nothing was metered: give the reading in the plan, with --reading, or a row"),
        (["PLAN"], "name the frames that were shot by this reading"),
        (["FRAME"], "nothing was metered"),
        (["PLAN", "FRAME", "--jobs", "0"], "--jobs 0: give 1 or more"),
        (["PLAN", "FRAME", "--readings", "r.csv"], "with --readings name one plan at most"),
        (["PLAN", "PLAN", "FRAME"], "one plan at a time, not 2"),
        (["--readings", "r.csv", "--reading", "f/8"], "with --readings, each row says what"),
        (["--readings", "gone.csv"], "gone.csv: there is no such readings file"),
        (["gone.toml", "FRAME"], "gone.toml"),
        (["PLAN", "FRAME", "--card", "fnd"], '--card "fnd" is no place for the card'),
        (["PLAN", "FRAME", "--json", "-", "--plot", "-"], "--json and --plot both go to"),
    ],
)
def test_a_command_that_cannot_be(
    bench: Studio, frames: list[Path], capsys: Capture, arguments: list[str], says: str
) -> None:
    words = [{"PLAN": bench.plan, "FRAME": frames[0]}.get(word, word) for word in arguments]
    assert says in refused(run(capsys, "calibrate", *words))


def test_quiet_prints_problems_only(bench: Studio, frames: list[Path], capsys: Capture) -> None:
    assert calibrate(capsys, bench.plan, *frames, "--quiet") == Ran(0, "", "")


def test_pictures_of_what_was_measured(
    bench: Studio, frames: list[Path], tmp_path: Path, capsys: Capture
) -> None:
    folder = tmp_path / "cards"
    assert calibrate(capsys, bench.plan, *frames[:2], "--show", folder, "--quiet").status == 0
    assert {path.stem for path in folder.iterdir()} == {"set_0001_card", "set_0002_card"}


def test_help(capsys: Capture) -> None:
    ran = run(capsys, "calibrate", "--help")
    assert ran.status == 0
    assert ran.out.startswith("Usage: greyproof calibrate ")
    assert max(map(len, ran.out.splitlines())) <= 80
    assert "opposite sign" in " ".join(ran.out.split())
    for option in ("--readings", "--match", "--save", "--replace", "--store", "--plot", "--json"):
        assert f" {option} " in ran.out
