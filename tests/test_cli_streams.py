"""verify/cli: what goes to which output, and outputs that are narrow, old, full or gone."""

import io
import json
import os
import shutil
import signal
import subprocess
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import psutil
import pytest
from commands import COMMAND, PLAN_IN_WORDS, environment, listing, run, run_process
from rich.console import Console

import verify.checking
from verify.checking import Checked
from verify.cli import check
from verify.measure import PatchReading, measure
from verify.plan.file import read_plan
from verify.shoot import Options, check_shoot
from verify.simulate.demo import write_demo

POSIX = pytest.mark.skipif(os.name == "nt", reason="Windows has no such signal, pipe or name")
FULL = Path("/dev/full")  # takes nothing: as a full disk does
NEEDS_FULL = pytest.mark.skipif(not FULL.exists(), reason="this system has no /dev/full")
TALKATIVE = """
import logging, os, sys, warnings
if any(name in word for word in sys.orig_argv for name in ("verify", "forkserver", "spawn")):
    import verify.checking
    measure = verify.checking.measure
    def talking(*arguments):
        logging.getLogger("some.library").error("of no use to anybody")
        warnings.warn("of no use either")
        print("nor is this")
        os.write(2, b"nor what a decoder says")
        open(os.environ["SAID"], "a").close()
        return measure(*arguments)
    verify.checking.measure = talking
"""  # a module that every Python of a run imports before anything else
LONG = 400  # frames of a run that would take many seconds
Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shoot. No test may change it."""
    folder = tmp_path_factory.mktemp("shoot") / "demo"
    write_demo(folder)
    return folder


def test_a_report_has_standard_output_for_itself(demo: Path, tmp_path: Path) -> None:
    plan, beside = demo / "plan.toml", tmp_path / "beside.csv"
    ran = run_process("check", plan, demo, "--json", "-", "--csv", beside)
    assert ran.status == 3
    assert len(ran.report["frames"]) == 13
    assert ran.err.splitlines()[0] == PLAN_IN_WORDS
    assert "13 frames: 7 within" in ran.err
    table = run_process("check", plan, demo, "--csv", "-", "--quiet")
    assert table.out == beside.read_text(encoding="utf-8")
    assert table.out.startswith("file,setup,verdict,")
    assert len(table.err.splitlines()) == 2  # one frame is clipped, one is cut short


def test_a_report_in_a_file_is_the_one_of_standard_output(
    demo: Path, tmp_path: Path, capsys: Capture
) -> None:
    target = tmp_path / "report.json"
    target.write_text("an older report", encoding="utf-8")
    ran = run(capsys, "check", demo / "plan.toml", demo, "--json", target)
    assert (ran.status, ran.err) == (3, "")
    assert "13 frames: 7 within" in ran.out
    there = run(capsys, "check", demo / "plan.toml", demo, "--json", "-")
    assert json.loads(target.read_text(encoding="utf-8")) == there.report


def test_nothing_is_written_beside_the_frames(demo: Path, tmp_path: Path, capsys: Capture) -> None:
    before = listing(demo)
    run(capsys, "check", demo / "plan.toml", demo, "--csv", tmp_path / "out.csv", "--jobs", "2")
    run(capsys, "check", demo / "plan.toml", demo, "--json", "-", "--reference", demo / "gone.dng")
    assert listing(demo) == before
    assert [path.name for path in tmp_path.iterdir()] == ["out.csv"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--json", "-", "--csv", "-"], "--json and --csv both go to standard output"),
        (["--json", "out", "--csv", "./out"], "--json and --csv both go to ./out"),
        (["--json", "{demo}"], "it is a folder: name a file in it, such as"),
        (["--csv", "no/such/out.csv"], "there is no folder"),
        (["--json", "{demo}/table_0101.dng"], "that is a name of a frame or a plan"),
        (["--csv", "{demo}/plan.toml"], "that is a name of a frame or a plan"),
        (["--json", "new.TIF"], "that is a name of a frame or a plan"),
    ],
)
def test_a_report_that_cannot_be_written_stops_the_run_before_it(
    demo: Path, capsys: Capture, arguments: list[str], says: str
) -> None:
    typed = [word.format(demo=demo) for word in arguments]
    ran = run(capsys, "check", demo / "plan.toml", demo, *typed)
    assert (ran.status, ran.out) == (2, "")
    assert says in ran.err
    assert len(ran.err.splitlines()) == 1
    assert (demo / "table_0101.dng").stat().st_size > 100_000


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="this user may write everywhere")
def test_a_report_that_may_not_be_written(demo: Path, tmp_path: Path, capsys: Capture) -> None:
    (tmp_path / "locked").mkdir(mode=0o500)
    ran = run(capsys, "check", demo / "plan.toml", demo, "--json", tmp_path / "locked" / "out.json")
    assert (ran.status, ran.out) == (2, "")
    assert "it may not be written: check its permissions, or name another" in ran.err


@NEEDS_FULL
def test_on_a_full_disk_the_table_is_still_shown(demo: Path, capsys: Capture) -> None:
    ran = run(capsys, "check", demo / "plan.toml", demo, "--json", FULL)
    assert ran.status == 2
    assert "13 frames: 7 within" in ran.out
    assert ran.err.startswith("greyproof: /dev/full: the report cannot be written (")


@NEEDS_FULL
@pytest.mark.parametrize("more", [[], ["--json", "-"]])
def test_a_full_disk_under_standard_output_is_one_line(demo: Path, more: list[str]) -> None:
    with FULL.open("w", encoding="utf-8") as full:
        ended = subprocess.run(
            [*COMMAND, "check", str(demo / "plan.toml"), str(demo), *more],
            stdout=full,
            stderr=subprocess.PIPE,
            env=environment(),
            check=False,
            text=True,
        )
    assert ended.returncode == 2
    assert "Traceback" not in ended.stderr
    assert ended.stderr.splitlines()[-1].startswith("greyproof: [Errno")


@POSIX
@pytest.mark.parametrize("more", [[], ["--json", "-"]])
def test_the_status_stands_when_nobody_reads_any_more(demo: Path, more: list[str]) -> None:
    reads, writes = os.pipe()
    os.close(reads)
    ended = subprocess.run(
        [*COMMAND, "check", str(demo / "plan.toml"), str(demo), *more],
        stdout=writes,
        stderr=subprocess.PIPE,
        env=environment(),
        check=False,
        text=True,
    )
    os.close(writes)
    assert ended.returncode == 3
    assert "Error" not in ended.stderr


@POSIX
@pytest.mark.parametrize("jobs", ["1", "2"])
def test_stopping_by_hand_ends_at_once_with_what_was_measured(
    demo: Path, tmp_path: Path, jobs: str
) -> None:
    folder, target, shown = tmp_path / "in", tmp_path / "report.json", tmp_path / "shown"
    folder.mkdir()
    for number in range(LONG):
        os.link(demo / f"table_{101 + number % 12:04d}.dng", folder / f"frame_{number:04d}.dng")
    with subprocess.Popen(
        [*COMMAND, "check", "--reading", "f/11 + 0.3", str(folder), "--jobs", jobs,
         "--json", str(target), "--show", str(shown)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment(), text=True,
    ) as running:  # fmt: skip
        while running.poll() is None and not (shown.is_dir() and any(shown.iterdir())):
            time.sleep(0.01)  # until the first frame has been measured
        children = psutil.Process(running.pid).children(recursive=True)
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=60)
    assert running.returncode == 130
    assert err == "greyproof: stopped; what was measured until then was kept\n"
    assert len(children) >= 2
    _, left = psutil.wait_procs(children, timeout=10)
    assert left == []
    report = json.loads(target.read_text(encoding="utf-8"))
    names = [Path(frame["file"]).name for frame in report["frames"]]
    assert 1 <= len(names) < LONG / 2
    assert names == [f"frame_{number:04d}.dng" for number in range(len(names))]
    assert {frame["card"] is None for frame in report["frames"]} == {False}
    stopped = f"stopped by hand after {len(names)} of {LONG} frames"
    assert report["notes"] == [stopped]
    table = out.splitlines()
    assert [line.split()[0] for line in table if line.startswith("frame_")] == names
    assert f"Note: {stopped}." in table
    assert table[-1].startswith(f"{len(names)} frame")


def test_no_frame_is_begun_after_a_stop(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[object] = []

    def counted(*arguments: Any) -> PatchReading:
        begun.append(arguments[0])
        return measure(*arguments)

    def stop(_: Checked) -> None:
        if len(begun) == 2:
            raise KeyboardInterrupt

    monkeypatch.setattr(verify.checking, "measure", counted)
    files = sorted(demo.glob("*.dng"))
    plan = read_plan(demo / "plan.toml")
    shoot = check_shoot(plan, files, Options(), done=stop)
    assert len(begun) == 2
    assert shoot.stopped
    assert [check.file for check in shoot.checks] == files[:2]
    assert shoot.notes == ("stopped by hand after 2 of 13 frames",)
    assert shoot.checks == check_shoot(plan, files[:2], Options()).checks


def test_what_libraries_say_is_kept_from_people(demo: Path, tmp_path: Path) -> None:
    (tmp_path / "sitecustomize.py").write_text(TALKATIVE, encoding="utf-8")
    said = tmp_path / "said"
    path = os.pathsep.join([str(tmp_path), environment()["PYTHONPATH"]])
    quiet = run_process("check", demo / "plan.toml", demo)
    ran = run_process("check", demo / "plan.toml", demo, PYTHONPATH=path, SAID=str(said))
    assert said.exists()
    assert (ran.status, ran.err) == (3, "")
    assert ran.out == quiet.out


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_an_output_without_the_characters_gets_others(demo: Path, encoding: str) -> None:
    changes = {"PYTHONUTF8": "0", "PYTHONIOENCODING": encoding}
    ran = run_process("check", demo / "plan.toml", demo, **changes)
    assert ran.status == 3
    assert ran.err == ""
    assert ran.out.splitlines()[0] == PLAN_IN_WORDS.replace("→", "->")
    assert ">= +3.10" in ran.out
    assert "mean error -0.71 stop" in ran.out
    report = run_process("check", demo / "plan.toml", demo, "--json", "-", **changes)
    written = json.loads(report.out.encode(encoding, "surrogateescape"))  # JSON is UTF-8 anywhere
    assert written["plan"]["setups"][0]["words"] == PLAN_IN_WORDS


def test_what_is_piped_has_a_line_for_each_frame_and_no_colour(demo: Path, tmp_path: Path) -> None:
    name = "2026-05-12_client-of-the-day_stoneware-jug_rim-light_no-diffuser_final_v2_0101.dng"
    shutil.copy(demo / "table_0101.dng", tmp_path / name)
    ran = run_process("check", demo / "plan.toml", demo, tmp_path)
    assert "\x1b" not in ran.out
    assert sum("table_0101.dng  " in line for line in ran.out.splitlines()) == 1
    assert any(line.startswith(f"{name}  ") for line in ran.out.splitlines())
    narrow = run_process("check", demo / "plan.toml", demo, tmp_path, COLUMNS="80")
    assert max(map(len, narrow.out.splitlines()[1:])) <= 80


def test_a_bar_shows_how_far_a_long_run_is(
    demo: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    screens = [io.StringIO() for _ in range(3)]
    left = iter(screens)

    def terminal(stderr: bool) -> Console:
        return Console(file=next(left) if stderr else io.StringIO(), force_terminal=True, width=80)

    monkeypatch.setattr(check, "console_of", terminal)
    plan = demo / "plan.toml"
    run(capsys, "check", plan, demo)
    run(capsys, "check", plan, demo / "table_0101.dng", demo / "table_0102.dng")
    run(capsys, "check", plan, demo, "--quiet")
    long, short, quiet = (screen.getvalue() for screen in screens)
    assert "measuring" in long
    assert "13/13" in long
    assert "measuring" not in short + quiet


@POSIX
def test_names_that_look_like_markup_or_are_no_text(demo: Path, tmp_path: Path) -> None:
    (tmp_path / "[").mkdir()
    names = ["[red]x.dng", "a :smile: ü.dng", "[/]01.dng"]  # the last one lies in a folder
    for name in names:
        shutil.copy(demo / "table_0101.dng", tmp_path / name)
    with suppress(OSError):  # some file systems take only names that are text
        shutil.copy(demo / "table_0101.dng", tmp_path / os.fsdecode(b"latin \xfc.dng"))
    there = len(list(tmp_path.rglob("*.dng")))
    for more in ([], ["--json", "-"], ["--csv", "-"]):
        ran = run_process("check", demo / "plan.toml", tmp_path, tmp_path / "[", *more)
        assert ran.status == 0
        assert "Traceback" not in ran.err
        words = ran.err if more else ran.out
        assert f"\n{there} frames: {there} within; " in words
        for name in ("[red]x.dng", "a :smile: ü.dng", "]01.dng"):
            assert f"\n{name} " in words
        if "--json" in more:
            assert len(ran.frames()) == there
