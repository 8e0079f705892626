"""verify/cli.py: what goes to which output, and outputs that are narrow, old, full or gone."""

import io
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from commands import COMMAND, PLAN_IN_WORDS, environment, listing, run, run_process
from rich.console import Console

import verify.shoot
from verify import cli
from verify.compare import FrameCheck
from verify.measure import PatchReading, measure
from verify.plan.file import read_plan
from verify.simulate.demo import write_demo

POSIX = pytest.mark.skipif(os.name == "nt", reason="Windows has no such signal, pipe or name")
FULL = Path("/dev/full")  # takes nothing: as a full disk does
NEEDS_FULL = pytest.mark.skipif(not FULL.exists(), reason="this system has no /dev/full")
SLOWED = """
import time
import verify.shoot
measure = verify.shoot.measure
def slowly(*arguments):
    print("begun", flush=True)
    time.sleep(0.2)
    return measure(*arguments)
verify.shoot.measure = slowly
from verify.cli import main
main()
"""  # begins a frame every 0.2 s, and says so
TALKATIVE = """
import logging
import warnings
import verify.shoot
measure = verify.shoot.measure
def talking(*arguments):
    logging.getLogger("some.library").error("of no use to anybody")
    warnings.warn("of no use either")
    return measure(*arguments)
verify.shoot.measure = talking
from verify.cli import main
main()
"""
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
def test_stopping_by_hand_ends_at_once_and_in_order(demo: Path, tmp_path: Path) -> None:
    target = tmp_path / "report.json"
    with subprocess.Popen(
        [sys.executable, "-c", SLOWED, "check", str(demo / "plan.toml"), str(demo), "--jobs", "1",
         "--json", str(target)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment(), text=True,
    ) as running:  # fmt: skip
        assert running.stdout is not None
        assert running.stdout.readline() == PLAN_IN_WORDS + "\n"
        assert running.stdout.readline() == "begun\n"
        running.send_signal(signal.SIGINT)
        out, err = running.communicate()
    assert running.returncode == 130
    assert err == "greyproof: stopped; nothing was written\n"
    assert out.count("begun") < 11  # of twelve more
    assert not target.exists()


def test_no_frame_is_begun_after_a_stop(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[object] = []

    def slowly(*arguments: Any) -> PatchReading:
        begun.append(arguments[0])
        time.sleep(0.05)
        return measure(*arguments)

    def stop(_: FrameCheck) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(verify.shoot, "measure", slowly)
    files = sorted(demo.glob("*.dng"))
    with pytest.raises(KeyboardInterrupt):
        verify.shoot.check_shoot(
            read_plan(demo / "plan.toml"), files, verify.shoot.Options(), done=stop
        )
    assert 1 <= len(begun) < 6


def test_what_libraries_say_is_kept_from_people(demo: Path) -> None:
    ended = subprocess.run(
        [sys.executable, "-c", TALKATIVE, "check", str(demo / "plan.toml"), str(demo)],
        capture_output=True, env=environment(), check=False,
    )  # fmt: skip
    assert ended.returncode == 3
    assert ended.stderr == b""


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

    monkeypatch.setattr(cli, "_console", terminal)
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
